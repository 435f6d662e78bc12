"""Pedigree, progeny and relation on their pages, held against published pedigrees registered as animals."""

from datetime import date, timedelta

import pgtrigger
import pytest
from django.urls import reverse
from django.utils.html import strip_tags

from grading.models import Trait
from herds.models import Animal
from pedigrees import kinship
from pedigrees.actions.inbreeding import refresh_due
from pedigrees.load import ancestors_of
from pedigrees.models import Inbreeding
from pedigrees.relation import relation_of
from pedigrees.tree import letters, tree_of
from pedigrees.words import percent

from .factories import make_animal, make_look
from .kinship.gallery import CHECKS
from .queries import queries_of

pytestmark = pytest.mark.django_db


def registered(pedigree, **given):
    """{name: Animal} of [animal, sire, dam] lines of the fixture; parents may stand in any line or in none."""
    lines = {line[0]: line[1:3] for line in pedigree}
    made: dict = {}

    def make(name):
        if name is None:
            return None
        if name not in made:
            sire, dam = (make(parent) for parent in lines.get(name, (None, None)))
            made[name] = make_animal(mark=False, name=str(name), sire=sire, dam=dam, born_on=None, **given)
        return made[name]

    for name in lines:
        make(name)
    refresh_due()
    return made


def page(cast, name, *args, who="fellow", status=200, **query):
    response = cast.client_of(who).get(reverse(name, args=args), query)
    assert response.status_code == status
    return response


def words(response):
    """The text of a page, white space made single."""
    content = response.content.decode().replace("</dt>", " ").replace("</p>", " ").replace("</li>", " ")
    return " ".join(strip_tags(content).replace("\xa0", " ").split())


@pytest.mark.parametrize("number", range(14), ids=[c["mating"] for c in CHECKS["matings"]["given"]["cases"]])
def test_the_page_tells_the_inbreeding_of_each_mating_that_wright_gives(cast, number):
    # Wright 1922, from the definition (fixtures/published/genetics.json, matings)
    case = CHECKS["matings"]["given"]["cases"][number]
    kit = registered(case["pedigree"])[case["animal"]]
    expected = CHECKS["matings"]["expect"]["f"][number]
    response = page(cast, "pedigree-detail", kit.pk)
    root = response.context["tree"].root
    if kit.sire_id and kit.dam_id:
        assert root.inbreeding == pytest.approx(expected, abs=1e-12)
        assert f"Inbreeding {percent(expected)}".replace("\xa0", " ") in words(response)
        assert sum(each.share for each in response.context["tree"].commons) == pytest.approx(1 if expected else 0)
    else:
        assert "cannot be told while a parent is not known" in words(response)
        assert root.inbreeding is None


def test_roan_gauntlet_comes_out_as_in_wrights_paper_with_his_three_chains(cast):
    # S. Wright 1922, Coefficients of inbreeding and relationship (pedigree and value from memory): 1/16 + 1/16 + 1/64
    check = CHECKS["roan-gauntlet"]
    bull = registered(check["given"]["pedigree"])["Roan_Gauntlet"]
    tree = page(cast, "pedigree-detail", bull.pk).context["tree"]
    assert tree.root.inbreeding == pytest.approx(check["expect"]["f"])
    sharing = {each.animal.name: each for each in tree.sharing}
    assert set(sharing) == {"Champion_of_England", "Lord_Raglan"}
    assert sharing["Champion_of_England"].share == pytest.approx(8 / 9)
    assert sharing["Champion_of_England"].where == "appears 3 times, both sides"
    assert sharing["Champion_of_England"].letter == "A"
    assert sharing["Lord_Raglan"].share == pytest.approx(1 / 9)
    response = page(cast, "relation", one=bull.sire_id, other=bull.dam_id)
    found = response.context["relation"]
    assert len(found.paths) == check["expect"]["chains"]
    assert sorted(path.contribution for path in found.paths) == pytest.approx([1 / 64, 1 / 16, 1 / 16])
    assert "Sum of 3 paths: 14.1 %, the whole coancestry." in words(response)


