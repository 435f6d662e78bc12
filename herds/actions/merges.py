"""Making two cards of one animal into one, and taking that back. The registrar's."""

import json

from django.core import serializers
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, models, transaction
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.history import because
from herds.finding import one_space
from herds.models import Animal, Merge, PossibleDuplicate
from herds.models.duplicate import DuplicateState
from herds.words import card_words, listed

FILLED = (
    "name", "variety", "born_on", "sire", "dam", "litter", "bred_in", "breeder_name", "silver_complete_on", "notes",
)  # fmt: skip
# What the database makes by itself for a card, or what tells of the card and not of the animal.
NOT_MOVED = {"pedigrees.inbreeding", "herds.possibleduplicate", "herds.merge"}


def merge_cards(*, keep, gone, reason, by):
    """Everything of `gone` becomes that of `keep`; returns the Merge. Refused, with why, where both cannot be true."""
    reason = one_space(reason)
    if not reason:
        raise ValidationError({"reason": "Say how you know that it is one animal."})
    if len(reason) > 300:
        raise ValidationError({"reason": "Shorten the reason to 300 letters."})
    with rules_explained(), because(reason), transaction.atomic():
        rows = list(Animal.objects.identity_editable_by(by).select_for_update().filter(pk__in=[keep.pk, gone.pk]))
        found = {animal.pk: animal for animal in rows}
        if len(found) != 2:
            raise ValidationError("One of the two cards is not there any more, or not yours to change.")
        keep, gone = found[keep.pk], found[gone.pk]
        refuse_two_animals(keep, gone)
        merge = Merge(kept=keep, gone=gone.pk, reason=reason, made_by=by)
        merge.gone_words = f"{gone} ({card_words(gone)})"[:200]
        merge.card = as_rows([gone])[0]
        merge.moved, merge.aside = move_all(gone, keep)
        gone.delete()
        merge.filled = fill(keep, merge.card["fields"])
        merge.save()
        return merge


def refuse_two_animals(keep, gone):
    """What shows that these are two animals after all."""
    if keep.breed_id != gone.breed_id:
        raise ValidationError(f"{keep} and {gone} are of different breeds, so they are two animals.")
    if "unknown" not in (keep.sex, gone.sex) and keep.sex != gone.sex:
        raise ValidationError(f"{keep} is a {keep.sex} and {gone} a {gone.sex}. Correct the sex of one card first.")
    if keep.pk in (gone.sire_id, gone.dam_id) or gone.pk in (keep.sire_id, keep.dam_id):
        raise ValidationError(f"One of {keep} and {gone} is a parent of the other, so they are two animals.")
    if keep.born_on and gone.born_on and keep.born_on != gone.born_on:
        raise ValidationError(
            f"The cards have different birth dates ({keep.born_on} and {gone.born_on}). Correct one of them first."
        )
    for role in ("sire", "dam"):
        one, other = getattr(keep, f"{role}_id"), getattr(gone, f"{role}_id")
        if one and other and one != other:
            raise ValidationError(f"The cards have different {role}s. Correct one, or merge the two {role}s first.")


def relations():
    """(label, model, field) of everything that points at an animal."""
    for relation in Animal._meta.get_fields(include_hidden=True):
        if relation.auto_created and not relation.concrete and isinstance(relation, models.ManyToOneRel):
            label = relation.related_model._meta.label_lower
            if label not in NOT_MOVED and not relation.related_model._meta.proxy:
                yield f"{label}.{relation.field.name}", relation.related_model, relation.field.name


def move_all(gone, keep):
    """Move every row from one card to the other. Returns ({model.field: keys}, rows that cannot stand twice)."""
    moved: dict = {}
    aside: list = []
    for label, model, field in relations():
        keys = list(model._base_manager.filter(**{field: gone}).order_by("pk").values_list("pk", flat=True))
        if not keys:
            continue
        there, refused = move(model, field, keys, keep)
        if there:
            moved[label] = there
        if refused:
            aside += set_aside(model, field, refused)
    return moved, aside


def move(model, field, keys, animal):
    """Point these rows at the animal, all at once or, where one refuses, one by one. Returns (moved, refused) keys."""
    rows = model._base_manager.filter(pk__in=keys)
    try:
        with transaction.atomic():
            rows.update(**{field: animal})
            check_now()
        return keys, []
    except (IntegrityError, DatabaseError):
        pass
    moved, refused = [], []
    for key in keys:
        try:
            with transaction.atomic():
                model._base_manager.filter(pk=key).update(**{field: animal})
                check_now()
            moved.append(key)
        except (IntegrityError, DatabaseError):
            refused.append(key)
    return moved, refused


