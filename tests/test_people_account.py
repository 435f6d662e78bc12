"""Signing in, getting a new password, another e-mail address, and taking one's data."""

import csv
import io
import re
import zipfile
from datetime import timedelta

import pytest
from allauth.account.models import EmailAddress
from allauth.core.internal.httpkit import get_client_ip
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clubsite.members import places
from clubsite.members.takeout import plain
from clubsite.members.templatetags.people import device

from .factories import PASSWORD, make_animal, make_grant, make_herd, make_litter, make_mating, make_member, make_weight

NEW = "eleven quiet hutches"


@pytest.fixture
def ida(db):
    return make_member("Ida Ashgrove", email="ida@example.org")


def sign_in(client, email="ida@example.org", password=PASSWORD):
    return client.post(reverse("account_login"), {"login": email, "password": password})


def test_a_member_signs_in_to_today_and_out_to_the_public_page(client, ida):
    assert sign_in(client).url == reverse("today")
    assert client.post(reverse("account_logout")).url == reverse("club-public")
    assert "_auth_user_id" not in client.session


def test_signing_in_goes_on_to_the_page_that_was_asked_for_but_to_no_other_site(client, ida):
    url = reverse("account_login")
    sent = {"login": "ida@example.org", "password": PASSWORD}
    assert client.post(url, {**sent, "next": "/members/"}).url == "/members/"
    assert Client().post(url, {**sent, "next": "https://example.org/"}).url == reverse("today")


@pytest.mark.parametrize(("email", "password"), [("ida@example.org", "wrong"), ("nobody@example.org", PASSWORD)])
def test_a_wrong_address_and_a_wrong_password_are_answered_alike(client, ida, email, password):
    response = sign_in(client, email, password)
    assert response.status_code == 200
    assert "This address and this password do not go together." in response.content.decode()


def test_after_five_wrong_passwords_the_right_one_waits_too(ida):
    """The counts lie in the cache table that every web process shares."""
    for _ in range(5):
        sign_in(Client(), password="wrong")
    response = sign_in(Client())
    assert "Too many wrong tries." in response.content.decode()
    assert "_auth_user_id" not in response.client.session


@pytest.mark.parametrize(
    ("proxies", "forwarded", "counted"), [(1, "9.9.9.9, 5.6.7.8", "5.6.7.8"), (0, "5.6.7.8", "127.0.0.1")]
)
def test_limits_count_the_visitors_address_only_behind_our_own_proxy(settings, rf, proxies, forwarded, counted):
    """What a visitor writes into the header is not believed: the proxy's own entry is the last one."""
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = proxies
    assert get_client_ip(rf.get("/", headers={"x-forwarded-for": forwarded})) == counted


def test_asking_for_new_passwords_is_limited_too(ida):
    answers = [
        Client().post(reverse("account_reset_password"), {"email": f"p{number}@example.org"}) for number in range(21)
    ]
    assert [each.status_code for each in answers] == [302] * 20 + [429]
    assert "That was too often" in answers[-1].content.decode()


def test_nobody_signs_up(client, db):
    for method in ("get", "post"):
        response = getattr(client, method)(
            reverse("account_signup"), {"email": "x@example.org", "password1": NEW, "password2": NEW}
        )
        assert "Members come in by invitation" in response.content.decode()
    assert not EmailAddress.objects.exists()


def test_a_new_password_comes_by_a_link_that_works_once(client, ida):
    client.post(reverse("account_reset_password"), {"email": "IDA@example.org"})
    letter = mail.outbox[0]
    assert letter.subject == "Choose a new password"
    assert letter.to == ["ida@example.org"]
    assert "Ida" not in letter.body
    link = re.search(r"http://testserver(/\S+)", letter.body)[1]
    form = client.get(link).url
    response = client.post(form, {"password1": NEW, "password2": NEW})
    assert response.status_code == 302
    assert sign_in(Client(), password=NEW).status_code == 302
    assert "This link opens nothing" in Client().get(link, follow=True).content.decode()
    assert mail.outbox[-1].subject == "Your password was changed"


def test_for_an_unknown_or_closed_address_the_page_says_the_same_and_no_letter_goes_out(client, ida):
    ida.is_active = False
    ida.save()
    for email in ("nobody@example.org", "ida@example.org"):
        response = client.post(reverse("account_reset_password"), {"email": email})
        assert response.url == reverse("account_reset_password_done")
    assert mail.outbox == []


def test_a_changed_password_signs_other_devices_out_and_is_told_by_letter(ida):
    here, elsewhere = Client(), Client()
    for client in (here, elsewhere):
        sign_in(client)
    sent = {"oldpassword": PASSWORD, "password1": NEW, "password2": NEW}
    here.post(reverse("account_change_password"), sent)
    assert here.get(reverse("account")).status_code == 200
    assert elsewhere.get(reverse("account")).status_code == 302
    assert mail.outbox[0].subject == "Your password was changed"
    assert "tell an officer" in mail.outbox[0].body


def test_a_new_address_counts_only_after_it_was_confirmed(client, ida):
    sign_in(client)
    client.post(reverse("account_email"), {"email": "Ida.New@example.org", "action_add": ""})
    ida.refresh_from_db()
    assert ida.email == "ida@example.org"
    assert "Waiting to be confirmed: ida.new@example.org" in client.get(reverse("account_email")).content.decode()
    letter = mail.outbox[-1]
    assert letter.to == ["ida.new@example.org"]
    link = re.search(r"http://testserver(/\S+)", letter.body)[1]
    assert client.get(link).status_code == 200
    client.post(link)
    ida.refresh_from_db()
    assert ida.email == "ida.new@example.org"
    assert sign_in(Client(), "ida.new@example.org").status_code == 302
    assert "_auth_user_id" not in sign_in(Client(), "ida@example.org").client.session


