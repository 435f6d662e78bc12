"""Writing editions of breed profiles: copy, change a draft part by part, import, publish, withdraw. For officers."""

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db.models import Q
from django.db.models.deletion import ProtectedError
from django.utils import timezone

from clubsite.constraints import SENTENCES, rules_explained
from clubsite.errors import NotYours
from clubsite.versions import StalePage
from grading.models import Answer, BreedProfile, FindingKind, Look, LookFinding, StepText, Trait
from grading.profiles import parts, writing
from grading.profiles.checks import hindrances
from grading.profiles.documents import document_of, fingerprint, shipped_findings, shipped_traits
from herds.models import Breed
from herds.words import count_words, day_words

STALE = (
    "Another officer changed this part after you opened this page. What you typed is still here: compare it with what "
    "is saved now, then save again."
)


def copy_edition(*, copied, by, **about):
    """A new draft with all of an edition's parts and pictures under another head. Raises ValidationError."""
    _officers(by)
    document = document_of(copied)
    draft = BreedProfile(points_total=copied.points_total, **about)
    draft.previous = edition_before(draft) or (copied if copied.published_at else None)
    with rules_explained():
        draft.full_clean()
        draft.save()
        writing.write_edition(draft, document)
        _copy_pictures(copied, draft)
    return draft


def _copy_pictures(source, draft):
    """The copy shows the same files: they are never changed, only replaced."""
    pictures = {
        (text.trait.trait_id, text.step): text.picture.name
        for text in StepText.objects.filter(trait__profile=source).exclude(picture="").select_related("trait")
    }
    texts = [
        text
        for text in StepText.objects.filter(trait__profile=draft).select_related("trait")
        if (text.trait.trait_id, text.step) in pictures
    ]
    for text in texts:
        text.picture = pictures[text.trait.trait_id, text.step]
    StepText.objects.bulk_update(texts, ["picture"])


def import_edition(*, document, by):
    """A draft from a document that was read without problems; new traits and findings of the file are made too."""
    _officers(by)
    about = document["profile"]
    with rules_explained():
        breed = Breed.objects.filter(Q(slug=document["breed"]["slug"]) | Q(name=document["breed"]["name"])).first()
        draft = BreedProfile(breed=breed or Breed.objects.create(**document["breed"]), **about)
        draft.previous = edition_before(draft)
        _check(draft)
        draft.save()
        writing.add_traits({code: _at_the_end(Trait, row) for code, row in document.get("new_traits", {}).items()})
        writing.add_finding_kinds(
            {code: _at_the_end(FindingKind, row) for code, row in document.get("new_findings", {}).items()}
        )
        writing.write_edition(draft, document)
    return draft


def edition_before(profile):
    """The association's published edition for the breed that was last in force before; None for the first."""
    others = BreedProfile.objects.filter(
        breed=profile.breed, association=profile.association, published_at__isnull=False
    ).exclude(pk=profile.pk)
    return others.filter(in_force_from__lt=profile.in_force_from).order_by("-in_force_from", "-pk").first()


def save_part(*, profile, name, content, seen, by, pictures=None, without=()):
    """Put one part (see `profiles.parts`) in the place of a draft's, if that is still the one `seen`; else StalePage.

    For a trait, `pictures` are stored names by step, `without` the steps whose picture is taken out.
    """
    section, _, code = name.partition(".")
    with rules_explained():
        draft = _still(profile, name, seen, by)
        if section == "profile":
            _save_head(draft, content)
        elif section == "traits":
            _save_trait(draft, code, content, pictures or {}, without)
        else:
            parts.put_part(draft, name, content)
    return draft


def _save_head(draft, about):
    for field, value in ({"in_force_until": None} | about).items():
        setattr(draft, field, value)
    draft.previous = edition_before(draft) or draft.previous
    _check(draft)
    draft.save()


def _save_trait(draft, code, content, pictures, without):
    trait = Trait.objects.get(code=code)
    if content is None:
        draft.traits.filter(trait=trait).delete()
        return
    writing.write_one_trait(draft, trait, content)
    texts = StepText.objects.filter(trait__profile=draft, trait__trait=trait)
    texts.filter(step__in=without).update(picture="")
    for step, stored in pictures.items():
        texts.filter(step=step).update(picture=stored)


def take_traits(*, profile, traits, by):
    """Take traits of the registry into a draft, without goals; those it has already stay as they are."""
    with rules_explained():
        draft = _locked(profile, by)
        have = set(draft.traits.values_list("trait__code", flat=True))
        for trait in traits:
            if trait.code not in have:
                writing.write_one_trait(draft, trait, {"steps": {}})
    return draft


def add_own_trait(*, profile, by, **given):
    """A trait of the club's own, and its place in the draft."""
    with rules_explained():
        draft = _locked(profile, by)
        trait = Trait(position=_last_position(Trait, given["section"]), **given)
        trait.full_clean()
        trait.save()
        writing.write_one_trait(draft, trait, {"steps": {}})
    return trait


def add_own_finding(*, profile, effect, why, by, **given):
    """A finding of the club's own, and what it means in the draft."""
    with rules_explained():
        draft = _locked(profile, by)
        kind = FindingKind(position=_last_position(FindingKind, given["section"]), **given)
        kind.full_clean()
        kind.save()
        draft.findings.create(kind=kind, effect=effect, why=why)
    return kind


