"""Certificates and cage cards: the numbers, the words, the paper itself, and who may."""

import io
from datetime import date, timedelta

import pypdfium2
import pytest
import zxingcpp
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import connection
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from clubsite.members.models import Club
from herds.models import Animal, Mark
from pedigrees import certificate as words
from pedigrees import numbers
from pedigrees.actions.certificates import declare_void, issue_certificate
from pedigrees.models import Certificate

from .factories import make_animal, make_herd, make_member, make_weight
from .queries import queries_of

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


def pages_of(pdf):
    return list(pypdfium2.PdfDocument(pdf))


def text_of(pdf):
    return "\n".join(page.get_textpage().get_text_bounded() for page in pages_of(pdf))


def family(herd, generations, **more):
    """An animal with all its ancestors, each with every fact; returns it and the ancestors by path."""
    by_path = {}

    def make(path):
        depth = len(path)
        parents = {}
        if depth < generations:
            parents = {"sire": make(path + "S"), "dam": make(path + "D")}
        sex = "doe" if path.endswith("D") else "buck"
        one = make_animal(
            herd, f"X{len(by_path)}", sex=sex, name=f"Name {path or 'self'}", variety="silvered",
            born_on=TODAY() - timedelta(days=300 + 400 * depth), **parents, **more,
        )  # fmt: skip
        make_weight(one, grams=4000 + len(by_path), on=TODAY() - timedelta(days=2))
        by_path[path] = one
        return one

    return make(""), by_path


# ISO/IEC 7064 MOD 97-10: the standard's own example, 794 with the check digits 44 (from memory).
def test_the_check_digits_are_those_of_the_standard():
    assert numbers.check_digits("794") == "44"
    assert numbers.holds("79444")


def test_every_slip_of_one_digit_and_every_swap_of_neighbours_is_noticed():
    number = numbers.numbered(2026, 123).replace("-", "")
    for place in range(len(number)):
        for digit in "0123456789":
            if digit != number[place]:
                assert not numbers.holds(number[:place] + digit + number[place + 1 :])
        swapped = number[:place] + number[place : place + 2][::-1] + number[place + 2 :]
        assert swapped == number or not numbers.holds(swapped)


@pytest.mark.parametrize("typed", ["2026-0007-83", " 2026 0007 83 ", "2026‑0007‑83", "2026000783"])
def test_a_number_is_read_however_it_is_written(typed):
    assert numbers.read(typed) == "2026-0007-83"


@pytest.mark.parametrize("typed", ["", "7", "2026-0007", "abc", "2026-0007-83-1", "٢٠٢٦-0007-83x"])
def test_what_is_no_number_is_answered_in_a_sentence(typed):
    with pytest.raises(ValueError, match="looks like"):
        numbers.read(typed)


def test_a_slip_in_a_number_is_told_apart_from_an_unknown_number():
    with pytest.raises(ValueError, match="holds a slip"):
        numbers.read("2026-0008-83")


def test_a_whole_pedigree_stands_on_the_paper_with_what_registration_needs(cast):
    animal, by_path = family(cast.herd, 4)
    for generations in (3, 4):
        issued = issue_certificate(animal=animal, generations=generations, by=cast.keeper)
        pdf = cast.client_of("keeper").get(reverse("certificate-file", args=[issued.number]))
        assert pdf["Content-Type"] == "application/pdf"
        text = " ".join(text_of(pdf.content).split())
        words_there = set(text.split())  # cells of different height are read line by line, across
        assert len(pages_of(pdf.content)) == 1
        assert issued.number in text
        for path, one in by_path.items():
            if len(path) <= generations:
                assert {one.mark_text, path or "self"} <= words_there
                assert f"{(4000 + int(one.mark_text[1:])) / 1000:g}" in text
        assert "All" in text
        assert "each with mark, birth date, variety and weight" in text


def test_the_cells_stand_where_they_belong():
    """Worked by hand: the dam's sire's dam, D-S-D, is number 101 in binary, the sixth of eight from above."""
    assert [words.row_of(path) for path in ("S", "D", "SS", "DD", "DSD")] == [0, 1, 0, 3, 5]
    assert words.long_role("DSD") == "dam of the sire of the dam"


def test_the_code_on_the_paper_opens_the_registrys_card(cast, settings):
    settings.PUBLIC_URL = "https://registry.example"
    issued = issue_certificate(animal=cast.daughter, generations=3, by=cast.keeper)
    pdf = cast.client_of("keeper").get(reverse("certificate-file", args=[issued.number])).content
    picture = pages_of(pdf)[0].render(scale=4).to_pil()
    assert [code.text for code in zxingcpp.read_barcodes(picture)] == [
        f"https://registry.example/animals/{cast.daughter.pk}/"
    ]