def test_the_address_of_another_member_is_not_taken(client, ida):
    make_member("Rhea Millbrook", email="rhea@example.org")
    sign_in(client)
    client.post(reverse("account_email"), {"email": "rhea@example.org", "action_add": ""})
    ida.refresh_from_db()
    assert ida.email == "ida@example.org"
    assert EmailAddress.objects.filter(email="rhea@example.org", verified=True).count() == 1


def test_the_sessions_are_listed_in_words_and_others_are_signed_out(ida):
    here, elsewhere = (
        Client(headers={"user-agent": agent})
        for agent in ("Mozilla/5.0 (Android 14; Mobile; rv:130.0) Gecko/130.0 Firefox/130.0", "curl/8")
    )
    for client in (here, elsewhere):
        sign_in(client)
    text = here.get(reverse("usersessions_list")).content.decode()
    assert "Firefox on Android" in text
    assert "Another program" in text
    here.post(reverse("usersessions_list"))
    assert elsewhere.get(reverse("account")).status_code == 302
    assert here.get(reverse("account")).status_code == 200


@pytest.mark.parametrize(
    ("agent", "words"),
    [
        ("Mozilla/5.0 (iPhone; CPU iPhone OS 17_5 like Mac OS X) Version/17.5 Safari/604", "Safari on iPhone"),
        ("Mozilla/5.0 (Windows NT 10.0) AppleWebKit/537 Chrome/126.0 Safari/537 Edg/126.0", "Edge on Windows"),
        ("Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537 Chrome/126.0 Safari/537", "Chrome on Linux"),
        ("", "Another program"),
    ],
)  # fmt: skip
def test_a_device_is_said_in_two_words(agent, words):
    """User agents from memory; the order of the signs is common practice, no source."""
    assert device(agent) == words


# ---- Take all my data ----


def zip_of(client):
    response = client.post(reverse("account-data"))
    assert response["Content-Type"] == "application/zip"
    assert response["Content-Disposition"].startswith("attachment")
    return zipfile.ZipFile(io.BytesIO(b"".join(response.streaming_content)))


def tables(client):
    """{file: list of rows as dicts} of the ZIP, and the explanation."""
    archive = zip_of(client)
    found = {
        name.removesuffix(".csv"): list(csv.DictReader(io.StringIO(archive.read(name).decode("utf-8-sig"))))
        for name in archive.namelist()
        if name.endswith(".csv")
    }
    return found, archive.read("README.txt").decode()


def test_all_of_ones_data_comes_out_as_tables(cast):
    mating = make_mating(cast.dam, cast.sire, mated_on=timezone.localdate() - timedelta(days=60), note="second try")
    litter = make_litter(cast.dam, cast.sire, kits=2, mating=mating, born_on=timezone.localdate() - timedelta(days=29))
    make_weight(cast.daughter, grams=4321)
    found, words = tables(cast.client_of("keeper"))
    assert found["profile"][0]["e-mail"] == cast.keeper.email
    assert {row["mark"] for row in found["animals"]} == {"A1", "A2", "A3"}
    daughter = next(row for row in found["animals"] if row["mark"] == "A3")
    assert (daughter["sire"], daughter["sire number"]) == ("A1 Slate", str(cast.sire.pk))
    assert found["matings"][0]["note"] == "second try"
    assert found["litters"][0]["litter"] == str(litter.pk)
    assert [row["kit"] for row in found["kits"]] == ["1", "2"]
    assert found["weights"][0]["grams"] == "4321"
    assert len(found["marks"]) == 3
    assert {row["owner"] for row in found["herds"]} == {"Ida Ashgrove", "Tomas Ashgrove"}
    for name in found:
        assert f"{name}.csv: " in words


def test_nothing_of_another_herd_comes_out(cast):
    make_grant(cast.herd, cast.grader, cast.keeper, note="only for the two of us")
    for who in ("fellow", "registrar"):
        text = str(tables(cast.client_of(who))[0])
        assert "A1" not in text
        assert "only for the two of us" not in text
    assert "only for the two of us" in str(tables(cast.client_of("grader"))[0]["grants"])


def test_a_guardian_takes_out_the_youths_herd_too(cast):
    youth = make_member("Wren Ashgrove", guardian=cast.grader)
    make_animal(make_herd(youth, name="Wren's corner"), "W1")
    assert tables(cast.client_of("grader"))[0]["animals"][0]["mark"] == "W1"


def test_a_cell_that_a_spreadsheet_would_run_is_made_plain():
    assert plain("=1+1") == "'=1+1"
    assert plain("@x") == "'@x"
    assert plain("-") == "'-"
    assert plain(-3) == -3
    assert plain(None) == ""
    assert plain(True) == "yes"
    assert plain("A1") == "A1"


def test_another_app_can_add_a_table_and_files(cast, monkeypatch):
    extra = places.DataFile("looks", "what was seen.", 90, ("animal", "step"), lambda member: [[1, 7]])
    files = places.Attachments("photos", "the pictures.", 95, lambda member: [("1.jpg", io.BytesIO(b"picture"))])
    monkeypatch.setitem(places.PLACES.files, "looks", extra)
    monkeypatch.setitem(places.PLACES.attachments, "photos", files)
    archive = zip_of(cast.client_of("keeper"))
    assert archive.read("looks.csv").decode("utf-8-sig") == "animal,step\r\n1,7\r\n"
    assert archive.read("photos/1.jpg") == b"picture"
    assert "photos/: the pictures." in archive.read("README.txt").decode()
