"""The herd's list: who sees what of it, filters, sorts, pages, the CSV file, and what it costs."""

import csv
import io
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from herds.actions.animals import change_status
from herds.actions.decisions import decide
from herds.csv_file import harmless
from herds.models import Animal, Herd
from herds.panels import PLACES, HerdColumn, register
from herds.words import add_months

from .factories import make_animal, make_herd, make_member
from .queries import queries_of


def today():
    return timezone.localdate()


@pytest.fixture
def barn(cast):
    """The keeper's herd with some more: a litter of youngsters, a junior, an old doe that has left."""
    for number, months in ((10, 1), (11, 1), (20, 7)):
        make_animal(cast.herd, f"A{number}", sex="doe", name="", sire=cast.sire, dam=cast.dam,
                    born_on=add_months(today(), -months))  # fmt: skip
    gone = make_animal(cast.herd, "A4", sex="doe", name="Elder")
    change_status(animals=[gone], status="died", by=cast.keeper, note="in her sleep")
    decide(animals=Animal.objects.filter(mark_text="A10"), verdict="keep", reason="undercolor", by=cast.keeper)
    decide(animals=Animal.objects.filter(mark_text="A20"), verdict="let_go", reason="cream cast", by=cast.keeper)
    return cast


def listed(cast, query="", who="keeper"):
    response = cast.client_of(who).get(cast.herd.get_absolute_url() + query)
    assert response.status_code == 200
    return [animal.mark_text for animal in response.context["page"]]


def test_the_list_shows_who_is_in_the_herd_in_the_order_of_marks(barn):
    assert listed(barn) == ["A1", "A2", "A3", "A10", "A11", "A20"]


@pytest.mark.parametrize(
    ("query", "marks"),
    [
        ("?status=all", "A1 A2 A3 A4 A10 A11 A20"),
        ("?status=died", "A4"),
        ("?sex=buck", "A1"),
        ("?q=alder", "A3"),
        ("?q=a 1", "A1 A10 A11"),
        ("?q=ashgrove slate", "A1"),
        ("?age=young", "A10 A11"),
        ("?age=intermediate", "A20"),
        ("?from_months=7&to_months=8", "A20"),
        ("?age=senior&from_months=12", "A1 A2"),
        ("?verdict=keep", "A10"),
        ("?verdict=none", "A1 A2 A3 A11"),
        ("?sort=-mark", "A20 A11 A10 A3 A2 A1"),
        ("?sort=age&q=a1", "A10 A11 A1"),
        ("?sort=-age&sex=doe", "A2 A3 A20 A10 A11"),
        ("?sort=born&sex=doe", "A2 A3 A20 A10 A11"),
        ("?sort=name", "A3 A2 A1"),
        ("?sort=verdict", "A10 A20 A1 A2 A3 A11"),
        ("?sort=sex", "A1 A2 A3 A10 A11 A20"),
        ("?q=zzz", ""),
    ],
)
def test_it_filters_and_sorts(barn, query, marks):
    found = listed(barn, query)
    if query == "?sort=name":
        found = [mark for mark in found if mark in ("A1", "A2", "A3")]
    assert found == marks.split()


@pytest.mark.parametrize(
    "query", ["?sort=password", "?sort=-", "?age=old", "?from_months=x", "?from_months=-3", "?status=sold", "?page=zz",
              "?page=999999", "?verdict=drop", "?sex=hen", "?q=" + "x" * 500, "?q=%25_", "?q=--"]
)  # fmt: skip
def test_an_address_that_makes_no_sense_still_opens(barn, query):
    listed(barn, query)


def test_junior_means_under_six_whole_calendar_months(cast):
    day_before, on_the_day = add_months(today(), -6) + timedelta(days=1), add_months(today(), -6)
    make_animal(cast.herd, "Y1", born_on=day_before)
    make_animal(cast.herd, "Y2", born_on=on_the_day)
    assert "Y1" in listed(cast, "?age=junior")
    assert "Y2" not in listed(cast, "?age=junior")
    assert "Y2" in listed(cast, "?age=intermediate")


@pytest.mark.parametrize("who", ["fellow", "mentor", "registrar", "officer"])
def test_others_see_the_cards_and_nothing_of_outcomes_or_decisions(barn, who):
    page = barn.client_of(who).get(barn.herd.get_absolute_url() + "?status=table&verdict=keep&sort=status")
    html = page.content.decode()
    assert [animal.mark_text for animal in page.context["page"]] == ["A1", "A2", "A3", "A4", "A10", "A11", "A20"]
    for private in (
        "undercolor</span>",
        "cream cast",
        "died",
        "in her sleep",
        "checkbox",
        "7 here",
        "6 here",
        "Decision",
    ):
        assert private not in html


def test_a_herd_that_shares_outcomes_shows_where_its_animals_are_but_no_notes(barn):
    Herd.objects.filter(pk=barn.herd.pk).update(shares_outcomes=True)
    assert listed(barn, "?status=died", "fellow") == ["A4"]
    assert "in her sleep" not in barn.client_of("fellow").get(
        Animal.objects.get(mark_text="A4").get_absolute_url()
    ).content.decode()  # fmt: skip


