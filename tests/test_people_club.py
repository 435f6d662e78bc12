"""The club's settings and its public page."""

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from clubsite.errors import NotYours
from clubsite.members.actions.club import change_settings
from clubsite.members.forms import ClubForm
from clubsite.members.models import Club
from clubsite.members.models.club import RANGES
from clubsite.members.trade import GROUPS, LABELS, TRADE
from clubsite.versions import StalePage

from .factories import make_member


@pytest.fixture
def officer(db):
    return make_member("Dilys Marchmont", is_officer=True)


@pytest.fixture
def client(officer):
    client = Client()
    client.force_login(officer, backend="allauth.account.auth_backends.AuthenticationBackend")
    return client


def filled(**changes):
    """The form as it is sent when only `changes` were typed."""
    form = ClubForm(instance=Club.current())
    values = {name: form[name].value() for name in form.fields if name not in ("picture", "remove_picture")}
    return {**values, **changes}


def test_an_officer_changes_the_clubs_words_and_days(client):
    sent = filled(name="Silver Vale Rabbit Club", palpation_days=13, weigh_days="70, 21,35 ,21", grant_days=30)
    assert client.post(reverse("club-settings"), sent).status_code == 302
    club = Club.current()
    assert (club.name, club.palpation_days, club.grant_days) == ("Silver Vale Rabbit Club", 13, 30)
    assert club.weigh_days == [21, 35, 70]
    assert club.version == 2


def test_every_number_stands_beside_what_the_trade_does(client):
    numbers = {field.name for field in Club._meta.fields} - {
        "id", "name", "region", "introduction", "meetings", "enquiries", "picture", "house_rules", "is_demo", "version",
    }  # fmt: skip
    assert (
        numbers
        == set(TRADE)
        == set(LABELS)
        == set(RANGES) | {"weigh_days"}
        == {name for _, _, names in GROUPS for name in names}
    )
    text = client.get(reverse("club-settings")).content.decode()
    for words, source in TRADE.values():
        assert (
            f"The trade: {words} ({source})".replace("'", "&#x27;") in text.replace("&#39;", "&#x27;") or words in text
        )


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"due_days": 28, "earliest_kindling_days": 29}, "The due day must not come before the earliest kindling day."),
        ({"latest_kindling_days": 30}, "The latest kindling day must not come before the due day."),
        ({"wean_to_days": 41}, "The last weaning day must not come before the first."),
        ({"rebreed_to_days": 20}, "The last rebreeding day must not come before the first."),
        ({"overdue_days": 30}, "The day to call a vet must not come before the due day."),
        ({"nest_box_days": 33}, "The nest box goes in before kindling is due."),
        ({"palpation_days": 40}, "Give a whole number from 7 to 21."),
        ({"grant_days": 0}, "Give a whole number from 1 to 730."),
        ({"palpation_days": "twelve"}, "Give a whole number from 7 to 21."),
        ({"palpation_days": -1}, "Give a whole number from 7 to 21."),
        ({"quarantine_days": 1001}, "Give a whole number from 1 to 180."),
        ({"weigh_days": "21, soon"}, "Give whole numbers of days."),
        ({"weigh_days": "21, 900"}, "Give days up to 400."),
        ({"weigh_days": ",".join(map(str, range(20, 40)))}, "no more than 12"),
        ({"enquiries": "the hutch behind the mill"}, "Enter a valid email address."),
        ({"region": "4 Mill Lane"}, "This looks like an address."),
        ({"name": ""}, "This field is required."),
    ],
)
def test_settings_that_make_no_sense_are_refused_with_a_sentence_and_nothing_is_saved(client, changes, sentence):
    response = client.post(reverse("club-settings"), filled(introduction="typed", **changes))
    assert response.status_code == 422
    text = response.content.decode()
    assert sentence in text
    assert "typed" in text
    assert Club.current().introduction == ""


def test_the_database_keeps_the_order_of_days_too(db):
    Club.current()
    wrong_ones = [{"due_days": 34, "latest_kindling_days": 33}, {"wean_from_days": 60}, {"rebreed_from_days": 50}]
    wrong_ones += [{"palpation_days": 21, "due_days": 28, "nest_box_days": 29}, {"due_days": 33, "overdue_days": 32}]
    wrong_ones += [{name: low - 1} for name, (low, _) in RANGES.items() if low]
    wrong_ones += [{name: high + 1} for name, (_, high) in RANGES.items()]
    wrong_ones += [{"weigh_days": [401]}, {"weigh_days": [-1]}, {"weigh_days": list(range(13))}]
    for wrong in wrong_ones:
        with pytest.raises(IntegrityError), transaction.atomic():
            Club.objects.update(**wrong)


def test_a_page_that_another_officer_overtook_changes_nothing_and_shows_both(client):
    opened = filled(palpation_days=11, introduction="mine")
    Club.objects.update(version=2, introduction="theirs", palpation_days=14)
    response = client.post(reverse("club-settings"), opened)
    assert response.status_code == 409
    text = response.content.decode()
    assert "Another officer changed the settings" in text
    assert "theirs" in text
    assert "mine" in text
    assert Club.current().introduction == "theirs"
    again = client.post(reverse("club-settings"), {**opened, "version": 2})
    assert again.status_code == 302
    assert (Club.current().introduction, Club.current().palpation_days) == ("mine", 11)


def test_only_an_officer_changes_settings_and_only_the_current_ones(officer):
    Club.current()
    with pytest.raises(NotYours):
        change_settings(version=1, by=make_member("Ida Ashgrove"), name="Mine")
    with pytest.raises(StalePage):
        change_settings(version=7, by=officer, name="Mine")
    assert change_settings(version=1, by=officer, name="Ours").name == "Ours"


def test_the_public_page_shows_the_clubs_words_and_neither_animals_nor_names(cast):
    Club.current()
    Club.objects.update(name="Silver Vale Rabbit Club", region="the Vale", introduction="We keep one breed.")
    text = Client().get(reverse("club-public")).content.decode()
    for words in ("Silver Vale Rabbit Club", "the Vale", "We keep one breed.", "Sign in"):
        assert words in text
    for words in ("Ashgrove", "Slate", "Dilys", "A1", "invented"):
        assert words not in text


def test_the_public_page_of_the_demonstration_says_that_it_is_invented(db):
    Club.current()
    Club.objects.update(is_demo=True)
    assert "This club is invented" in Client().get(reverse("club-public")).content.decode()


def test_the_introduction_is_shown_as_text(db):
    Club.current()
    Club.objects.update(introduction="<script>alert(1)</script>\n\nSecond paragraph")
    text = Client().get(reverse("club-public")).content.decode()
    assert "<script>alert" not in text
    assert "<p>Second paragraph</p>" in text
