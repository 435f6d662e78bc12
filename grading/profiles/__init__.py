"""The breed profiles that come with Argentry, as TOML beside this file, and their loader."""

import tomllib
from pathlib import Path

from django.apps import apps as installed
from django.db import transaction
from django.utils import timezone

FOLDER = Path(__file__).parent
SHIPPED = ("large_silvered_commercial",)
GRAMS_PER_POUND = 453.59237  # exact: 0.45359237 kg, the international agreement of 1959


def load_shipped(apps=installed):
    """Add what is missing of the shipped traits, findings and profiles; what is there stays as the club has it."""
    with transaction.atomic():
        _load_traits(apps)
        _load_finding_kinds(apps)
        for name in SHIPPED:
            _load_profile(apps, read(name))


def load_after_migrate(sender, apps=installed, **kwargs):
    """Receiver of post_migrate, so that a new, a test and a flushed database all hold the shipped profiles."""
    try:
        apps.get_model("grading", "ProfileFinding"), apps.get_model("herds", "Breed")
    except LookupError:  # migrated back to before the tables
        return
    load_shipped(apps)


def read(name):
    """The content of one shipped file as plain dicts and lists."""
    with (FOLDER / f"{name}.toml").open("rb") as file:
        return tomllib.load(file)


def _load_traits(apps):
    trait = apps.get_model("grading", "Trait")
    rows = []
    for position, (code, given) in enumerate(read("traits").items(), start=1):
        low, high = given.get("scale", (1, 9))
        rows.append(
            trait(
                code=code,
                name=given["name"],
                question=given["question"],
                section=given["section"],
                position=position,
                scale_low=low,
                scale_high=high,
                low_words=given["ends"][0],
                high_words=given["ends"][1],
                two_sided=given.get("two_sided", False),
                sites=given.get("sites", []),
                photo_can_show=given.get("photo", True),
                summary=given.get("summary", ""),
            )
        )
    trait.objects.bulk_create(rows, ignore_conflicts=True)


def _load_finding_kinds(apps):
    kind = apps.get_model("grading", "FindingKind")
    rows = [
        kind(code=code, position=position, **given)
        for position, (code, given) in enumerate(read("findings").items(), start=1)
    ]
    kind.objects.bulk_create(rows, ignore_conflicts=True)


def _load_profile(apps, given):
    """One edition with all that hangs on it, in one piece; an edition that is there is left alone."""
    breed, _ = apps.get_model("herds", "Breed").objects.get_or_create(
        slug=given["breed"]["slug"], defaults={"name": given["breed"]["name"]}
    )
    about = dict(given["profile"])
    edition = {"association": about.pop("association"), "edition": about.pop("edition")}
    profile, is_new = apps.get_model("grading", "BreedProfile").objects.get_or_create(
        breed=breed, **edition, defaults=about
    )
    if is_new:
        _add_positions(apps, profile, given["positions"])
        _add_age_classes(apps, profile, given["age_classes"])
        _add_traits(apps, profile, given["traits"])
        _add_findings(apps, profile, given["findings"])
        profile.published_at = timezone.now()  # last, since nothing is added to a published edition
        profile.save(update_fields=["published_at"])


def _add_positions(apps, profile, positions):
    model = apps.get_model("grading", "Position")
    place = 0
    for whole in positions:
        place += 1
        parts = whole.get("parts", [])
        kept = {key: value for key, value in whole.items() if key != "parts"}
        parent = model.objects.create(profile=profile, position=place, **kept)
        for part in parts:
            place += 1
            model.objects.create(profile=profile, parent=parent, position=place, **part)


def _add_age_classes(apps, profile, classes):
    age_class, weight_class = apps.get_model("grading", "AgeClass"), apps.get_model("grading", "WeightClass")
    for given in classes:
        start, *end = given["months"]
        row = age_class.objects.create(
            profile=profile,
            code=given["code"],
            name=given["name"],
            from_months=start,
            to_months=end[0] if end else None,
        )
        for sex, pounds in given.get("weights_lb", {}).items():
            grams = {f"{which}_grams": round(weight * GRAMS_PER_POUND) for which, weight in pounds.items()}
            weight_class.objects.create(age_class=row, sex="" if sex == "both" else sex, **grams)


def _add_traits(apps, profile, traits):
    profile_trait, step_text = apps.get_model("grading", "ProfileTrait"), apps.get_model("grading", "StepText")
    ids = dict(apps.get_model("grading", "Trait").objects.values_list("code", "pk"))
    rows = {}
    for code, given in traits.items():
        goal, senior = given.get("goal", (None, None)), given.get("senior", (None, None))
        rows[code] = profile_trait(
            profile=profile,
            trait_id=ids[code],
            goal_low=goal[0],
            goal_high=goal[1],
            senior_low=senior[0],
            senior_high=senior[1],
            why=given.get("why", ""),
        )
    profile_trait.objects.bulk_create(rows.values())
    step_text.objects.bulk_create(
        step_text(trait=rows[code], step=int(step), words=words)
        for code, given in traits.items()
        for step, words in given["steps"].items()
    )


def _add_findings(apps, profile, findings):
    model = apps.get_model("grading", "ProfileFinding")
    ids = dict(apps.get_model("grading", "FindingKind").objects.values_list("code", "pk"))
    model.objects.bulk_create(model(profile=profile, kind_id=ids[code], **given) for code, given in findings.items())
