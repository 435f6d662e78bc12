"""Changing what an animal is: filled in when unknown, corrected with a reason, and every change on the trail."""

from django.core.exceptions import ValidationError
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.history import because
from herds.finding import one_space
from herds.models import Animal, Breed, Correction, Sex
from herds.policies import IDENTITY, identity_rule, keeps
from herds.words import day_words, sex_word

from .animals import log_outside_ancestor
from .marks import reissue_marks
from .parents import check_parents, check_progeny

FREE = ("name", "variety", "notes", "offered_to_club", "silver_complete_on", "imported")
FILLED_IN = "filled in, was not known"


def edit_animal(*, animal, version, by, identity=None, free=None, reason=""):
    """Save the animal's page: `free` fields of its keeper, and `identity` (sex, born_on, sire, dam, breeder).

    The breeder is a pair (herd of the club or None, name). What was unknown is filled in; what was known is changed
    with a reason, by whom the policy allows. Raises ValidationError by field, StalePage when somebody was faster.
    """
    with rules_explained(), because(one_space(reason)):
        row = Animal.objects.select_for_update(of=("self",)).select_related("herd", "bred_in").get(pk=animal.pk)
        if version is not None and row.version != version:
            raise row.stale_page()
        before = identity_of(row)
        wanted = {name: _registered(value, row, by) for name, value in (identity or {}).items()}
        changed = {name: value for name, value in wanted.items() if value != before[name]}
        known = [name for name in changed if is_known(name, before[name])]
        reason = one_space(reason)
        _check_allowed(row, changed, known, reason, by)
        fields = _set_free(row, free or {}, by) + _set_identity(row, changed)
        if not fields:
            return row
        _check_facts(row, changed)
        row.clean_fields(exclude=["herd", "breed", "sire", "dam", "litter", "bred_in", "logged_by"])
        row.save_version(version, fields)
        Correction.objects.bulk_create(
            Correction(
                animal=row,
                field=IDENTITY[name],
                old=_words(name, before[name])[:200],
                new=_words(name, changed[name])[:200],
                reason=(reason if name in known else reason or FILLED_IN)[:300],
                by=by,
            )
            for name in changed
        )
        if "breeder" in changed:
            reissue_marks(row)
    return row


def identity_of(animal):
    """The five facts of identity as `edit_animal` takes them."""
    return {
        "sex": animal.sex,
        "born_on": animal.born_on,
        "sire": animal.sire,
        "dam": animal.dam,
        "breeder": (animal.bred_in, animal.breeder_name),
    }


def is_known(name, value):
    """False for a fact of identity that is still open."""
    if name == "sex":
        return value != Sex.UNKNOWN
    if name == "breeder":
        return value[0] is not None or bool(value[1])
    return value is not None


def _words(name, value):
    """A fact as the trail keeps it, in words."""
    if name == "sex":
        return sex_word(value)
    if name == "born_on":
        return day_words(value)
    if name == "breeder":
        return str(value[0] or value[1] or "")
    return str(value or "")


def _registered(value, row, by):
    if value is None or isinstance(value, (Animal, str, tuple)) or hasattr(value, "year"):
        return value
    return log_outside_ancestor(
        by=by, breed=Breed.objects.get(pk=row.breed_id), sex=value.sex, name=value.name, mark=value.mark,
        breeder_name=value.breeder_name,
    )  # fmt: skip


def _check_allowed(row, changed, known, reason, by):
    if not changed:
        return
    rule = identity_rule(row, by)
    if not rule.may_fill:
        raise ValidationError(rule.why_not)
    if not known:
        return
    if not rule.may_change:
        raise ValidationError(dict.fromkeys(known, rule.why_not))
    if not reason:
        words = " and the ".join(IDENTITY[name] for name in known)
        raise ValidationError({"reason": f"Say why the {words} of {row} changes: it was recorded otherwise."})


def _set_free(row, free, by):
    changed = [name for name in FREE if name in free and free[name] != getattr(row, name)]
    if changed and not keeps(row, by):
        raise ValidationError("Only its owner changes the name, the notes and what else is logged about an animal.")
    for name in changed:
        setattr(row, name, free[name])
    return changed


def _set_identity(row, changed):
    fields = []
    for name, value in changed.items():
        if name == "breeder":
            row.bred_in, row.breeder_name = value
            fields += ["bred_in", "breeder_name"]
        else:
            setattr(row, name, value)
            fields.append(name)
    return fields


def _check_facts(row, changed):
    today = timezone.localdate()
    if row.born_on and row.born_on > today:
        raise ValidationError({"born_on": f"{day_words(row.born_on)} lies in the future. Choose an earlier day."})
    if row.silver_complete_on and row.silver_complete_on > today:
        raise ValidationError({"silver_complete_on": "This day lies in the future. Choose an earlier day."})
    if row.silver_complete_on and row.born_on and row.silver_complete_on < row.born_on:
        raise ValidationError(
            {"silver_complete_on": f"{row} was born on {day_words(row.born_on)}. Choose a later day."}
        )
    if "born_on" in changed and row.born_on and row.status_on and row.status_on < row.born_on:
        said = f"{row} is recorded as “{row.get_status_display()}” on {day_words(row.status_on)}, before this day."
        raise ValidationError({"born_on": f"{said} Check both."})
    if {"sire", "dam", "born_on"} & set(changed):
        check_parents(sire=row.sire, dam=row.dam, born_on=row.born_on, animal=row)
    if {"sex", "born_on"} & set(changed):
        check_progeny(animal=row, sex=row.sex, born_on=row.born_on)
