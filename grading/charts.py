"""The two-way plot and its kin, drawn by clubsite.charts.

Every chart stands beside a table of the same numbers (templates/components/chart.html).
"""

import math

from django.utils.html import format_html, format_html_join

from clubsite.charts import ACCENT, GOAL, INK, SOFT, drawn

SHADES = ["#202224", "#37393c", "#505357", "#696c71", "#83878b", "#9da1a5", "#b9bcbf", "#d5d7da", "#f1f2f4"]
SURFACE_TITLE = "Surface shade: 1 nearly black to 9 nearly white"
UNDERCOLOR_TITLE = "Undercolor: 1 white to 9 nearly black"


def _step_axis(title):
    return {"title": title, "values": list(range(1, 10)), "format": "d", "tickCount": 9}


WHOLE_SCALE = (0.6, 9.4)


def shade_axes(x, y, x_domain=WHOLE_SCALE, y_domain=WHOLE_SCALE):
    def channel(name, domain, title):
        scale = {"domain": list(domain), "nice": False, "zero": False}
        return {"field": name, "type": "quantitative", "scale": scale, "axis": _step_axis(title)}

    return {"x": channel(x, x_domain, SURFACE_TITLE), "y": channel(y, y_domain, UNDERCOLOR_TITLE)}


def _close_up(values, goal, least=4.0):
    """The part of the scale that holds the values and the goal, at least `least` steps wide."""
    low, high = min([*values, goal[0] if goal else 9]) - 0.8, max([*values, goal[1] if goal else 1]) + 0.8
    wanting = max(0.0, least - (high - low)) / 2
    return max(WHOLE_SCALE[0], low - wanting), min(WHOLE_SCALE[1], high + wanting)


def goal_layer(goal, **domains):
    """The goal region: a box from (surface low, undercolor low) to (surface high, undercolor high)."""
    surface, undercolor = goal
    box = {"x": surface[0] - 0.4, "x2": surface[1] + 0.4, "y": undercolor[0] - 0.4, "y2": undercolor[1] + 0.4}
    axes = shade_axes("x", "y", **domains)
    word = {"x": surface[0] - 0.3, "y": undercolor[1] + 0.25, "word": "goal"}
    return [
        {
            "data": {"values": [box]},
            "mark": {"type": "rect", "fill": GOAL, "stroke": ACCENT, "strokeDash": [5, 3], "aria": False},
            "encoding": {**axes, "x2": {"field": "x2"}, "y2": {"field": "y2"}},
        },
        {
            "data": {"values": [word]},
            "mark": {"type": "text", "align": "left", "color": ACCENT, "fontSize": 13, "aria": False},
            "encoding": {**axes, "text": {"field": "word"}},
        },
    ]


def ellipse(mean, covariance, spreads=1.0, points=48):
    """The outline that lies `spreads` standard deviations from the mean.

    mean : (2,), covariance : (2, 2), both in steps. Returns a list of (surface, undercolor), closed.
    """
    (a, b), (_, d) = covariance
    middle, half = (a + d) / 2, math.hypot((a - d) / 2, b)
    long, short = math.sqrt(max(middle + half, 0.0)), math.sqrt(max(middle - half, 0.0))
    turn = 0.5 * math.atan2(2 * b, a - d)
    outline = []
    for i in range(points + 1):
        angle = 2 * math.pi * i / points
        u, v = spreads * long * math.cos(angle), spreads * short * math.sin(angle)
        outline.append(
            (mean[0] + u * math.cos(turn) - v * math.sin(turn), mean[1] + u * math.sin(turn) + v * math.cos(turn))
        )
    return outline


