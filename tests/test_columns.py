"""Queries as NumPy columns: the same values as row by row, what stands for NULL, and nothing at all."""

import numpy as np
import pytest
from django.db import connection

from clubsite.columns import PACKED, array_text, columns_of

pytestmark = pytest.mark.django_db


def test_columns_hold_what_rows_hold_and_stay_in_step():
    query = """
        SELECT n AS a, mod(n, 30000) AS b, nullif(n, 7) * 5000000000 AS c,
               CASE WHEN mod(n, 3) > 0 THEN sqrt(abs(n)) END AS d
        FROM generate_series(-%s, %s) n ORDER BY hashint8(n), n LIMIT 5000
    """
    with connection.cursor() as cursor:
        cursor.execute(query, [9999, 20000])
        rows = cursor.fetchall()
    found = columns_of(query, [9999, 20000], a="int4", b="int2", c="int8", d="float8")
    assert found["a"].tolist() == [row[0] for row in rows]
    assert found["b"].tolist() == [row[1] for row in rows]
    assert found["c"].tolist() == [-1 if row[2] is None else row[2] for row in rows]
    assert np.array_equal(found["d"], np.array([row[3] for row in rows], float), equal_nan=True)


@pytest.mark.parametrize("kind", PACKED)
def test_null_has_a_value_of_its_own_and_no_rows_are_an_empty_array(kind):
    (value,) = columns_of("SELECT NULL AS x", [], x=kind)["x"].tolist()
    assert value == -1 or (kind == "float8" and np.isnan(value))
    empty = columns_of("SELECT 1 AS x WHERE false", [], x=kind)["x"]
    assert (empty.shape, empty.dtype) == ((0,), PACKED[kind][2])


def test_keys_go_there_and_back():
    keys = [1, -5, 2**62, 0]
    assert columns_of("SELECT * FROM unnest(%s::bigint[]) k", [array_text(keys)], k="int8")["k"].tolist() == keys
    assert array_text([]) == "{}"
