"""What the database itself refuses about animals, marks, decisions and transfers, with the forms bypassed."""

import threading
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.utils import timezone

from clubsite.constraints import rules_explained
from herds.models import Animal, Decision, Mark, Quarantine, Transfer

from .factories import make_animal, make_herd, make_member

TODAY = timezone.localdate


def refused(change, **given):
    """The sentence with which the database refuses a change."""
    with pytest.raises(ValidationError) as refusal, rules_explained():
        change(**given)
    return " ".join(refusal.value.messages)


def set_on(row, **values):
    return lambda: type(row)._base_manager.filter(pk=row.pk).update(**values)


def test_days_in_the_future_are_refused(cast):
    soon = TODAY() + timedelta(days=3)
    assert "lies in the future" in refused(set_on(cast.daughter, born_on=soon))
    assert "lies in the future" in refused(set_on(cast.daughter, status_on=soon))
    assert "lies in the future" in refused(set_on(cast.daughter, silver_complete_on=soon))
    assert "in the future" in refused(set_on(cast.daughter.marks.get(), issued_on=soon))
    with_decision = {"animal": cast.daughter, "verdict": "keep", "by": cast.keeper}
    assert "lies in the future" in refused(Decision.objects.create, decided_on=soon, **with_decision)
    assert "lies in the future" in refused(
        Quarantine.objects.create, animal=cast.daughter, started_on=soon, planned_until=soon
    )


def test_an_animal_cannot_become_its_own_ancestor(cast):
    young = make_animal(cast.herd, "A9", sex="buck", sire=None, dam=cast.daughter, born_on=TODAY())
    assert "its own ancestor" in refused(set_on(cast.dam, sire=young, born_on=None))


def test_parents_must_fit_their_sex_and_age(cast):
    assert "registered as a doe" in refused(set_on(cast.daughter, sire=cast.dam, dam=None))
    assert "registered as a buck" in refused(set_on(cast.daughter, dam=cast.sire, sire=None))
    assert "Sire and dam are the same" in refused(
        set_on(cast.daughter, sire=make_animal(cast.herd, sex="unknown"), dam=Animal.objects.latest("pk"))
    )
    assert "younger than four months" in refused(set_on(cast.daughter, born_on=cast.dam.born_on + timedelta(days=119)))
    assert "progeny as the other sex" in refused(set_on(cast.sire, sex="doe"))
    assert "too soon after" in refused(set_on(cast.sire, born_on=cast.daughter.born_on))


def test_a_left_ear_mark_is_given_once_in_the_breeders_herd(cast):
    again = make_animal(cast.herd, mark=False)
    assert "Another animal of this breeder's herd" in refused(
        Mark.objects.create, animal=again, text="a-1", issued_by=cast.herd
    )
    Mark.objects.create(animal=again, text="a-1", issued_by=cast.other_herd)


def test_a_mark_cannot_precede_its_animal_nor_end_before_it_begins(cast):
    mark = cast.daughter.marks.get()
    assert "not yet born" in refused(set_on(mark, issued_on=cast.daughter.born_on - timedelta(days=1)))
    Mark.objects.filter(pk=mark.pk).update(issued_on=TODAY())
    assert "before it was made" in refused(set_on(mark, replaced_on=TODAY() - timedelta(days=1), reason="faded"))


def test_an_animal_is_offered_only_by_the_herd_where_it_stands(cast):
    offer = {"animal": cast.daughter, "offered_by": cast.fellow}
    assert "no longer stands" in refused(
        Transfer.objects.create, from_herd=cast.other_herd, to_herd=make_herd(cast.fellow), **offer
    )


def test_a_decision_belongs_to_the_herd_that_made_it(cast):
    decision = Decision.objects.create(animal=cast.daughter, verdict="keep", by=cast.keeper)
    decision.refresh_from_db()
    assert decision.herd == cast.herd
    Animal.objects.filter(pk=cast.daughter.pk).update(herd=cast.other_herd)
    assert not Decision.objects.visible_to(cast.keeper).exists()
    assert not Decision.objects.visible_to(cast.fellow).exists()
    assert Animal.objects.with_decision().get(pk=cast.daughter.pk).verdict is None


def test_marks_sort_as_people_read_them(cast):
    herd = make_herd(cast.keeper)
    for text in ("B1", "A10", "a2", "12", "7", "A2-10", "A2-9"):
        make_animal(herd, text)
    make_animal(herd, mark=False)
    order = [animal.mark_text for animal in Animal.objects.filter(herd=herd).by_mark()]
    assert [text.upper() for text in order] == ["7", "12", "A2", "A2-9", "A2-10", "A10", "B1", ""]


@pytest.mark.django_db(transaction=True)
def test_a_sire_cannot_turn_into_a_doe_while_his_first_young_one_is_being_logged():
    """Two transactions at once: the second waits for the first and is then refused."""
    herd = make_herd(make_member())
    buck = make_animal(herd, sex="buck")
    logged, said = threading.Event(), []

    def turn_into_doe():
        logged.wait(10)
        try:
            said.append(refused(set_on(buck, sex="doe")))
        finally:
            connection.close()

    other = threading.Thread(target=turn_into_doe)
    other.start()
    with transaction.atomic():
        make_animal(herd, sire=buck, born_on=TODAY())
        logged.set()
        other.join(1)
        assert not said
    other.join(10)
    assert "progeny as the other sex" in said[0]
