"""The drawings of a comparison: all things in one two-way plot, and a strip for each trait."""

import math

from django.utils.html import format_html, format_html_join
from django.utils.safestring import mark_safe

from grading import charts

SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")
DASHES = ([1, 0], [7, 4], [2, 3], [10, 3, 2, 3], [5, 2], [12, 5])
LANE, WIDTH, MARGIN = 22, 300, 14


def two_way(standings, planes, animals, goal, *, single=False):
    """SVG of surface shade against undercolor: a lettered mean and a ring for each thing, a dot for each animal.

    Things differ by letter, by the shape of their dots and by the dashes of their ring. `single`: the things are
    animals, and only the lettered marks are drawn.
    """
    axes = charts.shade_axes("surface", "undercolor")
    layers = charts.goal_layer(goal) if goal else []
    drawn = [(index, each) for index, each in enumerate(standings) if _has_both(planes.get(each.thing.key))]
    if not drawn:
        return ""
    for index, each in drawn:
        plane = planes[each.thing.key]
        if plane.covariance and not single:
            outline = charts.ellipse((plane.surface, plane.undercolor), plane.covariance)
            layers.append({
                "data": {"values": [{"surface": x, "undercolor": y, "i": i} for i, (x, y) in enumerate(outline)]},
                "mark": {"type": "line", "stroke": charts.INK, "strokeWidth": 1.5, "strokeDash": DASHES[index],
                         "aria": False},
                "encoding": {**axes, "order": {"field": "i", "type": "quantitative"}},
            })  # fmt: skip
    letters = {each.thing.key: each.thing.letter for each in standings}
    dots = [
        {
            "surface": surface, "undercolor": undercolor, "thing": letters[animal.keys[0]],
            "label": f"{animal.words}: surface {animal.surface:.1f}, undercolor {animal.undercolor:.1f}",
        }
        for animal, surface, undercolor in apart([animal for animal in animals if animal.both])
    ]  # fmt: skip
    if dots and not single:
        layers.append({
            "data": {"values": dots},
            "mark": {"type": "point", "filled": True, "size": 70, "opacity": 0.9, "stroke": charts.INK,
                     "strokeWidth": 1},
            "encoding": {
                **axes,
                "shape": {"field": "thing", "type": "nominal", "legend": None,
                          "scale": {"domain": list(letters.values()), "range": list(SHAPES[: len(letters)])}},
                "fill": {"field": "surface", "type": "quantitative", "legend": None,
                         "scale": {"domain": [1, 9], "range": charts.SHADES}},
                "description": {"field": "label"},
            },
        })  # fmt: skip
    marks = [
        {"surface": planes[each.thing.key].surface, "undercolor": planes[each.thing.key].undercolor,
         "letter": each.thing.letter, "label": f"{each.thing.letter}, {each.thing.name}"}
        for _, each in drawn
    ]  # fmt: skip
    layers += [
        {
            "data": {"values": marks},
            "mark": {"type": "point", "shape": "circle", "size": 420, "fill": "white", "stroke": charts.ACCENT,
                     "strokeWidth": 2.5, "opacity": 1},
            "encoding": {**axes, "description": {"field": "label"}},
        },
        {
            "data": {"values": marks},
            "mark": {"type": "text", "fontSize": 14, "fontWeight": "bold", "color": charts.ACCENT, "aria": False},
            "encoding": {**axes, "text": {"field": "letter"}},
        },
    ]  # fmt: skip
    return charts.drawn({"width": 400, "height": 400, "layer": layers})


def apart(animals):
    """(animal, surface, undercolor) where those that would cover each other are moved apart, as seeds in a head.

    The first at a place stays; the k-th lies 0.1 times the root of k steps away, a golden angle after the one before.
    """
    at: dict = {}
    moved = []
    for animal in animals:
        place = round(animal.surface, 1), round(animal.undercolor, 1)
        k = at[place] = at.get(place, -1) + 1
        away, angle = 0.1 * math.sqrt(k), 2.39996 * k
        moved.append((animal, animal.surface + away * math.cos(angle), animal.undercolor + away * math.sin(angle)))
    return moved


def _has_both(plane):
    return plane is not None and plane.surface is not None and plane.undercolor is not None


def legend_mark(index):
    """The shape that the dots of the thing at this place have in the plot, as a small drawing."""
    shapes = (
        '<circle cx="8" cy="8" r="5.5"/>', '<rect x="3" y="3" width="10" height="10"/>', '<path d="M8 2 14 13H2Z"/>',
        '<path d="M8 1 14 8 8 15 2 8Z"/>', '<path d="M6 2h4v4h4v4h-4v4H6v-4H2V6h4Z"/>', '<path d="M8 14 2 3h12Z"/>',
    )  # fmt: skip
    head = '<svg class="compare-shape" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true">'
    return mark_safe(f"{head}{shapes[index]}</svg>")  # noqa: S308 - constants of this file


def strip(trait, lanes, goal):
    """SVG of one trait: the scale, its goal, and a lane for each thing with its mean and one standard deviation.

    lanes : list of (letter, Figure or None) in order.
    """
    low, high = trait.scale_low, trait.scale_high
    step = (WIDTH - 2 * MARGIN) / (high - low)
    tall = LANE * len(lanes)

    def at(value):
        return round(MARGIN + (value - low) * step, 1)

    parts = []
    if goal:
        left, right = max(0, at(goal[0] - 0.4)), min(WIDTH, at(goal[1] + 0.4))
        parts.append(format_html('<rect class="strip-goal" x="{}" y="0" width="{}" height="{}"/>', left,
                                 round(right - left, 1), tall))  # fmt: skip
    for number in range(low, high + 1):
        parts.append(format_html('<path class="strip-rule" d="M{} 0V{}"/><text class="strip-step" x="{}" y="{}">{}'
                                 "</text>", at(number), tall, at(number), tall + 15, number))  # fmt: skip
    said = []
    for lane, (letter, figure) in enumerate(lanes):
        if figure is None:
            continue
        y = LANE * (lane + 0.5)
        if figure.sd:
            left, right = at(max(low - 0.4, figure.mean - figure.sd)), at(min(high + 0.4, figure.mean + figure.sd))
            parts.append(format_html('<path class="strip-spread" d="M{0} {1}H{2}M{0} {3}V{4}M{2} {3}V{4}"/>',
                                     left, y, right, y - 4, y + 4))  # fmt: skip
        parts.append(format_html('<circle class="strip-mean" cx="{0}" cy="{1}" r="9.5"/><text class="strip-letter" '
                                 'x="{0}" y="{2}">{3}</text>', at(figure.mean), y, y + 4.5, letter))  # fmt: skip
        said.append(f"{letter} {figure.mean:.1f}")
    return format_html(
        '<svg class="strip" viewBox="0 0 {} {}" role="img" aria-label="{}">{}</svg>',
        WIDTH, tall + 20, f"{trait.name}: {', '.join(said) or 'nothing graded'}",
        format_html_join("", "{}", ((part,) for part in parts)),
    )  # fmt: skip
