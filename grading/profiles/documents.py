"""An edition as a document: plain dicts and lists in the layout of the shipped files, weights in grams."""

import hashlib
import json
from functools import cache

from django.db.models import Prefetch

from grading.models import Basis, FindingKind, Position, ProfileFinding, ProfileTrait, Trait, WeightBand

from . import read

LIMITS = ("lowest", "ideal", "highest")
SECTIONS = ("profile", "positions", "age_classes", "weight_bands", "traits", "findings")


def document_of(profile):
    """The whole edition, in as many queries however many traits it has."""
    document = {"breed": {"name": profile.breed.name, "slug": profile.breed.slug}}
    for name in SECTIONS:
        document[name] = section_of(profile, name)
    return document | _own_words(document)


def section_of(profile, name):
    """One section; 'traits.CODE' is one trait, None when the edition does not grade it."""
    section, _, code = name.partition(".")
    return _trait_of(profile, code) if code else _READERS[section](profile)


def fingerprint(section):
    """A short word for a section's content, so that a page knows whether it is still the saved one."""
    text = json.dumps(section, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


@cache
def shipped_traits():
    return frozenset(read("traits"))


@cache
def shipped_findings():
    return frozenset(read("findings"))


def _about(profile):
    about = {
        "name": profile.name,
        "association": profile.association,
        "edition": profile.edition,
        "source": profile.source,
        "official": profile.official,
        "points_total": profile.points_total,
        "in_force_from": profile.in_force_from,
    }
    return about | ({"in_force_until": profile.in_force_until} if profile.in_force_until else {})


def _positions(profile):
    behind = Prefetch("basis", Basis.objects.select_related("trait", "finding"))
    parts = Prefetch("parts", Position.objects.order_by("position", "pk").prefetch_related(behind))
    wholes = Position.objects.filter(profile=profile, parent=None).prefetch_related(parts, behind)
    found = []
    for whole in wholes:
        given = _position(whole)
        if inside := [_position(part) for part in whole.parts.all()]:
            given["parts"] = inside
        found.append(given)
    return found


def _position(row):
    given = {"code": row.code, "name": row.name, "points": plain(row.points)}
    given |= {} if row.floor is None else {"floor": plain(row.floor)}
    given |= {} if row.step == 1 else {"step": plain(row.step)}
    given |= {"by_weight": True} if row.by_weight else {}
    basis = list(row.basis.all())
    given |= {"behind": traits} if (traits := sorted(each.trait.code for each in basis if each.trait)) else {}
    return given | ({"faults": kinds} if (kinds := sorted(e.finding.code for e in basis if e.finding)) else {})


def plain(number):
    """20 for 20.0, 12.5 as it is: points as a person writes them."""
    return int(number) if number == int(number) else float(number)


def _age_classes(profile):
    found = []
    for row in profile.age_classes.prefetch_related("weights"):
        months = [row.from_months] if row.to_months is None else [row.from_months, row.to_months]
        given = {"code": row.code, "name": row.name, "months": months}
        if weights := {weight.sex or "both": _limits(weight) for weight in row.weights.all()}:
            given["weights_g"] = weights
        found.append(given)
    return found


def _weight_bands(profile):
    rows = WeightBand.objects.filter(profile=profile).select_related("age_class")
    return [_band(row) for row in rows]


def _band(row):
    grams = [row.lowest_grams] if row.highest_grams is None else [row.lowest_grams, row.highest_grams]
    given = {"points": plain(row.points), "grams": grams}
    given |= {"age_class": row.age_class.code} if row.age_class else {}
    return given | ({"sex": row.sex} if row.sex else {})


def _limits(weight):
    grams = {which: getattr(weight, f"{which}_grams") for which in LIMITS}
    return {which: value for which, value in grams.items() if value is not None}


def _traits(profile):
    rows = ProfileTrait.objects.filter(profile=profile).select_related("trait").prefetch_related("step_texts")
    return {row.trait.code: _trait(row) for row in rows.order_by("trait__section", "trait__position", "trait__code")}


def _trait_of(profile, code):
    row = ProfileTrait.objects.filter(profile=profile, trait__code=code).prefetch_related("step_texts").first()
    return row and _trait(row)


def _trait(row):
    given = {}
    if row.goal_low is not None:
        given["goal"] = [row.goal_low, row.goal_high]
    if row.senior_low is not None:
        given["senior"] = [row.senior_low, row.senior_high]
    if row.why:
        given["why"] = row.why
    return given | {"steps": {str(text.step): text.words for text in row.step_texts.all()}}


def _findings(profile):
    rows = ProfileFinding.objects.filter(profile=profile).select_related("kind")
    rows = rows.order_by("kind__section", "kind__position", "kind__code")
    return {row.kind.code: {"effect": row.effect} | ({"why": row.why} if row.why else {}) for row in rows}


def _own_words(document):
    """What the club itself added and the edition uses: told in the file, so that another registry can make it."""
    own = {}
    if codes := set(document["traits"]) - shipped_traits():
        own["new_traits"] = {row.code: described_trait(row) for row in Trait.objects.filter(code__in=codes)}
    if codes := set(document["findings"]) - shipped_findings():
        kinds = FindingKind.objects.filter(code__in=codes)
        own["new_findings"] = {row.code: described_finding(row) for row in kinds}
    return own


def described_trait(row):
    """A trait as the shipped list of traits describes one."""
    given = {
        "section": row.section,
        "name": row.name,
        "question": row.question,
        "ends": [row.low_words, row.high_words],
        "scale": [row.scale_low, row.scale_high],
    }
    given |= {"two_sided": True} if row.two_sided else {}
    given |= {"sites": list(row.sites)} if row.sites else {}
    return given | ({} if row.photo_can_show else {"photo": False})


def described_finding(row):
    """A finding as the shipped list of findings describes one."""
    return {"section": row.section, "name": row.name, "hint": row.hint, "places": list(row.places)}


_READERS = {
    "profile": _about,
    "positions": _positions,
    "age_classes": _age_classes,
    "weight_bands": _weight_bands,
    "traits": _traits,
    "findings": _findings,
}
