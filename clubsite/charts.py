"""Charts drawn on the server as inline SVG without script or style, from plain Vega-Lite dicts.

Every chart stands beside a table of the same numbers (templates/components/chart.html).
"""

import json
import re
from functools import lru_cache

import vl_convert
from django.utils.safestring import mark_safe

INK, SOFT, RULE, ACCENT, GOAL = "#1b2027", "#474d55", "#cdc5b4", "#58287d", "#ebe2f0"
KEPT = 256  # charts of at most some 50 kB
FONT = "system-ui, sans-serif"
CONFIG = {
    "background": None,
    "font": FONT,
    "axis": {
        "labelColor": INK,
        "titleColor": INK,
        "gridColor": RULE,
        "domainColor": SOFT,
        "tickColor": SOFT,
        "labelFontSize": 13,
        "titleFontSize": 13,
        "titleFontWeight": "normal",
        "titlePadding": 8,
    },
    "view": {"stroke": SOFT},
    "aria": True,
}


def drawn(spec):
    """The SVG of a Vega-Lite dict, safe to put into a page: no script, no style attribute, no outside address."""
    spec = {"$schema": "https://vega.github.io/schema/vega-lite/v5.json", "config": CONFIG, **spec}
    return _drawn(json.dumps(spec))


@lru_cache(maxsize=KEPT)
def _drawn(spec):
    """The same by its text, so that a chart of the same numbers is drawn once in a process: it takes 20 to 80 ms."""
    svg = vl_convert.vegalite_to_svg(spec, allowed_base_urls=[])
    svg = re.sub(r'(<svg[^>]*?) width="[^"]*" height="[^"]*"', r"\1", svg, count=1)
    return mark_safe(svg)  # noqa: S308 - vl-convert escapes every text
