"""Learning to see: only photos whose owners agree, the coat as a pair, what one misses more often, and what is told."""

from datetime import timedelta

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone

from grading import practicing
from grading.models import Guess, ItemTruth, Photo, PhotoConsent, Trait
from grading.models.consent import open_photos

from .calibration_making import answered, eyes, make_set, opened, truths, worked_out
from .factories import make_member
from .looking import text_of
from .queries import queries_of

pytestmark = pytest.mark.django_db
CODES = ("surface_shade", "undercolor", "guard_hair_jetness")


@pytest.fixture
def club(cast):
    """A worked-out set of ten animals, graded alike by four, open for practice."""
    of_set = opened(make_set(cast, animals=10, doubles=0, codes=CODES), cast)
    true = truths(of_set)
    for number in range(4):
        answered(of_set, make_member(f"Grader {number}"), eyes(true, scatter=0.3, seed=number))
    cast.set = worked_out(of_set)
    return cast


def guess(client, steps=None):
    """Guess the photo that is shown: `steps` by trait code, else 5."""
    page = text_of(client.get(reverse("practice")))
    item = page.split('name="item" value="')[1].split('"')[0]
    codes = [part.split('"')[0] for part in page.split('name="trait" value="')[1:]]
    sent = {code: (steps or {}).get(code, "5") for code in codes}
    return client.post(reverse("practice"), {"item": item, "trait": codes, **sent}), int(item), codes


def test_a_guess_is_told_the_consensus_the_described_step_and_where_it_was(club):
    client = club.client_of("fellow")
    answer, item, codes = guess(client)
    page = text_of(client.get(answer.url))
    guesses = list(Guess.objects.filter(member=club.fellow))
    assert {g.trait.code for g in guesses} == set(codes)
    for each in guesses:
        truth = ItemTruth.objects.get(item=item, trait=each.trait)
        assert each.agreed == truth.value
        assert f"The graders together saw {truth.value:.1f}, most likely between" in page
        assert each.away == pytest.approx(each.step - truth.value)


def test_surface_shade_and_undercolor_are_asked_together_or_not_at_all(club):
    client = club.client_of("fellow")
    asked = [set(guess(client)[2]) for _ in range(12)]
    assert {frozenset(codes) for codes in asked} <= {
        frozenset({"surface_shade", "undercolor"}), frozenset({"guard_hair_jetness"})
    }  # fmt: skip
    ItemTruth.objects.filter(trait__code="undercolor").update(scored=False)
    assert not any("surface_shade" in guess(client)[2] for _ in range(6))


def test_nothing_is_shown_without_its_owners_leave_and_nothing_after_it_is_taken_back(club):
    client = club.client_of("fellow")
    exercise = practicing.next_exercise(club.fellow)
    photo = exercise.item.photos.first()
    file = reverse("practice-photo", args=[exercise.item.pk, 0, "320"])
    PhotoConsent.objects.filter(photo=photo, use="practice").update(withdrawn_at=timezone.now())
    assert photo in open_photos("calibration")
    assert client.get(file).status_code == 404
    sent = {
        "item": exercise.item.pk,
        "trait": [t.trait.code for t in exercise.truths],
        "surface_shade": "5",
        "undercolor": "5",
    }
    after = client.post(reverse("practice"), sent, follow=True)
    assert "That photo is not shown any more" in text_of(after)
    assert not Guess.objects.exists()
    Photo.objects.update(withdrawn_at=timezone.now())
    assert "No photo to practise on yet" in text_of(client.get(reverse("practice")))


def test_of_few_photos_the_one_that_rested_longest_comes_next(club):
    """Ten animals are fewer than may rest: each time one of the two longest ago."""
    truths = {
        (t.item_id, t.trait.code): t for t in ItemTruth.objects.filter(trait__summary__in=["surface", "undercolor"])
    }
    items = sorted({item for item, _ in truths if practicing.exercises(practicing.pool())["coat"].get(item)})
    assert len(items) == 10
    for item in items:
        for code in ("surface_shade", "undercolor"):
            truth = truths[item, code]
            Guess.objects.create(member=club.fellow, trait=truth.trait, truth=truth, step=5, agreed=truth.value)
    for _ in range(20):
        exercise = practicing.next_exercise(club.fellow)
        if "surface_shade" in {truth.trait.code for truth in exercise.truths}:
            assert exercise.item.pk in items[:2]
            break
        guess(club.client_of("fellow"))
    else:
        raise AssertionError("the coat never came")


