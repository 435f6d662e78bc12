"""Club-wide figures that are kept: the same as those worked out, renewed by a job, and no page waits for them."""

from datetime import timedelta

import numpy as np
import pytest
from django.conf import settings
from django.core.cache import cache
from django.core.management import call_command
from django.db import connection, transaction
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from clubsite.members.models import Club
from fixtures.growing import grow
from grading import load, standing, tasks, twoway, years
from grading.comparing.sums import open_herds
from herds.models import Animal, Herd

from .queries import queries_of

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def grown(django_db_setup, django_db_blocker):
    """A registry of 400 animals, grown once for this file and rolled back after it."""
    with django_db_blocker.unblock():
        try:
            with transaction.atomic():
                call_command("createcachetable", verbosity=0)
                grow.grow(
                    today=timezone.localdate(), count=400, looks_each=4, seed=5, password="-", write=lambda line: None
                )
                yield
                transaction.set_rollback(True)
        finally:
            connection.close()


@pytest.fixture
def club(grown, db, client):
    """The client of the keeper of the first herd; what a test changes is undone after it."""
    cache.clear()
    client.member = Herd.objects.order_by("pk").first().ownerships.first().member
    client.breed = Animal.objects.first().breed
    client.force_login(client.member, backend=settings.AUTHENTICATION_BACKENDS[0])
    return client


@pytest.fixture
def large(club, monkeypatch):
    """The same, taken for a large club."""
    monkeypatch.setattr(standing, "LARGE", 1)
    return club


def by_key(rows):
    return {row["key"]: row for row in rows}


@pytest.mark.parametrize("scope", ["mine", "club"])
def test_the_kept_sums_give_the_figures_of_the_summary_query(club, scope):
    """The oracle is the SQL of load.summaries, which test_sires.py checks against NumPy."""
    cells = load.cells_of(club.breed.pk)
    looks, herds = twoway.current_looks(club.breed.pk), None
    if scope == "mine":
        Herd.objects.filter(pk=Herd.objects.last().pk).update(shares_looks=False)
        looks, herds = twoway.visible_looks(club.member, looks), open_herds(club.member)
        assert len(herds) < Herd.objects.count()
    expected = by_key(load.summaries(looks, "sire", cells))
    figures = standing.sire_figures(standing.sire_sums(club.breed.pk, cells), herds)
    found = by_key(figures.rows(np.arange(len(figures))))
    assert found.keys() == expected.keys()
    assert len(found) > 30
    for key, row in expected.items():
        for name, value in row.items():
            assert found[key][name] == (None if value is None else pytest.approx(value, abs=1e-9)), (key, name)


@pytest.mark.parametrize("scope", ["mine", "club"])
@pytest.mark.parametrize("sort", ["-animals", "surface_like", "-undercolor", "dams"])
def test_a_large_clubs_list_is_the_small_clubs_list(club, monkeypatch, scope, sort):
    Club.objects.update_or_create(pk=1, defaults={"smallest_group_herds": 2})
    address = f"{reverse('sire-list')}?scope={scope}&sort={sort}&page=2"
    small = club.get(address).context["page"]
    monkeypatch.setattr(standing, "LARGE", 1)
    large = club.get(address).context["page"]
    assert large.paginator.count == small.paginator.count > (25 if scope == "mine" else 10)
    for name in ("animals", "dams", "herds", "graders", "too_few"):
        assert [row[name] for row in large] == [row[name] for row in small]
    field = sort.lstrip("-")
    assert [row[field] for row in large] == pytest.approx([row[field] for row in small])


def test_old_figures_are_shown_while_a_job_renews_them(large):
    page = reverse("year-list")
    large.get(page)
    kept = cache.get(f"standing-years-{large.breed.pk}")
    old = standing.Kept(kept.at - 3600, kept.looks, kept.value[:1])
    cache.set(f"standing-years-{large.breed.pk}", old, None)
    for _ in range(2):
        assert len(large.get(page).context["rows"]) == 1  # what was kept
    jobs = DBTaskResult.objects.filter(task_path=tasks.renew_standing.module_path)
    assert [job.args_kwargs["args"] for job in jobs] == [["years", large.breed.pk]]  # asked once
    tasks.renew_standing.call("years", large.breed.pk)
    assert len(large.get(page).context["rows"]) == len(kept.value)


def test_a_small_clubs_figures_are_worked_out_anew_after_ten_minutes(club):
    page = reverse("year-list")
    rows = len(club.get(page).context["rows"])
    kept = cache.get(f"standing-years-{club.breed.pk}")
    cache.set(f"standing-years-{club.breed.pk}", standing.Kept(kept.at - 3600, kept.looks, []), None)
    assert len(club.get(page).context["rows"]) == rows > 10


def test_the_night_renews_a_large_clubs_figures_and_leaves_a_small_one_alone(club, monkeypatch):
    assert years.renew_all() == "no breed is large enough"
    monkeypatch.setattr(standing, "LARGE", 1)
    assert years.renew_all() == f"renewed for {club.breed}"
    for name in ("cells", "years", "sires"):
        assert cache.get(f"standing-{name}-{club.breed.pk}").is_fresh


def test_a_birth_year_shows_the_same_whether_kept_or_worked_out(club):
    year = (timezone.localdate() - timedelta(days=900)).year
    first, second = (club.get(reverse("year-detail", args=[year])).context for _ in range(2))
    assert first["group"].animals == second["group"].animals > 5
    assert club.get(reverse("year-detail", args=[1900])).status_code == 404


@pytest.mark.parametrize(
    ("name", "args", "most"),
    [("sire-list", [], 12), ("year-list", [], 12), ("year-detail", [2020], 12), ("animal-list", [], 8)],
)
def test_a_large_clubs_pages_cost_few_queries(large, name, args, most):
    assert queries_of(large, reverse(name, args=args)) <= most


def test_a_page_from_the_middle_or_the_end_holds_what_the_order_says(club):
    marks = list(Animal.objects.all().by_mark().values_list("pk", flat=True))
    assert len(marks) == 400
    for number in (1, 4, 5, 8):
        page = club.get(f"{reverse('animal-list')}?page={number}").context["page"]
        assert [animal.pk for animal in page] == marks[(number - 1) * 50 : number * 50]
    assert club.get(f"{reverse('animal-list')}?page=99").context["page"].number == 8
    assert list(club.get(f"{reverse('animal-list')}?q=nothing-like-it").context["page"]) == []
