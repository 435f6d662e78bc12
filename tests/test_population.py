"""A breed's population figures, through job and page, against published definitions; held back, refused, restarted."""

import csv
import io
from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags
from django_tasks_db.models import DBTaskResult

from clubsite.members.models import Club
from clubsite.nightly import JOBS
from herds.models import Animal
from pedigrees import kinship, population
from pedigrees.actions.population import NOT_FINISHED, ask_for_figures, work_out, work_out_all
from pedigrees.load import whole_registry
from pedigrees.models import PopulationRun
from pedigrees.tasks import work_out_population

from .factories import make_animal, make_breed, make_herd
from .kinship.gallery import CHECKS

pytestmark = pytest.mark.django_db

TWELVE = CHECKS["twelve-rabbits"]


def twelve(born):
    """The twelve rabbits of the fixture in three herds; `born` gives each a year such as 2021.5."""
    herds, made = [make_herd(name=f"Herd of twelve {n}") for n in range(3)], {None: None}
    breed = make_breed("Twelve")
    for n, (name, sire, dam) in enumerate(TWELVE["given"]["pedigree"]):
        days = timedelta(days=round((born[name] % 1) * 365.25))
        made[name] = make_animal(
            mark=False, name=name, breed=breed, sire=made[sire], dam=made[dam], bred_in=herds[n % 3],
            born_on=date(int(born[name]), 1, 1) + days,
        )  # fmt: skip
    return breed


@pytest.fixture
def rabbits(db):
    """H to L, the reference of the fixture, are the newest three birth years."""
    born = dict.fromkeys("ABCD", 2015.0) | dict.fromkeys("EFG", 2017.0) | {"H": 2021.0, "I": 2021.1}
    return twelve(born | {"J": 2022.0, "K": 2022.2, "L": 2023.0})


def page(cast, name="population", who="fellow", status=200, method="get", **query):
    response = getattr(cast.client_of(who), method)(reverse(name), query)
    assert response.status_code == status
    return response


def words(response):
    content = response.content.decode().replace("</p>", " ").replace("</dt>", " ").replace("</th>", " ")
    return " ".join(strip_tags(content.replace("</td>", " ")).replace("\xa0", " ").split())


def finished(breed):
    return work_out(PopulationRun.objects.create(breed=breed))


def test_founders_ancestors_and_genomes_of_the_twelve_are_as_their_authors_define(rabbits):
    # Lacy 1989; Boichard, Maignel and Verrier 1997; Maignel et al. 1996: fixtures/published/genetics.json
    figures, expect = finished(rabbits).figures, TWELVE["expect"]
    assert figures["cohort"] == {"first": 2021, "last": 2023, "animals": 5, "herds": 3}
    names = dict(Animal.objects.values_list("pk", "name"))

    def named(rows):
        return {f"unknown parent of {names[r['animal']]}" if r["unknown_parent"] else names[r["animal"]]: r["share"]
                for r in rows}  # fmt: skip

    assert named(figures["founders"]["top"]) == pytest.approx(expect["founder_shares"])
    assert figures["founders"]["count"] == 5
    assert figures["founders"]["effective"] == pytest.approx(expect["effective_founders"])
    assert named(figures["ancestors"]["top"]) == pytest.approx(dict(expect["ancestors"]))
    assert figures["ancestors"]["least"] == pytest.approx(expect["effective_ancestors"])
    assert figures["ancestors"]["most"] == pytest.approx(expect["effective_ancestors"])
    assert figures["ancestors"]["for_half"] == 1
    assert figures["genomes"] == pytest.approx(expect["founder_genomes"])
    depth = [expect["equivalent_generations"][name] for name in "HIJKL"]
    assert figures["depth"] == pytest.approx(sum(depth) / 5)
    assert figures["mean_inbreeding"] == pytest.approx(sum(expect["f"][name] for name in "HIJKL") / 5)


def test_inbreeding_by_birth_year_counts_those_with_two_known_parents(rabbits):
    # the inbreeding of J is published (twelve-rabbits); K, born in the same year, has no known dam
    rows = {row["year"]: row for row in finished(rabbits).figures["years"]}
    assert rows[2022]["mean"] == pytest.approx(TWELVE["expect"]["f"]["J"])
    assert (rows[2022]["animals"], rows[2022]["known"]) == (2, 1)
    assert rows[2015]["known"] == 0
    assert "mean" not in rows[2015]


def test_what_is_known_is_counted_generation_by_generation(rabbits):
    # by hand, H to L: 2, 2, 2, 1, 2 parents; 4, 2, 4, 2, 3 grandparents; 0, 0, 6, 4, 6 great-grandparents
    known = finished(rabbits).figures["known"]
    assert known[:3] == pytest.approx([9 / 10, 15 / 20, 16 / 40])


