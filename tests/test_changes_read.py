"""What was changed is read on the pages of those who may, in words, with names as far as the reader may see them."""

import csv
from datetime import timedelta

import pgtrigger
import pytest
from django.urls import reverse
from django.utils import timezone

from clubsite.history import acting
from clubsite.members.actions.club import change_settings
from clubsite.members.actions.members import change_roles, close_account
from clubsite.members.models import Change, Club
from clubsite.members.own_changes import changes_of
from clubsite.members.telling import tell
from grading.actions.editions import withdraw
from grading.models import Answer, Trait
from herds.actions.grants import grant_herd, revoke_grant
from herds.actions.herds import add_owner, change_herd
from herds.actions.identity import edit_animal
from herds.actions.marks import replace_mark
from herds.actions.transfers import accept_transfer, offer_animal
from herds.models import Animal, Herd, Kit, Mark, Weight

from .cast import PEOPLE
from .factories import make_litter, make_look, make_mating, make_profile, make_weight
from .queries import queries_of

pytestmark = pytest.mark.django_db

SIGNED_IN = [who for who in PEOPLE if who != "visitor"]


def told_to(reader, **asked):
    """The sentences that a member reads, the first change first."""
    reader = type(reader).objects.get(pk=reader.pk)
    return [each.sentence for each in tell(Change.objects.visible_to(reader).filter(**asked).order_by("pk"), reader)]


def readers_of(cast, **asked):
    """Who of the cast is told anything of these changes."""
    return {who for who in SIGNED_IN if told_to(getattr(cast, who), **asked)}


def text_of(response):
    return " ".join(response.content.decode().split())


def replaced(cast, text="A11", reason="misread"):
    with acting(member=cast.keeper.pk):
        replace_mark(mark=cast.sire.marks.current().get(), text=text, reason=reason, by=cast.keeper)


def test_a_mark_that_was_changed_is_told_as_the_change_it_is(cast):
    replaced(cast)
    assert told_to(cast.registrar, label="herds.mark") == [
        "Ida Ashgrove changed the left-ear tattoo from A1 to A11, because: misread."
    ]
    replaced(cast, "", "torn out.")
    assert told_to(cast.registrar, label="herds.mark")[1:] == [
        "Ida Ashgrove ended the left-ear tattoo A11, because: torn out."
    ]
    with acting(member=None, reason=""):
        Mark.objects.filter(animal=cast.dam).update(text="A22")
    assert told_to(cast.registrar, label="herds.mark")[2:] == ["The system changed the left-ear tattoo from A2 to A22."]


def test_parents_dates_and_words_of_a_choice_are_told_by_name(cast):
    born = cast.daughter.born_on - timedelta(days=1)
    with acting(member=cast.registrar.pk):
        edit_animal(
            animal=cast.daughter, version=None, by=cast.registrar, reason="the book says otherwise",
            identity={"sire": None, "born_on": born},
        )  # fmt: skip
        cast.daughter.refresh_from_db()
    (told,) = told_to(cast.registrar, object_id=cast.daughter.pk, label="herds.animal")
    assert "sire from A1 Slate to nothing" in told
    assert f"born from {cast.daughter.born_on + timedelta(days=1):%-d %B %Y} to {born:%-d %B %Y}" in told
    assert told.endswith(", because: the book says otherwise.")
    with acting(member=cast.keeper.pk):
        Animal.objects.filter(pk=cast.sire.pk).update(status="died", notes="Old.\nKind")
    (told,) = told_to(cast.keeper, object_id=cast.sire.pk, label="herds.animal")
    assert told == "Ida Ashgrove changed A1 Slate: notes from nothing to “Old. Kind”; status from in the herd to died."


def test_a_weight_is_told_in_the_reader_s_unit(cast):
    weight = make_weight(cast.sire, grams=4500)
    Weight.objects.filter(pk=weight.pk).update(grams=4600)
    (told,) = told_to(cast.keeper, label="herds.weight")
    assert told.endswith("from 9 lb 14.75 oz to 10 lb 2.25 oz.")
    type(cast.co_owner).objects.filter(pk=cast.co_owner.pk).update(weight_unit="kg")
    (told,) = told_to(cast.co_owner, label="herds.weight")
    assert told.endswith("from 4.50 kg to 4.60 kg.")


