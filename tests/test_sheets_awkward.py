"""Awkward sheets, as people bring them: each row is taken, refused or asked, with a sentence on how to mend it."""

import codecs
import io
import json
import zipfile
from io import StringIO

import openpyxl
import pytest
from django.core.management import CommandError, call_command

from herds.models import Animal, Litter, Mating, PossibleDuplicate, Weight
from tests.factories import make_animal, make_breed, make_herd

pytestmark = pytest.mark.django_db


@pytest.fixture
def herd(cast):
    make_breed()
    return make_herd(cast.keeper, name="Newcomer", prefix="Newcomer")


@pytest.fixture
def bring(tmp_path):
    """Bring text, rows or bytes in by the command; returns its JSON, also of a refusal."""

    def run(data, herd=None, *options, name="sheet.csv"):
        path = tmp_path / name
        path.write_bytes(data.encode() if isinstance(data, str) else data)
        out = StringIO()
        where = ["--herd", herd.slug] if herd else ["--registry"]
        try:
            call_command("import_sheet", str(path), "--json", *where, *options, stdout=out)
        except CommandError:
            assert "error" in json.loads(out.getvalue())
        return json.loads(out.getvalue())

    return run


def workbook(**sheets):
    """Bytes of an XLSX with these worksheets of rows."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def reasons(told, which="refused_rows"):
    return {row["row"]: row["reason"] for row in told[which]}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_any_encoding_and_any_sign_between_cells(bring, herd, encoding, sign):
    rows = [
        "Tätowierung,Rufname,Geschlecht,geboren,Bemerkung",
        "N1,Häsin Öl,0.1,13.05.2022,grüßt",
        "N2,Jürgen,1.0,14.05.2022,",
    ]
    told = bring("\r\n".join(rows).replace(",", sign).encode(encoding), herd)
    assert told["created"] == 2
    assert Animal.objects.get(mark_text="N1").name == "Häsin Öl"


def test_blank_rows_by_the_megabyte_are_no_rows(bring, herd):
    told = bring("Ear no.,Name\nN1,Ash\n" + ",,,,,,,,\n" * 350_000 + "N2,Birch\n", herd)
    assert told["created"] == 2
    assert told["refused"] == 0
    far = bring("Ear no.,Name\n" + ",\n" * 20_000 + "N3,\n,\nN3,again\n", herd)
    assert reasons(far) == {20_004: reasons(far)[20_004]}
    assert "row 20002" in reasons(far)[20_004]


def test_two_hundred_columns_are_read_and_what_is_not_known_is_left_out(bring, herd):
    headers = ["Ear no.", "Name", *[f"Show {number}" for number in range(198)]]
    told = bring(",".join(headers) + "\nN1,Ash," + ",".join(["3rd"] * 198) + "\n", herd)
    assert told["created"] == 1
    assert sum(field == "" for field in told["worksheets"][0]["columns"].values()) == 198


def test_a_macro_laden_workbook_is_read_and_nothing_in_it_runs(bring, herd):
    data = workbook(Stock=[["Ear no.", "Name"], ["N1", "=1+1"], ["N2", "Ash"]])
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            new.writestr(part, old.read(part))
        new.writestr("xl/vbaProject.bin", b"\xd0\xcf\x11\xe0 Auto_Open")
    told = bring(packed.getvalue(), herd, name="stock.xlsm")
    assert told["created"] == 2


def bomb(size=400 * 1024 * 1024):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
        with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as part:
            block = b" " * 1024 * 1024
            for _ in range(size // len(block)):
                part.write(block)
    return packed.getvalue()


def lying_bomb():
    """A part whose directory entry says that it is small."""
    data = bytearray(bomb(300 * 1024 * 1024))
    at = data.rfind(b"PK\x01\x02")
    data[at + 24 : at + 28] = (1000).to_bytes(4, "little")
    return bytes(data)


def far_cell():
    data = workbook(Stock=[["Ear no."], ["N1"]])
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            content = old.read(part)
            if part.filename.endswith("sheet1.xml"):
                content = content.replace(b'r="A2"', b'r="XFD1048576"')
            new.writestr(part.filename, content)
    return packed.getvalue()


def entities():
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("xl/workbook.xml", '<!DOCTYPE x [<!ENTITY a "ha">]><workbook>&a;</workbook>')
    return packed.getvalue()


def protected():
    return b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600 + "EncryptedPackage".encode("utf-16-le") + b"\x00" * 600


NO_SHEETS = {
    "empty": (b"", "The file is empty"),
    "only a byte order mark": (codecs.BOM_UTF8, "The file is empty"),
    "only blank cells": (b",,,\n,,,\n", "no filled cells"),
    "a PDF with another name": (b"%PDF-1.7\n1 0 obj", "is a PDF"),
    "a picture": (b"\x89PNG\r\n\x1a\n", "is a picture"),
    "a web page": (b"<html><table><tr><td>Ear</td></tr></table></html>", "is a web page"),
    "random bytes": (bytes(range(256)) * 40, "no sheet that can be read"),
    "a password": (protected(), "protected by a password"),
    "a broken workbook": (b"PK\x03\x04" + b"nothing" * 20, "damaged"),
    "instructions": (entities(), "instructions that no spreadsheet program writes"),
    "no such columns": (b"Sky,Mood\nblue,good\n", "No worksheet has a column that names animals"),
}


@pytest.mark.parametrize("kind", list(NO_SHEETS))
def test_a_file_that_is_no_sheet_is_answered_in_a_sentence(bring, herd, kind):
    data, said = NO_SHEETS[kind]
    told = bring(data, herd)
    assert said in told["error"]
    assert told["error"].endswith(".")
    assert told["created"] == 0
    assert not Animal.objects.filter(herd=herd).exists()


@pytest.mark.parametrize(("make", "said"), [(bomb, "larger than"), (lying_bomb, "damaged"), (far_cell, "far beyond")])
def test_a_workbook_that_would_fill_the_memory_is_refused_before_it_is_unpacked(bring, herd, make, said):
    assert said in bring(make(), herd, name="stock.xlsx")["error"]


def test_an_unclosed_quotation_mark_costs_no_rows(bring, herd):
    rows = "".join(f"N{number},Ash {number},\n" for number in range(2, 4000))
    told = bring(f'Ear no.,Name,Notes\nN1,"Ash,\n{rows}', herd)
    assert told["created"] == 3999
    assert "never closed" in told["remarks"][0]


def test_headers_may_be_missing_when_the_cells_tell(bring, herd):
    told = bring("N1,Ash,b,13/05/2020,,\nN2,Fern,d,14/06/2020,,\nN3,Moss,d,01/02/2022,N1,N2\n", herd)
    assert told["created"] == 3
    moss = Animal.objects.get(mark_text="N3")
    assert (moss.name, moss.sex, moss.sire.name, moss.dam.name) == ("Moss", "doe", "Ash", "Fern")


def test_ambiguous_days_are_asked_and_an_option_answers(bring, herd):
    sheet = "Ear no.,Name,Born\nN1,Ash,05/06/2022\nN2,Birch,07/08/2022\n"
    told = bring(sheet, herd)
    assert (told["created"], told["asked"]) == (0, 2)
    assert "two ways" in reasons(told, "asked_rows")[2]
    bring(sheet, herd, "--dates", "month-first")
    assert Animal.objects.get(mark_text="N1").born_on.isoformat() == "2022-05-06"


def test_days_that_contradict_each_other_are_asked_row_by_row(bring, herd):
    told = bring("Ear no.,Name,Born\nN1,Ash,25/06/2022\nN2,Birch,06/25/2022\nN3,Moss,05/06/2022\n", herd)
    assert (told["created"], told["asked"]) == (2, 1)
    assert {str(each.born_on) for each in Animal.objects.filter(herd=herd)} == {"2022-06-25"}


def test_a_year_alone_is_never_made_a_day(bring, herd):
    bring("Ear no.,Name,Born\nN1,Ash,2021\nN2,Birch,Mar 2021\n", herd)
    ash = Animal.objects.get(mark_text="N1")
    assert ash.born_on is None
    assert ash.notes == "Born: 2021."


def test_weights_without_a_unit_are_asked_and_spelt_ones_are_exact(bring, herd):
    told = bring("Ear no.,Name,Weight\nN1,Ash,9.5\n", herd)
    assert told["asked"] == 1
    assert "unit" in reasons(told, "asked_rows")[2]
    bring(
        'Ear no.,Name,Weight,Weighed\nN1,Ash,9 lb 3 oz,2026-01-05\nN2,Birch,"4,39 kg",2026-01-05\n'
        "N3,Moss,4390 g,2026-01-05\n",
        herd,
    )
    # 9 lb 3 oz = 147 x 28.349523125 g (the pound of 0.45359237 kg, 1959)
    assert sorted(Weight.objects.filter(herd=herd).values_list("grams", flat=True)) == [4167, 4390, 4390]
    wrong = bring("Ear no.,Name,Weight\nN4,Elm,95 kg\nN5,Fir,9 lb 20 oz\nN6,Gorse,heavy\n", herd)
    assert wrong["refused"] == 3
    assert "no rabbit weighs" in reasons(wrong)[2]
    assert "16 ounces" in reasons(wrong)[3]


def test_pounds_and_ounces_in_columns_of_their_own(bring, herd):
    bring("Ear no.,Name,Lb,Oz\nN1,Ash,9,3\n", herd)
    assert Weight.objects.get(herd=herd).grams == 4167


@pytest.mark.parametrize(
    ("buck", "doe"),
    [
        ("Buck", "Doe"),
        ("b", "d"),
        ("M", "F"),
        ("m", "w"),
        ("1,0", "0,1"),
        ("1.0", "0.1"),
        ("♂", "♀"),
        ("Rammler", "Häsin"),
    ],
)
def test_sex_in_many_spellings(bring, herd, buck, doe):
    told = bring(f"Ear no.;Name;Sex\nN1;Ash;{buck}\nN2;Fern;{doe}\nN3;Moss;?\n", herd)
    assert told["created"] == 3
    assert list(herd.animals.by_mark().values_list("sex", flat=True)) == ["buck", "doe", "unknown"]


def test_sexes_that_a_workbook_took_for_numbers(bring, herd):
    bring(workbook(Stock=[["Ohrnummer", "Geschlecht"], ["N1", 1.0], ["N2", 0.1]]), herd, name="stock.xlsx")
    assert list(herd.animals.by_mark().values_list("sex", flat=True)) == ["buck", "doe"]


@pytest.mark.parametrize("word", ["unk", "?", "-", "n/a", "unknown", "not known", "none", "unbekannt", "???", "—"])
def test_unknown_parents_in_many_spellings(bring, herd, word):
    told = bring(f"Ear no.,Name,Sire,Dam\nN1,Ash,{word},\n", herd)
    assert (told["created"], told["asked"]) == (1, 0)


PARENTS = "Ear no.,Name,Sex,Born,Sire,Dam\n"


def test_parents_by_name_mark_and_number_and_before_their_rows(bring, herd):
    told = bring(
        "Ear no.,Name,Sex,Born,Reg no,Sire,Dam\nN3,Moss,doe,13/02/2022,,Ash,R-77\n"
        "N4,Elm,doe,13/02/2022,,n 1,NEWCOMER FERN\n"
        "N5,Oak,doe,13/02/2022,,N1 Ash,N2\nN1,Ash,buck,13/05/2020,,,\nN2,Fern,doe,14/05/2020,R 77,,\n",
        herd,
    )
    assert (told["created"], told["asked"], told["refused"]) == (5, 0, 0)
    for mark in ("N3", "N4", "N5"):
        animal = Animal.objects.get(mark_text=mark)
        assert (animal.sire.mark_text, animal.dam.mark_text) == ("N1", "N2")


def test_rows_that_contradict_nature_are_refused_and_the_others_go_in(bring, herd):
    told = bring(
        PARENTS + "N1,Ash,buck,13/05/2020,,\nN2,Fern,doe,13/05/2020,,\nN3,Moss,doe,13/05/2022,N2,N1\n"
        "N4,Elm,doe,13/01/2020,N1,N2\nN5,Oak,doe,20/07/2020,N1,N2\nN6,Yew,doe,30/02/2022,N1,N2\nN7,Bay,doe,13/05/2099,,\n"
        "N8,Box,doe,13/05/2022,N1,N1\nN9,Ivy,doe,13/05/2022,N9,\nN10,Fir,doe,13/05/2022,N1,N2\n",
        herd,
    )
    assert (told["created"], told["refused"]) == (3, 7)
    said = reasons(told)
    assert "is a doe" in said[4]
    assert "is a buck" in said[4]
    assert "not before this birth" in said[5]
    assert "9 weeks old" in said[6]
    assert "“30/02/2022” is not a day of the calendar" in said[7]
    assert "lies in the future" in said[8]
    assert "sire and as dam" in said[9]
    assert "its own sire" in said[10]


def test_a_loop_is_refused_by_the_names_of_its_animals_and_nothing_else_is(bring, herd):
    told = bring(
        "Ear no.,Name,Sex,Sire,Dam\nN1,Ash,buck,N3,\nN2,Fern,doe,,\nN3,Moss,buck,N4,\n"
        "N4,Elm,buck,N1,N2\nN5,Oak,doe,N1,N2\n",
        herd,
    )
    assert (told["created"], told["refused"], told["asked"]) == (1, 3, 1)
    said = reasons(told)[2]
    assert "N1 Ash would be its own ancestor, through N3 Moss and N4 Elm" in said


def test_an_ambiguous_parent_is_asked_with_its_candidates_and_never_guessed(bring, herd):
    told = bring(PARENTS + "N1,Ash,buck,13/05/2019,,\nN2,Ash,buck,13/05/2020,,\nN3,Moss,doe,13/05/2022,Ash,\n", herd)
    assert (told["created"], told["asked"]) == (2, 1)
    said = reasons(told, "asked_rows")[4]
    assert "N1 Ash (row 2)" in said
    assert "N2 Ash (row 3)" in said


def test_a_bare_mark_or_name_of_another_herd_is_asked_about(bring, herd, cast):
    told = bring(
        PARENTS + "N3,Moss,doe,13/05/2026,M1,\nN4,Elm,doe,13/05/2026,Flint,\nN5,Oak,doe,13/05/2026,Millbrook Flint,\n",
        herd,
    )
    assert (told["created"], told["asked"]) == (1, 2)
    assert Animal.objects.get(mark_text="N5").sire == cast.other_buck


def test_parents_without_a_row_are_asked_once_and_can_be_entered_as_outside_animals(bring, herd):
    sheet = PARENTS + "N3,Moss,doe,13/05/2022,Old Grey,X17\nN4,Elm,doe,13/05/2022,Old Grey,X17\n"
    told = bring(sheet, herd)
    assert (told["created"], told["asked"], told["outsiders"]) == (0, 2, 0)
    told = bring(sheet, herd, "--missing-parents", "outside")
    assert (told["created"], told["outsiders"]) == (2, 2)
    moss = Animal.objects.get(mark_text="N3")
    assert (moss.sire.name, moss.sire.status, moss.dam.mark_text) == ("Old Grey", "outside", "X17")
    again = bring(sheet, herd, "--missing-parents", "outside")
    assert (again["created"], again["changed"], again["same"], again["outsiders"]) == (0, 0, 2, 0)


def test_a_child_of_a_refused_row_waits_for_it(bring, herd):
    told = bring(PARENTS + "N1,Ash,buck,31/02/2020,,\nN3,Moss,doe,13/05/2022,N1,\n", herd)
    assert (told["created"], told["refused"], told["asked"]) == (0, 1, 1)
    assert "stands in row 2, which does not go in" in reasons(told, "asked_rows")[3]


def test_a_second_worksheet_and_notes_beside_the_table(bring, herd):
    data = workbook(
        Readme=[["Our rabbits"], ["Ask Ida for the key"]],
        Stock=[
            ["Ear no.", "Name", "Sex", "Born"],
            ["N1", "Ash", "buck", "13.05.2020"],
            ["N2", "Fern", "doe", "13.05.2020"],
        ],
        Kindlings=[
            ["Doe", "Buck", "Mated", "Kindled", "Alive", "Dead"],
            ["N2", "Ash", "13.01.2022", "13.02.2022", 6, 1],
                   ["N2", "N1", "13.01.2023", "13.05.2023", 6, 0], ["N1", "N2", None, "13.08.2023", 6, 0]],
    )  # fmt: skip
    told = bring(data, herd, name="stock.xlsx")
    assert (told["created"], told["litters"], told["refused"]) == (2, 1, 2)
    assert [sheet["used"] for sheet in told["worksheets"]] == [False, True, True]
    assert Litter.objects.get(herd=herd).born_dead == 1
    assert Mating.objects.filter(herd=herd).count() == 1
    assert "120 days after the mating" in reasons(told)[3]


def test_merged_cells_count_for_every_row_that_they_cover(bring, herd):
    book = openpyxl.Workbook()
    sheet = book.active
    for row in (["Ear no.", "Name", "Sex", "Born", "Dam"], ["N2", "Fern", "doe", "13.05.2020", None],
                ["N3", "Moss", "doe", "13.05.2022", "N2"], ["N4", "Elm", "doe", None, None]):  # fmt: skip
        sheet.append(row)
    sheet.merge_cells("D3:D4")
    sheet.merge_cells("E3:E4")
    data = io.BytesIO()
    book.save(data)
    bring(data.getvalue(), herd, name="stock.xlsx")
    elm = Animal.objects.get(mark_text="N4")
    assert (str(elm.born_on), elm.dam.mark_text) == ("2022-05-13", "N2")


def test_the_same_animal_in_two_members_sheets_is_offered_to_the_registrar(bring, herd, cast):
    other = make_herd(cast.fellow, name="Second")
    sheet = "Ear no.,Breeder,Name,Sex,Born,Reg no\n{mark},Far Away,Willow,doe,13/05/2022,{number}\n"
    bring(sheet.format(mark="F1", number="R5"), herd)
    told = bring(sheet.format(mark="F1", number="R5"), other)
    assert told["created"] == 1
    assert Animal.objects.filter(name="Willow").count() == 2
    pair = PossibleDuplicate.objects.get()
    assert {pair.first.herd, pair.second.herd} == {herd, other}
    assert pair.why.endswith(".")
    assert bring(sheet.format(mark="F1", number="R5"), other)["created"] == 0


def test_a_name_with_birth_and_sex_in_another_herd_is_offered_too(bring, herd, cast):
    make_animal(cast.other_herd, "M7", name="Willow", sex="doe", born_on="2022-05-13")
    bring("Ear no.,Name,Sex,Born\nN7,Willow,doe,13/05/2022\nN8,Sedge,doe,13/05/2022\n", herd)
    assert PossibleDuplicate.objects.count() == 1


def test_differing_cells_change_a_card_and_a_member_changes_only_what_policy_allows(bring, herd, cast):
    bring("Ear no.,Name,Sex,Born,Variety\nN1,Ash,buck,13/05/2020,\n", herd)
    told = bring("Ear no.,Name,Sex,Born,Variety\nN1,Ashen,buck,14/05/2020,silver\n", herd)
    assert (told["created"], told["changed"]) in {(0, 0), (0, 1)}
    told = bring("Ear no.,Name,Sex,Born,Variety\nN1,Ash,buck,14/05/2020,silver\n", herd)
    assert told["changed"] == 1
    animal = Animal.objects.get(mark_text="N1")
    assert (animal.variety, str(animal.born_on)) == ("silver", "2020-05-14")
    assert animal.corrections.get().new == "14 May 2020"


def test_columns_can_be_named_on_the_command_line(bring, herd):
    told = bring("A,B\nN1,Ash\nN2,Fern\n", herd, "--columns", '{"A": "mark", "B": "name"}')
    assert told["created"] == 2
    assert Animal.objects.get(mark_text="N1").name == "Ash"


def test_strict_brings_nothing_in_when_a_row_is_refused(bring, herd):
    told = bring("Ear no.,Name,Born\nN1,Ash,31/02/2022\nN2,Fern,13/02/2022\n", herd, "--strict")
    assert "error" in told
    assert not herd.animals.exists()


def test_a_cell_that_looks_like_a_formula_is_text(bring, herd):
    bring("Ear no.,Name,Notes\nN1,'=HYPERLINK(1),\"=cmd|' /C calc'!A0\"\n", herd)
    animal = Animal.objects.get(mark_text="N1")
    assert (animal.name, animal.notes) == ("=HYPERLINK(1)", "=cmd|' /C calc'!A0")


def test_breeders_of_the_club_are_found_by_name_and_prefix(bring, cast):
    told = bring(
        "Ear no;Breeder;Name;Sex\nA1;Ashgrove;Slate;buck\nA9;Ashgrove;Sorrel;doe\n"
        "M9;Rhea Millbrook;Reed;doe\n9;B. Ysk;Rue;doe\n"
    )
    assert (told["created"], told["same"]) == (3, 1)
    assert Animal.objects.get(mark_text="A9").herd == cast.herd
    assert Animal.objects.get(mark_text="M9").bred_in == cast.other_herd
    assert Animal.objects.get(mark_text="9").breeder_name == "B. Ysk"
