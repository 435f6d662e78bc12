"""Lists as CSV and XLSX, a herd as a sheet, a member's own data, and the registry for research."""

import csv
import io
import zipfile
from datetime import date, timedelta

import pytest
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone
from openpyxl import load_workbook

from clubsite.spreadsheets import kind_of, workbook
from grading.models import Trait
from herds.models import Animal, Mark, Status
from herds.sheets.cells import OWN_PLACES

from .factories import make_animal, make_herd, make_litter, make_look, make_profile, make_weight
from .photos_made import ready_photo

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


def cells_of(data):
    return [[cell.value for cell in row] for row in load_workbook(io.BytesIO(data)).active.iter_rows()]


def zipped(response):
    data = b"".join(response.streaming_content) if response.streaming else response.content
    return zipfile.ZipFile(io.BytesIO(data))


def table(archive, name):
    return list(csv.DictReader(io.StringIO(archive.read(f"{name}.csv").decode("utf-8-sig"))))


def test_the_herds_list_is_the_same_as_csv_and_as_a_workbook(cast):
    client = cast.client_of("keeper")
    address = reverse("herd-csv", args=[cast.herd.slug])
    rows = list(csv.reader(io.StringIO(client.get(address).content.decode("utf-8-sig"))))
    answer = client.get(address, {"file": "xlsx"})
    assert answer["Content-Disposition"].endswith('.xlsx"')
    book = cells_of(answer.content)
    assert book[0] == rows[0]
    born = rows[0].index("born")
    assert book[1][born].date() == date.fromisoformat(rows[1][born])
    assert [row[0] for row in book] == [row[0] for row in rows]


@pytest.mark.parametrize("text", ["=2+3", "+1", "-1", "@x", "\t=1", '=HYPERLINK("x")'])
def test_nothing_in_a_workbook_is_ever_a_formula(text):
    guarded = f"'{text}"
    book = load_workbook(io.BytesIO(workbook([["notes"], [guarded], ["other"]])))
    cell = book.active["A2"]
    assert cell.data_type == "s"
    assert cell.value == text
    assert cell.quotePrefix


def test_marks_stay_text_and_figures_become_numbers():
    assert kind_of("mark", ["12", "7"]) == "text"
    assert kind_of("grams", ["4500", "", "3900.5"]) == "number"
    assert kind_of("grams", ["0012", "7"]) == "text"
    assert kind_of("born", ["2026-05-03"]) == "day"
    assert kind_of("born", ["2026-02-30"]) == "text"
    assert kind_of("note", [""]) == "text"
    assert cells_of(workbook([["mark", "grams"], ["007", "4500"]])) == [["mark", "grams"], ["007", 4500]]


def test_letters_that_a_workbook_cannot_hold_are_left_out_and_nothing_breaks():
    assert cells_of(workbook([["note"], ["a\x00b\x1fc"], ["x" * 40_000]]))[1:] == [["abc"], ["x" * 32_767]]
    assert cells_of(workbook([])) == []


def test_the_registrys_own_words_for_places_are_read_again():
    assert {str(label).lower(): value for value, label in Status.choices} == OWN_PLACES


def test_an_exported_herd_comes_in_again_without_a_difference(cast, tmp_path):
    make_animal(cast.herd, "A9", name='=2+3, "the old one"', sex="buck", notes="a note\nof two lines", variety="dark")
    gone = make_animal(
        cast.herd,
        "A10",
        name="Gone",
        status="died",
        status_on=TODAY(),
        sire=cast.sire,
        dam=cast.dam,
        born_on=TODAY() - timedelta(days=250),
    )
    Mark.objects.create(animal=gone, kind="registration", text="R 77")
    make_animal(cast.herd, "", name="Nameless mark", sex="unknown", born_on=None)
    make_animal(cast.herd, "A11", sire=cast.other_buck, dam=cast.dam, born_on=TODAY() - timedelta(days=200))
    make_weight(cast.daughter, grams=4321)
    before = list(Animal.objects.order_by("pk").values())
    for kind in ("csv", "xlsx"):
        query = {"file": "xlsx"} if kind == "xlsx" else {}
        answer = cast.client_of("keeper").get(reverse("herd-sheet-csv", args=[cast.herd.slug]), query)
        path = tmp_path / f"herd.{kind}"
        path.write_bytes(answer.content)
        out = io.StringIO()
        call_command("import_sheet", str(path), "--herd", cast.herd.slug, "--json", stdout=out)
        assert '"created": 0' in out.getvalue(), out.getvalue()
        assert '"changed": 0' in out.getvalue()
        assert '"refused": 0' in out.getvalue()
        assert '"asked": 0' in out.getvalue()
        assert '"same": 7' in out.getvalue()
    assert list(Animal.objects.order_by("pk").values()) == before