def test_the_same_photo_waits_until_it_is_guessed_and_comes_not_again_soon(club):
    client = club.client_of("fellow")
    page = reverse("practice")
    assert text_of(client.get(page)).count('name="item"') == 1
    first = practicing.next_exercise(club.fellow)
    assert practicing.next_exercise(club.fellow).item == first.item
    seen = []
    for _ in range(16):
        _, item, codes = guess(client)
        if "surface_shade" in codes:
            assert item not in seen[-min(8, len(seen)) :]  # of ten animals, twelve rest as long as there are others
            seen.append(item)
    assert len(seen) >= 3


def test_what_is_missed_most_comes_more_often_and_nothing_never():
    found = practicing.weights(["coat", "jetness", "cast"], {"coat": 0.4, "jetness": 2.0, "cast": 0.0})
    assert found[1] == max(found)
    assert found[1] > 4 * found[0] * 0.9
    assert found.min() > 0.05
    assert found.sum() == pytest.approx(1)
    missed = practicing.missed([("coat", -1.0), ("coat", 2.0), ("jetness", None)] + [("coat", 0.0)] * 40)
    assert missed == {"coat": pytest.approx(3 / practicing.RECENT), "jetness": practicing.COULD_NOT}


def test_a_newcomer_who_misses_jetness_meets_it_more_often(club):
    jetness = Trait.objects.get(code="guard_hair_jetness")
    others = Trait.objects.filter(code__in=["surface_shade", "undercolor"])
    now = timezone.now() - timedelta(days=1)
    Guess.objects.bulk_create(Guess(member=club.fellow, trait=jetness, step=9, agreed=4.0, at=now) for _ in range(20))
    Guess.objects.bulk_create(
        Guess(member=club.fellow, trait=t, step=5, agreed=5.0, at=now) for t in others for _ in range(20)
    )
    met = []
    for _ in range(40):
        exercise = practicing.next_exercise(club.fellow)
        met.append(len(exercise.truths) == 1)
        Guess.objects.create(member=club.fellow, trait=jetness, step=9, agreed=4.0)
    assert sum(met) >= 32  # 5 to 0.3 by weight, so 38 of 40 are expected; 32 or fewer come once in ten thousand


@pytest.mark.parametrize("sent", ["", "12", "abc"])
def test_a_guess_without_a_step_stays_on_the_page_with_what_was_chosen(club, sent):
    exercise = practicing.next_exercise(club.keeper)
    codes = [truth.trait.code for truth in exercise.truths]
    data = {"item": exercise.item.pk, "trait": codes, codes[-1]: "7" if len(codes) > 1 else sent, codes[0]: sent}
    response = club.client_of("keeper").post(reverse("practice"), data)
    assert response.status_code == 422
    assert "Choose a step, or" in text_of(response)
    assert not Guess.objects.exists()


def test_nobody_else_reads_how_somebody_learns(club):
    answer, *_ = guess(club.client_of("fellow"))
    for who in ("keeper", "officer", "mentor", "registrar"):
        assert club.client_of(who).get(answer.url).status_code == 404
        assert "Nothing to tell yet" in text_of(club.client_of(who).get(reverse("practice-progress")))


def test_progress_is_told_from_ten_guesses_on_with_its_counts(club):
    surface = Trait.objects.get(code="surface_shade")
    now = timezone.now()

    def guesses(count, away, days):
        Guess.objects.bulk_create(
            Guess(
                member=club.fellow,
                trait=surface,
                step=5,
                agreed=5 - away + 0.1 * (n % 3 - 1),
                at=now - timedelta(days=days),
            )
            for n in range(count)
        )

    guesses(9, -1.5, 3)
    [row] = practicing.progress(club.fellow)
    assert row["late"]["said"] == "9 of 10 guesses that it takes to say something."
    guesses(3, -1.5, 3)
    guesses(12, -3.0, 60)
    [row] = practicing.progress(club.fellow)
    assert row["late"]["said"].startswith(
        "1.5 steps off on average, leaning 1.5 steps darker; 0 of 12 within one step."
    )
    assert row["sentence"] == "Better than before by 1.5 steps."
    assert "Better than before" in text_of(club.client_of("fellow").get(reverse("practice-progress")))


def test_the_page_costs_the_same_for_few_guesses_and_for_many(club):
    client = club.client_of("fellow")
    guess(client)
    few = queries_of(client, reverse("practice"))
    for _ in range(6):
        guess(client)
    assert queries_of(client, reverse("practice")) == few <= 16


def test_the_consensus_of_a_set_worked_out_anew_leaves_guesses_as_they_were(club):
    guess(club.client_of("fellow"))
    before = list(Guess.objects.values_list("agreed", flat=True))
    worked_out(club.set)
    assert list(Guess.objects.values_list("agreed", flat=True)) == before
    assert np.isfinite(before).all()
    assert practicing.next_exercise(club.fellow) is not None
