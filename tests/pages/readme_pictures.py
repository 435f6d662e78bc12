"""Takes the README's pictures from a running demo club: python -m tests.pages.readme_pictures BASE_URL PASSWORD."""

import io
import re
import shutil
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "pictures"
KEEPER, HERD = "keeper@wrenmoor.example", "larkhollow"
PHONE, DESK = {"width": 360, "height": 760}, {"width": 1100, "height": 760}
MOST_BYTES = 120_000
GAP = 24


def main(base, password):
    with sync_playwright() as play:
        chromium = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))))
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-dev-shm-usage"])
        context = browser.new_context(base_url=base, viewport=PHONE, device_scale_factor=1.5, locale="en-GB")
        page = context.new_page()
        sign_in(page, password)
        page.goto("/today/")
        keep("today", shot(page))
        animal = most_photographed(page)
        keep("look", *look(page, animal))
        page.goto(animal)
        looks = shot(page, "#panel-looks, [aria-labelledby^=panel-]")
        page.goto(f"{animal}photos/")
        keep("animal", looks, shot(page, "#photos, h1"))
        page.goto("/sires/?scope=club&sort=-animals")
        page.goto(page.locator("tbody th a").first.get_attribute("href"))
        keep("sire", shot(page), shot(page, ".plots"))
        page.goto("/years/?scope=club")
        keep("years", shot(page))
        page.set_viewport_size(DESK)
        page.goto(f"/herds/{HERD}/")
        keep("herd", shot(page, "#animals"))
        browser.close()


def sign_in(page, password):
    page.goto("/account/login/")
    page.get_by_label("E-mail address").fill(KEEPER)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.wait_for_url("**/today/")


def shot(page, at=None):
    """What the screen shows, from the top of the page or from the part `at` on."""
    if at:
        page.locator(at).first.evaluate("part => scrollTo(0, part.getBoundingClientRect().top + scrollY - 12)")
    page.wait_for_load_state("networkidle")
    return Image.open(io.BytesIO(page.screenshot(animations="disabled"))).convert("RGB")


def most_photographed(page):
    """The address of the animal of the herd's list whose page shows the most photos."""
    page.goto(f"/herds/{HERD}/")
    addresses = [link.get_attribute("href") for link in page.locator("tbody th a").all()]
    counts = {each: page.request.get(each).text().count('class="photo"') for each in addresses}
    return max(counts, key=counts.get)


def look(page, animal):
    """Two sections of a look with a step chosen in each; the look is taken back afterwards."""
    page.goto(f"{animal}look/")
    page.get_by_label("in hand").check()
    page.get_by_label("Open shade").check()
    page.get_by_role("button", name="From three paces").click()
    number = re.search(r"/looks/(\d+)/", page.url).group(1)
    taken = []
    for section, scale, step in ((1, "surface_shade", 6), (3, "undercolor--shoulder", 7)):
        page.goto(f"/looks/{number}/section/{section}/")
        page.locator(f"#scale-{scale} label.s{step}").click()
        page.locator(f"#scale-{scale} .scale-goal").wait_for()
        page.evaluate("scrollTo(0, 0)")
        taken.append(shot(page))
    page.goto(f"/looks/{number}/remove/")
    page.get_by_role("button", name="Take it back").click()
    return taken


def keep(name, *screens):
    """Screens side by side as one PNG of few colours, small enough for a page that many load."""
    width = sum(each.width for each in screens) + GAP * (len(screens) - 1)
    whole = Image.new("RGB", (width, max(each.height for each in screens)), "white")
    left = 0
    for each in screens:
        whole.paste(each, (left, 0))
        left += each.width + GAP
    for share in (1, 0.8, 0.7, 0.6):  # fewer colours would turn a slate undercolor grey
        size = (round(whole.width * share), round(whole.height * share))
        file = io.BytesIO()
        small = whole.resize(size, Image.Resampling.LANCZOS).quantize(256, kmeans=2, dither=Image.Dither.NONE)
        small.save(file, "PNG", optimize=True)
        if len(file.getvalue()) < MOST_BYTES:
            break
    else:
        raise SystemExit(f"{name}.png cannot be made smaller than {MOST_BYTES:,} bytes.")
    (FOLDER / f"{name}.png").write_bytes(file.getvalue())
    sys.stdout.write(f"{name}.png: {small.width} x {small.height}, {len(file.getvalue()):,} bytes\n")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        raise SystemExit(__doc__)
    main(*sys.argv[1:])
