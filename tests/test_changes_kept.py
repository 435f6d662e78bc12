"""Whatever changes a row, and however: the database keeps who, when, from what to what, and why."""

import pgtrigger
import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clubsite.history import acting, because
from clubsite.members.actions.club import change_settings
from clubsite.members.actions.members import change_roles, close_account
from clubsite.members.models import REMEMBERED, Change, Club, unremembered
from grading.actions.looks import finish_look, save_answers, start_look
from grading.models import Answer, BreedProfile, Look, Trait
from herds.actions.grants import change_grant, grant_herd, revoke_grant
from herds.actions.herds import add_owner, end_ownership
from herds.actions.identity import edit_animal
from herds.actions.transfers import accept_transfer, offer_animal
from herds.models import Animal, Grant, Herd, Kit, Mark, Ownership

from .factories import make_litter, make_look, make_mating, make_profile, make_weight

pytestmark = pytest.mark.django_db


def changes(row):
    return list(Change.objects.filter(label=row._meta.label_lower, object_id=row.pk).order_by("pk"))


def test_update_by_queryset_bulk_update_and_sql_are_all_kept(cast):
    Animal.objects.filter(pk=cast.sire.pk).update(name="Slater")
    cast.sire.name = "Slatest"
    Animal.objects.bulk_update([cast.sire], ["name"])
    with connection.cursor() as cursor:
        cursor.execute("UPDATE herds_animal SET name = 'By hand' WHERE id = %s", [cast.sire.pk])
    found = changes(cast.sire)
    assert [each.changed for each in found] == [
        {"name": ["Slate", "Slater"]},
        {"name": ["Slater", "Slatest"]},
        {"name": ["Slatest", "By hand"]},
    ]
    assert {(each.member_id, each.page, each.reason) for each in found} == {(None, "", "")}
    assert {(each.audience, each.animal_id, each.herd_id) for each in found} == {
        ("identity", cast.sire.pk, cast.herd.pk)
    }


def test_a_removed_row_is_kept_with_what_it_held(cast):
    weight = make_weight(cast.sire, grams=4300, note="after the show")
    key = weight.pk
    Animal.objects.get(pk=cast.sire.pk).weights.all().delete()
    (change,) = Change.objects.filter(label="herds.weight", object_id=key)
    assert (change.action, change.audience) == ("delete", "keepers")
    assert change.changed["grams"] == [4300, None]
    assert change.changed["note"] == ["after the show", None]


def test_what_changes_nothing_and_the_database_s_own_bookkeeping_are_not_kept(cast):
    Animal.objects.filter(pk=cast.sire.pk).update(name="Slate", version=7)
    Mark.objects.create(animal=cast.sire, kind="ring", text="R 7")  # sets the animal's mark_text anew
    assert not changes(cast.sire)


def test_nothing_and_an_empty_text_are_the_same(cast):
    Animal.objects.filter(pk=cast.sire.pk).update(variety="grey")
    Animal.objects.filter(pk=cast.sire.pk).update(variety="")
    first, second = changes(cast.sire)
    assert first.changed == {"variety": ["", "grey"]}
    assert second.changed == {"variety": ["grey", ""]}


def test_one_update_of_open_and_private_columns_is_kept_for_two_kinds_of_readers(cast):
    Animal.objects.filter(pk=cast.sire.pk).update(name="Slater", notes="Limps since May", status_note="by the gate")
    kept = {each.audience: each.changed for each in changes(cast.sire)}
    assert kept == {
        "identity": {"name": ["Slate", "Slater"]},
        "keepers": {"notes": ["", "Limps since May"], "status_note": ["", "by the gate"]},
    }


