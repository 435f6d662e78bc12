"""Editions as plain files: what is written is read again, and a stranger's file is answered in sentences."""

import tomllib
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from grading.models import BreedProfile, FindingKind, Trait
from grading.profiles import FOLDER, SHIPPED
from grading.profiles.differences import compared
from grading.profiles.documents import document_of
from grading.profiles.reading import MOST_BYTES, read_edition
from grading.profiles.toml import written

from .edition_making import OWN_TRAIT, make_draft, shipped

WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
VALUES = st.one_of(
    WORDS,
    st.integers(-(2**62), 2**62),
    st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
    st.dates(date(1, 1, 1)),
    st.lists(st.integers(0, 10), max_size=4),
    st.dictionaries(WORDS, WORDS, max_size=3),
)
TABLE = st.dictionaries(WORDS, VALUES, min_size=1, max_size=4)


def flat(table):
    """A table that is not itself a table of tables."""
    return not all(isinstance(value, dict) for value in table.values())


@settings(max_examples=300, deadline=None)
@given(
    st.dictionaries(
        WORDS, st.one_of(TABLE.filter(flat), st.lists(TABLE, min_size=1, max_size=3), st.dictionaries(WORDS, TABLE)),
        max_size=4,
    )
)  # fmt: skip
def test_whatever_is_written_is_read_again_by_pythons_own_toml_reader(document):
    # The outside measure is tomllib, which follows TOML 1.0.0.
    assert tomllib.loads(written(document, "Any comment\nof lines")) == document


@pytest.mark.parametrize("text", ['"', "\\", "\\u0041", "\t\n\r\x00\x7f", "'''", '"""', "ä€🐇", "#", "=", "a.b", ""])
def test_odd_strings_survive(text):
    assert tomllib.loads(written({"t": {text: text, "x": 1}}))["t"] == {text: text, "x": 1}


def test_half_a_surrogate_pair_is_not_written():
    with pytest.raises(ValueError, match="surrogate"):
        written({"t": {"a": "\ud800"}})


def read(text):
    traits = {row.code: row for row in Trait.objects.all()}
    return read_edition(text, traits=traits, kinds={row.code: row for row in FindingKind.objects.all()})