def test_owners_grants_roles_settings_and_editions_are_told(cast):
    with acting(member=cast.keeper.pk):
        add_owner(herd=cast.herd, email=cast.grader.email, by=cast.keeper)
        grant = grant_herd(herd=cast.herd, mentor=cast.fellow, ends_on=timezone.localdate(), by=cast.keeper)
        revoke_grant(grant=grant, by=cast.keeper)
    assert "Ida Ashgrove made Edda Winslow an owner of Ashgrove." in told_to(cast.keeper)
    until = f"{timezone.localdate():%-d %B %Y}"
    assert told_to(cast.fellow, label="herds.grant") == [
        f"Ida Ashgrove opened Ashgrove to Rhea Millbrook as mentor until {until}.",
        "Ida Ashgrove closed Ashgrove to Rhea Millbrook as mentor.",
    ]
    profile = make_profile(cast.sire.breed, name="Vale silvered", edition="2026")
    with acting(member=cast.officer.pk):
        change_roles(member=cast.fellow, is_officer=False, is_registrar=True, guardian=None, by=cast.officer)
        change_settings(
            version=Club.current().version, by=cast.officer, quarantine_days=21, enquiries="post@example.org"
        )
        withdraw(profile=profile, by=cast.officer)
    told = told_to(cast.officer)
    assert "Dilys Marchmont changed the roles of Rhea Millbrook: registrar from no to yes." in told
    assert (
        "Dilys Marchmont changed the club's settings: address for enquiries; quarantine for days from 30 to 21." in told
    )
    assert told[-1] == "Dilys Marchmont withdrew Vale silvered, 2026."


def test_a_removed_row_tells_what_it_held(cast):
    litter = make_litter(cast.dam, cast.sire, kits=1)
    Kit.objects.filter(litter=litter).update(note="the pale one")
    with acting(member=cast.keeper.pk):
        litter.kits.all().delete()
    told = told_to(cast.keeper, action="delete")
    assert told == ["Ida Ashgrove removed kit 1, which held: sex: sex unknown; note: the pale one."]


def test_identity_is_read_by_its_keepers_and_the_registrar_and_the_log_by_the_keepers_alone(cast):
    replaced(cast)
    Animal.objects.filter(pk=cast.sire.pk).update(name="Slater", notes="Limps")
    make_weight(cast.sire)
    Weight.objects.update(note="thin")
    make_mating(cast.dam, cast.sire)
    type(cast.dam.matings_as_doe.get()).objects.update(note="twice")
    keepers = {"keeper", "co_owner"}
    assert readers_of(cast, label="herds.mark") == keepers | {"registrar"}
    assert readers_of(cast, label="herds.animal", audience="identity") == keepers | {"registrar"}
    assert readers_of(cast, label="herds.animal", audience="keepers") == keepers
    assert readers_of(cast, label__in=["herds.weight", "herds.mating"]) == keepers
    assert readers_of(cast, label="members.club") == set()
    type(cast.fellow).objects.filter(pk=cast.fellow.pk).update(takes_reviews=True)
    assert readers_of(cast, label="members.member") == {"officer"}


def test_a_grant_is_read_by_the_herd_and_its_mentor(cast):
    assert readers_of(cast, label="herds.grant", person_id=cast.mentor.pk) == {"keeper", "co_owner", "mentor"}
    assert readers_of(cast, label="herds.grant", person_id=cast.revoked_mentor.pk) == {
        "keeper", "co_owner", "revoked_mentor",
    }  # fmt: skip


def test_a_look_is_read_by_whoever_may_see_it(cast):
    trait = Trait.objects.get(summary="surface")
    look = make_look(cast.daughter, cast.keeper, steps={trait: 4})
    with pgtrigger.ignore("grading.Answer:answer_allowed"):
        Answer.objects.filter(look=look).update(step=9)
    assert readers_of(cast, parent_id=look.pk, parent="grading.look") == {"keeper", "co_owner", "mentor"}
    assert told_to(cast.mentor, audience="look") == ["The system changed the step of Surface shade from 4 to 9."]
    Herd.objects.filter(pk=cast.herd.pk).update(shares_looks=True)
    assert readers_of(cast, audience="look") == set(SIGNED_IN)