def test_the_same_certificate_is_the_same_file_to_the_byte(cast):
    issued = issue_certificate(animal=cast.daughter, generations=4, by=cast.keeper)
    address = reverse("certificate-file", args=[issued.number])
    client = cast.client_of("keeper")
    first = client.get(address).content
    Animal.objects.filter(pk=cast.sire.pk).update(name="Another name")
    assert client.get(address).content == first
    assert client.get(address, {"paper": "letter"}).content != first


def test_the_clubs_picture_stands_on_the_paper(cast):
    out = io.BytesIO()
    Image.new("RGB", (900, 600), (20, 200, 60)).save(out, "PNG")
    club = Club.current()
    club.picture.save("club.png", ContentFile(out.getvalue()))
    issued = issue_certificate(animal=cast.daughter, generations=3, by=cast.keeper)
    pdf = cast.client_of("keeper").get(reverse("certificate-file", args=[issued.number])).content
    page = pages_of(pdf)[0].render(scale=1).to_pil().convert("RGB")
    green = sum(
        1
        for pixel in page.resize((300, 212)).get_flattened_data()
        if pixel[1] > 150 and pixel[0] < 80 and pixel[2] < 110
    )
    assert green > 100
    club.picture.delete()
    assert issue_certificate(animal=cast.daughter, generations=3, by=cast.keeper).printed["picture"] is None


def test_what_is_missing_is_said_for_each_ancestor(cast):
    data = words.pedigree(cast.daughter, 3, cast.keeper)
    said = dict(words.wanting(data))
    assert said["the sire (A1 Slate)"] == ["variety", "weight"] or "weight" in said["the sire (A1 Slate)"]
    assert said["the sire of the sire"] == ["not known"]
    assert "the sire of the sire of the sire" not in said  # nobody is missing behind somebody unknown
    checks = {sentence: met for met, sentence in words.registration_checks(cast.daughter, data, TODAY())}
    assert checks["It is at least six months old."]
    assert checks["It has a left-ear mark."]
    assert not checks["Three generations are not all known."]


def test_an_animal_is_six_months_old_on_the_day_and_not_before(cast):
    data = words.pedigree(cast.daughter, 3, cast.keeper)
    cast.daughter.born_on = date(2026, 5, 25)
    assert not words.registration_checks(cast.daughter, data, date(2026, 11, 24))[0][0]
    assert words.registration_checks(cast.daughter, data, date(2026, 11, 25))[0][0]


def test_weights_of_other_herds_are_printed_only_when_they_are_shared(cast):
    make_weight(cast.other_buck, grams=4321)
    kit = make_animal(cast.herd, "K1", sire=cast.other_buck, dam=cast.dam, born_on=TODAY() - timedelta(days=40))
    data = words.pedigree(kit, 3, cast.keeper)
    assert "weight" in data["cells"][0]["missing"]
    cast.other_herd.shares_weights = True
    cast.other_herd.save()
    data = words.pedigree(kit, 3, cast.keeper)
    assert any("4.321 kg" in fact for fact in data["cells"][0]["facts"])


def test_text_is_never_read_as_a_command_of_the_typesetter(cast):
    Animal.objects.filter(pk=cast.daughter.pk).update(name='#panic() *x* $1$ "é" \\ ½')
    issued = issue_certificate(animal=cast.daughter, generations=3, by=cast.keeper)
    pdf = cast.client_of("keeper").get(reverse("certificate-file", args=[issued.number]))
    assert '#panic() *x* $1$ "é" \\ ½' in text_of(pdf.content)


def test_the_longest_names_lose_no_letter(cast):
    animal, by_path = family(cast.herd, 4)
    Animal.objects.update(name="Wwwwwwwww " * 7 + "end", variety="V" * 58)
    Animal.objects.filter(pk=by_path["DDDD"].pk).update(name="Last of all " * 6 + "Zzz")
    issued = issue_certificate(animal=animal, generations=4, by=cast.keeper)
    text = text_of(cast.client_of("keeper").get(reverse("certificate-file", args=[issued.number])).content)
    assert "Zzz" in text
    assert text.count("end") >= 30


def test_numbers_run_through_the_year_and_are_given_once(cast):
    made = [issue_certificate(animal=cast.daughter, generations=3, by=cast.keeper).number for _ in range(3)]
    year = TODAY().year
    assert made == [numbers.numbered(year, count) for count in (1, 2, 3)]