@pytest.mark.django_db
@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_file_and_an_exported_one_are_the_same_format(name):
    reading = read((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    assert reading.problems == []
    about = reading.document["profile"]
    there = document_of(BreedProfile.objects.get(association=about["association"], edition=about["edition"]))
    assert compared(reading.document, there, "kg") == []
    assert read(written(there)).document == there


@pytest.fixture
def officer(cast):
    return cast.client_of("officer")


def send(officer, data, **more):
    data = data.encode() if isinstance(data, str) else data
    return officer.post(reverse("profile-import"), {"file": SimpleUploadedFile("an edition.toml", data)} | more)


def saved_file(officer, edition):
    return officer.get(reverse("profile-file", args=[edition.pk])).content.decode()


def test_an_exported_profile_is_imported_as_an_identical_edition(officer, cast):
    edition = shipped()
    text = saved_file(officer, edition)
    preview = send(officer, text)
    assert preview.status_code == 200
    assert "8 positions, 3 age classes, 28 traits and 10 findings" in preview.text
    assert not BreedProfile.objects.filter(published_at=None).exists(), "the preview makes nothing"
    head = {"association": edition.association, "edition": "brought in", "in_force_from": "2000-01-01"}
    answer = officer.post(reverse("profile-import"), {"text": text} | head)
    draft = BreedProfile.objects.get(published_at=None)
    assert answer.url == reverse("profile-edit", args=[draft.pk])
    found = document_of(draft)
    assert found | {"profile": {}} == document_of(edition) | {"profile": {}}
    page = officer.get(reverse("profile-compare", args=[draft.pk]), {"with": edition.pk}).text
    assert "brought in" in page
    assert "Changed" in page
    BreedProfile.objects.filter(pk=draft.pk).update(association="Elsewhere", edition=edition.edition)
    BreedProfile.objects.filter(pk=draft.pk).update(source=edition.source)
    differences = compared(document_of(edition), document_of(BreedProfile.objects.get(pk=draft.pk)), "kg")
    assert [change.label for each in differences for _t, changes in each.changed for change in changes] == [""]


def test_importing_what_a_registry_exported_gives_a_page_without_differences(officer, cast):
    # The registry forgets the edition, as another club's would never have had it.
    edition = BreedProfile.objects.exclude(pk=shipped().pk).get(weight_bands__isnull=False, weight_bands__points=5)
    before, text = document_of(edition), saved_file(officer, edition)
    BreedProfile.objects.filter(pk=edition.pk).update(published_at=None)
    edition.refresh_from_db()
    edition.delete()
    head = {key: before["profile"][key] for key in ("association", "edition", "in_force_from")}
    officer.post(reverse("profile-import"), {"text": text} | head)
    draft = BreedProfile.objects.get(published_at=None)
    assert compared(before, document_of(draft), "kg") == []
    assert document_of(draft) == before
    twin = make_draft(cast.officer, draft, edition="twin", in_force_from=draft.in_force_from, source=draft.source)
    page = officer.get(reverse("profile-compare", args=[twin.pk]), {"with": draft.pk}).text
    assert "About the edition" in page
    assert "Traits and goals" not in page


def test_a_browsers_line_ends_and_a_byte_order_mark_are_read(officer, cast):
    text = saved_file(officer, shipped())
    assert send(officer, b"\xef\xbb\xbf" + text.encode()).status_code == 200
    head = {"association": "Elsewhere", "edition": "crlf", "in_force_from": "2027-01-01"}
    officer.post(reverse("profile-import"), {"text": text.replace("\n", "\r\n")} | head)
    assert BreedProfile.objects.filter(edition="crlf").exists()


def test_an_edition_that_is_there_is_not_made_twice(officer, cast):
    text, edition = saved_file(officer, shipped()), shipped()
    head = {"association": edition.association, "edition": edition.edition, "in_force_from": "2027-01-01"}
    answer = officer.post(reverse("profile-import"), {"text": text} | head)
    assert answer.status_code == 422
    assert "edition for the breed is already there" in answer.text
    assert not BreedProfile.objects.filter(published_at=None).exists()


def test_a_day_that_does_not_fit_the_files_last_day_is_refused(officer, cast):
    BreedProfile.objects.filter(pk=shipped().pk).update(in_force_until="2030-12-31")
    head = {"association": "Elsewhere", "edition": "2031", "in_force_from": "2031-01-01"}
    answer = officer.post(reverse("profile-import"), {"text": saved_file(officer, shipped())} | head)
    assert answer.status_code == 422
    assert "An edition cannot end before it begins." in answer.text


def test_own_traits_and_findings_travel_with_the_edition(officer, cast):
    draft = make_draft(cast.officer)
    own = Trait.objects.create(code="toenails", position=90, **OWN_TRAIT)
    row = draft.traits.create(trait=own, goal_low=7, goal_high=9)
    row.step_texts.create(step=9, words="Black to the tip")
    kind = FindingKind.objects.create(code="torn_ear", name="Torn ear", section=5, places=["left", "right"])
    draft.findings.create(kind=kind, effect="fault")
    text = saved_file(officer, draft)
    assert "[new_traits.toenails]" in text
    draft.delete()
    own.delete()
    kind.delete()
    preview = send(officer, text)
    assert "New in this registry: Toenail shade, Torn ear." in preview.text
    assert not Trait.objects.filter(code="toenails").exists()
    head = {"association": "Elsewhere", "edition": "2027", "in_force_from": "2027-01-01"}
    officer.post(reverse("profile-import"), {"text": text} | head)
    made = BreedProfile.objects.get(edition="2027")
    assert made.traits.get(trait__code="toenails").goal_high == 9
    assert made.findings.get(kind__code="torn_ear").kind.places == ["left", "right"]


HEAD = (
    '[breed]\nname = "Large silvered"\n[profile]\nname = "A"\nassociation = "B"\nedition = "C"\n'
    "in_force_from = 2027-01-01\n"
)
POSITION = '[[positions]]\ncode = "color"\nname = "Color"\npoints = 100\n'


WRONG = [
    ("", "This file is empty."),
    (b"\xff\xfe\x00b", "Line 1 holds a letter that is not written in UTF-8"),
    (HEAD.encode() + b'x = "\xe4"', "Line 8 holds a letter that is not written in UTF-8"),
    ("name = ", "cannot be read as TOML: Invalid value (at"),
    ("<html>", "cannot be read as TOML"),
    (b"PK\x03\x04" + b"\x00" * 50, "cannot be read as TOML"),
    ("a = " + "[" * 5000, "nests lists in lists without end"),
    ("a = " + "9" * 6000, "cannot be read as TOML"),
    ("a = '" + "b" * 30_000 + "'", "Line 1 is longer than any line of an edition"),
    ("#" * 100 + "\n" + "# more\n" * 60_000, f"an edition has {MOST_BYTES // 1024} kB at most"),
    ("[breed]\n", "breed.name: This must be given."),
    ('[profile]\nname = 5\n', "profile.name: Text is wanted here, in quotation marks."),
    ("breed = 5\nprofile = 7\n", "The file does not name the breed"),
    (HEAD.replace("2027-01-01", '"soon"'), "profile.in_force_from: A day is wanted here"),
    (HEAD + "horns = true\n", "profile.horns: Unknown here."),
    (HEAD + "[horns]\nlength = 1\n", "horns: An edition's file has no such part."),
    (HEAD + "in_force_until = 2026-01-01\n", "An edition cannot end before it begins."),
    (HEAD + POSITION.replace("100", "-5"), "positions 1.points: Points are a number from 0 to 999"),
    (HEAD + POSITION.replace("100", "nan"), "positions 1.points: Points are a number from 0 to 999"),
    (HEAD + POSITION.replace("100", "1e999999"), "positions 1.points: Points are a number from 0 to 999"),
    (HEAD + POSITION + "floor = 101\n", "positions 1.floor: The floor of a position cannot be more"),
    (HEAD + POSITION + POSITION, "positions 2: The code color stands there twice."),
    (HEAD + POSITION + 'behind = ["horns"]\n', "positions 1.behind: The registry does not know horns."),
    (HEAD + POSITION.replace("Color", "a\\u0000b"), "positions 1.name: This holds a letter that cannot be shown"),
    (HEAD + POSITION.replace("Color", "C" * 81), "positions 1.name: This has 81 letters; 80 are the most."),
    (HEAD + "positions = 5\n", "profile.positions: Unknown here."),
    ("positions = 5\n" + HEAD, "positions: A list is wanted here"),
    (HEAD + '[[age_classes]]\ncode="a"\nname="A"\nmonths=[6, 6]\n', "age_classes 1.months: Write [0, 6]"),
    (HEAD + '[[age_classes]]\ncode="a"\nname="A"\nmonths=[0]\nweights_lb={ both={ lowest=900 } }\n',
     "age_classes 1.weights_lb.both.lowest: A weight in pounds is wanted here"),
    (HEAD + '[[age_classes]]\ncode="a"\nname="A"\nmonths=[0]\nweights_g={ both={ lowest=900, highest=900 } }\n',
     "age_classes 1.weights_g.both: The lowest weight must be under the highest."),
    (HEAD + "[[weight_bands]]\npoints=5\ngrams=[3500,3700]\n[[weight_bands]]\npoints=6\ngrams=[3700]\n",
     "weight_bands 2: Two bands of the weight table overlap."),
    (HEAD + "[traits.horns]\ngoal=[1,2]\n", "traits.horns: The registry has no such trait"),
    (HEAD + "[traits.surface_shade]\ngoal=[7,10]\n",
     "traits.surface_shade.goal: The range must lie on the trait's scale, 1 to 9"),
    (HEAD + "[traits.surface_shade]\ngoal=[8,7]\n", "the lower step first"),
    (HEAD + '[traits.surface_shade]\nsteps = { 11 = "white" }\n', "traits.surface_shade.steps.11: Unknown here."),
    (HEAD + '[findings.stain]\neffect = "maybe"\n', "findings.stain.effect: One of these is wanted"),
    (HEAD + '[new_traits.bone]\nsection=4\nname="B"\nquestion="?"\nends=["a","b"]\nscale=[1,5]\n',
     "new_traits.bone: The registry has a trait of this code, Bone, with another scale."),
    (HEAD + '[new_traits.x]\nsection=9\nname="B"\nquestion="?"\nends=["a"]\n',
     "new_traits.x.section: A whole number from 1 to 5 is wanted here."),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), WRONG, ids=[f"file {n}" for n in range(len(WRONG))])
def test_a_wrong_file_is_answered_with_a_sentence_and_makes_nothing(officer, cast, text, sentence):
    before = BreedProfile.objects.count(), Trait.objects.count(), FindingKind.objects.count()
    answer = send(officer, text)
    assert answer.status_code == 422
    assert sentence in answer.text.replace("&#x27;", "'").replace("&quot;", '"')
    assert (BreedProfile.objects.count(), Trait.objects.count(), FindingKind.objects.count()) == before


def test_a_file_of_many_problems_names_the_first_forty(officer, cast):
    text = HEAD + "".join(f"[traits.horn_{n}]\n" for n in range(100))
    answer = send(officer, text)
    assert answer.text.count("The registry has no such trait") == 40


def test_sending_nothing_is_answered(officer, cast):
    answer = officer.post(reverse("profile-import"), {})
    assert answer.status_code == 422
    assert "Choose a file first." in answer.text


def test_a_problem_found_by_the_database_leaves_nothing_behind(officer, cast, monkeypatch):
    def broken(*args, **more):
        BreedProfile.objects.get(published_at=None).positions.create(code="x", name="X", points=0)

    monkeypatch.setattr("grading.profiles.writing.write_findings", broken)
    text = saved_file(officer, shipped())
    head = {"association": "Elsewhere", "edition": "half", "in_force_from": "2027-01-01"}
    answer = officer.post(reverse("profile-import"), {"text": text} | head)
    assert answer.status_code == 422
    assert not BreedProfile.objects.filter(edition="half").exists()


def test_members_save_published_editions_and_no_drafts(cast):
    draft = make_draft(cast.officer)
    for who, status in (("keeper", 404), ("officer", 200)):
        client = cast.client_of(who)
        assert client.get(reverse("profile-file", args=[draft.pk])).status_code == status
        assert client.get(reverse("profile-compare", args=[draft.pk])).status_code == status
        answer = client.get(reverse("profile-file", args=[shipped().pk]))
        assert answer.status_code == 200
        assert answer["Content-Disposition"].endswith('.toml"')