def test_a_buyer_reads_what_was_corrected_and_not_what_the_seller_wrote(cast):
    Animal.objects.filter(pk=cast.sire.pk).update(name="Slater", notes="Limps")
    transfer = offer_animal(animal=cast.sire, to_herd=cast.other_herd, by=cast.keeper)
    accept_transfer(transfer=transfer, by=cast.fellow)
    of_sire = {"animal_id": cast.sire.pk, "label": "herds.animal"}
    seen = " ".join(told_to(cast.fellow, **of_sire))
    assert "name from Slate to Slater" in seen
    assert "Limps" not in seen
    seen = " ".join(told_to(cast.keeper, **of_sire))
    assert "Limps" in seen
    assert "name from" not in seen
    page = cast.client_of("fellow").get(reverse("animal-changes", args=[cast.sire.pk]))
    assert "Slater" in text_of(page)
    assert "Limps" not in text_of(page)
    assert cast.client_of("keeper").get(reverse("animal-changes", args=[cast.sire.pk])).status_code == 404
    assert "Limps" in text_of(cast.client_of("keeper").get(reverse("herd-changes", args=[cast.herd.slug])))


def test_one_who_was_shut_out_reads_nothing(cast):
    replaced(cast)
    cast.registrar.is_active = False
    cast.registrar.save()
    assert told_to(cast.registrar) == []


def test_names_of_rows_that_the_reader_may_not_see_stay_hidden(cast):
    mating = make_mating(cast.dam, cast.sire)
    litter = make_litter(cast.dam, cast.sire, born_on=timezone.localdate() - timedelta(days=40))
    Animal.objects.filter(pk=cast.daughter.pk).update(litter=litter)
    assert "litter from nothing to litter of A2 Birch" in told_to(cast.keeper, object_id=cast.daughter.pk)[-1]
    assert told_to(cast.registrar, object_id=cast.daughter.pk)[-1] == (
        "The system changed A3 Alder: litter from nothing to one that is gone, or not shown to you."
    )
    mating.delete()


def test_who_closed_the_account_is_a_former_member(cast):
    with acting(member=cast.fellow.pk):
        Animal.objects.filter(pk=cast.other_buck.pk).update(name="Flinty")
        change_herd(herd=cast.other_herd, version=None, by=cast.fellow, region="South")
    close_account(member=cast.fellow, by=cast.fellow)
    told = told_to(cast.registrar, object_id=cast.other_buck.pk, label="herds.animal")
    assert told[0] == "A former member changed M1 Flinty: name from Flint to Flinty."
    assert "Rhea" not in " ".join(told_to(cast.registrar) + told_to(cast.officer))


def test_the_registrar_finds_by_person_kind_and_day(cast):
    replaced(cast)
    with acting(member=cast.fellow.pk):
        Animal.objects.filter(pk=cast.other_buck.pk).update(name="Flinty")
    registrar = cast.client_of("registrar")
    today = timezone.localdate()
    asked = {
        "kind=marks": (1, 0),
        "kind=card": (0, 1),
        "who=ashgrove": (1, 0),
        "who=Rhea+Millbrook": (0, 1),
        "who=the+system": (0, 0),
        f"since={today}": (1, 1),
        f"until={today - timedelta(days=1)}": (0, 0),
        f"since={today + timedelta(days=1)}": (0, 0),
        f"kind=marks&who=rhea&until={today}": (0, 0),
        "": (1, 1),
    }
    for query, (marks, cards) in asked.items():
        page = text_of(registrar.get(f"{reverse('change-list')}?{query}"))
        assert ("from A1 to A11" in page, "Flinty" in page) == (bool(marks), bool(cards)), query


def test_a_day_that_is_none_is_said_and_nothing_breaks(cast):
    page = cast.client_of("registrar").get(
        reverse("change-list"), {"since": "yesterday", "kind": "nonsense", "page": "x"}
    )
    assert page.status_code == 200
    assert "Enter a valid date" in text_of(page) or "valid date" in text_of(page)


