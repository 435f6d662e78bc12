"""Writes of a season's plan: a mentor proposes and edits, an owner answers each item, and what follows is logged."""

from django.core.exceptions import ValidationError
from django.utils import timezone

from clubsite.constraints import rules_explained
from grading.models import Aim, ItemState, SeasonItem
from herds.actions.decisions import decide
from herds.finding import one_space
from herds.models import Animal, Grant, Sex
from pedigrees import load
from pedigrees.actions.plans import plan_matings
from pedigrees.models import PlannedMating
from pedigrees.planning.reading import plan_of

from .season_news import tell_answered, tell_proposed

CLOSED = "The herd is no longer open to you, so nothing was saved. Ask its owners for a new grant."
ANSWERED = "This proposal was answered or taken back meanwhile, so nothing was saved."
FIELDS = ("season", "aim", "animal", "buck", "why")
DECISIONS = (Aim.KEEP, Aim.GROW_ON, Aim.LET_GO)
MOST_PAIRS = 40


class HerdClosed(Exception):
    """The mentor's grant is over: nothing of the herd is shown any more."""


def granted(herd, by):
    """Hold the mentor's running grant for the rest of the transaction, so that it cannot end in between."""
    if not Grant.objects.running().select_for_update().filter(herd=herd, mentor=by.pk).exists():
        raise HerdClosed(CLOSED)


def propose(*, herd, by, season, aim, why, animal=None, buck=None):
    """A new item of the plan. Raises HerdClosed, or ValidationError with sentences by field."""
    with rules_explained():
        granted(herd, by)
        given = _checked(herd, season, aim, why, animal, buck)
        item = SeasonItem.objects.create(herd=herd, written_by=by, **given)
        tell_proposed(items=[item], by=by)
        return item


def propose_pairs(*, herd, by, season, pairs, why):
    """Matings out of the planner as items of the plan, all with one reason; `pairs` are (doe, buck).

    Those that wait for an answer or were accepted for the season are left. Returns the new items, all or none.
    Raises HerdClosed, or ValidationError with sentences by field.
    """
    if not pairs:
        raise ValidationError("Choose at least one pair.")
    if len(pairs) > MOST_PAIRS:
        raise ValidationError(f"These are {len(pairs)} matings; propose at most {MOST_PAIRS} at a time.")
    with rules_explained():
        granted(herd, by)
        standing = SeasonItem.objects.filter(
            herd=herd, season=season, aim=Aim.MATE, state__in=[ItemState.PROPOSED, ItemState.ACCEPTED]
        )
        known = set(standing.values_list("animal", "buck"))
        given = [
            _checked(herd, season, Aim.MATE, why, doe, buck) for doe, buck in pairs if (doe.pk, buck.pk) not in known
        ]
        items = SeasonItem.objects.bulk_create(SeasonItem(herd=herd, written_by=by, **each) for each in given)
        if items:
            tell_proposed(items=items, by=by)
        return items


def change_item(*, item, by, version, season, aim, why, animal=None, buck=None):
    """Edit what one proposed, as long as nobody answered it."""
    with rules_explained():
        granted(item.herd, by)
        row = SeasonItem.objects.select_for_update().get(pk=item.pk)
        if row.state != ItemState.PROPOSED or row.written_by_id != by.pk:
            raise ValidationError(ANSWERED)
        given = _checked(item.herd, season, aim, why, animal, buck)
        changed = any(getattr(row, name) != value for name, value in given.items())
        for name, value in given.items():
            setattr(row, name, value)
        row.save_version(version, FIELDS)
        if changed:
            tell_proposed(items=[row], by=by)
        return row


