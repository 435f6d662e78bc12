"""Plain makers of rows: each takes only what matters to the test and fills in the rest."""

import itertools
from datetime import date, timedelta

from allauth.account.models import EmailAddress
from django.utils import timezone

from clubsite.members.models import Member
from grading.models import (
    AgeClass,
    Answer,
    BreedProfile,
    EvaluationRun,
    Look,
    Merit,
    Photo,
    PointsLine,
    PointsSheet,
    ProfileTrait,
    Review,
    ReviewAnimal,
    Trait,
    TraitEvaluation,
)
from herds.models import (
    Animal,
    AnimalGrant,
    Breed,
    Grant,
    HealthNote,
    Herd,
    Kit,
    Litter,
    Mark,
    Mating,
    Ownership,
    Weight,
)

_count = itertools.count(1)
PASSWORD = "a long enough password"


def make_member(name="Ida Ashgrove", **given):
    """A member with a verified e-mail address; the password is PASSWORD."""
    email = given.pop("email", f"{name.lower().replace(' ', '.')}.{next(_count)}@example.org")
    member = Member(email=email, name=name, **given)
    member.set_password(PASSWORD)
    member.save()
    EmailAddress.objects.create(user=member, email=email, verified=True, primary=True)
    return member


def make_breed(name="Large silvered"):
    return Breed.objects.get_or_create(slug=name.lower().replace(" ", "-"), defaults={"name": name})[0]


def make_herd(*owners, name=None, **given):
    name = name or f"Herd {next(_count)}"
    slug = given.pop("slug", name.lower().replace(" ", "-"))
    herd = Herd.objects.create(name=name, slug=slug, **given)
    for owner in owners:
        Ownership.objects.create(herd=herd, member=owner)
    return herd


def make_animal(herd=None, mark=None, **given):
    """An animal, two years old unless told; `mark` is its left-ear tattoo, issued by its herd."""
    given.setdefault("breed", make_breed())
    given.setdefault("born_on", timezone.localdate() - timedelta(days=730))
    given.setdefault("bred_in", herd)
    if herd is None:
        given.setdefault("status", "outside")
    animal = Animal.objects.create(herd=herd, **given)
    if mark is not False:
        Mark.objects.create(animal=animal, text=mark or f"T{next(_count)}", issued_by=herd)
        animal.refresh_from_db()
    return animal


def make_mating(doe, buck, **given):
    given.setdefault("herd", doe.herd)
    return Mating.objects.create(doe=doe, buck=buck, **given)


def make_litter(dam, sire=None, kits=0, **given):
    """A litter with `kits` kit rows, born today unless told."""
    given.setdefault("herd", dam.herd)
    given.setdefault("born_alive", kits or 6)
    litter = Litter.objects.create(dam=dam, sire=sire, **given)
    for number in range(1, kits + 1):
        Kit.objects.create(litter=litter, number=number)
    return litter


def make_weight(animal, grams=4500, **given):
    given.setdefault("herd", animal.herd)
    return Weight.objects.create(animal=animal, grams=grams, **given)


def make_health_note(animal=None, **given):
    """A note about an animal, or about `litter`, seen today unless told."""
    given.setdefault("herd", (animal or given.get("litter")).herd)
    given.setdefault("seen", "Sneezes, a wet nose")
    return HealthNote.objects.create(animal=animal, **given)


def make_grant(herd, mentor, granted_by, **given):
    given.setdefault("ends_on", timezone.localdate() + timedelta(days=30))
    return Grant.objects.create(herd=herd, mentor=mentor, granted_by=granted_by, **given)


def make_trait(code="surface_shade", **given):
    given.setdefault("name", code.replace("_", " ").capitalize())
    given.setdefault("question", f"How is the {code.replace('_', ' ')}?")
    given.setdefault("section", 1)
    given.setdefault("low_words", "nearly black")
    given.setdefault("high_words", "nearly white")
    return Trait.objects.get_or_create(code=code, defaults=given)[0]


def make_profile(breed=None, *, traits=(), **given):
    """A published profile in force since 2000 with three age classes and the given traits."""
    given.setdefault("name", "Large silvered, test schedule")
    given.setdefault("association", "Invented association")
    given.setdefault("edition", f"edition {next(_count)}")
    given.setdefault("in_force_from", date(2000, 1, 1))
    published_at = given.pop("published_at", timezone.now())
    profile = BreedProfile.objects.create(breed=breed or make_breed(), **given)
    for code, low, high in (("junior", 0, 6), ("intermediate", 6, 8), ("senior", 8, None)):
        AgeClass.objects.create(profile=profile, code=code, name=code.capitalize(), from_months=low, to_months=high)
    for trait in traits:
        ProfileTrait.objects.create(profile=profile, trait=trait, goal_low=6, goal_high=8)
    profile.published_at = published_at  # last, since nothing is added to a published edition
    profile.save(update_fields=["published_at"])
    return profile


