"""Stored inbreeding is never shown when it no longer holds."""

import pytest

from pedigrees.models import Inbreeding

from .factories import make_animal

pytestmark = pytest.mark.django_db


def figures():
    return dict(Inbreeding.objects.values_list("animal", "value"))


def test_an_animal_without_both_parents_has_its_figure_at_once_and_others_wait(cast):
    assert figures()[cast.sire.pk] == 0
    assert figures()[cast.daughter.pk] is None