def test_only_its_keepers_and_the_registrar_issue_one(cast):
    with pytest.raises(ValidationError, match="no longer in a herd of yours"):
        issue_certificate(animal=cast.daughter, generations=3, by=cast.fellow)
    with pytest.raises(ValidationError, match="three or four"):
        issue_certificate(animal=cast.daughter, generations=5, by=cast.keeper)
    assert issue_certificate(animal=cast.daughter, generations=3, by=cast.registrar)


def test_what_was_issued_stays_as_it_was_printed(cast):
    issued = issue_certificate(animal=cast.daughter, generations=3, by=cast.keeper)
    with pytest.raises(Exception, match="issued"), connection.cursor() as cursor:
        cursor.execute("UPDATE pedigrees_certificate SET printed = '{}' WHERE id = %s", [issued.pk])


def test_the_registrar_checks_a_number_and_reads_what_changed_since(cast):
    issued = issue_certificate(animal=cast.daughter, generations=3, by=cast.keeper)
    registrar = cast.client_of("registrar")
    found = registrar.get(reverse("certificate-list"), {"number": issued.number.replace("-", " ")})
    assert found.url == reverse("certificate-detail", args=[issued.number])
    mark = Mark.objects.get(animal=cast.sire)
    Mark.objects.filter(pk=mark.pk).update(text="A77")
    page = registrar.get(found.url).content.decode()
    assert "printed “A1, Slate" in page
    assert "today “A77, Slate" in page
    unknown = registrar.get(reverse("certificate-list"), {"number": numbers.numbered(1999, 5)})
    assert unknown.status_code == 422
    assert "No certificate with this number was issued here." in unknown.content.decode()


def test_a_void_certificate_says_so_on_the_page_and_on_paper(cast):
    issued = issue_certificate(animal=cast.daughter, generations=3, by=cast.keeper)
    address = reverse("certificate-detail", args=[issued.number])
    empty = cast.client_of("registrar").post(address, {"reason": " "})
    assert empty.status_code == 422
    cast.client_of("registrar").post(address, {"reason": "The sire was corrected"})
    assert "The sire was corrected" in cast.client_of("keeper").get(address).content.decode()
    pdf = cast.client_of("keeper").get(reverse("certificate-file", args=[issued.number])).content
    assert "VOID: The sire was corrected" in " ".join(text_of(pdf).split())
    with pytest.raises(ValidationError, match="void already"):
        declare_void(certificate=issued, reason="again", by=cast.registrar)
    cast.client_of("keeper").post(address, {"reason": "mine"})
    assert Certificate.objects.get(pk=issued.pk).void_reason == "The sire was corrected"


def test_eight_cards_fill_a_sheet_and_each_code_opens_its_look_form(cast, settings):
    settings.PUBLIC_URL = "https://registry.example"
    herd = make_herd(cast.keeper, name="Cards")
    animals = [make_animal(herd, f"C{place}", name=f"Card {place}") for place in range(1, 10)]
    response = cast.client_of("keeper").get(reverse("cage-cards-file", args=[herd.slug]))
    pages = pages_of(response.content)
    assert len(pages) == 2
    found = {code.text for page in pages for code in zxingcpp.read_barcodes(page.render(scale=3).to_pil())}
    assert found == {f"https://registry.example/animals/{animal.pk}/look/" for animal in animals}
    one = cast.client_of("keeper").get(reverse("cage-cards-file", args=[herd.slug]), {"animal": animals[4].pk})
    assert "C5" in text_of(one.content)
    assert "C4" not in text_of(one.content)


def test_cards_of_an_empty_herd_are_a_sentence_and_no_file(cast):
    herd = make_herd(make_member("Lone Keeper"), name="Empty")
    herd = make_herd(cast.keeper, name="Bare")
    response = cast.client_of("keeper").get(reverse("cage-cards-file", args=[herd.slug]))
    assert response.status_code == 422
    assert "No animals stand in this herd" in response.content.decode()


def test_the_queries_of_the_certificates_page_grow_with_generations_and_not_with_ancestors(cast):
    client = cast.client_of("keeper")
    whole, by_path = family(cast.herd, 4)
    counts = [queries_of(client, reverse("certificate-create", args=[whole.pk]))]
    line, path = whole, ""
    while path := path + "S":
        if path not in by_path:
            break
        line = by_path[path]
        Animal.objects.filter(sire=line).update(dam=None)  # only the line of sires is left
    counts.append(queries_of(client, reverse("certificate-create", args=[whole.pk])))
    assert counts == [17, 17]
