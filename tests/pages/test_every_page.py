"""Every page that a keeper, an officer or a registrar can open, on a phone: seen by axe, weighed, measured, silent."""

from collections import defaultdict

import pytest
from django.urls import reverse

from grading.models import Look, Trait
from grading.taken_away import read_looks
from pedigrees.actions.inbreeding import refresh_due
from pedigrees.actions.population import work_out_all
from tests.addresses import ROWS, make_things
from tests.cast import make_cast
from tests.factories import make_evaluation, make_look

from .walker import found_wrong, fresh_folder, keep_picture, quiet
from .world import make_club, make_rich

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]

WIDTH = 360
MOST_BYTES = 250_000  # of one page on its first load, its photos left out
PICTURES_OF_ANIMALS = ("/photos/", "/steps/")
# Files, fragments, answers for machines, and an address that leads on: nobody opens them as a page.
NO_PAGES = {
    "account-data", "animal-suggest", "cage-cards-file", "certificate-file", "club-picture", "feed", "healthz",
    "photo-figure", "photo-file", "photo-state", "photo-strip", "profile-file", "sheet-file", "step-picture",
    "year-report-file", "calibration-photo", "review-photo", "practice-photo",
    "season-detail",
} | {name for name in ROWS if name.endswith("-csv")}  # fmt: skip
# Pages on which an officer or a registrar finds more than a keeper does.
ALSO_THEIRS = {"animal-detail", "certificate-detail", "certificate-list", "grant-list", "herd-detail", "herd-list",
               "member-detail", "member-list", "today", "transfer-list"}  # fmt: skip
# Whoever is signed in is told to sign out first; the schedule of this look has no positions to give points for.
ANSWERS = {"invitation-accept": 409, "look-points": 409}
OF_THE_LIBRARY = ("account_change_password", "account_email", "account_logout", "mfa_index", "usersessions_list")


def pages_of(who):
    """(name, row) of the pages this person opens: all of the keeper's; of the others what the keeper cannot open."""
    for name, row in sorted(ROWS.items()):
        theirs = who == "keeper" or "keeper" not in row.let_in or name in ALSO_THEIRS
        if theirs and row.method == "get" and who in row.let_in and name not in NO_PAGES:
            yield name, row


def evaluate_by_hand(cast):
    """Merits of every animal for surface shade and undercolor, and all levels of the effects, for pages to tell."""
    looks = Look.objects.current().filter(animal__breed=cast.sire.breed_id)
    rows = read_looks(looks)
    fixed = {effect: {key: [0.1 * (place % 3), 9] for place, key in enumerate(sorted(set(keys)))}
             for effect, keys in rows.level.items()}  # fmt: skip
    animals = list(cast.sire.breed.animals.order_by("pk"))
    make_evaluation(
        cast.sire.breed,
        {
            Trait.objects.get(summary=summary): {
                animal: (sign * 0.1 * (place % 9), 0.1 * (place % 9)) for place, animal in enumerate(animals)
            }
            for summary, sign in (("surface", 1), ("undercolor", -1))
        },
        genetic=-0.5,
        fixed=fixed,
    )


class Scales:
    """Counts what comes over the wire for each page."""

    def __init__(self, page):
        self.tally, self.urls, self.opened = defaultdict(int), {}, ""
        self.line = page.context.new_cdp_session(page)
        self.line.send("Network.enable")
        self.line.send("Network.setCacheDisabled", {"cacheDisabled": True})
        self.line.on("Network.responseReceived", self.begun)
        self.line.on("Network.loadingFinished", self.finished)

    def begun(self, said):
        self.urls[said["requestId"]] = said["response"]["url"]

    def finished(self, said):
        url = self.urls.get(said["requestId"], "")
        if not any(part in url for part in PICTURES_OF_ANIMALS) or url == self.opened:
            self.tally[self.opened] += said["encodedDataLength"]


@pytest.mark.parametrize("who", ["keeper", "registrar", "officer"])
def test_every_page_is_open_to_all_light_narrow_and_silent(transactional_db, person, live_server, who):
    make_club()
    cast = make_cast()
    things = make_things(cast)
    make_rich(cast)
    make_look(cast.daughter, cast.grader)
    evaluate_by_hand(cast)
    refresh_due()
    work_out_all()
    context = person(cast.client_of(who))
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.set_viewport_size({"width": WIDTH, "height": 740})
    complaints, wrong = [], []
    quiet(context, complaints)
    scales = Scales(page)
    addresses = [
        (name, reverse(name, args=[things[arg] for arg in row.args]),
         "&".join(f"{key}={things[arg]}" for key, arg in row.query.items()))
        for name, row in pages_of(who)
    ]  # fmt: skip
    if who == "keeper":
        addresses += [(name, reverse(name), "") for name in OF_THE_LIBRARY]
        compared = {
            "sires": (cast.sire.pk, cast.other_buck.pk), "animals": (cast.daughter.pk, cast.sire.pk),
            "herds": (cast.herd.pk, cast.other_herd.pk), "lines": (things["line"], things["other_line"]),
        }  # fmt: skip
        addresses += [
            (f"compare {kind}", reverse("compare"), f"kind={kind}&basis=all&with={first}&with={second}")
            for kind, (first, second) in compared.items()
        ]
        addresses.append(("relation-empty", reverse("relation"), ""))
        addresses += [(name, reverse(name), "scope=club") for name in ("sire-list", "year-list")]
        addresses.append(("sire-list by merit", reverse("sire-list"), "sort=-merit_surface"))
        addresses.append(("sire-detail all traits", reverse("sire-detail", args=[cast.sire.pk]), "traits=all"))
        addresses += [
            (f"look-section {number}", reverse("look-section", args=[things["open_look"], number]), "")
            for number in range(2, 6)
        ]
    assert len(addresses) > 5
    folder = fresh_folder("pages", who)
    for name, path, query in addresses:
        url = f"{live_server.url}{path}" + (f"?{query}" if query else "")
        scales.opened = url
        answer = page.goto(url, wait_until="load")
        expected = ANSWERS.get(name, 200)
        found = [] if answer.status == expected else [f"it answers {answer.status}"]
        found += found_wrong(page, WIDTH)
        keep_picture(page, folder / f"{name}.png".replace(" ", "-"), WIDTH)
        if scales.tally[url] > MOST_BYTES:
            found.append(f"it weighs {scales.tally[url]:,} bytes")
        found += [f"the console says: {each}" for each in complaints]
        complaints.clear()
        wrong += [f"{name} ({path}): {each}" for each in found]
    heaviest = max(scales.tally, key=scales.tally.get)
    assert scales.tally[heaviest] > 20_000, "nothing was weighed"
    assert not wrong, "\n".join(wrong)


def test_what_is_left_out_of_the_walk_is_no_page(cast):
    things = make_things(cast)
    for name in sorted(NO_PAGES):
        reader = "keeper" if "keeper" in ROWS[name].let_in else min(ROWS[name].let_in)
        answer = cast.client_of(reader).get(reverse(name, args=[things[arg] for arg in ROWS[name].args]))
        content = answer.getvalue() if answer.streaming else answer.content
        assert b"<html" not in content, name