def test_the_officer_s_page_holds_no_animals_and_the_registrar_s_no_settings(cast):
    replaced(cast)
    Club.current()
    Club.objects.update(quarantine_days=21)
    seen = {who: text_of(cast.client_of(who).get(reverse("change-list"))) for who in ("officer", "registrar")}
    assert ["A11" in page for page in seen.values()] == [False, True]
    assert ["quarantine for days from 30 to 21" in page for page in seen.values()] == [True, False]


def test_changes_of_one_member_s_roles_are_found(cast):
    with acting(member=cast.officer.pk):
        for member in (cast.fellow, cast.grader):
            change_roles(member=member, is_officer=False, is_registrar=True, guardian=None, by=cast.officer)
    page = text_of(cast.client_of("officer").get(reverse("change-list"), {"kind": "roles", "about": cast.fellow.pk}))
    assert "the roles of Rhea Millbrook" in page
    assert "the roles of Edda Winslow" not in page


def test_the_file_holds_what_the_page_shows_and_no_formula(cast):
    replaced(cast, reason="=misread")
    response = cast.client_of("registrar").get(reverse("change-csv"), {"kind": "marks"})
    rows = list(csv.reader(response.content.decode("utf-8-sig").splitlines()))
    assert rows[0] == ["day", "time", "by", "kind", "what", "animal or herd", "reason", "page"]
    assert len(rows) == 2
    assert rows[1][2:7] == [
        "Ida Ashgrove", "Marks", "changed the left-ear tattoo from A1 to A11", "A11 Slate, Ashgrove", "'=misread",
    ]  # fmt: skip


def test_a_member_s_data_holds_what_they_changed(cast):
    replaced(cast)
    with acting(member=None, reason=""):
        Animal.objects.filter(pk=cast.dam.pk).update(name="By the system")
    rows = list(changes_of(cast.keeper))
    assert [row[4] for row in rows] == ["changed the left-ear tattoo from A1 to A11"]


def test_text_of_people_is_shown_as_text(cast):
    Animal.objects.filter(pk=cast.sire.pk).update(name="<b>bold</b>")
    page = cast.client_of("registrar").get(reverse("animal-changes", args=[cast.sire.pk])).content.decode()
    assert "&lt;b&gt;bold&lt;/b&gt;" in page
    assert "<b>bold" not in page


def many_changes(cast, times):
    """Changes of many kinds, several of each, naming different people and animals."""
    for turn in range(times):
        with acting(member=(cast.keeper, cast.co_owner, cast.registrar)[turn % 3].pk, reason=f"reason {turn}"):
            Animal.objects.filter(pk=cast.daughter.pk).update(
                sire=None if turn % 2 == 0 else cast.sire, notes=str(turn)
            )
            Animal.objects.filter(pk=cast.sire.pk).update(name=f"Slate {turn}")
            Mark.objects.filter(animal=cast.dam).update(
                text=f"A2{turn}", issued_by=None if turn % 2 == 0 else cast.herd
            )
            Herd.objects.filter(pk=cast.herd.pk).update(region=f"Vale {turn}")
            Weight.objects.update(grams=4000 + turn, animal=(cast.sire, cast.dam)[turn % 2])
            Kit.objects.update(note=str(turn))
            type(cast.dam.matings_as_doe.first()).objects.update(note=str(turn))


@pytest.mark.parametrize(
    ("who", "name", "arg", "queries"),
    [
        ("keeper", "herd-changes", "slug", 10),
        ("keeper", "animal-changes", "animal", 9),
        ("registrar", "change-list", "", 8),
    ],
)
def test_a_list_of_changes_asks_as_much_for_many_as_for_few(cast, who, name, arg, queries):
    make_weight(cast.sire)
    make_litter(cast.dam, cast.sire, kits=1, mating=make_mating(cast.dam, cast.sire))
    address = reverse(name, args=[{"slug": cast.herd.slug, "animal": cast.daughter.pk}[arg]] if arg else [])
    many_changes(cast, 2)
    client = cast.client_of(who)
    few = queries_of(client, address)
    many_changes(cast, 8)
    assert queries_of(client, address) == few
    assert few == queries
