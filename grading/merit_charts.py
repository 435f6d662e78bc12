"""Merits drawn: surface shade against undercolor, with the goal, an ellipse for what is not known, the club behind."""

import math

from clubsite.charts import ACCENT, INK, SOFT, drawn
from grading import charts

# A ring that holds the true point in so many of 100 cases lies this many standard errors out (chi-square, 2 degrees of
# freedom: the root of -2 ln(1 - share)).
HALF, MOST = math.sqrt(-2 * math.log(0.5)), math.sqrt(-2 * math.log(0.05))
LEAST_STEPS = 4.0


def merits_two_way(own, *, dots=(), club=None, goal=None, named=False, line=None, width=340, height=340):
    """SVG of one or more animals' merits on the scale of steps.

    own : list of dicts `label`, `mean` (surface, undercolor) and `covariance` (2, 2) of their errors: a cross with the
    ellipse that holds the true merits in 95 of 100 cases. dots : dicts surface, undercolor, label. club : None, or a
    dict `mean` and `covariance` (2, 2) of the club's merits: two dotted rings that hold half and 95 of 100 animals.
    named : whether each cross has its label beside it. line : (point, slope) of a straight line behind, or None.
    goal : ((low, high), (low, high)) or None.
    """
    rings = [charts.ellipse(each["mean"], each["covariance"], MOST) for each in own]
    behind = [charts.ellipse(club["mean"], club["covariance"], far) for far in (HALF, MOST)] if club else []
    points = [point for ring in [*rings, *behind] for point in ring]
    domains = _domains([*points, *((dot["surface"], dot["undercolor"]) for dot in dots)], goal)
    axes = charts.shade_axes("surface", "undercolor", **domains)
    layers = charts.goal_layer(goal, **domains) if goal else []
    layers += [_ring(each, axes, SOFT, 1.25, [2, 3]) for each in behind]
    if line:
        layers.append(_ring(_across(*line, **domains), axes, SOFT, 1.5, [8, 4]))
    if dots:
        layers.append({
            "data": {"values": list(dots)},
            "mark": {"type": "point", "filled": True, "size": 45, "opacity": 0.9, "stroke": INK, "strokeWidth": 1,
                     "clip": True},
            "encoding": {
                **axes,
                "fill": {"field": "surface", "type": "quantitative", "legend": None,
                         "scale": {"domain": [1, 9], "range": charts.SHADES}},
                "description": {"field": "label"},
            },
        })  # fmt: skip
    layers += [_ring(each, axes, ACCENT, 2, [1, 0]) for each in rings]
    marks = [{"surface": each["mean"][0], "undercolor": each["mean"][1], "label": each["label"]} for each in own]
    layers.append({
        "data": {"values": marks},
        "mark": {"type": "point", "shape": "cross", "size": 190, "fill": ACCENT, "stroke": "white", "clip": True},
        "encoding": {**axes, "description": {"field": "label"}},
    })  # fmt: skip
    if named:
        layers.append({
            "data": {"values": marks},
            "mark": {"type": "text", "dy": -15, "fontSize": 14, "fontWeight": "bold", "color": INK, "aria": False},
            "encoding": {**axes, "text": {"field": "label"}},
        })  # fmt: skip
    return drawn({"width": width, "height": height, "layer": layers})


def _ring(outline, axes, stroke, width, dash):
    return {
        "data": {"values": [{"surface": x, "undercolor": y, "i": i} for i, (x, y) in enumerate(outline)]},
        "mark": {"type": "line", "stroke": stroke, "strokeWidth": width, "strokeDash": dash, "aria": False,
                 "clip": True},
        "encoding": {**axes, "order": {"field": "i", "type": "quantitative"}},
    }  # fmt: skip


def _across(point, slope, x_domain, y_domain):
    """The two ends of a straight line within the drawing."""
    (left, right), (bottom, top) = x_domain, y_domain
    if slope:
        at = sorted((point[0] + (y - point[1]) / slope) for y in (bottom, top))
        left, right = max(left, at[0]), min(right, at[1])
    return [(x, point[1] + slope * (x - point[0])) for x in (left, right)]


def _domains(points, goal):
    """Close-ups of both scales, equally many steps wide, so that a round ring is drawn round."""
    ranges = []
    for place in (0, 1):
        values = [point[place] for point in points]
        values += [goal[place][0] - 0.5, goal[place][1] + 0.5] if goal else []
        ranges.append((min(values) - 0.3, max(values) + 0.3))
    wide = max(LEAST_STEPS, *(high - low for low, high in ranges))
    low_end, high_end = charts.WHOLE_SCALE
    wide = min(wide, high_end - low_end)
    found = []
    for low, high in ranges:
        start = max(low_end, min((low + high - wide) / 2, high_end - wide))
        found.append((start, start + wide))
    return dict(zip(("x_domain", "y_domain"), found, strict=True))


def slope_bars(rows, *, width=320, title="Steps a year"):
    """SVG of slopes with their intervals, one line each, zero marked.

    rows : dicts `label`, `value`, `low`, `high`, in what the axis' title says.
    """
    order = [row["label"] for row in rows]
    y = {"field": "label", "type": "nominal", "sort": order, "axis": {"title": None, "labelLimit": 120}}
    x = {"type": "quantitative", "axis": {"title": title, "tickCount": 6}, "scale": {"zero": True}}
    layers = [
        {
            "data": {"values": [{"at": 0}]},
            "mark": {"type": "rule", "stroke": SOFT, "strokeDash": [4, 3], "aria": False},
            "encoding": {"x": {**x, "field": "at"}},
        },
        {
            "data": {"values": rows},
            "mark": {"type": "rule", "stroke": INK, "strokeWidth": 3, "aria": False},
            "encoding": {"y": y, "x": {**x, "field": "low"}, "x2": {"field": "high"}},
        },
        {
            "data": {"values": rows},
            "mark": {"type": "point", "filled": True, "size": 110, "fill": ACCENT, "stroke": "white"},
            "encoding": {"y": y, "x": {**x, "field": "value"}, "description": {"field": "label"}},
        },
    ]
    return drawn({"width": width, "height": 46 * len(rows), "layer": layers})