def test_an_exported_herd_fills_an_empty_one_with_the_same_animals(cast, tmp_path):
    """Into a second herd, when the first is gone from the registry: the same cards, parents and all."""
    old = make_herd(cast.keeper, name="Old")
    sire = make_animal(old, "Q1", sex="buck", name="Quill")
    dam = make_animal(old, "Q2", sex="doe", name="Quince")
    make_animal(old, "Q3", sex="doe", name="Quoin", sire=sire, dam=dam, born_on=TODAY() - timedelta(days=200))
    path = tmp_path / "old.csv"
    path.write_bytes(cast.client_of("keeper").get(reverse("herd-sheet-csv", args=[old.slug])).content)
    Animal.objects.filter(herd=old).update(sire=None, dam=None)
    Mark.objects.filter(animal__herd=old).delete()
    Animal.objects.filter(herd=old).delete()
    call_command("import_sheet", str(path), "--herd", old.slug, "--json", stdout=io.StringIO())
    found = {animal.mark_text: animal for animal in Animal.objects.filter(herd=old)}
    assert set(found) == {"Q1", "Q2", "Q3"}
    assert (found["Q3"].sire, found["Q3"].dam, found["Q3"].name) == (found["Q1"], found["Q2"], "Quoin")


def test_a_member_takes_looks_answers_and_photographs_along(cast):
    profile = make_profile(cast.sire.breed)
    look = make_look(cast.daughter, cast.keeper, steps={Trait.objects.get(summary="surface"): 6}, profile=profile)
    photo = ready_photo(cast.daughter)
    make_look(cast.other_buck, cast.fellow, steps={Trait.objects.get(summary="surface"): 3})
    archive = zipped(cast.client_of("keeper").post(reverse("account-data")))
    assert [row["look"] for row in table(archive, "looks")] == [str(look.pk)]
    assert table(archive, "answers")[0]["step"] == "6"
    (row,) = table(archive, "photos")
    assert row["photo"] == str(photo.key)
    with photo.original.open("rb") as kept:
        assert archive.read(f"photographs/{row['file']}") == kept.read()


def test_research_gets_no_name_mark_or_note_and_only_what_is_shared(cast):
    surface = Trait.objects.get(summary="surface") if make_profile(cast.sire.breed) else None
    Animal.objects.filter(pk=cast.daughter.pk).update(notes="Secret words")
    make_look(cast.daughter, cast.keeper, steps={surface: 6}, note="Secret words too")
    make_look(cast.other_buck, cast.fellow, steps={surface: 3})
    make_litter(cast.dam, cast.sire)
    cast.other_herd.shares_looks = True
    cast.other_herd.save()
    archive = zipped(cast.client_of("officer").post(reverse("research")))
    everything = b"".join(archive.read(name) for name in archive.namelist()).decode()
    for hidden in ("Secret", "Ashgrove", "Millbrook", "Slate", "Flint", "A1,", "M1,", "@example"):
        assert hidden not in everything
    looks = table(archive, "looks")
    assert [row["surface shade"] for row in looks] == ["3.0"]
    assert [row["step"] for row in table(archive, "answers")] == ["3"]
    assert table(archive, "litters") == []
    animals = {row["animal"]: row for row in table(archive, "animals")}
    assert len(animals) == 4
    young = next(row for row in animals.values() if row["sire"])
    assert animals[young["sire"]]["sex"] == "buck"
    assert looks[0]["animal"] in animals


def test_two_exports_for_research_cannot_be_joined(cast):
    for number in range(12):
        make_animal(cast.herd, f"N{number}", born_on=TODAY() - timedelta(days=400 + number))
    exports = []
    for _ in range(2):
        rows = table(zipped(cast.client_of("officer").post(reverse("research"))), "animals")
        exports.append({row["born"]: row["animal"] for row in rows})
    assert exports[0] != exports[1]
