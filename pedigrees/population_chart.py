"""Inbreeding by birth year, drawn on the server."""

from clubsite.charts import ACCENT, GOAL, drawn
from pedigrees.words import percent


def by_year(years, *, width=360, height=220):
    """A line of means over a band from the 10th to the 90th hundredth; years that are held back are left out."""
    rows = [
        {name: row[name] if name == "year" else 100 * row[name] for name in ("year", "mean", "low", "high")}
        for row in years
        if not row["held"]
    ]
    if not rows:
        return ""
    rows = [row | {"label": f"{row['year']}: mean {percent(row['mean'] / 100)}"} for row in rows]
    ticks = sorted({row["year"] for row in rows})
    x = {
        "field": "year", "type": "quantitative", "scale": {"nice": False, "zero": False, "padding": 12},
        "axis": {"title": "Born in", "format": "d", "values": ticks[:: max(1, len(ticks) // 8)], "grid": False},
    }  # fmt: skip
    title = "Inbreeding, percent"
    band = {"x": x, "y": {"field": "low", "type": "quantitative", "title": title}, "y2": {"field": "high"}}
    mean = {"x": x, "y": {"field": "mean", "type": "quantitative", "title": title}}
    layers = [
        {
            "mark": {"type": "area", "color": GOAL, "stroke": ACCENT, "strokeDash": [4, 3], "aria": False},
            "encoding": band,
        },
        {"mark": {"type": "line", "color": ACCENT, "strokeWidth": 2, "aria": False}, "encoding": mean},
        {
            "mark": {"type": "point", "filled": True, "size": 70, "color": ACCENT, "stroke": "white"},
            "encoding": mean | {"description": {"field": "label"}},
        },
    ]
    return drawn({"width": width, "height": height, "data": {"values": rows}, "layer": layers})
