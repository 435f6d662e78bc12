"""What goes wrong in a real barn: a grant that ends meanwhile, a mistake put right, twice sent, stale, no signal."""

import pytest
from playwright.sync_api import expect

from clubsite.members.models import Club
from grading.actions import looks
from herds.actions.grants import revoke_grant
from herds.models import Animal, Decision, Grant, Mating
from tests.cast import make_cast
from tests.factories import make_animal
from tests.photos_made import ready_photo

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]

WIDTH = 360


@pytest.fixture
def cast(transactional_db):
    make_club()
    return make_cast()


@pytest.fixture
def walk_of(cast, person, live_server):
    """walk_of(who, journey): this person's way on a phone."""

    def begin(who, journey):
        return Walker(person(cast.client_of(who)), live_server.url, journey, WIDTH)

    return begin


def touch(page, name, step):
    page.locator(f"#scale-{name} label.s{step}").click()


def saved(page, name):
    return page.locator(f"#scale-{name} legend .saved")


def test_a_mentor_looks_from_photos_until_the_grant_is_revoked_under_the_open_page(cast, walk_of):
    ready_photo(cast.daughter)
    walk = walk_of("mentor", "mentor")
    page = walk.page
    walk.to("grant-list")
    walk.see("what-is-open-to-me")
    walk.to("animal-detail", cast.daughter.pk)
    walk.see("the-animal")
    walk.press("Look", role="link")
    page.get_by_label("from photos").check()
    page.get_by_label("Open shade").check()
    walk.press("From three paces")
    touch(page, "surface_shade", 6)
    expect(saved(page, "surface_shade")).to_be_visible()
    walk.see("graded-from-photos")
    look = cast.daughter.looks.get()
    walk.to("look-section", look.pk, 4)
    expect(page.get_by_text("A photo cannot show this.").first).to_be_visible()
    walk.see("what-hands-feel-is-locked")
    walk.to("look-section", look.pk, 2)
    revoke_grant(grant=Grant.objects.get(mentor=cast.mentor), by=cast.keeper)
    touch(page, "guard_hair_jetness", 7)
    expect(page.get_by_role("alert").or_(page.locator("#toasts .notice-error")).first).to_be_visible()
    walk.see("revoked-meanwhile")
    assert [answer.trait.code for answer in look.answers.all()] == ["surface_shade"]
    walk.to("animal-detail", cast.daughter.pk)
    expect(page.get_by_role("link", name="Look", exact=True)).to_have_count(0)
    walk.see("only-the-card-is-left")
    walk.arrive(expected="status of 404")


def test_the_registrar_corrects_a_sex_and_says_why(cast, walk_of):
    walk = walk_of("registrar", "registrar")
    page = walk.page
    walk.to("animal-correct", cast.daughter.pk)
    page.get_by_label("Buck", exact=True).check()
    walk.press("Save")
    expect(page.locator(".form-errors")).to_be_focused()
    walk.see("a-reason-is-asked-for")
    expect(page.get_by_label("Buck", exact=True)).to_be_checked()
    walk.fill(reason="Sexed again at ten weeks; the first time was a slip of the pen.")
    walk.press("Save")
    page.wait_for_url("**" + cast.daughter.get_absolute_url())
    walk.see("corrected")
    cast.daughter.refresh_from_db()
    assert cast.daughter.sex == "buck"
    walk.arrive()


def test_a_keeper_decides_about_several_in_the_list_and_takes_it_back(cast, walk_of):
    for number in range(4, 9):
        make_animal(cast.herd, f"A{number}", sex="doe")
    walk = walk_of("keeper", "bulk")
    page = walk.page
    walk.to("herd-detail", cast.herd.slug)
    walk.see("the-herd")
    for mark in ("A4", "A5", "A6"):
        page.get_by_role("checkbox", name=f"Choose {mark}", exact=True).check()
    walk.see("three-chosen")
    walk.press("Let go")
    walk.see("letting-go-asks-why")
    assert not Decision.objects.exists()
    page.get_by_label("undercolor", exact=True).check()
    walk.press("Save")
    walk.see("decided")
    assert Decision.objects.filter(verdict="let_go").count() == 3
    page.get_by_role("button", name="Undo").click()
    walk.see("taken-back")
    assert not Animal.objects.with_decision().filter(verdict="let_go").exists()
    walk.arrive()


