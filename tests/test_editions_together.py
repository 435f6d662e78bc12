"""The officer's editor of a draft: two officers at once, and what the pages cost."""

import pytest
from django.urls import reverse

from grading.models import BreedProfile, FindingKind, Trait

from .edition_making import difference_words, fields_of, make_draft, plain, shipped, url
from .queries import queries_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer(cast):
    return cast.client_of("officer")


@pytest.fixture
def draft(cast):
    return make_draft(cast.officer)


@pytest.mark.parametrize(
    ("name", "args", "first", "second", "words"),
    [
        (
            "head",
            (),
            {"source": "By the first"},
            {"source": "By the second"},
            "saved is By the first; you typed By the",
        ),
        ("points", (), {"points-color": "25"}, {"points-color": "30"}, "Color, Points</b>: saved is 25; you typed 30."),
        ("ages", (), {"to-junior": "5"}, {"to-junior": "7"}, "saved is under 5 months; you typed under 7 months."),
        ("class", ("senior",), {"name": "First"}, {"name": "Second"}, "saved is First; you typed Second."),
        ("position", ("fur",), {"points": "16"}, {"points": "17"}, "saved is 16; you typed 17."),
        ("bands", (), {"low-0": "4 kg", "points-0": "5"}, {"low-0": "4 kg", "points-0": "6"}, "saved is 5 points; you"),
        ("trait", ("bone",), {"goal_low": 5}, {"goal_low": 3}, "saved is 5 to 6; you typed 3 to 6."),
        ("findings", (), {"effect-stain": "fault"}, {"effect-stain": "disqualifies"}, "saved is is a fault; you typed"),
    ],
)
def test_two_officers_at_once_neither_is_lost(officer, cast, draft, name, args, first, second, words):
    address = url(name, draft, *args)
    late = fields_of(officer, address, **second)
    assert officer.post(address, fields_of(officer, address, **first)).status_code == 302
    answer = officer.post(address, late)
    assert answer.status_code == 409
    assert words in plain(answer)
    assert "Another officer changed this part after you opened this page." in answer.text
    form = answer.context["form"]
    typed = {key: str(form[key].value()) for key in second}
    assert typed == {key: str(value) for key, value in second.items()}, "what was typed is kept"
    again = late | {"seen": form["seen"].value()}
    assert officer.post(address, again).status_code == 302, "saving again puts it in its place"


def test_officers_at_work_on_two_parts_are_in_nobodys_way(officer, draft):
    points, ages = url("points", draft), url("ages", draft)
    sent = fields_of(officer, points, **{"points-color": "25"}), fields_of(officer, ages, **{"to-junior": "5"})
    assert officer.post(points, sent[0]).status_code == 302
    assert officer.post(ages, sent[1]).status_code == 302


def test_a_draft_that_was_published_or_deleted_meanwhile_is_answered(officer, cast, draft):
    address = url("points", draft)
    sent = fields_of(officer, address, **{"points-color": "25"})
    BreedProfile.objects.filter(pk=draft.pk).update(published_at="2026-11-25T12:00Z")
    answer = officer.post(address, sent)
    assert answer.status_code == 409
    assert "This edition is published, so it stays as it is" in answer.text
    assert 'value="25"' in answer.text
    assert officer.get(address).url == reverse("profile-detail", args=[draft.pk])
    BreedProfile.objects.filter(pk=draft.pk).update(published_at=None)
    draft.delete()
    assert officer.post(address, sent).status_code == 404


def test_a_form_without_its_hidden_field_saves_nothing(officer, draft):
    address = url("points", draft)
    sent = fields_of(officer, address, **{"points-color": "25"})
    del sent["seen"]
    assert officer.post(address, sent).status_code == 422
    assert officer.post(address, sent | {"seen": "x" * 30}).status_code == 409
    assert difference_words(draft) == []


# --- costs


@pytest.mark.parametrize(
    ("name", "args", "queries"),
    [("edit", (), 31), ("head", (), 4), ("points", (), 12), ("position", ("color",), 17), ("ages", (), 8),
     ("class", ("senior",), 8), ("bands", (), 11), ("traits", (), 5), ("trait", ("undercolor",), 8),
     ("findings", (), 6), ("publish", (), 31), ("compare", (), 29), ("file", (), 15)],
)  # fmt: skip
def test_a_page_of_the_editor_costs_the_same_however_much_is_in_the_edition(officer, cast, draft, name, args, queries):
    add_more(cast, draft, 1)
    small = queries_of(officer, url(name, draft, *args))
    add_more(cast, draft, 2)
    add_more(cast, draft, 3)
    assert (queries_of(officer, url(name, draft, *args)), small) == (queries, queries)


def add_more(cast, draft, n):
    """One more of everything in the draft, and one more draft."""
    words = {"question": "?", "section": 1, "low_words": "a", "high_words": "b"}
    trait = Trait.objects.create(code=f"more_{n}", name=f"More {n}", **words)
    draft.traits.create(trait=trait).step_texts.create(step=3, words="Some")
    draft.positions.create(code=f"more_{n}", name=f"More {n}", points=1)
    draft.age_classes.create(code=f"more_{n}", name=f"More {n}", from_months=70 + n).weights.create()
    draft.findings.create(kind=FindingKind.objects.create(code=f"more_{n}", name=f"More {n}", section=1))
    make_draft(cast.officer, edition=f"more {n}")


@pytest.mark.parametrize(
    ("name", "queries"), [("profile-list", 4), ("trait-list", 5), ("profile-import", 3), ("profile-detail", 15),
                          ("profile-copy", 5), ("profile-end", 4), ("profile-withdraw", 5)],
)  # fmt: skip
def test_a_page_about_editions_costs_the_same_however_many_there_are(officer, cast, draft, name, queries):
    args = [] if name in ("profile-list", "trait-list", "profile-import") else [shipped().pk]
    small = queries_of(officer, reverse(name, args=args))
    for n in range(3):
        add_more(cast, draft, n)
    assert (queries_of(officer, reverse(name, args=args)), small) == (queries, queries)
