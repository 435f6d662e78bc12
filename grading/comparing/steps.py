"""The steps given in the looks at some animals, trait by trait, as tables to sum."""

from dataclasses import dataclass

import numpy as np

from clubsite.columns import array_text, columns_of


@dataclass(frozen=True)
class Steps:
    """A row for each look, in the order in which they were made, and a column for each trait that any of them tells.

    place : (l,) which of the animals. traits : (t,) keys, ascending. step : (l, t), the mean over the places parted,
    NaN where not told.
    """

    place: np.ndarray
    traits: np.ndarray
    step: np.ndarray

    def by_animal(self, size):
        """((size, t) how many looks tell the trait of each animal, (size, t) the mean of those looks, else NaN)."""
        row, trait = np.nonzero(~np.isnan(self.step))
        return _means(self.place[row], trait, self.step[row, trait], (size, len(self.traits)))


def read_steps(animals, footing):
    """The Steps of current looks at animals, int64 (a,), that count on a footing. One query."""
    only, params = footing.sql()
    found = columns_of(
        f"""
        SELECT m.place, l.id AS look, l.observed_on - date '2000-01-01' AS day, n.trait_id AS trait, n.step
        FROM unnest(%s::bigint[]) WITH ORDINALITY m (animal_id, place)
        JOIN grading_look l ON l.animal_id = m.animal_id AND l.current
        LEFT JOIN grading_ageclass c ON c.id = l.age_class_id
        JOIN grading_answer n ON n.look_id = l.id
        WHERE n.step IS NOT NULL {only}
        """,  # noqa: S608 - constants of sums.py
        [array_text(animals), *params],
        place="int4", look="int8", day="int4", trait="int8", step="int2",
    )  # fmt: skip
    _, first, row = np.unique(found["look"], return_index=True, return_inverse=True)
    traits, column = np.unique(found["trait"], return_inverse=True)
    _, step = _means(row, column, found["step"], (len(first), len(traits)))
    order = np.argsort(found["day"][first], kind="stable")  # looks of one day in the order of their keys
    return Steps(found["place"][first][order] - 1, traits, step[order])


def columns(values):
    """[(n, mean, sd) of each column] of (r, c), NaN skipped; sd is None of one value, mean too of none."""
    known = ~np.isnan(values)
    n = np.count_nonzero(known, axis=0)
    mean = np.divide(np.where(known, values, 0).sum(axis=0), n, out=np.full(len(n), np.nan), where=n > 0)
    square = (np.where(known, values - mean, 0) ** 2).sum(axis=0)
    return [
        (int(many), float(middle) if many else None, float(np.sqrt(rest / (many - 1))) if many > 1 else None)
        for many, middle, rest in zip(n, mean, square, strict=True)
    ]


def _means(row, column, value, shape):
    """((r, c) how many values, (r, c) their mean, NaN where there is none)."""
    cell = row.astype(np.int64) * shape[1] + column
    size = shape[0] * shape[1]
    many = np.bincount(cell, minlength=size)
    total = np.bincount(cell, weights=value, minlength=size)
    mean = np.divide(total, many, out=np.full(size, np.nan), where=many > 0)
    return many.reshape(shape), mean.reshape(shape)
