"""The rows of a query as NumPy columns, for pages that count many thousand rows while somebody waits.

The database packs each column into one value of bytes, so that no row becomes a Python object on the way.
"""

import numpy as np
from django.db import connection

# What packs a value, how its bytes are read, and as what; whole numbers that are NULL become -1, others NaN.
PACKED = {
    "int2": ("int2send(coalesce({}::int2, -1::int2))", ">i2", np.int16),
    "int4": ("int4send(coalesce({}::int4, -1))", ">i4", np.int32),
    "int8": ("int8send(coalesce({}::int8, -1))", ">i8", np.int64),
    "float8": ("float8send(coalesce({}::float8, 'NaN'))", ">f8", np.float64),
}


def columns_of(query, params, **types):
    """{name: array (rows,)} of the columns of a query by name, all in the same order of rows. One query.

    types : for each name a key of PACKED. NULL is -1 in whole numbers and NaN in float8.
    """
    # Every aggregate is fed the rows of one scan in one order, so that the columns stay in step.
    packed = ", ".join(f"string_agg({PACKED[kind][0].format(f'r.{name}')}, '')" for name, kind in types.items())
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {packed} FROM ({query}) r", params)  # noqa: S608 - our own names and queries
        row = cursor.fetchone()
    columns = {}
    for (name, kind), sent in zip(types.items(), row, strict=True):
        _, read, kept = PACKED[kind]
        columns[name] = np.frombuffer(sent or b"", read).astype(kept)
    return columns


def array_text(keys):
    """Whole numbers as the text of a PostgreSQL array, which is quicker to send than a list of many thousand."""
    return f"{{{','.join(map(str, np.asarray(keys, dtype=np.int64).tolist()))}}}"