def check_now():
    """Have deferred rules speak here, inside the savepoint, and not at the end."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")


def set_aside(model, field, keys):
    """Keep rows that the kept card has already, such as the weight of the same day, and take them out."""
    rows = list(model._base_manager.filter(pk__in=keys))
    protected = model._meta.get_field(field).remote_field.on_delete is models.PROTECT
    if protected:
        said = listed([f"“{row}”" for row in rows[:4]])
        raise ValidationError(
            f"Both cards have a {model._meta.verbose_name} of the same day or content: {said}. Take one of the two out "
            "first, then make the cards one."
        )
    kept = as_rows(rows)
    for row in kept:
        row["as"] = field
    try:
        with transaction.atomic():
            model._base_manager.filter(pk__in=keys).delete()
    except (IntegrityError, DatabaseError, models.ProtectedError) as error:
        raise ValidationError(
            f"A {model._meta.verbose_name} of the card that would go cannot give way. Settle it first."
        ) from error
    return kept


def as_rows(rows):
    """The rows as plain data, to be made again exactly."""
    return json.loads(json.dumps(serializers.serialize("python", rows), default=str))


def fill(keep, card):
    """Give the kept card what only the other one told; returns what was filled in."""
    filled = {}
    for name in FILLED:
        field = Animal._meta.get_field(name)
        if getattr(keep, field.attname) in (None, "") and card[name] not in (None, ""):
            setattr(keep, field.attname, field.to_python(card[name]) if not field.is_relation else card[name])
            filled[name] = card[name]
    if keep.sex == "unknown" and card["sex"] != "unknown":
        keep.sex, filled["sex"] = card["sex"], card["sex"]
    if filled:
        keep.save_version(None, [Animal._meta.get_field(name).name for name in filled])
    return filled


def undo_merge(*, merge, by):
    """Make the card that went again, with everything that moved and is still as it was moved."""
    with rules_explained(), because("the merge was undone"), transaction.atomic():
        merge = Merge.objects.editable_by(by).select_for_update().select_related("kept").get(pk=merge.pk)
        if merge.undone_at:
            raise ValidationError("This was undone already.")
        empty_again(merge.kept, merge.filled)
        make_again([merge.card])
        for label, keys in merge.moved.items():
            model, field = by_label(label)
            rows = model._base_manager.filter(pk__in=keys, **{field: merge.kept})
            rows.update(**{field: merge.gone})
        make_again(merge.aside)
        merge.undone_by, merge.undone_at = by, timezone.now()
        merge.save(update_fields=["undone_by", "undone_at"])
        keep_apart(merge.kept_id, merge.gone, by)
        return merge


def empty_again(keep, filled):
    """Take back what was filled in, where it still says the same."""
    names = []
    for name, value in filled.items():
        field = Animal._meta.get_field(name)
        if name == "sex":
            if keep.sex == value and not (keep.sired.exists() or keep.borne.exists()):
                keep.sex = "unknown"
                names.append(name)
        elif as_rows([keep])[0]["fields"][name] == value:
            setattr(keep, field.attname, None if field.null else "")
            names.append(name)
    if names:
        keep.save_version(None, names)


def make_again(rows):
    plain = [{key: value for key, value in row.items() if key != "as"} for row in rows]
    for row in serializers.deserialize("python", plain):
        models.Model.save_base(row.object, raw=True, force_insert=True)


def by_label(label):
    from django.apps import apps

    model, field = label.rsplit(".", 1)
    return apps.get_model(model), field


def keep_apart(one, other, by):
    """So that the same pair is not offered again."""
    first, second = sorted((one, other))
    PossibleDuplicate.objects.update_or_create(
        first_id=first,
        second_id=second,
        defaults={
            "why": "They were made one, and that was undone.",
            "found_by": "registrar",
            "state": DuplicateState.APART,
            "settled_by": by,
            "settled_at": timezone.now(),
        },
    )


def declare_apart(*, pair, by):
    """The registrar has looked: these are two animals."""
    with rules_explained():
        rows = PossibleDuplicate.objects.editable_by(by).open().filter(pk=pair.pk)
        if not rows.update(state=DuplicateState.APART, settled_by=by, settled_at=timezone.now()):
            raise ValidationError("This pair is settled already.")


def offer_pair(*, first, second, why, by):
    """The registrar names two cards that may be one animal."""
    if first.pk == second.pk:
        raise ValidationError({"second": "These are one and the same card. Choose another one."})
    low, high = sorted((first.pk, second.pk))
    with rules_explained():
        pair, made = PossibleDuplicate.objects.get_or_create(
            first_id=low,
            second_id=high,
            defaults={"why": one_space(why)[:300] or "Named by the registrar.", "found_by": "registrar"},
        )
        if not made and pair.state != DuplicateState.OPEN:
            pair.state, pair.settled_by, pair.settled_at = DuplicateState.OPEN, None, None
            pair.save(update_fields=["state", "settled_by", "settled_at"])
        return pair
