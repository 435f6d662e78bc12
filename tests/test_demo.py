"""The invented club holds what it promises, and its records show the truth that was built in."""

import io
import itertools
from collections import Counter
from datetime import date

import numpy as np
import piexif
import pytest
from django.db import connection
from django.db.models import Avg, F, Q
from PIL import Image

from clubsite.members.models import Club, Member
from fixtures.demo import build, people, photos, truth
from grading import photo_files as files
from grading.beliefs import reading
from grading.look_sheet import LookSheet
from grading.models import Look, Photo, PointsLine, PointsSheet, Review, SeasonItem, StepText, ViewWish
from grading.points.reading import Points
from grading.review_reading import sides_of
from herds.models import Animal, AnimalGrant, Correction, Herd, Kit, Litter, Mark, Mating, Quarantine, Transfer

TODAY = date(2026, 11, 25)
pytestmark = [pytest.mark.slow, pytest.mark.django_db]


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker):
    """The club without photos, built once for this module and taken away after it."""
    from django.db import transaction

    with django_db_blocker.unblock():
        try:
            with transaction.atomic():
                built = build.build(today=TODAY, password="not used")
                connection.check_constraints()  # once here, or after each test anew: seconds each time
                yield built
                raise _TakeAway
        except _TakeAway:
            pass


class _TakeAway(Exception):
    pass


def test_the_club_has_the_size_it_promises(world):
    assert Member.objects.count() == 12
    assert Herd.objects.count() == 9
    assert 800 <= Animal.objects.count() <= 1000
    assert 2700 <= Look.objects.count() <= 3300
    assert Animal.objects.filter(born_on__gt=date(2020, 12, 1)).dates("born_on", "year").count() >= 6
    assert Club.current().is_demo


def test_nobody_in_it_can_be_a_person(world):
    # RFC 2606 reserves .example: no address under it belongs to anybody.
    assert all(member.email.endswith(".example") for member in Member.objects.all())


@pytest.mark.parametrize(
    "rows",
    [
        Litter.objects.filter(sire__isnull=True),
        Correction.objects.filter(field="sex"),
        Mark.objects.filter(replaced_by__isnull=False),
        Transfer.objects.filter(outcome="accepted"),
        Transfer.objects.filter(outcome="open"),
        Kit.objects.filter(fostered_to__isnull=False),
        Kit.objects.filter(white_at=["head"]),
        Animal.objects.filter(imported=True),
        Look.objects.filter(supersedes__isnull=False),
        Look.objects.filter(disqualified=True),
        Look.objects.filter(provisional=True),
        Quarantine.objects.filter(ended_on__isnull=True),
        Mating.objects.filter(mated_on=date(2026, 11, 13)),
        Herd.objects.filter(grants__revoked_at__isnull=False),
        Member.objects.filter(guardian__isnull=False),
    ],
    ids=lambda rows: f"{rows.model.__name__} {rows.query.where}"[:60],
)
def test_the_awkward_cases_are_there(world, rows):
    assert rows.all().exists()


def test_no_parent_is_of_the_wrong_sex_or_too_young(world):
    assert not Animal.objects.filter(Q(sire__sex="doe") | Q(dam__sex="buck")).exists()
    children = Animal.objects.filter(born_on__isnull=False)
    for parent in ("sire", "dam"):
        ages = children.filter(**{f"{parent}__isnull": False}).annotate(gap=F("born_on") - F(f"{parent}__born_on"))
        assert min(age for age in ages.values_list("gap", flat=True)).days >= 133


def test_the_summary_of_a_look_is_the_mean_of_its_answers(world):
    for look in Look.objects.filter(supersedes__isnull=True).order_by("pk")[:50]:
        for name in ("surface", "undercolor", "reach"):
            mean = look.answers.filter(trait__summary=name).aggregate(mean=Avg("step"))["mean"]
            assert getattr(look, name) == (None if mean is None else pytest.approx(float(mean)))


