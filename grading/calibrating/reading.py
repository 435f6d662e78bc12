"""What the pages of a calibration show: a place with its scales, how far one has come, and results beside the steps."""

from dataclasses import dataclass

from django.db.models import Prefetch
from django.urls import reverse
from django.utils import timezone

from grading.look_sheet import kind_of, step_shown
from grading.models import (
    BreedProfile,
    CalibrationAnswer,
    GraderResult,
    ItemTruth,
    ProfileTrait,
    StepText,
)

from . import words
from .choosing import SHOWN

SMALLEST_SPREAD = 3  # graders: under so many a spread would say who gave what
PAIR = ("surface", "undercolor")
MOST_SHOWN = 8  # photos on which a grader differs most


@dataclass(frozen=True)
class Shown:
    """A photo as a set shows it: by its view, and by nothing that tells whose it is."""

    view: str
    small: str
    large: str
    width: int
    height: int


def in_order(item):
    """An item's photos as they are shown: the whole coat first, then parted, then the rest; they are fetched.

    Its owner may have put a photo's view right since it was chosen, so a view that no set would choose comes last.
    """
    places = {view: place for place, view in enumerate(SHOWN)}
    return sorted(item.photos.all(), key=lambda photo: (places.get(photo.view, len(SHOWN)), photo.pk))


def photos_of(item, address="calibration-photo"):
    """Shown photos of an item, under addresses that say nothing of the animal."""
    return [
        Shown(
            photo.get_view_display(),
            reverse(address, args=[item.pk, place, "320"]),
            reverse(address, args=[item.pk, place, "1024"]),
            photo.width or 4,
            photo.height or 3,
        )
        for place, photo in enumerate(in_order(item))
    ]


def photo_at(item, place):
    """The photo behind an address of `photos_of`; None beyond the last."""
    found = in_order(item)
    return found[place] if place < len(found) else None


def rows_of(of_set):
    """{trait key: ProfileTrait with its step texts} of the profile in force, for the traits of a set. Two queries."""
    profile = BreedProfile.in_force(of_set.breed_id, timezone.localdate())
    rows = ProfileTrait.objects.filter(profile=profile, trait__in=of_set.traits.all()).select_related("trait")
    return {row.trait_id: row for row in rows.prefetch_related(Prefetch("step_texts", StepText.objects.all()))}


def scale(of_set, position, trait, row, answer, *, saved="", error=""):
    """A trait's scale for components/scale.html; without the goal, which would say what one hopes to see."""
    texts = {text.step: text for text in row.step_texts.all()} if row else {}
    return {
        "name": trait.code,
        "label": trait.name,
        "help": trait.question,
        "kind": kind_of(trait),
        "steps": [step_shown(trait, step, texts.get(step)) for step in trait.steps],
        "low_words": trait.low_words,
        "high_words": trait.high_words,
        "value": answer.step if answer else None,
        "cannot_tell": bool(answer and answer.cannot_tell),
        "chosen": False,
        "goal_low": None,
        "goal_high": None,
        "locked": "",
        "error": error,
        "saved": saved,
        "save_url": f"{reverse('calibration-answer', args=[of_set.pk, position])}?trait={trait.code}",
    }


def scales(of_set, seat, item):
    """All scales of one place, with what the seat answered. Four queries."""
    rows = rows_of(of_set)
    given = {answer.trait_id: answer for answer in CalibrationAnswer.objects.filter(seat=seat, item=item)}
    traits = of_set.traits.all()
    return [scale(of_set, item.position, trait, rows.get(trait.pk), given.get(trait.pk)) for trait in traits]


def places(of_set, seat):
    """[(position, whether all its traits are answered)] of the standing places, in order. Three queries."""
    asked = of_set.traits.count()
    given: dict = {}
    for item in CalibrationAnswer.objects.filter(seat=seat).values_list("item", flat=True):
        given[item] = given.get(item, 0) + 1
    standing = of_set.items.standing().order_by("position").values_list("pk", "position")
    return [(position, given.get(pk, 0) >= asked) for pk, position in standing]


def next_open(places, after=0):
    """The position of the first place after one that is not fully answered, else before it; None when all are."""
    left = [position for position, done in places if not done]
    return next((position for position in left if position > after), left[0] if left else None)


def own_result(seat):
    """[{trait, lines, used}] of a seat's results, surface shade and undercolor first. One query."""
    rows = GraderResult.objects.filter(seat=seat).select_related("trait")
    found = [
        {"trait": row.trait, "lines": words.lines(row.trait, row.profile), "used": used(row.trait, row.profile)}
        for row in rows
    ]
    lead = {"surface": 0, "undercolor": 1, "reach": 2}
    return sorted(found, key=lambda each: lead.get(each["trait"].summary, 3))