def published_profile(breed):
    return BreedProfile.objects.filter(breed=breed, published_at__isnull=False).first()


def make_look(animal, observer, *, steps=None, finished=True, **given):
    """A look with answers from `steps`: {trait or (trait, site): step, or None for 'cannot tell'}."""
    now = timezone.now()
    given.setdefault("profile", published_profile(animal.breed) or make_profile(animal.breed))
    given.setdefault("light", "open_shade")
    given.setdefault("coat_stage", "prime")
    given.setdefault("silvering_complete", True)
    given.setdefault("herd", animal.herd)
    given.setdefault("observed_on", timezone.localdate())
    given.setdefault("age_days", animal.age_days(given["observed_on"]))
    given.setdefault("editable_until", now + timedelta(hours=12))
    if "age_class" not in given and given["age_days"] is not None:
        months = given["age_days"] / 30.44
        code = "junior" if months < 6 else "intermediate" if months < 8 else "senior"
        given["age_class"] = given["profile"].age_classes.filter(code=code).first()
    look = Look.objects.create(
        animal=animal,
        observer=observer,
        finished_at=now if finished else None,
        current=finished,
        **given,
    )
    for what, step in (steps or {}).items():
        trait, site = what if isinstance(what, tuple) else (what, "")
        Answer.objects.create(look=look, trait=trait, site=site, step=step, cannot_tell=step is None)
    look.refresh_from_db()
    return look


def make_points(look, note="", **given):
    """A points sheet beside a look: {code of the position: points}."""
    sheet = PointsSheet.objects.create(look=look, note=note)
    for code, points in given.items():
        place = look.profile.positions.get(code=code)
        PointsLine.objects.create(sheet=sheet, position=place, points=points)
    return sheet


def make_evaluation(breed, merits, *, genetic=None, on=None, **given):
    """A run that is done, as if the model had found it. merits : {trait: {animal: (value, reliability)}}.

    `given` goes into every TraitEvaluation; fixed effects are none, so that merit 0 stands at `base`, step 5.
    """
    at = on or timezone.now()
    told = {} if genetic is None else {"value": genetic, "error": 0.1, "low": genetic - 0.2, "high": genetic + 0.2}
    run = EvaluationRun.objects.create(
        breed=breed, state="done", began_at=at, ended_at=at, method="by hand", counts={"looks": 100},
        together={"genetic": told} if told else {},
    )  # fmt: skip
    for trait, by_animal in merits.items():
        values = {
            "mean": 5.0, "base": 5.0, "heritability": 0.4, "heritability_low": 0.2, "heritability_high": 0.6,
            "repeatability": 0.5, "converged": True, "looks": 100, "animals": len(by_animal), "graders": 3, "herds": 3,
            "variances": {"animal": 0.6, "permanent": 0.15, "litter": 0.0, "residual": 0.75},
        } | given  # fmt: skip
        row = TraitEvaluation.objects.create(run=run, trait=trait, **values)
        Merit.objects.bulk_create(
            Merit(evaluation=row, animal=animal, value=value, reliability=reliability)
            for animal, (value, reliability) in by_animal.items()
        )
    return run


def make_animal_grant(animal, mentor, granted_by, **given):
    given.setdefault("ends_on", timezone.localdate() + timedelta(days=30))
    return AnimalGrant.objects.create(animal=animal, herd=animal.herd, mentor=mentor, granted_by=granted_by, **given)


def make_review(herd, animals, asked_by, mentor=None, *, state="asked", **given):
    """A review of these animals in a state, without grants; `advice` and `opinion` are for each of them."""
    now = timezone.now()
    about = {name: given.pop(name) for name in ("advice", "opinion", "opinion_reason") if name in given}
    given.setdefault("ends_on", timezone.localdate() + timedelta(days=30))
    given.setdefault("question", "keep")
    given.setdefault("taken_at", None if state == "asked" else now)
    given.setdefault("closed_at", now if state in ("answered", "withdrawn") else None)
    review = Review.objects.create(herd=herd, asked_by=asked_by, mentor=mentor, state=state, **given)
    for position, animal in enumerate(animals, 1):
        ReviewAnimal.objects.create(review=review, animal=animal, position=position, **about)
    return review


def make_photo(animal, **given):
    """A photo row whose file is not there; tests of the files upload real ones."""
    given.setdefault("checksum", f"{next(_count):064d}")
    given.setdefault("bytes", 1000)
    given.setdefault("original", "photos/none.jpg")
    return Photo.objects.create(animal=animal, **given)