def test_a_form_whose_answer_got_lost_is_sent_again_and_saved_once(cast, walk_of):
    doe = make_animal(cast.herd, "A9", sex="doe", name="Hazel")
    walk = walk_of("keeper", "sent-twice")
    page = walk.page
    walk.to("mating-create")
    page.locator("[name=doe]").select_option(str(doe.pk))
    page.locator("[name=buck]").select_option(str(cast.sire.pk))
    sent = []

    def lose_the_answer(route):
        if route.request.method == "POST":
            sent.append(route.request.post_data)
            route.fetch(max_redirects=0)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/matings/new/", lose_the_answer)
    walk.press("Save the mating")
    page.wait_for_url("chrome-error://**")
    page.unroute("**/matings/new/")
    assert Mating.objects.count() == 1
    page.reload()
    expect(page.get_by_text("This form had already been sent. It was saved once.")).to_be_visible()
    walk.see("saved-once")
    assert len(sent) == 1
    assert Mating.objects.count() == 1
    walk.arrive(expected="ERR_CONNECTION_RESET")


def test_a_stale_page_says_what_was_saved_meanwhile_and_keeps_what_was_typed(cast, walk_of, person):
    walk = walk_of("keeper", "stale")
    other = walk.another(person(cast.client_of("co_owner")))
    walk.to("animal-update", cast.daughter.pk)
    walk.to("animal-update", cast.daughter.pk, page=other)
    other.locator("[name=name]").fill("Alder of the Ashes")
    walk.press("Save", page=other)
    other.wait_for_url("**" + cast.daughter.get_absolute_url())
    walk.fill(name="Black Alder")
    walk.press("Save")
    expect(walk.page.get_by_text("Saved by somebody else")).to_be_visible()
    expect(walk.page.locator("[name=name]")).to_have_value("Black Alder")
    walk.see("somebody-was-faster")
    assert Animal.objects.get(pk=cast.daughter.pk).name == "Alder of the Ashes"
    walk.press("Save")
    walk.page.wait_for_url("**" + cast.daughter.get_absolute_url())
    assert Animal.objects.get(pk=cast.daughter.pk).name == "Black Alder"
    walk.arrive()


def test_answers_given_without_a_signal_are_kept_and_saved_when_it_is_back(cast, walk_of):
    Club.current()
    look = looks.start_look(animal=cast.daughter, by=cast.keeper, mode="in_hand", light="open_shade")
    walk = walk_of("keeper", "offline")
    page = walk.page
    walk.to("look-section", look.pk, 1)
    touch(page, "surface_shade", 7)
    expect(saved(page, "surface_shade")).to_be_visible()
    page.context.set_offline(True)
    touch(page, "surface_shade", 6)
    touch(page, "even_front_back", 8)
    expect(page.locator("#connection")).to_be_visible()
    expect(page.locator("#toasts .notice-error")).to_contain_text("Trying again by itself")
    expect(page.locator("#even_front_back-8")).to_be_checked()
    walk.see("no-signal")
    assert dict(look.answers.values_list("trait__code", "step")) == {"surface_shade": 7}
    page.context.set_offline(False)
    expect(saved(page, "even_front_back")).to_be_visible()
    expect(saved(page, "surface_shade")).to_be_visible()
    expect(page.locator("#connection")).to_be_hidden()
    walk.see("the-signal-is-back")
    assert dict(look.answers.values_list("trait__code", "step")) == {"surface_shade": 6, "even_front_back": 8}
    walk.arrive(expected="ERR_INTERNET_DISCONNECTED|htmx:(sendError|afterRequest)")
