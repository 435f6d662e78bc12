"""The look of the pages, checked against WCAG 2.2 and our own rules for templates.

Contrast is computed by the formula of WCAG 2.2 itself (definitions of relative luminance and contrast ratio;
success criteria 1.4.3, 1.4.6 and 1.4.11), with its threshold of 0.04045 as in IEC 61966-2-1.
"""

import re
from itertools import pairwise
from pathlib import Path

import pytest
from django.contrib.auth.models import AnonymousUser

ROOT = Path(__file__).resolve().parent.parent
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
CSS = (ROOT / "static/css/argentry.css").read_text()
HEX = r"#[0-9a-f]{3,6}"


def luminance(colour):
    """Relative luminance, 0 to 1, of #rgb or #rrggbb."""
    digits = colour.lstrip("#")
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    channels = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    """Contrast ratio, 1 to 21."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def tokens(scheme):
    """The colours named in :root; the dark ones overlay the light ones."""
    light, dark = re.findall(r":root \{(.*?)\n\s*\}", CSS, re.S)[:2]
    found = dict(re.findall(rf"--([\w-]+): ({HEX});", light))
    return found if scheme == "light" else found | dict(re.findall(rf"--([\w-]+): ({HEX});", dark))


def ramp(name):
    """The nine colours of a ramp, step 1 first."""
    pattern = rf"--shade-[1-9]: ({HEX})" if name == "shade" else rf"\.{name}-[1-9] \{{ --of: ({HEX})"
    return re.findall(pattern, CSS)


def test_the_formula_gives_the_two_ends_that_the_standard_names():
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#777", "#777") == pytest.approx(1)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "card"])
@pytest.mark.parametrize("text", ["ink", "ink-soft", "accent", "caution", "error"])
def test_text_reaches_seven_to_one_on_paper_and_on_cards(scheme, ground, text):
    named = tokens(scheme)
    assert contrast(named[text], named[ground]) >= 7


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    ("text", "ground"),
    [
        ("ink", "sunk"),
        ("ink-soft", "sunk"),
        ("on-accent", "accent"),
        ("accent", "accent-wash"),
        ("caution", "caution-wash"),
        ("error", "error-wash"),
        ("ink", "error-wash"),
        ("on-cover", "cover"),
        ("paper", "ink"),
    ],
)
def test_text_reaches_at_least_four_and_a_half_to_one_on_every_other_ground(scheme, text, ground):
    named = tokens(scheme)
    assert contrast(named[text], named[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "card", "sunk"])
@pytest.mark.parametrize("edge", ["edge", "accent"])
def test_edges_of_controls_and_the_focus_ring_reach_three_to_one(scheme, ground, edge):
    named = tokens(scheme)
    assert contrast(named[edge], named[ground]) >= 3


@pytest.mark.parametrize("name", ["shade", "under", "cast"])
def test_the_number_on_every_step_of_a_ramp_can_be_read(name):
    white_on = re.search(r":is\((\.shade-1.*?)\) \{ --on: #fff; \}", CSS)[1]
    for step, colour in enumerate(ramp(name), 1):
        ink = "#fff" if f".{name}-{step}" in white_on else "#0b0d10"
        assert contrast(ink, colour) >= 4.5, f"{name}-{step}"


@pytest.mark.parametrize(("name", "brighter"), [("shade", True), ("under", False)])
def test_a_ramp_has_nine_steps_that_go_one_way_evenly(name, brighter):
    """CIE L* from relative luminance Y: 116 f(Y) - 16 (CIE 15, colorimetry)."""
    lightness = [116 * luminance(colour) ** (1 / 3) - 16 for colour in ramp(name)]
    steps = [(after - before) if brighter else (before - after) for before, after in pairwise(lightness)]
    assert len(lightness) == 9
    assert min(steps) > 7
    assert max(steps) < 13


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT / "templates")))
def test_a_template_holds_nothing_that_the_content_security_policy_refuses(path):
    markup = re.sub(r"\{#.*?#\}|\{% comment.*?endcomment %\}", "", path.read_text(), flags=re.S)
    assert not re.search(r"\sstyle\s*=", markup)
    assert not re.search(r"<style[\s>]", markup)
    assert not re.search(r"\son[a-z]+\s*=\s*[\"']", markup)
    assert "hx-on" not in markup
    assert "javascript:" not in markup
    for attributes, body in re.findall(r"<script\b([^>]*)>(.*?)</script>", markup, re.S):
        assert not body.strip() or 'type="application/json"' in attributes


def test_every_icon_that_a_template_names_is_in_the_sprite():
    sprite = set(re.findall(r'<symbol id="([\w-]+)"', (ROOT / "static/img/icons.svg").read_text()))
    for path in TEMPLATES:
        named = re.findall(r'(?:components/icon\.html" with name=|icon=|action_icon=)"([\w-]+)"', path.read_text())
        assert set(named) <= sprite, path


def test_the_style_sheets_stay_small():
    """Every page loads the shared three and one or two of an area's own."""
    sizes = {path.stem: path.stat().st_size for path in (ROOT / "static/css").glob("*.css")}
    assert sum(sizes.pop(name) for name in ("argentry", "components", "print")) < 40_000
    assert max(sizes.values()) < 8_000, sizes


@pytest.mark.django_db
def test_the_style_page_shows_every_component(rf):
    from clubsite.styleguide import styleguide

    request = rf.get("/styleguide/")
    request.user = AnonymousUser()
    page = styleguide(request).content.decode()
    assert page.count("<h1") == 1
    assert 'id="surface-9"' in page
    assert page.count("in the goal range") == 3 + 3  # undercolor 6 to 8 and ears 4 to 6, both already chosen
    assert "surface not seen" in page
