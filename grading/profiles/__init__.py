"""The breed profiles that come with Argentry, as TOML beside this file, and their loader.

`documents` reads an edition out of the database, `writing` puts one in, `reading` checks a file, `toml` writes one,
`differences` compares two, `checks` says what keeps one from being published.
"""

import tomllib
from pathlib import Path

from django.apps import apps as installed
from django.db import transaction
from django.utils import timezone

from .writing import GRAMS_PER_POUND, add_finding_kinds, add_traits, write_edition

__all__ = ["GRAMS_PER_POUND", "SHIPPED", "load_after_migrate", "load_shipped", "read"]

FOLDER = Path(__file__).parent
SHIPPED = ("large_silvered_commercial", "central_european_silvered")


def load_shipped(apps=installed):
    """Add what is missing of the shipped traits, findings and profiles; what is there stays as the club has it."""
    with transaction.atomic():
        add_traits(read("traits"), apps)
        add_finding_kinds(read("findings"), apps)
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
        write_edition(profile, given, apps)
        profile.published_at = timezone.now()  # last, since nothing is added to a published edition
        profile.save(update_fields=["published_at"])
