"""Signing in with script: passkeys and authenticator apps under the strict policy, and every account page by axe.

The authenticator is Chromium's own virtual one (WebDriver protocol of the WebAuthn standard); the six digits are
computed here by RFC 6238, not by the library that checks them.
"""

import base64
import hashlib
import hmac
import re
import struct
import time
from types import SimpleNamespace

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from clubsite.members.actions.invitations import invite
from clubsite.members.models import Club, Member

from .cast import make_cast
from .factories import PASSWORD, make_member

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


def six_digits(secret, at):
    """RFC 6238 with SHA-1, 30 seconds, six digits, from a base32 secret."""
    key = base64.b32decode(secret + "=" * (-len(secret) % 8))
    digest = hmac.new(key, struct.pack(">Q", int(at) // 30), hashlib.sha1).digest()
    offset = digest[-1] & 15
    return f"{(struct.unpack('>I', digest[offset : offset + 4])[0] & 0x7FFFFFFF) % 1_000_000:06}"


def test_the_six_digits_are_those_of_the_standard():
    """RFC 6238, appendix B: the secret '12345678901234567890', SHA-1, the last six of eight digits."""
    secret = base64.b32encode(b"12345678901234567890").decode()
    assert [six_digits(secret, at) for at in (59, 1111111109, 1234567890)] == ["287082", "081804", "005924"]


@pytest.fixture
def desk(page, live_server, settings):
    """A page that keeps what the browser complained of; passkeys want a name, not a number, for the host."""
    settings.ALLOWED_HOSTS = ["localhost"]
    complaints = []
    page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    base = live_server.url.replace("127.0.0.1", "localhost")

    def sign_in(email, password=PASSWORD):
        page.goto(f"{base}/account/login/")
        page.get_by_label("E-mail address").fill(email)
        page.get_by_label("Password").fill(password)
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.wait_for_url(re.compile(r"/(today|account/2fa/authenticate)/$"))

    return SimpleNamespace(page=page, base=base, complaints=complaints, sign_in=sign_in)


def prove_password(page):
    """Changing a way in asks for the password once more."""
    if "reauthenticate" in page.url:
        page.get_by_label("Your password").fill(PASSWORD)
        page.get_by_role("button", name="It is me").click()


def checked(desk, path="", heading="", width=360):
    """Open a page, or wait for the one with that heading: it fits, axe finds nothing, the browser is content."""
    desk.page.set_viewport_size({"width": width, "height": 740})
    if path:
        desk.page.goto(desk.base + path)
    else:
        expect(desk.page.get_by_role("heading", level=1, name=heading, exact=True)).to_be_visible()
        desk.page.wait_for_load_state()
    assert desk.page.evaluate("document.documentElement.scrollWidth") <= width, path or heading
    found = Axe().run(desk.page).response["violations"]
    assert not found, (path or heading, [(each["id"], [node["html"] for node in each["nodes"]]) for each in found])
    assert desk.complaints == [], path or heading


def test_an_invitation_is_accepted_on_a_phone(desk):
    officer = make_member("Dilys Marchmont", is_officer=True)
    _, token = invite(email="fenna@example.org", name="Fenna Larkfield", by=officer)
    page = desk.page
    checked(desk, f"/join/{token}/")
    page.get_by_label("Region").fill("West Vale")
    page.get_by_label("kilograms").check()
    page.get_by_label("Password (needed)", exact=True).fill("seven brass buckles")
    page.get_by_label("The same password again").fill("seven brass bangles")
    page.get_by_role("button", name="Join the club's registry").click()
    expect(page.get_by_text("The two passwords are not the same.").first).to_be_visible()
    assert page.get_by_label("Region").input_value() == "West Vale"
    desk.complaints.clear()  # the browser logs the 422
    checked(desk, heading="Welcome to Our club")
    page.get_by_label("Password (needed)", exact=True).fill("seven brass buckles")
    page.get_by_label("The same password again").fill("seven brass buckles")
    page.get_by_role("button", name="Join the club's registry").click()
    expect(page.get_by_text("Welcome, Fenna.")).to_be_visible()
    assert page.url == f"{desk.base}/today/"
    assert Member.objects.get(email="fenna@example.org").weight_unit == "kg"


def test_an_authenticator_app_is_set_up_and_asked_for(desk):
    make_member("Ida Ashgrove", email="ida@example.org")
    page = desk.page
    desk.sign_in("ida@example.org")
    page.goto(f"{desk.base}/account/2fa/totp/activate/")
    prove_password(page)
    checked(desk, heading="Set up an authenticator app")
    secret = page.locator("#totp-key").inner_text()
    page.get_by_label("The six digits").fill(six_digits(secret, time.time()))
    page.get_by_role("button", name="Set it up").click()
    expect(page.get_by_role("heading", name="Recovery codes")).to_be_visible()
    checked(desk, heading="Recovery codes")
    codes = page.locator("#recovery-codes").inner_text().split()
    assert len(codes) == 10
    for path in ("/account/2fa/", "/account/2fa/totp/deactivate/", "/account/2fa/recovery-codes/generate/"):
        checked(desk, path)
    page.goto(f"{desk.base}/account/logout/")
    page.get_by_role("main").get_by_role("button", name="Sign out").click()
    page.wait_for_url(f"{desk.base}/")
    desk.sign_in("ida@example.org")
    expect(page.get_by_role("heading", name="The second step")).to_be_visible()
    checked(desk, heading="The second step")
    page.get_by_label("Code").fill("000000")
    page.get_by_role("button", name="Sign in", exact=True).click()
    expect(page.get_by_text("This code is not right").first).to_be_visible()
    page.get_by_label("Code").fill(codes[0])
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.wait_for_url(f"{desk.base}/today/")


def test_a_passkey_is_added_signs_in_without_a_password_and_is_removed(desk):
    make_member("Ida Ashgrove", email="ida@example.org")
    page = desk.page
    devtools = page.context.new_cdp_session(page)
    devtools.send("WebAuthn.enable")
    key = {"protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True}
    options = {**key, "isUserVerified": True, "automaticPresenceSimulation": True}
    devtools.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    desk.sign_in("ida@example.org")
    page.goto(f"{desk.base}/account/2fa/webauthn/add/")
    prove_password(page)
    checked(desk, heading="Add a passkey or security key")
    page.get_by_label("Name of the key").fill("Barn tablet")
    page.get_by_label("Use it in place of the password").check()
    page.get_by_role("button", name="Add this key").click()
    expect(page.get_by_role("heading", name="Recovery codes")).to_be_visible()
    page.goto(f"{desk.base}/account/2fa/webauthn/")
    expect(page.get_by_text("A passkey: signs you in without a password.")).to_be_visible()
    checked(desk, heading="Passkeys and security keys")
    page.goto(f"{desk.base}/account/logout/")
    page.get_by_role("main").get_by_role("button", name="Sign out").click()
    page.wait_for_url(f"{desk.base}/")
    page.goto(f"{desk.base}/account/login/")
    page.get_by_role("button", name="Sign in with a passkey").click()
    page.wait_for_url(f"{desk.base}/today/")
    assert desk.complaints == []
    page.goto(f"{desk.base}/account/2fa/webauthn/")
    page.get_by_role("link", name="Rename").click()
    page.get_by_role("link", name="Use a security key").click()
    page.wait_for_url(re.compile(r"/webauthn/reauthenticate/"))
    checked(desk, heading="Is it you?")
    page.get_by_role("button", name="Use my key").click()
    checked(desk, heading="Rename the key")
    page.goto(f"{desk.base}/account/2fa/webauthn/")
    page.get_by_role("link", name="Remove").click()
    checked(desk, heading="Remove the key")
    page.get_by_role("button", name="Remove the key").click()
    expect(page.get_by_text("No keys yet")).to_be_visible()


def test_a_key_that_does_not_answer_is_said_in_a_sentence(desk):
    page = desk.page
    devtools = page.context.new_cdp_session(page)
    devtools.send("WebAuthn.enable")
    key = {"protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True}
    devtools.send("WebAuthn.addVirtualAuthenticator", {"options": {**key, "isUserVerified": False}})
    page.goto(f"{desk.base}/account/login/")
    expect(page.get_by_text("The key did not answer")).to_be_hidden()
    page.get_by_role("button", name="Sign in with a passkey").click()
    expect(page.get_by_text("The key did not answer")).to_be_visible()
    checked(desk, heading="Sign in")


def test_the_invitations_link_is_copied_and_the_members_list_filters_while_typing(desk):
    cast = make_cast()
    page = desk.page
    page.context.grant_permissions(["clipboard-read", "clipboard-write"], origin=desk.base)
    desk.sign_in(cast.officer.email)
    page.goto(f"{desk.base}/invitations/new/")
    page.get_by_label("E-mail address").fill("fenna@example.org")
    page.get_by_role("button", name="Send the invitation").click()
    expect(page.get_by_text("The invitation was sent to fenna@example.org.")).to_be_visible()
    link = page.locator("#invitation-link").inner_text()
    assert re.fullmatch(rf"{desk.base}/join/[\w-]+/", link)
    page.get_by_role("button", name="Copy the link").click()
    expect(page.get_by_role("region", name="Notices")).not_to_be_empty()
    assert page.evaluate("navigator.clipboard.readText()") == link
    page.goto(f"{desk.base}/members/")
    page.get_by_label("Name, e-mail or region").fill("rhea")
    expect(page.get_by_role("link", name="Ida Ashgrove")).to_have_count(0)
    expect(page.get_by_role("link", name="Rhea Millbrook")).to_be_visible()
    assert "q=rhea" in page.url
    assert desk.complaints == []


VISITORS_PAGES = [
    "/",
    "/account/login/",
    "/account/password/reset/",
    "/account/password/reset/done/",
    "/account/password/reset/key/1-abc/",
    "/account/signup/",
    "/account/inactive/",
    "/account/confirm-email/",
    "/account/confirm-email/abc/",
]
OFFICERS_PAGES = [
    "/members/",
    "/members/{keeper}/",
    "/members/{keeper}/roles/",
    "/members/{keeper}/shut-out/",
    "/invitations/",
    "/invitations/new/",
    "/invitations/{invitation}/",
    "/club/settings/",
    "/account/",
    "/account/profile/",
    "/account/close/",
    "/account/email/",
    "/account/password/change/",
    "/account/2fa/",
    "/account/2fa/webauthn/",
    "/account/sessions/",
    "/account/logout/",
]
KEEPERS_PAGES = [
    "/herds/new/",
    "/herds/ashgrove/edit/",
    "/herds/ashgrove/owners/",
    "/herds/ashgrove/close/",
    "/herds/ashgrove/grant/",
    "/grants/",
    "/grants/{grant}/",
    "/grants/{grant}/revoke/",
    "/account/close/",
]


@pytest.mark.parametrize("who", ["visitor", "officer", "keeper"])
def test_the_pages_fit_a_phone_and_axe_and_the_browser_find_nothing(desk, who):
    Club.current()
    Club.objects.update(is_demo=True, introduction="We keep one breed.", region="the Vale")
    cast = make_cast()
    keys = {
        "keeper": cast.keeper.pk,
        "invitation": invite(email="a.rather.long.address@example.org", by=cast.officer)[0].pk,
        "grant": cast.herd.grants.get(mentor=cast.mentor).pk,
    }
    if who != "visitor":
        desk.sign_in(getattr(cast, who).email)
    pages = {"visitor": VISITORS_PAGES, "officer": OFFICERS_PAGES, "keeper": KEEPERS_PAGES}[who]
    for path in pages:
        checked(desk, path.format(**keys))
    checked(desk, pages[0].format(**keys), width=1200)
