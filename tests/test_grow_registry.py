"""Columns by COPY arrive as they were, and the command that grows a registry never touches a real club."""

from datetime import date, datetime

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone

from clubsite.members.models import Club, Member
from fixtures.growing.copying import Words, copy_rows
from herds.models import Animal, Herd, Kit, Litter, Mark

pytestmark = pytest.mark.django_db


def test_columns_arrive_in_the_table_as_they_were(cast):
    litter = Litter.objects.create(herd=cast.herd, dam=cast.dam, born_on=date(2026, 3, 1), born_alive=3)
    with connection.cursor() as cursor:
        copy_rows(
            cursor,
            Kit,
            {
                "id": np.arange(900_001, 900_004),
                "litter_id": litter.pk,
                "number": np.arange(1, 4),
                "sex": Words(np.array([0, 1, 0]), ["doe", "buck"]),
                "white_at": Words(np.array([0, 1, 2]), [["head", "nose"], [], ["none"]]),
                "died_on": np.array(["2026-03-02", "NaT", "2026-04-01"], dtype="datetime64[D]"),
                "note": ["ä, long", "", "x"],
                "animal_id": np.ma.masked_array([cast.sire.pk, 0, 0], mask=[False, True, True]),
            },
            3,
        )
    rows = list(Kit.objects.filter(pk__gte=900_001).order_by("pk").values_list(
        "number", "sex", "white_at", "died_on", "note", "animal"))  # fmt: skip
    assert rows == [
        (1, "doe", ["head", "nose"], date(2026, 3, 2), "ä, long", cast.sire.pk),
        (2, "buck", [], None, "", None),
        (3, "doe", ["none"], date(2026, 4, 1), "x", None),
    ]


def test_a_moment_arrives_to_the_microsecond(cast):
    when = datetime(2026, 3, 1, 7, 30, 15, 123456)
    with connection.cursor() as cursor:
        copy_rows(
            cursor,
            Mark,
            {"id": 900_001, "animal_id": cast.sire.pk, "kind": "ring", "text": "Q1", "logged_at": np.datetime64(when)},
            1,
        )
    mark = Mark.objects.get(pk=900_001)
    assert mark.logged_at == timezone.make_aware(when)
    assert mark.key == "Q1"


def test_a_real_club_is_never_grown_into(cast):
    Club.objects.update_or_create(pk=1, defaults={"is_demo": False})
    with pytest.raises(CommandError, match="There are members here already"):
        call_command("grow_registry", "--animals", "300")
    with pytest.raises(CommandError, match="This is no demo club"):
        call_command("grow_registry", "--animals", "300", "--beside")
    with pytest.raises(CommandError, match="at least 300 animals"):
        call_command("grow_registry", "--animals", "10")
    assert not Herd.objects.filter(slug__startswith="grown-").exists()


def test_it_grows_beside_a_demo_club_and_only_once(cast, capsys):
    Club.objects.update_or_create(pk=1, defaults={"is_demo": True})
    before = Member.objects.count()
    call_command("grow_registry", "--animals", "300", "--looks-per-animal", "1", "--beside", "--check")
    told = capsys.readouterr().out
    assert "All 27 rules hold." in told
    assert Member.objects.filter(email__endswith="@grown.example").count() == Member.objects.count() - before > 5
    assert Animal.objects.create(herd=cast.herd, breed=cast.dam.breed, sex="doe").pk > 300  # the sequence went on
    with pytest.raises(CommandError, match="grown here already"):
        call_command("grow_registry", "--animals", "300", "--beside")