@pytest.mark.parametrize("name", ["six-animals", "seven-animals"])
def test_every_cell_of_a_published_pedigree_carries_its_inbreeding(cast, name):
    # Mrode and Thompson, Table 2.1; K. Christensen, course notes, section 4.5: the diagonal of A less one
    check = CHECKS[name]
    animals = registered(check["given"]["pedigree"])
    expected = dict(zip([line[0] for line in check["given"]["pedigree"]], check["expect"]["f"], strict=True))
    last = list(animals.values())[-1]

    def cells(cell):
        yield cell
        for parent in cell.parents:
            yield from cells(parent)

    drawn = list(cells(tree_of(last, 6, cast.fellow).root))
    assert {cell.animal.name for cell in drawn if cell.animal} >= {last.name, last.sire.name, last.dam.name}
    for cell in drawn:
        if cell.animal and cell.both_parents_known:
            assert cell.inbreeding == pytest.approx(expected[cell.animal.name], abs=1e-12), cell.animal
        elif cell.animal:
            assert cell.inbreeding is None


@pytest.mark.parametrize("line", range(3, 9))
def test_paths_add_up_to_the_coancestry_of_the_package(cast, line):
    # Falconer and Mackay, table of inbreeding under close mating (from memory): full-sib-line
    pair = (make_animal(mark=False, sex="buck"), make_animal(mark=False, sex="doe"))
    for generation in range(line):
        born = date(2000, 1, 1) + timedelta(days=200 * generation)
        Animal.objects.filter(pk__in=[each.pk for each in pair]).update(born_on=born)
        pair = [make_animal(mark=False, sex=sex, sire=pair[0], dam=pair[1], born_on=None) for sex in ("buck", "doe")]
    found = relation_of(*pair)
    pedigree = ancestors_of([each.pk for each in pair])
    one, other = pedigree.rows_of([each.pk for each in pair])
    assert found.coancestry == pytest.approx(kinship.coancestry(pedigree.sire, pedigree.dam, [one], [other])[0])
    assert found.coancestry == pytest.approx(CHECKS["full-sib-line"]["expect"]["f"][line - 1], abs=1e-6)
    if found.complete:
        assert found.listed == pytest.approx(found.coancestry)
    assert all(
        path.contribution == pytest.approx(0.5**path.animals * (1 + path.inbreeding)) for path in found.paths
    )  # Wright's formula, term by term


def test_more_paths_than_are_listed_are_said(cast, monkeypatch):
    monkeypatch.setattr("pedigrees.relation.MOST_PATHS", 2)
    animals = registered(CHECKS["roan-gauntlet"]["given"]["pedigree"])
    bull = animals["Roan_Gauntlet"]
    text = words(page(cast, "relation", one=bull.sire_id, other=bull.dam_id))
    assert "2 paths" in text
    assert "There are more paths than are listed here" in text


def test_gaps_are_said_and_counted(cast):
    grandsire = make_animal(mark=False, sex="buck", name="Old Slate")
    sire = make_animal(mark=False, sex="buck", name="Slate", sire=grandsire, born_on=None)
    kit = make_animal(mark=False, name="Pip", sire=sire, born_on=None)
    response = page(cast, "pedigree-detail", kit.pk, generations=3)
    text = words(response)
    assert "1 of 2 parents, 1 of 4 grandparents, 0 of 8 great-grandparents" in text
    assert "Dam of Pip is not known." in text
    assert "Dam of Slate is not known." in text
    assert "Sire and dam of Old Slate are not known." in text
    assert "Dam not known: dam of the sire" in text
    assert response.context["tree"].completeness == 0  # MacCluer et al. 1983: a parent unknown makes it nothing
    assert "cannot be told while a parent is not known" in text


@pytest.mark.parametrize(("asked", "shown"), [("3", 3), ("6", 6), ("7", 4), ("x", 4), ("", 4)])
def test_three_to_six_generations_may_be_asked_for(cast, asked, shown):
    assert page(cast, "pedigree-detail", cast.daughter.pk, generations=asked).context["tree"].generations == shown


