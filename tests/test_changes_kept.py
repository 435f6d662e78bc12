"""Whatever changes a row, and however: the database keeps who, when, from what to what, and why."""

import pytest
from django.db import connection

from clubsite.history import acting, because
from clubsite.members.models import Change
from herds.models import Animal, Mark, Weight

from .factories import make_weight

pytestmark = pytest.mark.django_db


def changes(row):
    return list(Change.objects.filter(label=row._meta.label_lower, object_id=row.pk).order_by("pk"))


def test_update_by_queryset_bulk_update_and_sql_are_all_kept(cast):
    Animal.objects.filter(pk=cast.sire.pk).update(name="Slater")
    cast.sire.name = "Slatest"
    Animal.objects.bulk_update([cast.sire], ["name"])
    with connection.cursor() as cursor:
        cursor.execute("UPDATE herds_animal SET name = 'By hand' WHERE id = %s", [cast.sire.pk])
    pairs = [each.changed for each in changes(cast.sire)]
    assert pairs == [{"name": ["Slate", "Slater"]}, {"name": ["Slater", "Slatest"]}, {"name": ["Slatest", "By hand"]}]
    assert {each.member_id for each in changes(cast.sire)} == {None}
    assert {each.audience for each in changes(cast.sire)} == {"identity"}
