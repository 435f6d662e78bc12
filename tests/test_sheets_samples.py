"""Three sheets as clubs keep them, brought in by the command; how many animals each holds stands in truth.json."""

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from herds.models import Animal, ImportBatch, Litter
from tests.factories import make_herd

SHEETS = Path(__file__).parent / "sheets"
TRUTH = json.loads((SHEETS / "truth.json").read_text())
pytestmark = pytest.mark.django_db


def bring(name, *options):
    out = StringIO()
    call_command("import_sheet", str(SHEETS / name), "--json", *options, stdout=out)
    return json.loads(out.getvalue())


@pytest.mark.parametrize("name", ["farm_sheet.csv", "hutches.xlsx"])
def test_a_herds_sheet_goes_in_as_the_truth_says_and_once_only(cast, name):
    herd = make_herd(cast.keeper, name="Newcomer")
    truth, option = TRUTH[name], ("--herd", herd.slug)
    dry = bring(name, "--dry-run", *option)
    assert not Animal.objects.filter(herd=herd).exists()
    assert not ImportBatch.objects.exists()
    told = bring(name, *option)
    assert (told["created"], told["refused"], told["asked"]) == (truth["animals"], truth["must_refuse"], 0)
    assert {**told, "dry_run": True, "imported": False, "batch": None} == dry
    animals = Animal.objects.filter(herd=herd)
    assert animals.count() == truth["animals"]
    assert animals.filter(sire__isnull=False).count() == truth["with_sire"]
    assert told["litters"] == Litter.objects.filter(herd=herd).count() == truth.get("litters", 0)
    again = bring(name, *option)
    assert (again["created"], again["changed"], again["litters"], again["same"]) == (0, 0, 0, truth["animals"])
    assert animals.count() == truth["animals"]
    assert ImportBatch.objects.count() == 1


def test_the_register_goes_in_as_the_truth_says_and_once_only(cast):
    before = Animal.objects.count()
    told = bring("register.csv", "--registry")
    truth = TRUTH["register.csv"]
    assert (told["created"], told["refused"], told["asked"]) == (truth["animals"], truth["must_refuse"], 0)
    assert Animal.objects.count() == before + truth["animals"]
    new = Animal.objects.filter(breeder_name__in=["Z. Orrin", "B. Ysk", "P. Aldous"])
    assert new.filter(sire__isnull=False).count() == truth["with_sire"]
    again = bring("register.csv", "--registry")
    assert (again["created"], again["changed"], again["same"]) == (0, 0, truth["animals"])
