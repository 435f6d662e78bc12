"""The club's public page, its picture, simple formatting, and settings put back to their defaults."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from clubsite.members.models import Club
from clubsite.simple_text import simple_text

from .looking import without_tokens
from .test_people_club import filled


def drawn(form="PNG", size=(300, 200), mode="RGB", **more):
    """An uploaded picture of one colour."""
    out = io.BytesIO()
    Image.new(mode, size, "#7a8894").save(out, form, **more)
    return SimpleUploadedFile("Our Logo.png", out.getvalue(), "image/png")


@pytest.fixture
def officer(cast):
    return cast.client_of("officer")


@pytest.fixture
def media(settings, tmp_path):
    settings.MEDIA_ROOT = str(tmp_path)
    return tmp_path / "club"


def send(client, **changes):
    return client.post(reverse("club-settings"), filled(**changes))


def public():
    return without_tokens(Client().get(reverse("club-public")).content.decode())


def served():
    url = public().split('<header class="club-head"><img src="')[1].split('"')[0]
    return Client().get(url)


def test_the_public_page_has_what_the_officer_typed(officer):
    Club.current()
    sent = {
        "introduction": "We keep one breed.\n\n- graded alike\n- shown in autumn", "enquiries": "club@vale.example",
        "meetings": "3 May 2026, Vale\nsee https://vale.example/show.", "name": "Vale Silver Club",
    }  # fmt: skip
    assert send(officer, **sent).status_code == 302
    text = public()
    for words in (
        "<li>graded alike</li><li>shown in autumn</li>", '<a href="mailto:club@vale.example">',
        "3 May 2026, Vale<br>see ",
        '<a href="https://vale.example/show" rel="nofollow noopener">https://vale.example/show</a>.', "Sign in",
    ):  # fmt: skip
        assert words in text
    for name in ("Ashgrove", "Slate", "Dilys", "Marchmont", "A1"):
        assert name not in text


@pytest.mark.parametrize(
    ("typed", "markup"),
    [
        ("", ""),
        ("One\r\n\r\nTwo", "<p>One</p>\n<p>Two</p>"),
        ("One\nTwo", "<p>One<br>Two</p>"),
        ("Before\n- a\n* b\nAfter", "<p>Before</p>\n<ul><li>a</li><li>b</li></ul>\n<p>After</p>"),
        ("<b onclick=x>&", "<p>&lt;b onclick=x&gt;&amp;</p>"),
        ("javascript:alert(1)", "<p>javascript:alert(1)</p>"),
        (
            'https://a.example/?q=1&r=2"onmouseover=x',
            '<p><a href="https://a.example/?q=1&amp;r=2" rel="nofollow noopener">https://a.example/?q=1&amp;r=2</a>'
            "&quot;onmouseover=x</p>",
        ),
        (
            "(https://a.example/b).",
            '<p>(<a href="https://a.example/b" rel="nofollow noopener">https://a.example/b</a>).</p>',
        ),
        ("- <script>", "<ul><li>&lt;script&gt;</li></ul>"),
    ],
)
def test_simple_formatting_makes_paragraphs_lists_and_links_and_nothing_else(typed, markup):
    assert simple_text(typed) == markup


def test_a_picture_is_written_anew_without_what_came_along(officer, media):
    exif = Image.Exif()
    exif[0x010E] = "taken at 4 Mill Lane"
    sent = drawn("JPEG", size=(3000, 1500), exif=exif)
    assert b"Mill Lane" in sent.read()
    sent.seek(0)
    assert send(officer, picture=sent).status_code == 302
    answer = served()
    content = answer.getvalue()
    assert answer["Content-Type"] == "image/jpeg"
    assert "immutable" in answer["Cache-Control"]
    assert b"Mill Lane" not in content
    with Image.open(io.BytesIO(content)) as kept:
        assert kept.size == (1200, 600)
        assert not kept.getexif()
    assert "Our" not in Club.current().picture.name


def test_a_logo_stays_see_through(officer, media):
    assert send(officer, picture=drawn(mode="RGBA")).status_code == 302
    answer = served()
    assert answer["Content-Type"] == "image/png"
    with Image.open(io.BytesIO(answer.getvalue())) as kept:
        assert kept.mode == "RGBA"


def test_a_picture_is_replaced_and_removed_with_its_file(officer, media, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        send(officer, picture=drawn())
    first = Club.current().picture_url
    with django_capture_on_commit_callbacks(execute=True):
        send(officer, picture=drawn(size=(90, 90)))
    assert len(list(media.iterdir())) == 1
    assert Client().get(first).status_code == 404
    with django_capture_on_commit_callbacks(execute=True):
        assert send(officer, remove_picture="on").status_code == 302
    assert list(media.iterdir()) == []
    assert "<img" not in public().split("<main")[1]


def test_saving_without_a_picture_keeps_the_one_there_is(officer, media):
    send(officer, picture=drawn())
    kept = Club.current().picture.name
    assert send(officer, name="Another name").status_code == 302
    assert Club.current().picture.name == kept


def bomb():
    """A small file of a picture with 400 megapixels."""
    return drawn("PNG", size=(20_000, 20_000), mode="1")


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        (lambda: SimpleUploadedFile("logo.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>"), "not a picture"),
        (lambda: SimpleUploadedFile("logo.png", b"<html><script>"), "not a picture"),
        (lambda: SimpleUploadedFile("logo.png", drawn().read()[:90]), "not a picture"),
        (lambda: SimpleUploadedFile("logo.gif", drawn("GIF").read()), "not a picture"),
        (lambda: SimpleUploadedFile("logo.png", b"\x89PNG" + bytes(9 * 1024 * 1024)), "larger than 8 MB"),
        (bomb, "picture"),
    ],
)
def test_what_is_no_picture_is_refused_in_a_sentence_and_nothing_else_is_lost(officer, media, sent, sentence):
    response = send(officer, introduction="typed", picture=sent())
    assert response.status_code == 422
    text = response.content.decode()
    assert sentence in text
    assert "typed" in text
    assert not Club.current().picture


def test_a_default_is_typed_back_without_saving_and_what_else_was_typed_stays(officer):
    Club.current()
    Club.objects.update(palpation_days=14)
    page = officer.get(reverse("club-settings")).content.decode()
    assert 'name="back" value="palpation_days"' in page
    assert 'name="back" value="due_days"' not in page  # it is the default already
    response = officer.post(reverse("club-settings"), filled(introduction="typed", back="palpation_days"))
    assert response.status_code == 200
    page = response.content.decode()
    assert "Not saved yet" in page
    assert "typed" in page
    assert 'name="palpation_days" value="12"' in page
    assert Club.current().palpation_days == 14
    assert officer.post(reverse("club-settings"), filled(palpation_days=12)).status_code == 302
    assert Club.current().palpation_days == 12
    assert officer.post(reverse("club-settings"), filled(back="is_demo")).status_code == 200
    assert not Club.current().is_demo


def test_the_settings_and_the_public_page_cost_the_same_each_time(officer, django_assert_num_queries):
    Club.current()
    with django_assert_num_queries(1):
        Client().get(reverse("club-public"))
    with django_assert_num_queries(4):
        officer.get(reverse("club-settings"))