def used(trait, data):
    """[(step, times)] over the whole scale."""
    times = dict(data["steps_used"])
    return [(step, times.get(step, 0)) for step in trait.steps]


def widest(seat):
    """The places on which a seat differs most from the consensus, each trait's step beside the described one.

    Of surface shade and undercolor both are shown for each place, whichever differs. Five queries.
    """
    truths: dict = {}
    for truth in ItemTruth.objects.filter(item__of=seat.of_id, scored=True).select_related("trait"):
        truths[truth.item_id, truth.trait_id] = truth
    answers = CalibrationAnswer.objects.filter(seat=seat, step__isnull=False)
    given = {(answer.item_id, answer.trait_id): answer.step for answer in answers}
    apart: dict = {}
    for key, truth in truths.items():
        if key in given:
            apart.setdefault(key[0], []).append((abs(given[key] - truth.value), truth))
    order = sorted(apart, key=lambda item: (-max(gap for gap, _ in apart[item]), item))[:MOST_SHOWN]
    rows = rows_of(seat.of)
    items = seat.of.items.standing().prefetch_related("photos").in_bulk(order)
    return [
        {"item": items[pk], "photos": photos_of(items[pk]), "traits": compared(apart[pk], given, rows)}
        for pk in order
        if pk in items
    ]


def compared(gaps, given, rows):
    """[(trait, own step, own words, agreed step, agreed words, gap)], the widest first, the coat's pair together."""
    ordered = sorted(gaps, key=lambda each: -each[0])
    chosen = [each for each in ordered if each[0] >= 1 or each[1].trait.summary in ("surface", "undercolor")]
    found = []
    for gap, truth in chosen:
        step, agreed = given[truth.item_id, truth.trait_id], round(truth.value)
        row = rows.get(truth.trait_id)
        texts = {text.step: text.words for text in row.step_texts.all()} if row else {}
        found.append(
            {
                "trait": truth.trait,
                "step": step,
                "words": near(texts, step),
                "agreed": f"{truth.value:.1f}",
                "agreed_words": near(texts, agreed),
                "gap": gap,
                "wide": gap >= 2,
            }
        )
    return found


def near(texts, step):
    """The words of a step, or of its two neighbours where it has none."""
    if step in texts:
        return texts[step]
    sides = [texts[other] for other in (step - 1, step + 1) if other in texts]
    return f"between “{sides[0]}” and “{sides[1]}”" if len(sides) == 2 else "".join(sides)


def spread_of(of_set):
    """[{trait, together, leans: [(name or '', value, figure)]}] for officers; nothing of single graders under three."""
    results = list(GraderResult.objects.filter(seat__of=of_set).select_related("trait", "seat__member"))
    graded = {row.seat_id for row in results if row.profile["lean"]["n"]}
    found = []
    for trait in of_set.traits.all():
        data = of_set.together.get(trait.code)
        rows = [row for row in results if row.trait_id == trait.pk and row.lean is not None]
        rows.sort(key=lambda row: row.lean)
        leans = [
            {
                "name": str(row.seat.member) if row.seat.shows_name else "",
                "lean": words.figure(row.profile["lean"], sign=True),
                "agreement": words.figure(row.profile["agreement"]),
                "spread": words.figure(row.profile["spread"]),
            }
            for row in rows
        ]
        few = len(graded) < SMALLEST_SPREAD
        found.append({"trait": trait, "together": words.together(data) if data else [], "leans": [] if few else leans})
    return found


def to_discuss(of_set):
    """Places on which the best graders differ by two steps or more: to be talked about at a meeting. Four queries.

    Surface shade and undercolor stand together, whichever of them is talked about.
    """
    truths = list(ItemTruth.objects.filter(item__of=of_set).select_related("trait"))
    talked = {truth.item_id for truth in truths if truth.discuss}
    coats = {truth.item_id for truth in truths if truth.discuss and truth.trait.summary in PAIR}
    given: dict = {}
    answers = CalibrationAnswer.objects.filter(item__in=talked, step__isnull=False).order_by("step")
    for item, trait, step in answers.values_list("item", "trait", "step"):
        given.setdefault((item, trait), []).append(step)
    by_item: dict = {}
    for truth in truths:
        if truth.discuss or (truth.item_id in coats and truth.trait.summary in PAIR):
            steps = given.get((truth.item_id, truth.trait_id), [])
            by_item.setdefault(truth.item_id, []).append((truth.trait, f"{truth.value:.1f}", steps, truth.discuss))
    items = of_set.items.standing().prefetch_related("photos").filter(pk__in=by_item)
    return [{"item": item, "photos": photos_of(item), "steps": by_item[item.pk]} for item in items]
