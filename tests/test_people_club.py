"""The club's settings and its public page."""

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from clubsite.errors import NotYours
from clubsite.members.actions.club import change_settings
from clubsite.members.forms import ClubForm
from clubsite.members.models import Club
from clubsite.members.trade import GROUPS, TRADE
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
    values = {name: form[name].value() for name in form.fields}
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
        "id", "name", "region", "introduction", "house_rules", "is_demo", "version",
    }  # fmt: skip
    assert numbers == set(TRADE) == {name for _, _, names in GROUPS for name in names}
    text = client.get(reverse("club-settings")).content.decode()
    for words, source in TRADE.values():
        assert (
            f"The trade: {words} ({source})".replace("'", "&#x27;") in text.replace("&#39;", "&#x27;") or words in text
        )


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"due_days": 27}, "The due day must not come before the earliest kindling day."),
        ({"latest_kindling_days": 30}, "The latest kindling day must not come before the due day."),
        ({"wean_to_days": 41}, "The last weaning day must not come before the first."),
        ({"rebreed_to_days": 20}, "The last rebreeding day must not come before the first."),
        ({"overdue_days": 30}, "The day to call a vet must not come before the due day."),
        ({"palpation_days": 40}, "Palpation comes before kindling is due."),
        ({"grant_days": 0}, "Give 1 or more."),
        ({"palpation_days": "twelve"}, "Give a whole number of days."),
        ({"palpation_days": -1}, "greater than or equal to 0"),
        ({"quarantine_days": 1001}, "less than or equal to 1000"),
        ({"weigh_days": "21, soon"}, "Item 2"),
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
    for wrong in ({"due_days": 40}, {"wean_from_days": 60}, {"rebreed_from_days": 50}):
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
