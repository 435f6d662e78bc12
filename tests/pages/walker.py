"""A browser page that looks closely at every state it is shown: axe, width, console, headings, and a picture."""

import re
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.urls import reverse
from playwright.sync_api import Error

PICTURES = Path(__file__).resolve().parent.parent / "pictures"
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
AXE = {"runOnly": {"type": "tag", "values": WCAG}, "resultTypes": ["violations"]}
# The pictures on the screen are loaded, or three seconds have passed.
PICTURES_ARE_THERE = """() => Promise.race([
  Promise.all([...document.images].filter((each) => each.offsetParent).map((each) => each.decode().catch(() => {}))),
  new Promise((later) => setTimeout(later, 3000)),
])"""
MOST_TURNS = 3
HEIGHTS = {360: 740, 1280: 800}
# What Chromium itself writes for an answer of 409 or 422, which is how a form says what is wrong.
REFUSED = re.compile(r"Failed to load resource: the server responded with a status of (409|422)")


def quiet(context, complaints):
    """Collect in `complaints` what any page of the context says at the level of a warning or an error."""

    def heard(message):
        if message.type in ("error", "warning") and not REFUSED.match(message.text):
            complaints.append(f"{message.page.url if message.page else ''}: {message.text}")

    context.on("console", heard)
    context.on("weberror", lambda error: complaints.append(str(error.error)))


def sign_in(context, client, base):
    """Hand the session of a signed-in test client to the browser."""
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": base}])


def found_by_axe(page):
    """What axe finds on the page, as 'rule: selector (what is wrong)'."""
    violations = Axe().run(page, options=AXE).response["violations"]
    return [f"{each['id']}: {node['target']} ({each['help']})" for each in violations for node in each["nodes"]]


def found_wrong(page, width):
    """Everything about the page as it stands that no page of ours may have, in sentences."""
    seen = page.evaluate(
        """() => ({
          width: document.documentElement.scrollWidth,
          headings: document.querySelectorAll("h1").length,
          bare: [...document.images].filter((image) => !image.hasAttribute("alt")).map((image) => image.outerHTML),
          broken: [...document.images].filter((image) => image.complete && !image.naturalWidth && image.src)
                  .map((image) => image.src),
          surface: [...document.querySelectorAll("[class*='shade-']")]
                   .filter((part) => !part.closest(".scale, .look-steps, .coat, .look-answers, svg"))
                   .map((part) => part.outerHTML),
        })"""
    )
    found = found_by_axe(page)
    if seen["width"] > width:
        found.append(f"it is {seen['width']} px wide on a screen of {width}")
    if seen["headings"] != 1:
        found.append(f"it has {seen['headings']} headings of the first rank")
    found += [f"an image without alt: {each}" for each in seen["bare"]]
    found += [f"an image that does not load: {each}" for each in seen["broken"]]
    found += [f"a surface shade without its undercolor: {each}" for each in seen["surface"]]
    return found


def keep_picture(page, path, width):
    """A picture of the whole page, on a screen as tall as it: bars stuck to the screen's edge hide nothing then.

    The caret stays: to hide it, the driver styles every field for a moment, and htmx, at work in that moment,
    would copy the style against our content policy.
    """
    tall = min(6000, max(HEIGHTS[width], page.evaluate("document.documentElement.scrollHeight")))
    page.set_viewport_size({"width": width, "height": tall})
    page.evaluate(PICTURES_ARE_THERE)
    page.screenshot(path=path, animations="disabled", caret="initial")
    page.set_viewport_size({"width": width, "height": HEIGHTS[width]})


def fresh_folder(*parts):
    """A folder for pictures, those of the last run taken out."""
    folder = PICTURES.joinpath(*parts)
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("*.png"):
        old.unlink()
    return folder


class Walker:
    """One person's way through the site at one width. `see` keeps and checks each state."""

    def __init__(self, context, base, journey, width, after=None):
        self.base, self.width = base, width
        self.folder = after.folder if after else fresh_folder(journey, str(width))
        self.count = after.count if after else 0
        self.wrong, self.complaints = [], []
        quiet(context, self.complaints)
        self.page = self.another(context)

    def another(self, context):
        """One more page of the same size, of this context or of another person's."""
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.set_viewport_size({"width": self.width, "height": HEIGHTS[self.width]})
        return page

    def to(self, name, *args, page=None, query=""):
        answer = (page or self.page).goto(self.base + reverse(name, args=args) + query)
        assert answer.status == 200, (name, answer.status)

    def fill(self, **values):
        """Fill the fields of the page's form by their names."""
        for name, value in values.items():
            self.page.get_by_role("main").locator(f"[name={name}]").fill(value)

    def press(self, name, page=None, role="button"):
        """Press what bears this name, a notice in the way closed first."""
        page = page or self.page
        close_notices(page)
        page.get_by_role("main").get_by_role(role, name=name, exact=True).first.click()

    def see(self, name, page=None):
        """Keep a picture of this state and note everything that is wrong with it."""
        page = page or self.page
        self.count += 1
        for _ in range(MOST_TURNS):
            page.wait_for_load_state()
            try:
                keep_picture(page, self.folder / f"{self.count:02}-{name}.png", self.width)
                found = found_wrong(page, self.width)
                break
            except Error as error:  # the answer to what was pressed took the page away under the look at it
                if "navigation" not in str(error):
                    raise
        self.wrong += [f"{self.count:02}-{name}: {each}" for each in found]

    def arrive(self, expected=None):
        """The end of the way: nothing was wrong on it, and the browser complained of nothing that is not `expected`."""
        assert not self.wrong, "\n".join(self.wrong)
        unexpected = [each for each in self.complaints if not (expected and re.search(expected, each))]
        assert not unexpected, "\n".join(unexpected)


def close_notices(page):
    for close in page.get_by_label("Close this notice").all():
        close.click()
