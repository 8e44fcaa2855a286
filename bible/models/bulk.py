"""Many rows into one table at once, straight past the models: for archives and for series made by machine."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain, islice
from typing import Any

from django.db import connection, models

BATCH = 5_000
"""Rows that whoever makes them holds at a time: beyond this a larger batch saves nothing (tried 1,000 to 50,000)."""


def write_rows(model: type[models.Model], columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Write rows whose values are as the database's driver takes them, in the order of ``columns``.

    One COPY on PostgreSQL, where a statement a row would spend most of its time on the way; one prepared statement
    on SQLite. Neither passes ``auto_now``, defaults or signals, and both leave every constraint to the database.

    ``rows`` may ask the database before its first row, never between rows: the line is busy with them.

    Raises:
        DatabaseError: the database refuses a row; nothing of them is kept once the transaction is rolled back.
    """
    quoted = connection.ops.quote_name
    table, names = quoted(model._meta.db_table), ", ".join(map(quoted, columns))
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            rows = iter(rows)
            begun = list(islice(rows, 1))
            with connection.wrap_database_errors, cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for row in chain(begun, rows):
                    copy.write_row(row)
        else:
            places, rows = ", ".join(["%s"] * len(columns)), iter(rows)
            # In batches: Django looks at the first row through ``tee``, which keeps every row until the last is in.
            while batch := list(islice(rows, BATCH)):
                cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({places})", batch)


def gather_statistics() -> None:
    """Tell the planner what is there now. After many rows it would go on planning for an empty table."""
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")