def test_htmx_gets_the_list_alone(barn):
    client, url = barn.client_of("keeper"), barn.herd.get_absolute_url()
    part = client.get(url, headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode()
    assert 'id="animals"' in part.content.decode()
    assert "HX-Request" in part["Vary"]
    assert "<html" in client.get(url).content.decode()


def test_a_large_herd_comes_in_pages(cast):
    for _ in range(55):
        make_animal(cast.herd)
    assert len(listed(cast)) == 50
    assert len(listed(cast, "?page=2")) == 8
    assert "page=2" in cast.client_of("keeper").get(cast.herd.get_absolute_url() + "?sort=-mark").content.decode()


@pytest.mark.parametrize(("who", "most"), [("keeper", 15), ("fellow", 15), ("mentor", 15)])
def test_the_page_costs_the_same_for_3_and_for_40_animals(cast, who, most):
    client, url = cast.client_of(who), cast.herd.get_absolute_url()
    few = queries_of(client, url)
    for number in range(37):
        animal = make_animal(cast.herd, sire=cast.sire, dam=cast.dam, born_on=today())
        if number % 2:
            decide(animals=[animal], verdict="keep", by=cast.keeper)
    assert queries_of(client, url) == few <= most


def rows_of(cast, query="", who="keeper"):
    response = cast.client_of(who).get(reverse("herd-csv", args=[cast.herd.slug]) + query)
    assert response["Content-Type"].startswith("text/csv")
    return list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))


def test_the_csv_file_is_what_is_on_screen(barn):
    rows = rows_of(barn, "?verdict=keep")
    assert [row["mark"] for row in rows] == ["A10"]
    assert rows[0]["decision"] == "keep"
    assert rows[0]["reason"] == "undercolor"
    assert rows[0]["born"] == add_months(today(), -1).isoformat()
    assert rows_of(barn, "?sort=-mark")[0]["mark"] == "A20"
    others = rows_of(barn, "?verdict=keep", "fellow")
    assert len(others) == 7
    assert "decision" not in others[0]
    assert "where it is" not in others[0]


def test_no_cell_is_taken_for_a_formula(cast):
    Animal.objects.filter(pk=cast.dam.pk).update(name='=HYPERLINK("http://example.org","x")')
    assert rows_of(cast)[1]["name"] == '\'=HYPERLINK("http://example.org","x")'


@pytest.mark.parametrize(
    ("value", "cell"),
    [("=1+1", "'=1+1"), ("+44", "'+44"), ("-5", "-5"), ("@x", "'@x"), ("\t=1", "'\t=1"), ("  =1", "'  =1"),
     ("\rx", "'\rx"), ("A1", "A1"), ("", ""), (None, ""), (12, "12"), ("a=b", "a=b")],
)  # fmt: skip
def test_cells_that_begin_like_formulas_get_an_apostrophe(value, cell):
    assert harmless(value) == cell


def test_an_app_above_adds_a_column_with_its_sort_and_its_cell_in_the_file(cast):
    from django.db.models import F

    register(
        HerdColumn(
            name="test", title="Born again", order=99, template="components/icon.html", sort="again",
            annotate=lambda animals, member: animals.annotate(again=F("born_on")),
            text=lambda animal: str(animal.again), shown=lambda herd, member: herd == cast.herd,
        )
    )  # fmt: skip
    try:
        page = cast.client_of("keeper").get(cast.herd.get_absolute_url() + "?sort=-test").content.decode()
        assert "Born again" in page
        assert page.index("A3") < page.index("A1")
        assert rows_of(cast)[0]["Born again"] == str(cast.sire.born_on)
        assert "Born again" not in cast.client_of("keeper").get(cast.other_herd.get_absolute_url()).content.decode()
    finally:
        del PLACES.columns["test"]


def test_my_herds_come_first_with_their_counts(barn):
    page = barn.client_of("keeper").get(reverse("herd-list"))
    (mine,) = page.context["mine"]
    assert (mine.here, mine.bucks, mine.does, mine.young) == (6, 1, 3, 2)
    assert list(page.context["page"]) == [barn.other_herd]
    html = page.content.decode()
    assert "Rhea Millbrook" in html
    assert "Ida Ashgrove, Tomas Ashgrove" in html


def test_a_mentor_finds_the_herds_granted_and_a_revoked_one_does_not(cast):
    assert list(cast.client_of("mentor").get(reverse("herd-list")).context["granted"]) == [cast.herd]
    page = cast.client_of("revoked_mentor").get(reverse("herd-list"))
    assert not page.context["granted"]
    assert cast.herd in page.context["page"]


def test_other_herds_are_found_by_name_prefix_region_and_owner(cast):
    make_herd(make_member("Una Fell"), name="Fell Edge", prefix="FE", region="North Vale")
    for q in ("fell", "fe", "north", "UNA", "una edge"):
        page = cast.client_of("keeper").get(reverse("herd-list"), {"q": q}, headers={"HX-Request": "true"})
        assert [herd.name for herd in page.context["page"]] == ["Fell Edge"], q
        assert "<html" not in page.content.decode()


def test_the_list_of_herds_costs_the_same_for_2_and_for_22_herds(cast):
    client, url = cast.client_of("mentor"), reverse("herd-list")
    few = queries_of(client, url)
    for number in range(20):
        make_herd(make_member(f"Member {number}"))
    assert queries_of(client, url) == few <= 10