def test_the_generation_interval_is_that_of_the_four_paths(db):
    # Rendel and Robertson 1950; James 1977: fixtures/published/genetics.json; births are rounded to a day here
    check = CHECKS["generation-interval"]
    found = finished(twelve(check["given"]["born"])).figures["interval"]
    expect = check["expect"]
    assert found["years"] == pytest.approx(expect["interval"], abs=0.006)
    paths = ("sire_son", "sire_daughter", "dam_son", "dam_daughter")
    assert found["paths"] == pytest.approx([expect[path] for path in paths], abs=0.006)


def make_line(breed, generations=8, a_generation=6):
    """A line that is kept by mating brother and sister; six a generation, of three breeders."""
    herds = [make_herd(name=f"Line herd {n}") for n in range(3)]
    pair = [make_animal(mark=False, sex=sex, breed=breed, born_on=date(2010, 1, 1)) for sex in ("buck", "doe")]
    for generation in range(generations):
        born = date(2011, 1, 1) + timedelta(days=200 * generation)
        young = [
            make_animal(mark=False, sex=("buck", "doe")[n % 2], breed=breed, sire=pair[0], dam=pair[1], born_on=born,
                        bred_in=herds[n % 3])
            for n in range(a_generation)
        ]  # fmt: skip
        pair = young[:2]
    return breed


def test_the_page_says_what_the_effective_size_means(cast):
    # Falconer and Mackay (from memory): a full-sib line tends to an effective size of 2.6 (limiting-rates);
    # the individual increase in inbreeding (Gutierrez et al. 2009) approaches it from above
    breed = make_line(make_breed("Narrow"), generations=12)
    run = finished(breed)
    registry = whole_registry()
    cohort = registry.rows_of(Animal.objects.filter(breed=breed, born_on__year__gte=2015).values_list("pk", flat=True))
    size = kinship.effective_size(registry.sire, registry.dam, cohort).size
    assert run.figures["size"]["size"] == pytest.approx(size)
    assert size == pytest.approx(CHECKS["limiting-rates"]["expect"]["full_sib_ne"], rel=0.1)
    text = words(page(cast, breed="narrow"))
    assert "The club breeds as narrowly as if 3 animals chosen at random were its parents each generation." in text
    assert timezone.localdate().strftime("%-d %B %Y") in text


def test_few_animals_are_told_to_be_too_few(cast, rabbits):
    finished(rabbits)
    text = words(page(cast, breed="twelve"))
    assert "Not enough: only 5 animals of these years have more than one complete generation of ancestors" in text
    # by hand: E, F, G, H, I and J bred on from two known parents each, and K from one
    assert "Not enough: 13 pairs of a parent and its young that bred on have both birth dates" in text
    assert "All that these animals carry came in through 5 founders" in text
    assert "4.4 with equal shares" in text


def test_a_breed_of_few_herds_is_held_back_by_the_clubs_limits(cast, rabbits):
    Animal.objects.filter(breed=rabbits).update(bred_in=Animal.objects.filter(breed=rabbits)[0].bred_in)
    finished(rabbits)
    text = words(page(cast, breed="twelve"))
    assert "Held back: the club shows a group from 5 animals of 3 herds on; here are 5 of 1." in text
    for told in ("Effective size", "founders", "Mean inbreeding 4"):
        assert told not in text.split("Sources:")[0]
    sheet = page(cast, "population-csv", breed="twelve").content.decode()
    assert "founder's share" not in sheet
    Club.objects.update(smallest_group_herds=1)
    assert "Effective ancestors" in words(page(cast, breed="twelve"))


def test_a_year_of_few_is_held_back_alone(cast, rabbits):
    finished(rabbits)
    response = page(cast, breed="twelve")
    assert all(row["held"] for row in response.context["told"].years)
    assert response.context["chart"] == ""


def test_the_sheet_holds_what_the_page_shows(cast):
    finished(make_line(make_breed("Narrow")))
    response = page(cast, "population-csv", breed="narrow")
    rows = list(csv.reader(io.StringIO(response.content.decode("utf-8-sig"))))
    told = page(cast, breed="narrow").context["told"]
    assert rows[0] == ["what", "of", "value", "animals", "words"]
    years = [row for row in rows if row[0] == "mean inbreeding by birth year"]
    assert [row[1] for row in years] == [str(row["year"]) for row in told.years]
    shown = [float(row[2]) for row in years if row[2]]
    assert shown == pytest.approx([row["mean"] for row in told.years if not row["held"]], abs=1e-6)
    assert shown
    assert [row[1] for row in rows if row[0] == "founder's share"] == [name for name, *_ in told.founders]


