"""The pages of sheets through the test client: bring one in, answer, agree, take it back."""

from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from herds.models import Animal, ImportBatch, ImportChange, ImportRow, SheetLayout, Weight
from tests.factories import make_herd, make_look, make_profile

SHEETS = Path(__file__).parent / "sheets"
pytestmark = pytest.mark.django_db


def bring(client, about, data, name="sheet.csv"):
    """Upload a sheet; the batch, or None when it was refused."""
    file = SimpleUploadedFile(name, data)
    answer = client.post(reverse("sheet-create"), {"about": about, "file": file})
    return ImportBatch.objects.order_by("-pk").first() if answer.status_code == 302 else None


def page(client, batch, query=""):
    return client.get(batch.get_absolute_url() + query).content.decode()


def agree(client, batch, **more):
    client.post(reverse("sheet-agree", args=[batch.key]), more)
    batch.refresh_from_db()


def test_a_keeper_brings_the_farm_sheet_in_and_takes_it_back(cast):
    client, herd = cast.client_of("keeper"), make_herd(cast.keeper, name="Newcomer")
    before = set(Animal.objects.values_list("pk", "version"))
    batch = bring(client, herd.slug, (SHEETS / "farm_sheet.csv").read_bytes())
    shown = page(client, batch)
    assert "What would go in" in shown
    assert "Leave out 3 rows that are refused" in shown
    refused = page(client, batch, "?outcome=refused")
    assert "“31/02/2023” is not a day of the calendar" in refused
    assert "FH14 stands in row 3 already" in refused
    assert "is a doe" in refused
    assert "same ear number again" in refused  # the row's own cells
    agree(client, batch)
    assert batch.state == "preview"
    assert not Animal.objects.filter(herd=herd).exists()
    agree(client, batch, leave_out="on")
    assert batch.state == "done"
    assert Animal.objects.filter(herd=herd).count() == 86
    assert ImportRow.objects.get(batch=batch, number=3).animal.name == "Nettle"
    client.post(reverse("sheet-undo", args=[batch.key]))
    batch.refresh_from_db()
    assert batch.state == "undone"
    assert not ImportChange.objects.exists()
    assert set(Animal.objects.values_list("pk", "version")) == before


def test_a_sheet_is_not_taken_back_once_something_stands_on_it(cast):
    make_profile()
    client, herd = cast.client_of("keeper"), make_herd(cast.keeper, name="Newcomer")
    batch = bring(client, herd.slug, (SHEETS / "hutches.xlsx").read_bytes(), "hutches.xlsx")
    agree(client, batch)
    animal = Animal.objects.get(herd=herd, name="Kelso")
    make_look(animal, cast.keeper)
    answer = client.post(reverse("sheet-undo", args=[batch.key]), follow=True)
    assert "MW11 Kelso has a look in the registry that did not come with the sheet." in answer.content.decode()
    assert Animal.objects.filter(herd=herd).count() == 66
    batch.refresh_from_db()
    assert batch.state == "done"


def test_changed_cards_get_their_former_values_back(cast):
    client = cast.client_of("keeper")
    data = b"Ear no.,Name,Variety,Wt,Notes\nA3,Alder,silver,9lb 3oz,good mother\n"
    before = Animal.objects.filter(pk=cast.daughter.pk).values("name", "variety", "notes", "sire", "dam").get()
    batch = bring(client, cast.herd.slug, data)
    shown = page(client, batch)
    assert "good mother" in shown
    assert "4.167 kg" in shown
    agree(client, batch)
    cast.daughter.refresh_from_db()
    assert (cast.daughter.variety, cast.daughter.notes) == ("silver", "good mother")
    assert Weight.objects.get(animal=cast.daughter).grams == 4167
    client.post(reverse("sheet-undo", args=[batch.key]))
    after = Animal.objects.filter(pk=cast.daughter.pk).values("name", "variety", "notes", "sire", "dam").get()
    assert after == before
    assert not Weight.objects.exists()


def test_an_edit_after_the_sheet_is_named_when_it_keeps_the_sheet_from_going_back(cast):
    client = cast.client_of("keeper")
    batch = bring(client, cast.herd.slug, b"Ear no.,Name,Variety\nA3,Alder,silver\n")
    agree(client, batch)
    Animal.objects.filter(pk=cast.daughter.pk).update(notes="seen since")
    answer = client.post(reverse("sheet-undo", args=[batch.key]), follow=True)
    assert "A3 Alder was changed after the sheet went in." in answer.content.decode()


