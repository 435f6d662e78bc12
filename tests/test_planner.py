"""The mating planner: what is expected of a pair's kits, why, one set for the herd, and the season's plan."""

from datetime import timedelta

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone
from scipy import stats

from grading import kits
from grading.models import FindingKind, KitFit, LookFinding, ProfileFinding, Trait
from herds.models import Quarantine
from pedigrees.models import PlannedMating
from pedigrees.planning.proposal import propose
from pedigrees.planning.ranking import Expected, chance_words
from pedigrees.planning.reading import plan_of

from .factories import make_animal, make_breed, make_grant, make_herd, make_look, make_mating, make_member
from .queries import queries_of

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


@pytest.fixture
def shipped(cast):
    """The shipped profile's traits, for looks of surface shade and undercolor at once."""
    from grading.profiles import load_shipped

    load_shipped()
    surface = Trait.objects.get(summary="surface")
    under = Trait.objects.get(summary="undercolor")
    return lambda s, u: {surface: s, **{(under, site): u for site in under.sites}}


def born(days):
    return TODAY() - timedelta(days=days)


def page_of(client, herd, does, bucks, **more):
    address = reverse("planner", args=[herd.slug])
    return client.get(address, {"doe": [a.pk for a in does], "buck": [a.pk for a in bucks], **more})


def test_the_line_of_kits_on_parents_is_that_of_scipy():
    rng = np.random.default_rng(1)
    parents = rng.uniform(3, 8, 200)
    kit = 5 + 0.4 * (parents - 5) + rng.normal(0, 0.8, 200)
    line, reference = kits.fitted(kit, parents), stats.linregress(parents, kit)
    assert line.slope == pytest.approx(reference.slope)
    assert line.kit_mean + line.slope * (0 - line.parent_mean) == pytest.approx(reference.intercept)
    rest = kit - reference.intercept - reference.slope * parents
    assert line.spread == pytest.approx(np.sqrt((rest**2).sum() / 198))


def test_a_slope_outside_what_heredity_can_do_is_kept_inside():
    parents = np.array([3.0, 5, 7, 4, 6])
    assert kits.fitted(9 - parents, parents).slope == 0
    assert kits.fitted(3 * parents, parents).slope == 1
    assert kits.fitted(np.full(5, 4.0), np.full(5, 4.0)).slope == 0
    assert kits.fitted([4.0], [5.0]) is None