def test_a_name_that_looks_like_a_formula_is_made_harmless_in_the_sheet(cast, rabbits):
    Animal.objects.filter(breed=rabbits, name="A").update(name="=1+1")
    finished(rabbits)
    assert "'=1+1" in page(cast, "population-csv", breed="twelve").content.decode()


def test_the_chart_is_drawn_without_script_or_style(cast):
    finished(make_line(make_breed("Narrow")))
    chart = page(cast, breed="narrow").context["chart"]
    assert chart.startswith("<svg")
    assert "<script" not in chart
    assert " style=" not in chart


def test_any_member_may_start_the_first_and_officers_alone_the_next(cast):
    assert "Work the figures out" in words(page(cast))
    page(cast, "population-start", method="post", status=302)
    run = PopulationRun.objects.get()
    assert (run.asked_by, run.finished_at) == (cast.fellow, None)
    assert "Being worked out" in words(page(cast))
    work_out(run)
    assert "Work the figures out" not in words(page(cast))
    page(cast, "population-start", method="post", status=404)
    assert "Work the figures out anew" in words(page(cast, who="officer"))
    page(cast, "population-start", method="post", status=302, who="officer")
    assert PopulationRun.objects.count() == 2


def test_the_job_does_the_work_and_the_page_shows_it(cast, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        run = ask_for_figures(breed=cast.sire.breed, by=cast.officer)
    assert ask_for_figures(breed=cast.sire.breed) == run
    assert DBTaskResult.objects.filter(task_path="pedigrees.tasks.work_out_population").count() == 1
    work_out_population.call(run=run.pk)
    run.refresh_from_db()
    assert run.figures["animals"] == Animal.objects.filter(breed=cast.sire.breed).count()


def test_a_run_whose_job_was_lost_makes_way_for_the_next(cast):
    lost = ask_for_figures(breed=cast.sire.breed)
    PopulationRun.objects.update(asked_at=timezone.now() - timedelta(hours=3))
    run = ask_for_figures(breed=cast.sire.breed)
    lost.refresh_from_db()
    assert run != lost
    assert lost.problem == NOT_FINISHED


def test_parents_that_contradict_each_other_are_named_and_the_last_figures_stay(cast):
    finished(cast.sire.breed)
    both = make_animal(mark=False, sex="unknown", name="Both Ways", born_on=None)
    make_animal(mark=False, sire=both, born_on=None)
    make_animal(mark=False, dam=both, born_on=None)
    run = finished(cast.sire.breed)
    assert run.figures is None
    response = page(cast)
    assert "The last try gave no figures" in words(response)
    assert "Both Ways stands as a sire in one place and as a dam in another" in words(response)
    assert response.context["run"] != run
    assert response.context["told"] is not None


def test_a_run_that_breaks_says_so_and_blocks_nothing(cast, monkeypatch):
    def broken(breed):
        raise ZeroDivisionError

    monkeypatch.setattr("pedigrees.actions.population.figures_of", broken)
    run = PopulationRun.objects.create(breed=cast.sire.breed)
    with pytest.raises(ZeroDivisionError):
        work_out(run)
    run.refresh_from_db()
    assert "Something went wrong" in run.problem
    assert ask_for_figures(breed=cast.sire.breed) != run


def test_a_breed_without_animals_has_an_empty_page_and_an_unknown_one_none(cast):
    empty = make_breed("Nobody's")
    finished(empty)
    assert "0 animals in the registry" in words(page(cast, breed=empty.slug))
    page(cast, breed="no-such", status=404)


def test_the_night_works_out_every_breed_and_keeps_no_more_than_a_month(cast, monkeypatch):
    monkeypatch.setattr("pedigrees.actions.population.KEPT", 3)
    for _ in range(5):
        work_out_all()
    assert PopulationRun.objects.filter(breed=cast.sire.breed, figures__isnull=False).count() == 3
    assert {"inbreeding", "population"} <= set(JOBS)
    assert "figures of inbreeding" in JOBS["inbreeding"].work()


def test_ancestors_that_were_not_all_looked_for_give_bounds(rabbits, monkeypatch):
    exact = finished(rabbits).figures["ancestors"]
    monkeypatch.setattr(population, "MOST_ANCESTORS", 1)
    some = finished(rabbits).figures["ancestors"]
    # one ancestor with a half, by hand: the rest in another half, or in dust
    assert (some["least"], some["most"]) == pytest.approx((2, 4))
    assert some["least"] < exact["least"] < some["most"]