def withdraw_item(*, item, by):
    """Take a proposal back before it is answered; twice is once."""
    with rules_explained():
        granted(item.herd, by)
        row = SeasonItem.objects.select_for_update().get(pk=item.pk)
        if row.state == ItemState.WITHDRAWN and row.written_by_id == by.pk:
            return row
        if row.state != ItemState.PROPOSED or row.written_by_id != by.pk:
            raise ValidationError(ANSWERED)
        row.state = ItemState.WITHDRAWN
        row.save_version(None, ["state"])
        return row


def accept_item(*, item, by, version, answer="", confirmed=""):
    """Accept an item as it was read: a mating goes into the planner's plan, keep / grow on / let go is decided."""
    with rules_explained():
        row = _answered(item, by, version, ItemState.ACCEPTED, answer)
        if row.aim == Aim.MATE:
            row.mating = _planned(row, by)
        elif row.aim in DECISIONS:
            reason = f"{row.written_by}: {row.why}"[:300]
            row.decision = decide(animals=[row.animal], verdict=row.aim, by=by, reason=reason, confirmed=confirmed)[0]
        row.save(update_fields=["mating", "decision"])
        tell_answered(item=row, by=by)
        return row


def decline_item(*, item, by, version, answer=""):
    """Decline an item as it was read; a word why may be left out, and is shown to the mentor."""
    with rules_explained():
        row = _answered(item, by, version, ItemState.DECLINED, answer)
        tell_answered(item=row, by=by)
        return row


def _answered(item, by, version, state, answer):
    row = SeasonItem.objects.answerable_by(by).select_for_update(of=("self",)).filter(pk=item.pk).first()
    if row is None:
        raise ValidationError("This proposal was answered or taken back meanwhile. Open the plan again.")
    if version is not None and row.version != version:
        raise row.stale_page()
    answer = one_space(answer)
    if len(answer) > 300:
        raise ValidationError({"answer": "Shorten the answer to 300 letters."})
    row.state, row.answer, row.answered_by, row.answered_at = state, answer, by, timezone.now()
    row.save_version(None, ["state", "answer", "answered_by", "answered_at"])
    return row


def _planned(row, by):
    """The planned mating of an accepted item, with the planner's own reasons; one that stands there already is kept."""
    known = PlannedMating.objects.filter(doe=row.animal, buck=row.buck, dropped_at__isnull=True).first()
    if known:
        return known
    animals = Animal.objects.select_related("breed", "herd").in_bulk([row.animal_id, row.buck_id])
    try:
        pair = plan_of(by, [animals[row.animal_id]], [animals[row.buck_id]]).pairs[0][0]
    except load.PedigreeProblem as problem:
        raise ValidationError(str(problem)) from problem
    return plan_matings(pairs=[pair], by=by)[0]


def _checked(herd, season, aim, why, animal, buck):
    """The fields of an item, refused where its animals do not stand there."""
    problems: dict = {}
    why = one_space(why)
    if aim == Aim.MATE:
        if animal is None or animal.sex != Sex.DOE:
            problems["animal"] = "Choose the doe of the mating."
        if buck is None or buck.sex != Sex.BUCK:
            problems["buck"] = "Choose the buck of the mating."
        elif buck.herd_id != herd.pk and not buck.offered_to_club:
            problems["buck"] = f"{buck} is not offered to the club. Choose another buck."
    else:
        buck = None
        if aim not in (Aim.BRING_IN, Aim.OTHER) and animal is None:
            problems["animal"] = "Choose the animal."
    if animal is not None and (animal.herd_id != herd.pk or not animal.is_here):
        problems["animal"] = f"{animal} does not stand in {herd} any more. Choose another animal."
    if not why:
        problems["why"] = "Say why: the owner decides by the reason."
    elif len(why) > 500:
        problems["why"] = "Shorten the reason to 500 letters."
    today = timezone.localdate()
    if not today.year <= season <= today.year + 2:
        problems["season"] = f"Choose a season from {today.year} to {today.year + 2}."
    if problems:
        raise ValidationError(problems)
    return {"season": season, "aim": aim, "animal": animal, "buck": buck, "why": why}