def test_days_and_units_are_asked_once_for_the_whole_sheet(cast):
    client = cast.client_of("keeper")
    data = b"Ear no.,Name,Sex,Born,Wt\nB1,Sorrel,d,05/06/2022,9.5\nB2,Rowan,b,03/04/2022,10.25\n"
    batch = bring(client, cast.herd.slug, data)
    assert (batch.counts["asked"], batch.counts["created"]) == (2, 0)
    answers = {"dates": "month-first", "weights": "lb", "weighed": "", "status": "here"}
    client.post(reverse("sheet-answer", args=[batch.key]), answers)
    batch.refresh_from_db()
    assert batch.counts["created"] == 2
    agree(client, batch)
    sorrel = Animal.objects.get(name="Sorrel")
    assert sorrel.born_on.isoformat() == "2022-05-06"
    assert sorrel.weights.get().grams == 4309  # 9.5 x 453.59237 g, the pound of 1959


def test_a_sheet_that_is_not_understood_leads_to_its_columns(cast):
    file = SimpleUploadedFile("sheet.csv", b"Colour of the sky,Mood\nblue,good\n")
    answer = cast.client_of("keeper").post(
        reverse("sheet-create"), {"about": cast.herd.slug, "file": file}, follow=True
    )
    assert "What the columns mean" in answer.content.decode()


def test_the_meaning_of_columns_is_chosen_and_remembered(cast):
    client = cast.client_of("keeper")
    data = b"Wotsit,Thing,Sex\nB1,Sorrel,doe\nB2,Rowan,buck\n"
    batch = bring(client, cast.herd.slug, data)
    chosen = {"used-0": "on", "kind-0": "animal", "column-0-0": "mark", "column-0-1": "name", "column-0-2": "sex"}
    client.post(reverse("sheet-columns", args=[batch.key]), chosen)
    assert SheetLayout.objects.get(member=cast.keeper).columns == ["mark", "name", "sex"]
    again = bring(client, cast.herd.slug, data)
    agree(client, again)
    assert Animal.objects.get(name="Sorrel").mark_text == "B1"


def test_an_ambiguous_parent_is_answered_on_the_page(cast):
    client = cast.client_of("keeper")
    data = (
        b"Ear no.,Name,Sex,Born,Sire\nB1,Ash,buck,13/05/2021,\nB2,Ash,buck,13/06/2021,\nB3,Fern,doe,13/05/2023,Ash\n"
        b"B4,Moss,doe,13/05/2023,Ash\n"
    )
    batch = bring(client, cast.herd.slug, data)
    assert (batch.counts["created"], batch.counts["asked"]) == (2, 2)
    (ask,) = batch.found["asks"]["parents"]
    assert ask["many"] == 2
    assert len(ask["choices"]) == 2
    client.post(reverse("sheet-answer", args=[batch.key]), {f"parent-{ask['key']}": ask["choices"][1][0]})
    batch.refresh_from_db()
    agree(client, batch)
    assert set(Animal.objects.filter(name__in=["Fern", "Moss"]).values_list("sire__mark_text", flat=True)) == {"B2"}


def test_the_page_of_a_sheet_takes_a_fixed_number_of_queries(cast, django_assert_max_num_queries):
    client, herd = cast.client_of("keeper"), make_herd(cast.keeper, name="Newcomer")
    batch = bring(client, herd.slug, (SHEETS / "farm_sheet.csv").read_bytes())
    with django_assert_max_num_queries(14):
        page(client, batch)
    with django_assert_max_num_queries(9):
        client.get(reverse("sheet-list"))


def test_a_registry_sheet_is_the_registrars(cast):
    data = (SHEETS / "register.csv").read_bytes()
    assert bring(cast.client_of("keeper"), "registry", data) is None
    registrar = cast.client_of("registrar")
    batch = bring(registrar, "registry", data)
    assert batch.counts["created"] == 744
    assert cast.client_of("keeper").get(batch.get_absolute_url()).status_code == 404


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "The file is empty"),
        (b"%PDF-1.7 something", "is a PDF"),
    ],
)
def test_a_file_that_is_no_sheet_is_refused_in_a_sentence(cast, data, said):
    client = cast.client_of("keeper")
    answer = client.post(
        reverse("sheet-create"), {"about": cast.herd.slug, "file": SimpleUploadedFile("sheet.csv", data)}
    )
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not ImportBatch.objects.exists()


def test_the_file_is_kept_and_can_be_deleted(cast):
    client = cast.client_of("keeper")
    data = b"Ear no.,Name,Sex\nB1,Sorrel,doe\n"
    batch = bring(client, cast.herd.slug, data, "../../up/ürs.csv")
    agree(client, batch)
    file = client.get(reverse("sheet-file", args=[batch.key]))
    assert file.getvalue() == data
    assert "attachment" in file["Content-Disposition"]
    client.post(reverse("sheet-drop", args=[batch.key]))
    batch.refresh_from_db()
    assert not batch.file
    assert batch.rows.count() == 1
    assert client.get(reverse("sheet-file", args=[batch.key])).status_code == 404
