"""Finding anything: how texts are compared, what is found and in which order, and what it costs."""

import random

import pytest
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from herds.lookup import find
from herds.models import Mark
from herds.spelling import LETTERS, one_slip, plain, words

from .factories import make_animal, make_herd, make_member

SPELLINGS = [
    "Fern Lane", "fern-lane", "FL 12", "Ségolène", "Ö'Brien Łódź  Straße", "Æsop", "Œuf", "R 500/26", "Høyland", "ĳ",
    "ﬁr",    "Nuñez–Smith", "", "   ", "Ðagur", "İstanbul ıspanak", "a\u00a0b", "(A.12)", "日本 12", "Ω 3", "naïve_o",
]  # fmt: skip


def names(found):
    return [str(animal) for animal in found.some_animals(list(found.animals))]


def asked(client, text, **more):
    return client.get(reverse("find"), {"q": text, **more})


@pytest.mark.django_db
@pytest.mark.parametrize("text", SPELLINGS)
def test_the_database_and_python_agree_what_two_spellings_have_in_common(text):
    with connection.cursor() as cursor:
        cursor.execute("SELECT herds_plain(%s), tsvector_to_array(herds_words(%s))", [text, text])
        assert cursor.fetchone() == (plain(text), sorted(set(words(text)), key=lambda word: word.encode()))


def distance(one, other):
    """Edits between two texts, changing two neighbours over being one: the table of Damerau (1964), restricted."""
    table = [
        [max(row, column) if not row * column else 0 for column in range(len(other) + 1)] for row in range(len(one) + 1)
    ]
    for row in range(1, len(one) + 1):
        for column in range(1, len(other) + 1):
            table[row][column] = min(
                table[row - 1][column] + 1,
                table[row][column - 1] + 1,
                table[row - 1][column - 1] + (one[row - 1] != other[column - 1]),
            )
            if row > 1 and column > 1 and one[row - 1] == other[column - 2] and one[row - 2] == other[column - 1]:
                table[row][column] = min(table[row][column], table[row - 2][column - 2] + 1)
    return table[-1][-1]


def test_one_slip_makes_exactly_the_texts_that_are_one_edit_away():
    rng = random.Random(5)
    for text in ("AB12", "AABB", "BIRCH", "7"):
        near = one_slip(text)
        assert {distance(text, each) for each in near} == {1}
        for _ in range(300):
            other = list(text)
            for _ in range(rng.choice([1, 1, 2])):
                at = rng.randrange(len(other) + 1)
                other[at : at + rng.choice([0, 1])] = rng.choice([[], [rng.choice(LETTERS)]])
            other = "".join(other)
            assert (other in near) == (distance(text, other) == 1), (text, other)


@pytest.mark.parametrize(
    "text", ["a 2", "A-2", "A2", "birch", "BIRCH", "bírch", "Ashgrove Birch", "a2 birch", "ashgrove a2"]
)
def test_an_animal_is_found_by_mark_and_name_whatever_the_spelling(cast, text):
    found = find(text, cast.fellow)
    assert names(found)[0] == "A2 Birch"
    assert found.only_exact() == cast.dam


@pytest.mark.parametrize("text", ["brich", "birhc", "bich", "birxh", "biirch", "ashgrove brich"])
def test_one_mistyped_letter_is_forgiven(cast, text):
    found = find(text, cast.fellow)
    assert names(found) == ["A2 Birch"]
    assert found.slipped
    assert found.only_exact() is None


def test_two_mistyped_letters_are_not(cast):
    assert find("brihc", cast.fellow).nothing
    assert find("xyrch", cast.fellow).nothing


def test_short_marks_are_not_one_letter_off_from_everything(cast):
    assert names(find("A9", cast.fellow)) == []
    assert names(find("B1", cast.fellow)) == []


def test_registration_numbers_and_the_number_in_a_mark_find_the_animal(cast):
    Mark.objects.create(animal=cast.dam, kind="registration", text="R 500/26")
    for text in ("r500/26", "R500", "R-500-26"):
        assert names(find(text, cast.fellow)) == ["A2 Birch"]
    numbered = make_animal(cast.other_herd, "FL 77", name="Nettle")
    assert names(find("77", cast.fellow)) == [str(numbered)]


def test_a_replaced_mark_is_found_and_said_to_be_replaced(cast):
    old = Mark.objects.get(animal=cast.dam)
    new = Mark.objects.create(animal=cast.dam, kind="right_ear", text="N8")
    today = timezone.localdate()
    Mark.objects.filter(pk=old.pk).update(replaced_on=today, replaced_by=new, reason="faded")
    page = asked(cast.client_of("fellow"), "a2").content.decode()
    assert "<s>A2</s>, replaced by N8" in page
    assert "faded" not in page
    assert "<s>" not in asked(cast.client_of("fellow"), "N8").content.decode()