def test_a_new_column_would_be_private_until_somebody_says_otherwise():
    """Only what the card shows to every member is named as open."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT prosrc FROM pg_proc WHERE proname LIKE %s AND prosrc LIKE %s",
                       ["pgtrigger_remember_%", "%'herds.animal'%"])  # fmt: skip
        (source,) = cursor.fetchone()
    assert "key = ANY (ARRAY['born_on'" in source


def test_making_is_kept_for_the_few_and_not_for_the_many(cast):
    made = Change.objects.filter(action="insert").values_list("label", flat=True)
    assert {"herds.ownership", "herds.grant"} <= set(made)
    assert not {"herds.animal", "herds.mark", "herds.weight", "grading.look", "grading.answer"} & set(made)


def test_the_person_the_page_and_the_reason_travel_with_the_change(cast):
    mark = cast.daughter.marks.get()
    response = cast.client_of("registrar").post(
        f"/marks/{mark.pk}/replace/", {"mark": "A11", "reason": "misread", "on": timezone.localdate().isoformat()}
    )
    assert response.status_code == 302
    (change,) = changes(mark)
    assert change.member_id == cast.registrar.pk
    assert (change.reason, change.page) == ("misread", "mark-replace")
    assert set(change.changed) == {"replaced_on", "replaced_by_id", "reason"}
    assert Mark.objects.get(pk=change.changed["replaced_by_id"][1]).text == "A11"
    assert change.about == {"kind": "left_ear", "text": "A3"}


def test_a_reason_ends_with_its_block_and_the_person_stays(cast):
    with acting(member=cast.keeper.pk, page="here"):
        with because("misread."):
            Animal.objects.filter(pk=cast.sire.pk).update(name="One")
        Animal.objects.filter(pk=cast.sire.pk).update(name="Two")
    first, second = changes(cast.sire)
    assert (first.member_id, first.reason, first.page) == (cast.keeper.pk, "misread.", "here")
    assert (second.member_id, second.reason, second.page) == (cast.keeper.pk, "", "here")


@pytest.mark.django_db(transaction=True)
def test_nothing_of_the_person_stays_on_the_connection(transactional_db):
    from .cast import make_cast

    cast = make_cast()
    with acting(member=cast.keeper.pk, reason="mine"):
        Animal.objects.filter(pk=cast.sire.pk).update(name="One")
    Animal.objects.filter(pk=cast.sire.pk).update(name="Two")
    assert [(each.member_id, each.reason) for each in changes(cast.sire)] == [(cast.keeper.pk, "mine"), (None, "")]


def test_the_facts_cost_no_round_trip(cast):
    def statements():
        with CaptureQueriesContext(connection) as seen:
            Animal.objects.filter(pk=cast.sire.pk).update(name=f"name {len(changes(cast.sire))}")
        return len([each for each in seen if each["sql"].startswith("UPDATE") or "set_config" in each["sql"]])

    bare = statements()
    with acting(member=cast.keeper.pk, page="here", reason="why"):
        assert statements() == bare == 1


def test_letters_that_mean_something_to_sql_pass_unharmed(cast):
    reason = 'it\'s 100 % "wrong"; %s {name} \\ é'
    with because(reason):
        Animal.objects.filter(pk=cast.sire.pk).update(name="One % 'two'")
        with connection.cursor() as cursor:
            cursor.execute("UPDATE herds_animal SET name = 'plain'")
    assert {each.reason for each in changes(cast.sire)} == {reason}


def test_the_registrar_s_correction_of_parents_carries_its_reason(cast):
    with acting(member=cast.registrar.pk):
        edit_animal(
            animal=cast.daughter, version=cast.daughter.version, by=cast.registrar, identity={"sire": None},
            reason="the book says otherwise",
        )  # fmt: skip
    (change,) = changes(cast.daughter)
    assert change.changed == {"sire_id": [cast.sire.pk, None]}
    assert change.reason == "the book says otherwise"


def test_owners_and_grants_come_and_go_on_the_record(cast):
    add_owner(herd=cast.herd, email=cast.grader.email, by=cast.keeper)
    ownership = Ownership.objects.get(member=cast.grader)
    end_ownership(ownership=ownership, by=cast.keeper)
    assert [each.action for each in changes(ownership)] == ["insert", "update"]
    given = grant_herd(herd=cast.herd, mentor=cast.fellow, ends_on=Grant.objects.first().ends_on, by=cast.keeper)
    change_grant(grant=given, ends_on=given.ends_on, may_grade=False, with_log=True, by=cast.keeper)
    revoke_grant(grant=given, by=cast.fellow)
    first, second, third = changes(given)
    assert (first.action, first.person_id, first.herd_id) == ("insert", cast.fellow.pk, cast.herd.pk)
    assert second.changed == {"may_grade": [True, False], "with_log": [False, True]}
    assert list(third.changed) == ["revoked_at"]


def test_a_transfer_keeps_the_notes_with_the_herd_that_wrote_them(cast):
    Animal.objects.filter(pk=cast.sire.pk).update(notes="Sold for a song")
    transfer = offer_animal(animal=cast.sire, to_herd=cast.other_herd, by=cast.keeper)
    accept_transfer(transfer=transfer, by=cast.fellow)
    about_notes = [each for each in changes(cast.sire) if "notes" in each.changed]
    assert {(each.audience, each.herd_id) for each in about_notes} == {("keepers", cast.herd.pk)}
    (moved,) = [each for each in changes(cast.sire) if "herd_id" in each.changed]
    assert (moved.audience, moved.changed["herd_id"]) == ("identity", [cast.herd.pk, cast.other_herd.pk])
    assert {each.audience for each in changes(transfer)} >= {"identity"}


def test_the_log_of_a_herd_is_kept_for_its_keepers(cast):
    mating = make_mating(cast.dam, cast.sire)
    litter = make_litter(cast.dam, cast.sire, kits=1)
    kit = litter.kits.get()
    type(mating).objects.filter(pk=mating.pk).update(note="twice")
    type(litter).objects.filter(pk=litter.pk).update(born_alive=7)
    Kit.objects.filter(pk=kit.pk).update(note="the pale one")
    for row in (mating, litter, kit):
        (change,) = changes(row)
        assert (change.audience, change.herd_id) == ("keepers", cast.herd.pk), row
    assert changes(litter)[0].changed == {"born_alive": [1, 7]}  # and not the total, which follows
    assert changes(kit)[0].parent_id == litter.pk


def test_settings_and_roles_are_kept_without_any_address(cast):
    club = Club.current()
    change_settings(version=club.version, by=cast.officer, quarantine_days=21, enquiries="post@example.org")
    (change,) = changes(club)
    assert change.changed == {"quarantine_days": [30, 21], "enquiries": []}
    change_roles(member=cast.fellow, is_officer=False, is_registrar=True, guardian=None, by=cast.officer)
    (role,) = changes(cast.fellow)
    assert (role.changed, role.audience, role.person_id) == ({"is_registrar": [False, True]}, "club", cast.fellow.pk)
    type(cast.fellow).objects.filter(pk=cast.fellow.pk).update(name="Rhea New", email="new@example.org")
    assert len(changes(cast.fellow)) == 1
    assert not Change.objects.filter(changed__icontains="@").exists()


def test_a_look_is_kept_from_its_finish_on_and_not_while_it_is_made(cast):
    make_profile(cast.daughter.breed)
    trait = Trait.objects.get(code="surface_shade")
    look = start_look(animal=cast.daughter, mode="in_hand", light="open_shade", by=cast.keeper)
    save_answers(look=look, answers=[(trait, "", 5)], by=cast.keeper)
    save_answers(look=look, answers=[(trait, "", 6)], by=cast.keeper)
    finish_look(look=look, by=cast.keeper)
    assert not Change.objects.filter(audience="look").exists()
    with acting(member=cast.keeper.pk):
        save_answers(look=look, answers=[(trait, "", 8)], by=cast.keeper)
    (change,) = Change.objects.filter(audience="look")
    assert (change.label, change.changed) == ("grading.answer", {"step": [6, 8]})
    assert (change.parent, change.parent_id) == ("grading.look", look.pk)
    assert (change.animal_id, change.member_id) == (cast.daughter.pk, cast.keeper.pk)


def test_even_who_gets_round_the_triggers_of_a_look_leaves_a_trace(cast):
    trait = Trait.objects.get(summary="surface")
    look = make_look(cast.daughter, cast.keeper, steps={trait: 4})
    with pgtrigger.ignore("grading.Answer:answer_allowed"):
        Answer.objects.filter(look=look, trait=trait).update(step=9)
    assert Change.objects.get(label="grading.answer").changed == {"step": [4, 9]}
    with pgtrigger.ignore("grading.Look:look_kept"):
        Look.objects.filter(pk=look.pk).update(note="rewritten")
    assert changes(look)[0].changed == {"note": ["", "rewritten"]}


def test_an_edition_is_kept_from_making_to_publishing(cast):
    profile = make_profile(cast.sire.breed)
    first, second = changes(profile)
    assert first.action == "insert"
    assert list(second.changed) == ["published_at"]
    assert not Change.objects.filter(label="grading.ageclass", parent_id=profile.pk).exists()
    with pgtrigger.ignore("grading.AgeClass:kept_once_published"):
        profile.age_classes.update(name="Grown")
    assert Change.objects.filter(label="grading.ageclass", parent_id=profile.pk).count() == 3


def test_what_was_kept_can_neither_be_rewritten_nor_removed(cast):
    Animal.objects.filter(pk=cast.sire.pk).update(name="Slater")
    for wrong in (lambda rows: rows.update(reason="other"), lambda rows: rows.delete()):
        with pytest.raises(IntegrityError), transaction.atomic():
            wrong(Change.objects.filter(object_id=cast.sire.pk))
    assert len(changes(cast.sire)) == 1


def test_filling_an_empty_registry_may_be_left_unremembered(cast):
    with unremembered():
        Animal.objects.update(name="Filled")
        Herd.objects.update(region="Vale")
    assert not Change.objects.filter(label__in=["herds.animal", "herds.herd"]).exists()
    Animal.objects.filter(pk=cast.sire.pk).update(name="Changed")
    assert len(changes(cast.sire)) == 1


def test_a_closed_account_leaves_neither_name_nor_what_its_herd_kept_private(cast):
    with acting(member=cast.fellow.pk):
        Herd.objects.filter(pk=cast.other_herd.pk).update(name="Rhea's rabbits", notes="Key under the mat")
        Animal.objects.filter(pk=cast.other_buck.pk).update(notes="Bites Rhea", name="Flinty")
    close_account(member=cast.fellow, by=cast.fellow)
    left = str(list(Change.objects.values()))
    for words in ("Rhea", "Key under the mat", "Bites"):
        assert words not in left
    (kept,) = [each for each in changes(cast.other_buck) if "name" in each.changed]
    assert kept.member_id == cast.fellow.pk
    assert str(kept.member) == "A former member"


def test_every_table_that_the_audit_names_is_remembered():
    named = {
        "herds.herd", "herds.ownership", "herds.animal", "herds.mark", "grading.look", "grading.answer",
        "grading.lookfinding", "herds.grant", "members.member", "members.club", "grading.breedprofile", "herds.mating",
        "herds.litter", "herds.kit", "herds.weight", "herds.decision", "herds.transfer", "herds.healthnote",
    }  # fmt: skip
    assert named <= set(REMEMBERED)
    assert BreedProfile._meta.label_lower in REMEMBERED