def two_way(dots, *, goal=None, groups=(), width=320, height=320):
    """Surface shade against undercolor.

    dots : list of dicts `surface`, `undercolor` (steps, 1 to 9) and `label`; drawn one each, filled with the shade.
    groups : list of dicts `label`, `mean` (2,), and optionally `covariance` (2, 2): a cross with its word and spread.
    goal : ((low, high), (low, high)) of surface and undercolor, or None.
    """
    axes = shade_axes("surface", "undercolor")
    layers = goal_layer(goal) if goal else []
    for group in groups:
        if group.get("covariance") is not None:
            outline = ellipse(group["mean"], group["covariance"])
            layers.append(
                {
                    "data": {"values": [{"surface": x, "undercolor": y, "i": i} for i, (x, y) in enumerate(outline)]},
                    "mark": {"type": "line", "stroke": SOFT, "strokeWidth": 1.5, "aria": False, "clip": False},
                    "encoding": {**axes, "order": {"field": "i", "type": "quantitative"}},
                }
            )
    if dots:
        layers.append(
            {
                "data": {"values": dots},
                "mark": {"type": "point", "filled": True, "size": 70, "opacity": 0.9, "stroke": INK, "strokeWidth": 1},
                "encoding": {
                    **axes,
                    "fill": {
                        "field": "surface",
                        "type": "quantitative",
                        "scale": {"domain": [1, 9], "range": SHADES},
                        "legend": None,
                    },
                    "description": {"field": "label"},
                },
            }
        )
    marks = [{"surface": g["mean"][0], "undercolor": g["mean"][1], "label": g["label"]} for g in groups]
    if marks:
        layers.append(
            {
                "data": {"values": marks},
                "mark": {"type": "point", "shape": "cross", "size": 190, "fill": ACCENT, "stroke": "white"},
                "encoding": {**axes, "description": {"field": "label"}},
            }
        )
    if len(marks) > 1:
        layers.append(
            {
                "data": {"values": marks},
                "mark": {"type": "text", "dy": -15, "fontSize": 13, "fontWeight": "bold", "color": INK, "aria": False},
                "encoding": {**axes, "text": {"field": "label"}},
            }
        )
    return drawn({"width": width, "height": height, "layer": layers})


def steps_bars(counts, *, low=1, high=9, goal=None):
    """How many animals got each step, as a small bar drawing. counts : dict of step to count.

    Our own few rectangles and not Vega's: a page shows some thirty of them, and each would take 30 ms there.
    """
    most = max(counts.values(), default=0) or 1
    width, height, column = 300, 96, 300 / (high - low + 1)

    def at(number):
        return round(number, 1)

    parts = []
    if goal:
        x, wide = (goal[0] - low) * column, (goal[1] - goal[0] + 1) * column
        parts.append(
            format_html('<rect class="bars-goal" x="{}" y="0" width="{}" height="{}"/>', at(x), at(wide), height)
        )
    for step in range(low, high + 1):
        count = counts.get(step, 0)
        x, tall = (step - low) * column, (height - 18) * count / most
        parts.append(
            format_html(
                '<rect class="bars-bar" x="{}" y="{}" width="{}" height="{}"/>'
                '<text class="bars-step" x="{}" y="{}">{}</text>',
                at(x + 2), at(height - tall), at(column - 4), at(tall), at(x + column / 2), height + 18, step,
            )
        )  # fmt: skip
        if count:
            parts.append(
                format_html(
                    '<text class="bars-count" x="{}" y="{}">{}</text>',
                    at(x + column / 2), at(height - tall - 4), count,
                )
            )  # fmt: skip
    said = ", ".join(f"step {step}: {counts[step]}" for step in sorted(counts))
    return format_html(
        '<svg class="bars" viewBox="0 0 {} {}" role="img" aria-label="{}">{}</svg>',
        width, height + 24, f"Animals at each step. {said}", format_html_join("", "{}", ((part,) for part in parts)),
    )  # fmt: skip


def path_by_year(years, *, goal=None, among=None, width=320, height=320):
    """Birth years joined in order in the two-way plane, close up; the first and the last are named.

    years : dicts `year`, `surface`, `undercolor` (steps), in order of year. among : the points of all charts that
    stand side by side, so that their axes are the same.
    """
    framed = among or years
    domains = {
        "x_domain": _close_up([row["surface"] for row in framed], goal and goal[0]),
        "y_domain": _close_up([row["undercolor"] for row in framed], goal and goal[1]),
    }
    axes = shade_axes("surface", "undercolor", **domains)
    layers = goal_layer(goal, **domains) if goal else []
    rows = [{**row, "label": str(row["year"])} for row in years]
    ends = [rows[0], rows[-1]] if len(rows) > 1 else rows
    layers += [
        {
            "data": {"values": rows},
            "mark": {"type": "line", "stroke": SOFT, "strokeWidth": 1.5, "aria": False},
            "encoding": {**axes, "order": {"field": "year", "type": "quantitative"}},
        },
        {
            "data": {"values": rows},
            "mark": {"type": "point", "filled": True, "size": 90, "color": ACCENT, "stroke": "white"},
            "encoding": {**axes, "description": {"field": "label"}},
        },
        {
            "data": {"values": ends},  # the years between follow the line; all stand in the table
            "mark": {"type": "text", "dy": -14, "fontSize": 13, "fontWeight": "bold", "color": INK, "aria": False},
            "encoding": {**axes, "text": {"field": "label"}},
        },
    ]
    return drawn({"width": width, "height": height, "layer": layers})
