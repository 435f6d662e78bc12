"""The walk through a whole pedigree finds the animals that the lines' own query finds."""

import numpy as np
import pytest

from grading.comparing.descent import line_animals, rows_of
from herds.models import Line, LineAnimal, LinePart, LineRule

from .test_lines import pedigree  # noqa: F401 - a fixture


@pytest.fixture
def lines(pedigree, cast):  # noqa: F811
    """Two lines of each rule, with animals named in every way, and one by hand."""
    made = [
        Line.objects.create(name=f"{rule} {first}", foundation=pedigree[first], rule=rule, owner=cast.keeper)
        for rule in LineRule
        if rule != LineRule.BY_HAND
        for first in (0, 1)
    ]
    made.append(Line.objects.create(name="By hand", rule=LineRule.BY_HAND, owner=cast.keeper))
    parts = [(pedigree[8 + i], LinePart.PASSES_ON) for i in range(8)] + [(pedigree[20], LinePart.PASSES_ON)]
    parts += [(pedigree[17], LinePart.LEFT_OUT), (pedigree[26], LinePart.LEFT_OUT), (cast.sire, LinePart.ADDED)]
    for line in made:
        some = parts if line.foundation_id else parts[-1:]
        LineAnimal.objects.bulk_create(LineAnimal(line=line, animal=animal, part=part) for animal, part in some)
    return made


def found_by(keys):
    line, animal = line_animals(keys)
    return {key: sorted(animal[line == key].tolist()) for key in keys}


def test_each_line_holds_what_its_own_query_finds(lines):
    expected = {line.pk: sorted(line.members().values_list("pk", flat=True)) for line in lines}
    assert found_by([line.pk for line in lines]) == expected
    assert {line.pk: found_by([line.pk])[line.pk] for line in lines} == expected
    assert len(set(map(tuple, expected.values()))) > 6


def test_a_line_that_is_gone_and_one_without_named_animals(cast, django_assert_num_queries):
    line = Line.objects.create(name="Bare", foundation=cast.sire, owner=cast.keeper)
    with django_assert_num_queries(3):
        assert found_by([line.pk, line.pk + 1]) == {line.pk: sorted([cast.sire.pk, cast.daughter.pk]), line.pk + 1: []}


def test_rows_of_keys_that_are_there_and_that_are_not():
    ids = np.array([3, 5, 9])
    assert rows_of(ids, [9, 3, 5, 1, 4, 12, -1]).tolist() == [2, 0, 1, -1, -1, -1, -1]
    assert rows_of(ids[:0], [3, -1]).tolist() == [-1, -1]
