"""Two small plots of one animal's looks, as SVG with presentation attributes only: surface always with undercolor."""

from django.utils.html import format_html, format_html_join

INK, SOFT, RULE, ACCENT, WASH = "#1b2027", "#474d55", "#cdc5b4", "#58287d", "#ebe2f0"
LOW, HIGH = 0.5, 9.5  # half a step of room around 1 to 9
STEPS = range(1, 10)
GOAL_ROOM = 0.4  # a goal of 7 to 8 takes in both steps


def pair_plot(earlier, later, goals):
    """Surface across, undercolor up: where the earlier look stood, where the later stands, and the goal between.

    Both looks need surface and undercolor; `goals` gives (low, high) by column. None when there is nothing to draw.
    """
    points = [(look.surface, look.undercolor) for look in (earlier, later) if look is not None]
    if not points or any(value is None for point in points for value in point):
        return None
    left, top, side = 44, 10, 216
    unit = side / (HIGH - LOW)

    def across(step):
        return left + (step - LOW) * unit

    def up(step):
        return top + side - (step - LOW) * unit

    (x1, y1), (x2, y2) = [(across(surface), up(under)) for surface, under in (points[0], points[-1])]
    label = "Now" if len(points) == 2 else ""
    words = f"surface {points[-1][0]:.1f}, undercolor {points[-1][1]:.1f}"
    title = f"From surface {points[0][0]:.1f}, undercolor {points[0][1]:.1f} to {words}" if label else words
    return _svg(
        300,
        268,
        title,
        [
            _goal_box(goals, across, up),
            _frame(left, top, side, side),
            *[_text(across(step), top + side + 16, step, anchor="middle") for step in STEPS],
            *[_text(left - 8, up(step) + 4, step, anchor="end") for step in STEPS],
            _text(left + side / 2, top + side + 34, "surface: brighter to the right", anchor="middle"),
            format_html('<g transform="translate(12 {}) rotate(-90)">{}</g>', top + side / 2, _text(
                0, 0, "undercolor: darker upward", anchor="middle")),
            _arrow(x1, y1, x2, y2),
            _dot(x1, y1, filled=len(points) == 1),
            _dot(x2, y2, filled=True),
            *_pair_labels(points, x1, y1, x2, y2),
        ],
    )  # fmt: skip


def time_plot(looks, goals, born_on):
    """Two lanes above one another, surface and undercolor against age in months (or days without a birth date).

    `looks` is oldest first. Round: in hand; square: from photos; hollow: provisional. None without any number.
    """
    looks = [look for look in looks if look.surface is not None or look.undercolor is not None]
    if not looks:
        return None
    start = born_on or looks[0].observed_on
    ages = [(look.observed_on - start).days / 30.4375 for look in looks]
    first, last = min(ages), max(ages)
    pad = max(0.5, (last - first) * 0.08)
    first, last = first - pad, last + pad
    left, width, lane, gap = 34, 300, 84, 26

    def across(age):
        return left + (age - first) / (last - first) * width

    parts = []
    for number, (name, words) in enumerate(
        [("surface", "surface, 9 nearly white"), ("undercolor", "undercolor, 9 nearly black")]
    ):
        parts += _lane(name, words, looks, ages, goals.get(name), across, left, width, 18 + number * (lane + gap), lane)
    bottom = 18 + 2 * lane + gap
    parts += [_text(across(month), bottom + 16, month, anchor="middle") for month in _ticks(first, last)]
    unit = "age in months" if born_on else "months since the first look"
    parts.append(_text(left + width / 2, bottom + 33, unit, anchor="middle"))
    return _svg(350, bottom + 42, f"Surface and undercolor of {len(looks)} looks by age", parts)


def _lane(name, words, looks, ages, goal, across, left, width, top, height):
    unit = height / (HIGH - LOW)

    def up(step):
        return top + height - (step - LOW) * unit

    parts = [_text(left, top - 5, words)]
    if goal:
        low, high = goal[0] - GOAL_ROOM, goal[1] + GOAL_ROOM
        parts.append(_rect(left, up(high), width, up(low) - up(high), WASH, ACCENT))
    parts += [_frame(left, top, width, height)]
    parts += [_text(left - 6, up(step) + 4, step, anchor="end") for step in (1, 5, 9)]
    told = [(across(age), up(value), look) for look, age in zip(looks, ages, strict=True)
            if (value := getattr(look, name)) is not None]  # fmt: skip
    if len(told) > 1:
        line = " ".join(f"{x:.1f},{y:.1f}" for x, y, _ in told)
        parts.append(format_html('<polyline points="{}" fill="none" stroke="{}" stroke-width="1.5"/>', line, SOFT))
    return parts + [_dot(x, y, filled=not look.provisional, square=look.mode == "photo") for x, y, look in told]