def test_the_graders_leanings_can_be_seen_in_their_looks(world):
    """Each grader's mean difference from the built-in truth, in steps, is near the leaning that was built in."""
    by_name = {person.name: person for person in people.PEOPLE}
    rows = Look.objects.filter(mode="in_hand", supersedes__isnull=True, surface__isnull=False)
    rows = rows.filter(animal__breed=world.breed)
    off: dict = {}
    for look in rows.select_related("observer"):
        steps = truth.seen(world.coats[look.animal_id], look.age_days, look.coat_stage)
        if 2 < steps[0] < 8:  # away from the ends of the scale, where a step cannot lean further
            off.setdefault(look.observer.name, []).append(look.surface - steps[0])
    for name in ("Perpetua Strand", "Osric Dunnable", "Linnet Farraway"):
        mean, error = np.mean(off[name]), np.std(off[name]) / len(off[name]) ** 0.5
        assert abs(mean - by_name[name].lean[0]) < 4 * error + 0.1


def test_points_stand_beside_some_looks_and_one_sheet_raises_questions(world):
    sheets = PointsSheet.objects.select_related("look__animal", "look__age_class")
    assert 100 <= sheets.count() <= 300
    for line in PointsLine.objects.select_related("position"):  # written past the trigger
        assert 0 <= line.points <= line.position.points
        assert line.points % line.position.step == 0
        assert not line.position.by_weight
    asked = {sheet.look.animal.name: Points(sheet.look, LookSheet(sheet.look)) for sheet in sheets.order_by("-pk")[:2]}
    assert "Sedge" in asked
    assert asked["Sedge"].row("weight").line.given == 8  # 4.21 kg: B, a breed page, read second-hand
    assert asked["Sedge"].row("silvering").under_floor
    washed = sheets.filter(look__reach__lte=6, lines__position__code="color", lines__points=20)
    assert any(Points(sheet.look, LookSheet(sheet.look)).halo for sheet in washed)


def test_undercolor_fades_in_the_seniors(world):
    prime = Look.objects.filter(coat_stage="prime", undercolor__isnull=False)
    young = prime.filter(age_days__range=(245, 400)).aggregate(mean=Avg("undercolor"))["mean"]
    old = prime.filter(age_days__gt=1100).aggregate(mean=Avg("undercolor"))["mean"]
    assert old < young - 0.4


def test_the_buck_from_abroad_throws_bright_kits_that_are_dark_below(world):
    buck = Animal.objects.get(imported=True)
    others = Look.objects.filter(coat_stage="prime").exclude(animal__sire=buck)
    his = Look.objects.filter(coat_stage="prime", animal__sire=buck)
    for name in ("surface", "undercolor"):
        assert his.aggregate(mean=Avg(name))["mean"] > others.aggregate(mean=Avg(name))["mean"] + 0.15


def test_the_same_seed_and_day_give_the_same_club(world):
    """The figures a rebuild must repeat; a second build in the same run would take as long again."""
    first = Look.objects.order_by("pk").values_list("surface", "undercolor")[:200]
    again = np.random.default_rng(build.SEED)
    founder = truth.founder(again, "slate")
    stored = next(iter(world.coats.values()))
    np.testing.assert_array_equal(founder.value, stored.value)
    assert len(first) == 200


# --- photographs ----------------------------------------------------


def test_the_photographs_are_drawn_from_looks_that_their_herds_share(world):
    plan = list(photos.planned(world))
    assert len(plan) > 200
    jobs = plan[:200]
    animals = {look.animal_id for look, _view in jobs}
    assert 30 <= len(animals) <= 45
    herds = {herd.pk: key for key, herd in world.herds.items()}
    from_herds = {herds[look.animal.herd_id] for look, _view in jobs}
    assert from_herds >= {"larkhollow", "far-wrenmoor"}
    assert "tansy-fold" not in from_herds  # shares none
    assert len(from_herds) >= 7
    ages = Counter((look.animal_id, view) for look, view in jobs)
    assert sum(many == 3 for many in ages.values()) >= 20  # the same view at three ages, to be seen side by side


def test_a_photograph_is_stored_ready_and_without_metadata(world):
    assert photos.make_photos(world, count=4, processes=0) == 4
    for photo in Photo.objects.select_related("look"):
        assert (photo.state, photo.width, photo.height) == ("ready", 900, 675)
        assert (photo.taken_on, photo.light, photo.animal_id) == (
            photo.look.observed_on,
            photo.look.light,
            photo.look.animal_id,
        )
        assert (photo.reference == "none") == (not photos.has_card(photo.look))
        data = files.read(photo.original.name)
        assert (photo.checksum, photo.bytes) == (files.fingerprint(data), len(data))
        assert not any(piexif.load(data).values())
        assert files.read(photo.sized_path("320"))[:2] == b"\xff\xd8"


