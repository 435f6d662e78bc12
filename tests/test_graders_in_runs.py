"""A run knows what the calibration found of its graders: a narrowed scale is put right, and leans are compared."""

from datetime import timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from django.utils import timezone

from grading import evaluation as model
from grading.actions import evaluations as actions
from grading.models import CalibrationSet, GraderResult, Merit, Seat, Trait
from grading.running import graders, work

from .factories import make_animal, make_look, make_member, make_profile

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


def calibrated(breed, member, trait, *, lean=0.0, half=0.2, spread=(0.9, 1.1), closed=10, counts=True):
    """A result as a set that closed some days ago would have kept it."""
    day = TODAY() - timedelta(days=closed)
    of_set = CalibrationSet.objects.create(
        breed=breed, name="Set", opens_on=day - timedelta(days=20), closes_on=day, state="done",
        worked_out_at=timezone.now(),
    )  # fmt: skip
    seat = Seat.objects.create(of=of_set, member=member, counts=counts)
    return GraderResult.objects.create(
        seat=seat, trait=trait, lean=lean, lean_low=lean - half, lean_high=lean + half,
        spread=sum(spread) / 2, spread_low=spread[0], spread_high=spread[1],
    )  # fmt: skip


def test_only_a_sure_and_current_result_makes_a_grader_one_who_stretches(cast):
    trait = Trait.objects.get(summary="surface")
    breed = cast.sire.breed
    calibrated(breed, cast.keeper, trait, spread=(0.3, 0.6))
    calibrated(breed, cast.fellow, trait, spread=(0.6, 0.95))  # may as well be the others'
    calibrated(breed, cast.mentor, trait, spread=(1.4, 2.0), closed=400)  # its time is over
    calibrated(breed, cast.grader, trait, spread=(1.4, 2.0), counts=False)
    found = graders.current_results(breed.pk)
    assert {member for (member, _), each in found.items() if each.stretches} == {cast.keeper.pk}
    assert set(found) == {(cast.keeper.pk, trait.pk), (cast.fellow.pk, trait.pk)}


def test_a_spread_is_put_right_for_those_named_and_left_for_all_others():
    rng = np.random.default_rng(3)
    true = rng.normal(5, 1.4, 4000)
    of = np.repeat([1, 2, 3, 4], 1000)
    value = np.where(of == 2, 5 + 0.4 * (true - 5), true)
    even, _ = model.even_spread(value, of, only=[2])
    assert (even[of != 2] == value[of != 2]).all()
    assert value[of == 2].std() < 0.7
    # Drawn nearly all the way out: 20 looks of the club's spread are kept as a prior beside a thousand.
    assert even[of == 2].std() == pytest.approx(true[of != 2].std(), rel=0.08)
    assert even[of == 2].mean() == pytest.approx(value[of == 2].mean())


def test_a_grader_of_few_looks_is_left_alone(cast):
    class Looks:
        observer = np.array([7] * 10 + [8] * 60)

    values = {1: np.concatenate([np.tile([4.0, 5.0], 5), np.tile([2.0, 8.0], 30)])}
    results = {(7, 1): graders.Calibrated(0.0, 0.1, 0.2, 0.5)}
    right, said = graders.put_right(Looks, values, results)
    assert said == {}
    assert (right[1] == values[1]).all()
    results = {(8, 1): graders.Calibrated(0.0, 0.1, 1.5, 2.5)}
    right, said = graders.put_right(Looks, values, results)
    assert "1 grader uses the scale of this trait" in said[1]
    assert right[1][10:].std() < values[1][10:].std()