def _ticks(first, last):
    """Whole months to label: at most eight."""
    months = range(max(0, int(first) + 1), int(last) + 1)
    step = next(size for size in (1, 2, 3, 6, 12, 24, 48, 96) if len(months) / size <= 8)
    return [month for month in months if month % step == 0]


def _pair_labels(points, x1, y1, x2, y2):
    if len(points) == 1:
        return []
    if abs(x1 - x2) < 1 and abs(y1 - y2) < 1:
        return [_label(x2, y2, "then and now", right=x2 < 150)]
    then_right = x1 >= x2
    return [_label(x1, y1, "then", right=then_right), _label(x2, y2, "now", right=not then_right, bold=True)]


def _goal_box(goals, across, up):
    if not (goals.get("surface") and goals.get("undercolor")):
        return ""
    left, right, low, high = (
        step + room
        for name in ("surface", "undercolor")
        for step, room in zip(goals[name], (-GOAL_ROOM, GOAL_ROOM), strict=True)
    )
    box = _rect(across(left), up(high), across(right) - across(left), up(low) - up(high), WASH, ACCENT)
    return format_html("{}{}", box, _text(across(left) + 4, up(high) + 14, "goal", fill=ACCENT))


def _arrow(x1, y1, x2, y2):
    length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
    if length < 20:
        return ""
    dx, dy = (x2 - x1) / length, (y2 - y1) / length
    tip, foot = (x2 - dx * 8, y2 - dy * 8), (x2 - dx * 17, y2 - dy * 17)
    wings = [(foot[0] - dy * 4.5, foot[1] + dx * 4.5), (foot[0] + dy * 4.5, foot[1] - dx * 4.5)]
    head = " ".join(f"{x:.1f},{y:.1f}" for x, y in (tip, *wings))
    return format_html(
        '<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="{}" stroke-width="2"/><polygon points="{}" fill="{}"/>',
        *(f"{value:.1f}" for value in (x1 + dx * 7, y1 + dy * 7, *foot)), INK, head, INK,
    )  # fmt: skip


def _dot(x, y, *, filled, square=False):
    fill = INK if filled else "#fdfbf6"
    if square:
        return format_html(
            '<rect x="{}" y="{}" width="10" height="10" fill="{}" stroke="{}" stroke-width="2"/>',
            f"{x - 5:.1f}", f"{y - 5:.1f}", fill, INK,
        )  # fmt: skip
    return format_html(
        '<circle cx="{}" cy="{}" r="5.5" fill="{}" stroke="{}" stroke-width="2"/>', f"{x:.1f}", f"{y:.1f}", fill, INK
    )


def _label(x, y, words, *, right, bold=False):
    """A word beside a dot, on the side away from the other dot."""
    return _text(x + (10 if right else -10), y - 8, words, anchor="start" if right else "end", bold=bold, fill=INK)


def _text(x, y, words, *, anchor="start", fill=SOFT, bold=False):
    return format_html(
        '<text x="{}" y="{}" text-anchor="{}" fill="{}" font-size="13" font-weight="{}">{}</text>',
        f"{x:.1f}", f"{y:.1f}", anchor, fill, "700" if bold else "400", words,
    )  # fmt: skip


def _rect(x, y, width, height, fill, stroke):
    return format_html(
        '<rect x="{}" y="{}" width="{}" height="{}" fill="{}" stroke="{}" stroke-dasharray="5 3"/>',
        *(f"{value:.1f}" for value in (x, y, width, height)), fill, stroke,
    )  # fmt: skip


def _frame(x, y, width, height):
    return format_html(
        '<rect x="{}" y="{}" width="{}" height="{}" fill="none" stroke="{}"/>', x, y, width, height, SOFT
    )


def _svg(width, height, title, parts):
    body = format_html_join("", "{}", ((part,) for part in parts if part))
    return format_html(
        '<svg class="look-plot" viewBox="0 0 {} {}" width="{}" height="{}" role="img" aria-label="{}" '
        'font-family="system-ui, sans-serif">{}</svg>',
        width, height, width, height, title, body,
    )  # fmt: skip
