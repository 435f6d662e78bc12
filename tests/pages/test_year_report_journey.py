"""An officer runs the evaluation and prints the year report for the annual meeting."""

import pypdfium2
import pytest
from django.urls import reverse
from playwright.sync_api import expect

from grading.actions.evaluations import carry_out
from grading.models import EvaluationRun
from tests.cast import make_cast
from tests.years_made import make_graded_years

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [360, 1280])
def test_an_officer_runs_the_evaluation_and_prints_the_year_report(transactional_db, person, live_server, width):
    make_club()
    cast = make_cast()
    make_graded_years(cast)
    client = cast.client_of("officer")
    walk = Walker(person(client), live_server.url, "year-report", width)
    page = walk.page
    walk.to("year-list")
    walk.see("years-before-a-run")
    walk.press("Year report", role="link")
    expect(page.get_by_text("No evaluation has run yet.")).to_be_visible()
    walk.see("no-report-yet")
    walk.press("Evaluations", role="link")
    walk.press("Run it now")
    expect(page.get_by_role("heading", name="Evaluation", exact=True)).to_be_visible()
    run = carry_out(run=EvaluationRun.objects.get())  # what the worker does
    assert run.state == "done", run.problem
    page.goto(live_server.url + run.get_absolute_url())
    walk.see("the-run-is-done")
    walk.press("Year report", role="link")
    expect(page.get_by_role("heading", name="Who graded what share")).to_be_visible()
    walk.see("the-report")
    link = page.get_by_role("link", name="PDF for A4").get_attribute("href")
    assert link.startswith(reverse("year-report-file"))
    document = pypdfium2.PdfDocument(client.get(link).content)
    text = document[0].get_textpage().get_text_range()
    picture = document[0].render(scale=1).to_pil()
    picture.save(walk.folder / "99-on-paper.png")
    document.close()
    assert "Vale Silver Club" in text
    assert "Surface shade" in text
    walk.to("year-list")
    walk.see("years-with-what-is-bred")
    walk.arrive()