def test_a_figure_that_is_due_is_said_to_be_computed_and_never_shown_old(cast):
    refresh_due()
    assert "Inbreeding 0 %" in words(page(cast, "pedigree-detail", cast.daughter.pk))
    Animal.objects.filter(pk=cast.daughter.pk).update(dam=make_animal(cast.herd, sex="doe"))
    text = words(page(cast, "pedigree-detail", cast.daughter.pk))
    assert "Inbreeding being computed" in text
    assert "Inbreeding is being computed." in words(page(cast, "animal-detail", cast.daughter.pk))
    refresh_due()
    assert "being computed" not in words(page(cast, "pedigree-detail", cast.daughter.pk))


def test_the_page_that_meets_a_due_figure_has_it_worked_out(cast):
    from django_tasks_db.models import DBTaskResult

    page(cast, "pedigree-detail", cast.daughter.pk)
    assert DBTaskResult.objects.filter(task_path="pedigrees.tasks.refresh_inbreeding").count() == 1


def test_a_look_stands_in_the_cells_of_those_who_may_see_it_with_its_undercolor(cast):
    surface, under = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    make_look(cast.sire, cast.keeper, steps={surface: 6, (under, "loin"): 7})
    for who, seen in (("keeper", True), ("mentor", True), ("revoked_mentor", False), ("fellow", False)):
        for name, args, query in (
            ("pedigree-detail", [cast.daughter.pk], {}),
            ("progeny-tree", [make_animal(mark=False, sex="unknown").pk], {}),
        ):
            text = words(page(cast, name, *args, who=who, **query))
            assert ("surface 6 undercolor 7" in text) == (seen and name == "pedigree-detail"), (who, name)


def test_progeny_show_their_looks_to_those_who_may_see_them(cast):
    surface, under = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    make_look(cast.daughter, cast.keeper, steps={surface: 3, (under, "loin"): 8})
    assert "surface 3 undercolor 8" in words(page(cast, "progeny-tree", cast.sire.pk, who="keeper"))
    assert "undercolor" not in words(page(cast, "progeny-tree", cast.sire.pk, who="fellow"))


def test_the_queries_of_a_pedigree_do_not_grow_with_it(cast):
    client = cast.client_of("keeper")
    refresh_due()
    few = queries_of(client, reverse("pedigree-detail", args=[cast.sire.pk]))
    refresh_due()
    pair = (cast.sire, cast.dam)
    for generation in range(6):
        pair = [make_animal(mark=False, sex=sex, sire=pair[0], dam=pair[1], born_on=None) for sex in ("buck", "doe")]
        assert generation < 6
    refresh_due()
    assert queries_of(client, reverse("pedigree-detail", args=[pair[0].pk]) + "?generations=6") == few <= 9


def test_the_queries_of_progeny_and_relation_do_not_grow(cast):
    client = cast.client_of("keeper")
    refresh_due()
    few = queries_of(client, reverse("progeny-tree", args=[cast.sire.pk]))
    for _ in range(9):
        make_animal(mark=False, sire=cast.sire, dam=cast.dam, born_on=None)
    refresh_due()
    assert queries_of(client, reverse("progeny-tree", args=[cast.sire.pk])) == few <= 12
    sisters = Animal.objects.filter(sire=cast.sire)
    url = f"{reverse('relation')}?one={cast.daughter.pk}&other={sisters.last().pk}"
    assert queries_of(client, url) <= 14


def test_loops_are_refused_by_name_on_every_page(cast):
    with pgtrigger.ignore("herds.Animal:animal_parents"):
        Animal.objects.filter(pk=cast.sire.pk).update(sire=make_animal(mark=False, sire=cast.sire, born_on=None))
    for name, args, query in (
        ("pedigree-detail", [cast.daughter.pk], {}),
        ("relation", [], {"one": cast.daughter.pk, "other": cast.dam.pk}),
    ):
        text = words(page(cast, name, *args, status=409, **query))
        assert "A1 Slate is recorded as its own ancestor" in text or "whose parent is A1 Slate" in text
        assert "The registrar has to change the sire or the dam" in text
    assert "is recorded as its own ancestor" in words(page(cast, "animal-detail", cast.sire.pk))


