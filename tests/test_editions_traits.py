"""The officer's editor of a draft: goals, steps in words and pictures, findings, and what the club adds."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from grading.models import FindingKind, ProfileFinding, StepText, Trait

from .edition_making import difference_words, fields_of, make_draft, plain, shipped, url
from .photos_made import jpeg

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer(cast):
    return cast.client_of("officer")


@pytest.fixture
def draft(cast):
    return make_draft(cast.officer)


def test_a_goal_the_leeway_and_words_are_changed(officer, draft):
    address = url("trait", draft, "surface_shade")
    sent = fields_of(officer, address, goal_low=6, senior_low=5, senior_high=9, **{"step-8": "Bright", "step-1": ""})
    assert officer.post(address, sent).status_code == 302
    assert sorted(difference_words(draft)) == [
        ("Traits and goals", "Surface shade", "Goal", "7 to 8", "6 to 8"),
        ("Traits and goals", "Surface shade", "Goal for seniors", "", "5 to 9"),
        ("Traits and goals", "Surface shade", "Step 1", "Nearly black; silver only on close search", ""),
        ("Traits and goals", "Surface shade", "Step 8", "", "Bright"),
    ]


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"goal_high": "10"}, "Choose a step of the trait's scale, 1 to 9."),
        ({"goal_low": "0"}, "Choose a step of the trait's scale, 1 to 9."),
        ({"goal_low": "9"}, "The goal must name the lower step first."),
        ({"goal_low": ""}, "Give both ends of the goal, or neither."),
        ({"senior_low": "4"}, "Give both ends of the seniors' goal, or neither."),
        ({"step-1": "x" * 201}, "at most 200 characters"),
        ({"step-1": "white\x01ish"}, "This holds a letter that cannot be shown. Type it anew."),
    ],
)
def test_a_wrong_goal_is_answered(officer, draft, changed, sentence):
    address = url("trait", draft, "surface_shade")
    answer = officer.post(address, fields_of(officer, address, **changed))
    assert answer.status_code == 422
    assert sentence in plain(answer)
    assert difference_words(draft) == []


def test_line_breaks_of_a_phone_become_spaces(officer, draft):
    address = url("trait", draft, "surface_shade")
    assert officer.post(address, fields_of(officer, address, why="Bright.\r\nBlue.")).status_code == 302
    assert draft.traits.get(trait__code="surface_shade").why == "Bright. Blue."


def test_a_step_gets_the_clubs_own_picture_which_goes_again(officer, cast, draft):
    address = url("trait", draft, "undercolor")
    sent = fields_of(officer, address) | {"picture-7": SimpleUploadedFile("slate.jpg", jpeg((80, 60)))}
    assert officer.post(address, sent).status_code == 302
    text = StepText.objects.get(trait__profile=draft, trait__trait__code="undercolor", step=7)
    picture = reverse("step-picture", args=[text.pk])
    assert picture in officer.get(address).text
    assert officer.get(picture).getvalue().startswith(b"\xff\xd8")
    assert cast.client_of("keeper").get(picture).status_code == 404
    assert officer.post(address, fields_of(officer, address) | {"without-7": "on"}).status_code == 302
    text.refresh_from_db()
    assert not text.picture


@pytest.mark.parametrize(
    ("step", "data", "sentence"),
    [
        (7, b"", "This file is empty."),
        (7, b"<html>", "This is a web page, not a photo"),
        (7, jpeg((80, 60))[:200], "cut short"),
        (6, jpeg((80, 60)), "Say in words what the picture shows."),
    ],
    ids=["empty", "page", "short", "words"],
)
def test_a_wrong_picture_is_answered(officer, draft, step, data, sentence):
    address = url("trait", draft, "undercolor")
    sent = fields_of(officer, address) | {f"picture-{step}": SimpleUploadedFile("p.jpg", data)}
    answer = officer.post(address, sent)
    assert answer.status_code == 422
    assert sentence in plain(answer)
    assert not StepText.objects.filter(trait__profile=draft).exclude(picture="").exists()


def test_a_trait_is_taken_out_of_a_draft_and_in_again(officer, draft):
    officer.post(url("part-remove", draft, "traits", "bone"))
    assert not draft.traits.filter(trait__code="bone").exists()
    assert shipped().traits.filter(trait__code="bone").exists()
    bone = Trait.objects.get(code="bone")
    officer.post(url("traits-take", draft), {"traits": [bone.pk]})
    assert draft.traits.get(trait=bone).goal_low is None
    assert officer.post(url("traits-take", draft), {}).status_code == 422


def test_an_officer_adds_a_trait_and_a_finding_of_the_clubs_own(officer, draft):
    trait = {"name": "Toenail shade", "question": "How dark are the toenails?", "section": 5, "scale": "1-5",
             "low_words": "white", "high_words": "black", "photo_can_show": "on"}  # fmt: skip
    answer = officer.post(reverse("trait-create", args=[draft.pk]), trait)
    own = Trait.objects.get(code="toenail_shade")
    assert answer.url == url("trait", draft, own.code)
    assert (own.scale_high, own.summary, draft.traits.filter(trait=own).count()) == (5, "", 1)
    assert "1 to 5" in officer.get(answer.url).text
    finding = {"name": "Torn ear", "section": 5, "hint": "", "places": "left, right, left", "effect": "fault"}
    assert officer.post(reverse("finding-create", args=[draft.pk]), finding).status_code == 302
    kind = FindingKind.objects.get(code="torn_ear")
    assert kind.places == ["left", "right"]
    assert draft.findings.get(kind=kind).effect == "fault"
    listed = plain(officer.get(reverse("trait-list")))
    assert listed.count("the club's own") >= 2
    officer.post(url("part-remove", draft, "traits", own.code))
    officer.post(reverse("trait-delete", args=["traits", own.code]))
    assert not Trait.objects.filter(code="toenail_shade").exists()
    answer = officer.post(reverse("trait-delete", args=["findings", "torn_ear"]), follow=True)
    assert "Torn ear is part of 1 edition." in answer.text
    assert officer.post(reverse("trait-delete", args=["traits", "bone"])).status_code == 404


def test_a_second_trait_of_the_same_name_gets_a_code_of_its_own(officer, draft):
    for _ in range(2):
        officer.post(
            reverse("trait-create", args=[draft.pk]),
            {"name": "Bone", "question": "?", "section": 4, "scale": "1-9", "low_words": "a", "high_words": "b"},
        )
    assert set(Trait.objects.filter(name="Bone").values_list("code", flat=True)) == {"bone", "bone_2", "bone_3"}


def test_what_a_finding_means_is_changed(officer, draft):
    address = url("findings", draft)
    sent = fields_of(officer, address, **{"effect-stain": "fault", "why-stain": "Keep them clean.", "effect-scar": ""})
    assert officer.post(address, sent).status_code == 302
    found = dict(ProfileFinding.objects.filter(profile=draft).values_list("kind__code", "effect"))
    assert found["stain"] == "fault"
    assert "scar" not in found