def delete_trait(*, trait, by):
    """Delete one of the club's own traits; refused with a number while looks or editions use it."""
    _officers(by)
    if trait.code in shipped_traits():
        raise ValidationError(f"{trait} comes with Argentry and stays. Leave it out of the next edition instead.")
    looks = Look.objects.filter(pk__in=Answer.objects.filter(trait=trait).values("look")).count()
    _delete_unused(trait, looks, trait.in_profiles.count())


def delete_finding(*, kind, by):
    """Delete one of the club's own findings; refused with a number while looks or editions use it."""
    _officers(by)
    if kind.code in shipped_findings():
        raise ValidationError(f"{kind} comes with Argentry and stays. Leave it out of the next edition instead.")
    looks = Look.objects.filter(pk__in=LookFinding.objects.filter(kind=kind).values("look")).count()
    _delete_unused(kind, looks, kind.in_profiles.count())


def _delete_unused(thing, looks, editions):
    if looks:
        raise ValidationError(
            f"{count_words(looks, 'look')} used {thing}, so it stays. Leave it out of the next edition instead.",
            code="in_use",
        )
    if editions:
        raise ValidationError(
            f"{thing} is part of {count_words(editions, 'edition')}. Take it out of every draft first; published "
            "editions keep it.",
            code="in_use",
        )
    try:
        with rules_explained():
            thing.delete()
    except ProtectedError as error:  # used in the very moment
        raise ValidationError(f"{thing} has just been used, so it stays.", code="in_use") from error


def publish(*, profile, in_force_from, seen, by):
    """Put a draft in force from a day; the association's edition before it ends the day before. Returns that or None.

    `seen` is the fingerprint of the whole edition as the officer read it. Raises ValidationError with one sentence
    for each thing that must be settled first.
    """
    with rules_explained():
        draft = _locked(profile, by)
        if fingerprint(document_of(draft)) != seen:
            raise StalePage(
                "Another officer changed this edition after you opened this page. Read the differences again."
            )
        if problems := hindrances(document_of(draft)):
            raise ValidationError(problems, code="unfinished")
        draft.in_force_from = in_force_from
        before = _make_room(draft)
        draft.published_at = timezone.now()
        _check(draft)
        draft.save()
    return before


def _make_room(draft):
    """End the edition before, and end this one before the next that is already published."""
    others = BreedProfile.objects.select_for_update().filter(
        breed=draft.breed_id, association=draft.association, published_at__isnull=False
    )
    if same := others.filter(in_force_from=draft.in_force_from).first():
        raise ValidationError({"in_force_from": f"{same} is in force from this day. Choose another day."})
    if later := others.filter(in_force_from__gt=draft.in_force_from).order_by("in_force_from").first():
        last = later.in_force_from - timedelta(days=1)
        draft.in_force_until = min(draft.in_force_until or last, last)
    before = others.filter(in_force_from__lt=draft.in_force_from).order_by("-in_force_from").first()
    last = draft.in_force_from - timedelta(days=1)
    if before and (before.in_force_until is None or before.in_force_until > last):
        before.in_force_until = last
        before.save(update_fields=["in_force_until"])
    draft.previous = before or draft.previous
    return before


def withdraw(*, profile, by):
    """Make a published edition a draft again, as long as no look was graded by it; the one before is in force again."""
    _officers(by)
    with rules_explained():
        row = BreedProfile.objects.select_for_update().get(pk=profile.pk)
        row.published_at = None
        row.save(update_fields=["published_at"])
        before = edition_before(row)
        if before and before.in_force_until == row.in_force_from - timedelta(days=1):
            before.in_force_until = row.in_force_until
            before.save(update_fields=["in_force_until"])
    return row


def end_edition(*, profile, in_force_until, by):
    """Set the last day of a published edition, or none."""
    _officers(by)
    with rules_explained():
        row = BreedProfile.objects.select_for_update().get(pk=profile.pk)
        row.in_force_until = in_force_until
        _check(row)
        row.save(update_fields=["in_force_until"])
    return row


def delete_draft(*, profile, by):
    """Delete a draft with all its parts; traits and findings stay in the registry."""
    with rules_explained():
        draft = _locked(profile, by)
        if later := draft.later.first():
            raise ValidationError(f"{later} names this draft as the edition before it. Delete that draft first.")
        draft.delete()


def _officers(by):
    if not (by.is_active and by.is_officer):
        raise NotYours


def _locked(profile, by):
    """The draft, held against other officers until the end; ValidationError once it is published."""
    _officers(by)
    row = BreedProfile.objects.select_for_update().filter(pk=profile.pk).first()
    if row is None:
        raise ValidationError("Another officer has deleted this draft meanwhile. Nothing was saved.", code="gone")
    if row.published_at:
        raise ValidationError(SENTENCES["profile_published"][1], code="profile_published")
    return row


def _check(row):
    if row.in_force_until and row.in_force_until < row.in_force_from:
        raise ValidationError({"in_force_until": "An edition cannot end before it begins."})
    row.full_clean()


def _still(profile, name, seen, by):
    draft = _locked(profile, by)
    if fingerprint(parts.part_of(draft, name)) != seen:
        raise StalePage(STALE)
    return draft


def _last_position(model, section):
    last = model.objects.filter(section=section).order_by("-position").values_list("position", flat=True).first()
    return (last or 0) + 1


def _at_the_end(model, row):
    return row | {"position": _last_position(model, row["section"])}


def ends_words(profile):
    """'until 31 Dec 2026', or 'without end'."""
    return f"until {day_words(profile.in_force_until)}" if profile.in_force_until else "without end"