def test_five_hundred_progeny_are_paged_by_litter_and_counted(cast):
    buck = cast.other_buck
    does = [make_animal(mark=False, sex="doe", name=f"Doe {n}") for n in range(5)]
    breed, today = buck.breed, date.today()
    young = [
        Animal(breed=breed, status="outside", sire=buck, dam=does[n % 5], name=f"Kit {n}",
               born_on=today - timedelta(days=10 * (n // 10)))
        for n in range(500)
    ]  # fmt: skip
    young = Animal.objects.bulk_create(young)
    Animal.objects.bulk_create(
        Animal(breed=breed, status="outside", sire=young[3], dam=does[0], name=f"Grandkit {n}") for n in range(9)
    )
    refresh_due()
    response = page(cast, "progeny-tree", buck.pk)
    text = words(response)
    assert "500 animals in 250 litters by 5 mates; 9 animals one generation on" in text
    assert "1 of 21" in text
    assert "3 more, all progeny of Kit 3" in text
    assert text.count("Grandkit") == 6
    assert len(response.content) < 200_000
    last = words(page(cast, "progeny-tree", buck.pk, page=21))
    assert "Kit 499" in last


def test_progeny_without_birth_date_or_mate_are_counted_beyond_those_listed(cast):
    Animal.objects.bulk_create(
        Animal(breed=cast.sire.breed, status="outside", sire=cast.other_buck, name=f"Kit {n}") for n in range(40)
    )
    text = words(page(cast, "progeny-tree", cast.other_buck.pk))
    assert "Birth date not known, dam not known: 40" in text
    assert "10 more of these" in text


def test_somebody_without_progeny_has_a_page_that_says_so(cast):
    assert "No progeny in the registry" in words(page(cast, "progeny-tree", cast.daughter.pk))


def test_two_animals_are_chosen_by_mark_and_their_keys_make_the_address(cast):
    response = page(cast, "relation", status=302, first="A3", second="A1")
    assert response.url == f"{reverse('relation')}?one={cast.daughter.pk}&other={cast.sire.pk}"
    refresh_due()
    text = words(page(cast, "relation", one=cast.daughter.pk, other=cast.sire.pk))
    assert "A3 Alder is a daughter of A1 Slate." in text
    assert "coancestry is 25 %: a litter of the two would be inbred by that much" in text
    assert "Close matings can bring hidden faults to light" in text
    assert "ask the club what its rules say" in text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"first": "A3", "second": "zz"}, "No animal in the registry is called “zz”."),
        ({"first": "", "second": "A1"}, "Type a mark or a name."),
        ({"first": "A1", "second": "A1"}, "These are one and the same animal."),
    ],
)
def test_who_cannot_be_found_is_said_by_the_field(cast, query, said):
    assert said in words(page(cast, "relation", status=422, **query))


def test_keys_that_are_no_animals_leave_the_question_open(cast):
    for one, other in (("x", "1"), ("99999999999999999999", "²"), (str(cast.sire.pk), "0")):
        assert page(cast, "relation", one=one, other=other).context["relation"] is None
    same = page(cast, "relation", one=cast.sire.pk, other=cast.sire.pk)
    assert "These are one and the same animal." in words(same)


def test_strangers_are_said_to_share_nobody(cast):
    assert "no ancestor in common" in words(page(cast, "relation", one=cast.sire.pk, other=cast.other_buck.pk))


def test_the_animal_page_leads_to_pedigree_progeny_and_relation(cast):
    content = page(cast, "animal-detail", cast.daughter.pk).content.decode()
    for address in (
        reverse("pedigree-detail", args=[cast.daughter.pk]),
        reverse("progeny-tree", args=[cast.daughter.pk]),
        f"{reverse('relation')}?one={cast.daughter.pk}",
    ):
        assert f'href="{address}"' in content


def test_common_ancestors_are_lettered_as_columns_of_a_sheet_are():
    assert [letters(n) for n in (0, 25, 26, 27, 701, 702)] == ["A", "Z", "AA", "AB", "ZZ", "AAA"]


@pytest.mark.parametrize(
    ("value", "text"),
    [(0, "0 %"), (0.125, "12.5 %"), (0.015625, "1.56 %"), (0.000001, "under 0.01 %"), (1, "100 %"),
     (None, "being computed")],
)  # fmt: skip
def test_shares_read_as_percent(value, text):
    assert percent(value).replace("\xa0", " ") == text


def test_the_figures_of_every_animal_are_there_once(cast):
    assert Inbreeding.objects.count() == Animal.objects.count()