@pytest.fixture
def narrowed(cast):
    """Eight sires; their kits are graded by the keeper, half of them also by one who uses a third of the scale."""
    rng = np.random.default_rng(11)
    make_profile(cast.sire.breed)
    cast.surface = Trait.objects.get(summary="surface")
    cast.narrow = make_member("Narrow Grader")
    cast.sires, cast.true = [], []
    born = {"born_on": TODAY() - timedelta(days=900)}
    for number in range(8):
        sire = make_animal(cast.herd, f"S{number}", sex="buck", **born)
        dams = [make_animal(cast.herd, f"D{number}{d}", sex="doe", **born) for d in range(2)]
        value = (number - 3.5) * 0.5
        cast.sires.append(sire)
        cast.true.append(value)
        for kit in range(8):
            young = make_animal(
                cast.herd, f"K{number}{kit}", sire=sire, dam=dams[kit % 2], born_on=TODAY() - timedelta(days=400)
            )
            seen = 5 + value + rng.normal(0, 0.4)
            who = cast.narrow if number % 2 else cast.keeper
            step = 5 + 0.35 * (seen - 5) if who is cast.narrow else seen
            make_look(young, who, steps={cast.surface: int(np.clip(round(step + rng.normal(0, 0.2)), 1, 9))})
            make_look(young, cast.keeper, steps={cast.surface: int(np.clip(round(seen + rng.normal(0, 0.3)), 1, 9))})
    return cast


def merits_of(cast):
    run = actions.run_here(breed=cast.sire.breed, only=cast.surface)
    found = run.traits.get()
    values = dict(Merit.objects.filter(evaluation=found).values_list("animal", "value"))
    return np.array([values[sire.pk] for sire in cast.sires]), found


def test_a_run_puts_a_narrowed_scale_right_and_says_so(narrowed):
    """The truth is known: the slope of merits on it says how far they were flattened."""
    before, told = merits_of(narrowed)
    assert not any("calibration" in each for each in told.warnings)
    calibrated(narrowed.sire.breed, narrowed.narrow, narrowed.surface, spread=(0.25, 0.5))
    after, told = merits_of(narrowed)
    assert any("By the calibration 1 grader uses the scale" in each for each in told.warnings)
    true = np.array(narrowed.true)

    def slope(merits):
        return float(true @ (merits - merits.mean()) / (true @ true))

    assert abs(1 - slope(after)) < abs(1 - slope(before))
    assert np.corrcoef(after, true)[0, 1] > np.corrcoef(before, true)[0, 1] - 0.01


@pytest.mark.parametrize(
    ("seen", "found"),
    [
        ({1: 0.5, 2: -0.5, 3: 0.0}, []),
        ({1: 1.5, 2: 0.5, 3: 1.0}, []),  # all alike off: another zero, which says nothing
        ({1: 0.5, 2: -0.5, 3: 2.0}, [3]),
        ({1: 0.5, 3: 2.0}, []),  # of two, nobody can say who is off
    ],
)
def test_leans_are_compared_beside_one_another(seen, found):
    results = {(who, 9): graders.Calibrated(lean, 0.1, 0.9, 1.1) for who, lean in ((1, 0.5), (2, -0.5), (3, 0.0))}
    leans = {str(who): [value, 0.1, 50] for who, value in seen.items()}
    told = graders.disagreements(leans, 9, results)
    assert [who for who, *_ in told if who in found] == found
    if found:
        assert "Somebody (+1.3" in graders.off_words(told, {3: "Somebody"})
        assert "Somebody" not in graders.off_words(told)


def test_a_new_calibration_is_reason_enough_for_a_new_run(narrowed):
    first = actions._inputs_now(narrowed.sire.breed)
    assert actions._inputs_now(narrowed.sire.breed) == first
    calibrated(narrowed.sire.breed, narrowed.narrow, narrowed.surface, spread=(0.25, 0.5))
    assert actions._inputs_now(narrowed.sire.breed) != first


def test_how_much_graders_whom_nothing_joins_looked_at_is_kept():
    """Two graders share the animals of one herd; a third has one animal of his own, and an age class like all."""
    animal = np.array([0, 0, 1, 1, 2, 2, 3])
    looks = SimpleNamespace(
        observer=np.array([7, 8, 7, 8, 7, 8, 9]), herd=np.array([4, 4, 4, 4, 4, 4, 5]),
        pedigree=model.Pedigree([-1] * 4, [-1] * 4),
    )  # fmt: skip
    fixed = {"grader and year": looks.observer, "age": np.array([0, 0, 1, 1, 0, 1, 1])}
    kept, said = work.connections_of(looks, model.Records(animal, np.arange(7.0) + 1, fixed))
    assert kept["graders"] == {"count": 3, "apart": [[9]], "number": 1, "share": pytest.approx(1 / 7)}
    assert any("1 of 3 graders cannot be compared" in each for each in said)