def test_a_mark_goes_before_a_name_and_an_earlier_mark_and_the_own_herd_before_others(cast):
    make_animal(cast.other_herd, "X1", name="A2")
    make_animal(cast.other_herd, "A2", name="Theirs")
    make_animal(cast.other_herd, "A21", name="Longer")
    earlier = make_animal(cast.other_herd, "A7", name="Renamed")
    Mark.objects.create(animal=earlier, kind="right_ear", text="A2", replaced_on=timezone.localdate(), reason="misread")
    assert names(find("a2", cast.keeper)) == ["A2 Birch", "A2 Theirs", "X1 A2", "A7 Renamed", "A21 Longer"]
    assert names(find("a2", cast.fellow))[:2] == ["A2 Theirs", "A2 Birch"]


def test_herds_and_members_are_found_by_name_and_prefix(cast):
    found = find("ashgrove", cast.fellow)
    assert [str(herd) for herd in found.some_herds(list(found.herds))] == ["Ashgrove"]
    assert {str(each) for each in found.some_members(list(found.members))} == {"Ida Ashgrove", "Tomas Ashgrove"}
    assert [str(each) for each in find("rhea", cast.keeper).some_members(list(find("rhea", cast.keeper).members))] == [
        "Rhea Millbrook"
    ]
    slipped = find("milbrook", cast.keeper)
    assert [str(herd) for herd in slipped.some_herds(list(slipped.herds))] == ["Millbrook"]


def test_members_who_left_or_were_shut_out_are_not_found(cast):
    make_member("Odo Farthing", is_active=False)
    assert find("farthing", cast.keeper).nothing
    assert find("farthing", cast.officer).nothing


def test_somebody_who_is_not_signed_in_or_not_active_finds_nothing(cast):
    assert asked(cast.client_of("visitor"), "A2").status_code == 302
    assert find("A2", make_member("Odo Farthing", is_active=False)).nothing


def test_enter_opens_the_only_thing_that_is_called_so(cast):
    client = cast.client_of("fellow")
    assert asked(client, "a2", go="1").url == cast.dam.get_absolute_url()
    assert asked(client, "a2").status_code == 200  # while typing nothing is opened
    assert asked(client, "a", go="1").status_code == 200
    make_animal(cast.other_herd, "A2")
    assert asked(client, "a2", go="1").status_code == 200
    assert asked(client, "Rhea Millbrook", go="1").url == cast.fellow.get_absolute_url()


def test_the_results_come_alone_while_typing_and_in_a_page_without_script(cast):
    client = cast.client_of("fellow")
    part = client.get(reverse("find"), {"q": "birch"}, headers={"HX-Request": "true"}).content.decode()
    assert "A2" in part
    assert "<html" not in part
    page = asked(client, "birch").content.decode()
    assert "<html" in page
    assert 'value="birch"' in page


@pytest.mark.parametrize(
    "text", ["%", "_", "\\", "'", "''", "&", "!(", "a'b:*", "<script>", "\x00", "é" * 200, "   ", "日本", "a & b | !c"]
)
def test_signs_of_sql_and_of_searches_are_only_text(cast, text):
    assert asked(cast.client_of("keeper"), text).status_code == 200
    assert asked(cast.client_of("keeper"), f"birch {text}", go="1").status_code in (200, 302)


def test_nothing_found_says_what_to_try(cast):
    assert "Nothing answers to that" in asked(cast.client_of("keeper"), "quartzite").content.decode()


def test_more_animals_than_a_page_are_paged_and_counted(cast):
    herd = make_herd(make_member("Una Farrow"), name="Farrow")
    for number in range(70):
        make_animal(herd, f"Z{number}")
    client = cast.client_of("keeper")
    first = asked(client, "Z").content.decode()
    assert "The first 60 animals" in first
    assert "Type one letter more" in first
    assert "1 of 3" in first
    assert first.index(">Z2<") < first.index(">Z10<")
    assert "3 of 3" in asked(client, "Z", page="3").content.decode()
    assert "11 animals" in asked(client, "Z1").content.decode()


def test_a_page_of_found_animals_costs_the_same_for_one_and_for_twenty(cast, django_assert_num_queries):
    client = cast.client_of("keeper")
    asked(client, "Birch")
    for number in range(20):
        make_animal(cast.other_herd, f"K{number}", name="Klee")
    for text in ("A3 Alder", "Klee"):
        with django_assert_num_queries(11):
            asked(client, text)