def test_kits_of_the_club_teach_how_much_of_their_parents_shows(cast, shipped):
    """Kits made halfway between the average and their parents: the slope found is a half."""
    for number in range(40):
        level = 3 + number % 5
        sire = make_animal(cast.herd, f"S{number}", sex="buck", born_on=born(1000))
        dam = make_animal(cast.herd, f"D{number}", sex="doe", born_on=born(1000))
        kit = make_animal(cast.herd, f"K{number}", sire=sire, dam=dam, born_on=born(400))
        for animal, step in (
            (sire, level),
            (dam, level),
            (kit, 5 + (level - 5) // 2 + (number % 2) * (level % 2 == 0)),
        ):
            make_look(animal, cast.keeper, steps=shipped(step, 10 - step))
    fits = {fit.trait.summary: fit for fit in kits.refresh_fits(cast.sire.breed_id)}
    assert fits["surface"].kits == 40
    assert 0.3 < fits["surface"].slope < 0.7
    assert -1 <= fits["undercolor"].with_surface < -0.5  # made to pull against each other
    kits.refresh_fits(cast.sire.breed_id)
    assert KitFit.objects.filter(trait__summary="surface").count() == 1


def test_parents_means_are_taken_as_they_are_while_the_club_has_few_kits(cast, shipped):
    make_look(cast.dam, cast.keeper, steps=shipped(6, 4))
    make_look(cast.sire, cast.keeper, steps=shipped(8, 8))
    plan = plan_of(cast.keeper, [cast.dam], [cast.sire])
    pair = plan.pairs[0][0]
    assert (pair.surface.mean, pair.undercolor.mean) == (7, 6)
    assert "too few" in plan.basis


@pytest.mark.parametrize(
    ("relation", "expected"),
    [("none", 0), ("full", 0.25), ("half", 0.125), ("parent", 0.25), ("grandparent", 0.125), ("cousins", 0.0625)],
)
def test_the_litter_of_relatives_has_the_inbreeding_of_the_textbook(cast, relation, expected):
    """Wright's coefficients for the usual close matings, as in any textbook of animal breeding."""
    herd, old, older = cast.herd, born(900), born(1400)
    a, b, c, d = (make_animal(herd, f"O{i}", sex="buck" if i < 2 else "doe", born_on=born(2000)) for i in range(4))
    sib = make_animal(herd, "P1", sex="buck", sire=a, dam=c, born_on=older)
    doe = make_animal(herd, "P2", sex="doe", sire=a, dam=c, born_on=older)
    half = make_animal(herd, "P3", sex="buck", sire=a, dam=d, born_on=older)
    son = make_animal(herd, "P4", sex="buck", sire=b, dam=doe, born_on=old)
    grandson = make_animal(herd, "P5", sex="buck", sire=b, dam=make_animal(
        herd, "P6", sex="doe", sire=b, dam=doe, born_on=old), born_on=born(300))  # fmt: skip
    cousin = make_animal(herd, "P7", sex="buck", sire=sib, dam=d, born_on=old)
    niece = make_animal(herd, "P8", sex="doe", sire=b, dam=doe, born_on=old)
    pairs = {
        "none": (doe, b),
        "full": (doe, sib),
        "half": (doe, half),
        "parent": (doe, son),
        "cousins": (niece, cousin),
    }
    pairs["grandparent"] = (doe, make_animal(herd, "P9", sex="buck", sire=son, dam=d, born_on=born(300)))
    first, second = pairs[relation]
    pair = plan_of(cast.keeper, [first], [second]).pairs[0][0]
    assert pair.inbreeding == expected
    assert pair.close == (expected >= 0.12)
    assert grandson.pk


def test_a_close_pair_comes_last_and_is_said_to_be_close(cast, shipped):
    stranger = make_animal(cast.herd, "Z1", sex="buck")
    for animal in (cast.daughter, cast.sire):
        make_look(animal, cast.keeper, steps=shipped(7, 7))
    make_look(stranger, cast.keeper, steps=shipped(2, 2))
    page = page_of(cast.client_of("keeper"), cast.herd, [cast.daughter], [cast.sire, stranger]).content.decode()
    assert "Close mating." in page
    assert "A3 Alder is a daughter of A1 Slate." in page
    assert page.index(f"{cast.daughter.pk}-{stranger.pk}") < page.index(f"{cast.daughter.pk}-{cast.sire.pk}")
    assert "ask your vet" in page


def test_faults_seen_on_both_parents_are_said(cast, shipped):
    kind = FindingKind.objects.filter(in_profiles__effect=ProfileFinding.Effect.FAULT).first()
    for animal in (cast.dam, cast.other_buck):
        look = make_look(animal, cast.keeper, steps=shipped(6, 6), finished=False)
        LookFinding.objects.create(look=look, kind=kind, state="seen")
        look.finished_at, look.current = timezone.now(), True
        look.save()
    cast.other_herd.shares_looks = True
    cast.other_herd.save()
    cast.other_buck.offered_to_club = True
    cast.other_buck.save()
    pair = plan_of(cast.keeper, [cast.dam], [cast.other_buck]).pairs[0][0]
    assert pair.faults == [f"{kind.name} (is a fault)"]
    assert "Both were seen with" in pair.reasons[-1]


def test_looks_that_are_not_shared_say_nothing_of_an_offered_buck(cast, shipped):
    make_look(cast.dam, cast.keeper, steps=shipped(6, 6))
    make_look(cast.other_buck, cast.fellow, steps=shipped(9, 1))
    cast.other_buck.offered_to_club = True
    cast.other_buck.save()
    pair = plan_of(cast.keeper, [cast.dam], [cast.other_buck]).pairs[0][0]
    assert not pair.surface.known
    assert any("You may see no look of M1 Flint" in sentence for sentence in pair.reasons)
    page = page_of(cast.client_of("keeper"), cast.herd, [cast.dam], [cast.other_buck])
    assert "nan" not in page.content.decode().lower().replace("finance", "")


def test_only_own_bucks_and_offered_ones_can_be_chosen(cast):
    client = cast.client_of("keeper")
    refused = page_of(client, cast.herd, [cast.dam], [cast.other_buck])
    assert refused.status_code == 422
    assert "no longer offered" in refused.content.decode()
    theirs = make_animal(cast.other_herd, "M9", sex="doe")
    assert page_of(client, cast.herd, [theirs], [cast.sire]).status_code == 422


def test_what_is_missing_or_too_much_is_a_sentence(cast):
    client = cast.client_of("keeper")
    none = page_of(client, cast.herd, [], [cast.sire])
    assert "Choose at least one doe." in none.content.decode()
    other = make_animal(cast.herd, "B1", sex="buck", breed=make_breed("Small silvered"))
    assert "different breeds" in page_of(client, cast.herd, [cast.dam], [other]).content.decode()
    does = [make_animal(cast.herd, f"N{i}", sex="doe") for i in range(41)]
    assert "plan at most 40" in page_of(client, cast.herd, does, [cast.sire]).content.decode()
    wrong = page_of(client, cast.herd, [cast.dam], [cast.sire], best="on", limit="99", capacity="0")
    assert wrong.status_code == 422
    address = reverse("planner", args=[cast.herd.slug])
    assert client.get(address, {"doe": "x' OR 1=1", "buck": "9" * 40}).status_code == 422


def test_young_gone_and_doubtful_animals_are_left_out_or_said(cast):
    young = make_animal(cast.herd, "Y1", sex="doe", born_on=born(60))
    gone = make_animal(cast.herd, "Y2", sex="doe", status="died", status_on=TODAY())
    page = cast.client_of("keeper").get(reverse("planner", args=[cast.herd.slug]))
    offered = {animal.pk for animal in page.context["form"].fields["doe"].queryset}
    assert cast.dam.pk in offered
    assert not {young.pk, gone.pk} & offered
    Quarantine.objects.create(animal=cast.sire, planned_until=TODAY() + timedelta(days=9))
    make_mating(cast.dam, cast.sire, mated_on=born(10))
    page = page_of(cast.client_of("keeper"), cast.herd, [cast.dam], [cast.sire]).content.decode()
    assert "in quarantine until" in page.lower()
    assert "not yet kindled" in page


def test_one_set_keeps_the_limit_the_buck_and_says_why_a_doe_is_left(cast, shipped):
    bucks = [make_animal(cast.herd, f"U{i}", sex="buck") for i in range(2)]
    does = [make_animal(cast.herd, f"V{i}", sex="doe") for i in range(3)]
    for place, animal in enumerate([*bucks, *does]):
        make_look(animal, cast.keeper, steps=shipped(5 + place % 3, 6))
    plan = plan_of(cast.keeper, does, bucks)
    found = propose(plan, capacity=2, limit=0.0625, close=False)
    assert len(found.pairs) == 3
    assert found.left == []
    assert max(sum(pair.buck == buck for pair in found.pairs) for buck in bucks) <= 2
    few = propose(plan, capacity=1, limit=0.0625, close=False)
    assert len(few.pairs) == 2
    assert "let each buck serve more does" in few.words[-1]
    sisters = [
        make_animal(cast.herd, f"W{i}", sex="doe", sire=cast.sire, dam=cast.dam, born_on=born(300)) for i in range(2)
    ]
    kin = propose(plan_of(cast.keeper, sisters, [cast.sire]), capacity=4, limit=0.3, close=False)
    assert kin.pairs == []
    assert "close mating" in kin.words[-1]
    taken = propose(plan_of(cast.keeper, sisters, [cast.sire]), capacity=4, limit=0.3, close=True)
    assert len(taken.pairs) == 2
    narrow = propose(plan_of(cast.keeper, sisters, [cast.sire]), capacity=4, limit=0.1, close=True)
    assert "the lowest mean for all does would be 25\u00a0%" in narrow.words[-1]


def test_chosen_pairs_go_into_the_plan_once_and_are_dropped_and_put_back(cast, client):
    keeper = cast.client_of("keeper")
    buck = make_animal(cast.herd, "U1", sex="buck")
    add = reverse("plan-add", args=[cast.herd.slug])
    for _ in range(2):
        keeper.post(add, {"pair": [f"{cast.dam.pk}-{buck.pk}"]})
    row = PlannedMating.objects.get()
    assert row.expected_inbreeding == 0
    assert row.reasons
    page = keeper.get(reverse("plan", args=[cast.herd.slug])).content.decode()
    assert "Log the mating" in page
    keeper.post(reverse("plan-note", args=[row.pk]), {"note": " in  May "})
    keeper.post(reverse("plan-drop", args=[row.pk]))
    keeper.post(add, {"pair": [f"{cast.dam.pk}-{buck.pk}"]})
    assert PlannedMating.objects.count() == 2
    back = keeper.post(reverse("plan-restore", args=[row.pk]), follow=True)
    assert "in the plan already" in back.content.decode()
    row.refresh_from_db()
    assert row.note == "in May"
    assert row.dropped_at


def test_a_planned_mating_is_done_when_the_two_were_mated(cast):
    row = PlannedMating.objects.create(
        herd=cast.herd, doe=cast.dam, buck=cast.sire, planned_by=cast.keeper, planned_on=born(3)
    )
    assert list(PlannedMating.objects.open()) == [row]
    make_mating(cast.dam, cast.sire, mated_on=born(1))
    assert list(PlannedMating.objects.open()) == []
    assert ">Done</h2>" in cast.client_of("keeper").get(reverse("plan", args=[cast.herd.slug])).content.decode()


def test_what_is_posted_wrong_adds_nothing_and_says_so(cast):
    keeper = cast.client_of("keeper")
    add = reverse("plan-add", args=[cast.herd.slug])
    for pairs in ([], ["x"], ["1-2-3"], [f"{cast.dam.pk}-{cast.other_buck.pk}"], [f"{cast.sire.pk}-{cast.sire.pk}"]):
        said = keeper.post(add, {"pair": pairs}, follow=True).content.decode()
        assert "Choose at least one pair" in said
    assert not PlannedMating.objects.exists()


def test_a_mentor_and_a_fellow_plan_nothing_in_anothers_herd(cast):
    make_grant(cast.herd, make_member("Other Mentor"), cast.keeper)
    for who in ("fellow", "mentor", "registrar"):
        assert page_of(cast.client_of(who), cast.herd, [cast.dam], [cast.sire]).status_code == 404


def test_the_planners_queries_do_not_grow_with_the_pairs(cast, shipped):
    client = cast.client_of("keeper")
    herd = make_herd(cast.keeper, name="Large")
    counts = []
    for size in (2, 6):
        does = [
            make_animal(herd, f"D{size}{i}", sex="doe", sire=cast.sire, dam=cast.dam, born_on=born(300))
            for i in range(size)
        ]
        bucks = [make_animal(herd, f"B{size}{i}", sex="buck") for i in range(size)]
        for animal in (*does, *bucks):
            make_look(animal, cast.keeper, steps=shipped(6, 6))
        query = "&".join([*[f"doe={a.pk}" for a in does], *[f"buck={a.pk}" for a in bucks]])
        counts.append(queries_of(client, f"{reverse('planner', args=[herd.slug])}?{query}"))
    assert counts == [counts[0]] * 2
    assert counts[0] <= 40


def test_words_of_expectation():
    inside = Expected("Surface shade", "surface", 6.0, 0.9, (6, 8))
    assert inside.words == "6.0, give or take 0.9; inside the goal of 6 to 8"
    assert Expected("x", "", 5.0, float("nan"), (6, 8)).words == "5.0; below the goal of 6 to 8"
    assert Expected("x", "", 9.0, 0.5, (6, 8)).distance == pytest.approx(0.5)
    assert Expected("x", "", float("nan"), 0.5, (6, 8)).words == "cannot be told"
    assert [chance_words(c) for c in (0.01, 0.06, 0.42, 0.99)] == [
        "Fewer than 1 kit in 20", "About 1 kit in 10", "About 4 kits in 10", "Nearly every kit",
    ]  # fmt: skip