def test_the_same_club_has_the_same_photographs_drawn_here_or_elsewhere(world):
    jobs = list(photos.planned(world))[:4]
    steps = [photos.to_draw(world, look, view, number) for number, (look, view) in enumerate(jobs)]
    small = [each | {"size": (300, 225)} for each in steps]
    assert list(photos._drawn(small, 0)) == list(photos._drawn(small, 2))


def test_the_photographs_show_the_truth_and_not_what_a_grader_gave(world):
    look, view = next((look, view) for look, view in photos.planned(world) if view == "parted_loin")
    steps = photos.to_draw(world, look, view, 0)
    true = truth.seen(world.coats[look.animal_id], look.age_days, look.coat_stage)
    assert steps["surface"] == pytest.approx(np.clip(true[0], 1, 9), abs=0.01)
    assert steps["undercolor"] == pytest.approx(np.clip(true[1], 1, 9), abs=0.01)
    assert steps["reach"] == pytest.approx(np.clip(true[2], 0, 10), abs=0.01)


def test_described_steps_get_a_drawing_that_says_so(world):
    many = photos.make_step_pictures()
    texts = StepText.objects.exclude(picture="").select_related("trait__trait")
    assert many == len(texts) >= 15
    assert {text.trait.trait.code for text in texts} == set(photos.PICTURED)
    brightness = {}
    for text in texts.filter(trait__trait__code="surface_shade"):
        image = Image.open(io.BytesIO(files.read(text.picture.name)))
        brightness[text.step] = np.asarray(image.convert("L"))[:130].mean()
    steps = sorted(brightness)
    assert all(brightness[low] < brightness[high] for low, high in itertools.pairwise(steps))


def test_two_reviews_are_answered_blind_and_one_is_open(world):
    reviews = list(Review.objects.order_by("asked_at"))
    assert [review.state for review in reviews] == ["answered", "answered", "taken"]
    for review in reviews[:2]:
        for of in review.animals.all():
            assert of.look.observer == world.members["mentor"]
            assert of.look.answers.exists()
            assert of.opinion
    sides = [side for review in reviews[:2] for side in sides_of(review, review.asked_by)]
    assert len(sides) == 4
    assert all(side.own_look for side in sides)
    assert any(side.differing for side in sides)
    assert any(side.talk for side in sides)
    assert ViewWish.objects.filter(of__review=reviews[2], settled_at=None).count() == 1
    assert AnimalGrant.objects.running().filter(mentor=world.members["mentor"]).count() == 6


def test_the_newcomers_season_is_proposed_and_half_answered(world):
    items = SeasonItem.objects.filter(herd=world.herds["far-wrenmoor"], written_by=world.members["mentor"])
    assert sorted(items.values_list("state", flat=True)) == ["accepted", "declined", "proposed", "proposed"]
    assert items.get(state="accepted").mating.planned_by == world.members["newcomer"]


def test_the_beliefs_pages_find_what_was_built_in(world):
    """As graded, before any evaluation: the sway, the fade, no effect of white heads, and the trade-off.

    Type is graded with scatter, so Barnaby's slope on the steps he gave may lie a little under what was built in.
    """
    found = reading.read_breed(world.breed.pk)[1]
    barnaby = next(person for person in people.PEOPLE if person.halo)
    effect, looks, _animals = found.sway.graders[world.members[barnaby.key].pk]
    assert looks >= reading.FEWEST_TYPED
    assert 0 < effect.low < barnaby.halo < effect.high
    fade = found.fading.slopes.all
    assert fade.high < 0
    assert fade.low < truth.SENIOR_FADE[1] < fade.high
    assert found.white.molted.n >= reading.FEWEST_WHITE
    for name in reading.SUMMARIES:
        for how in ("raw", "mates"):
            white = found.white.differences[name, how]
            assert white.low < 0 < white.high  # the coat of a kit is drawn without looking at its head
    slope, tie = found.deep.pairs["undercolor", "raw"]
    assert slope.high < 0
    assert truth.CORRELATION[0, 1] < tie.value < tie.high < 0
