"""Which rows a request changed: what writes is overheard, and a table that was written to is compared with what it held."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.apps import apps
from django.db import connection

WRITES = re.compile(r'^\s*(?:INSERT(?: OR \w+)? INTO|UPDATE|DELETE FROM|COPY|WITH)\s+"?(\w+)"?', re.IGNORECASE)
COUNTED_APART = {"bible_accountsession", "bible_allowance"}
"""Tables that every visit writes to: a change there is nothing that a page speaks of."""
SEEN_COLUMNS = ("looked_at", "seen_until", "last_login")
"""Columns that a visit alone may move."""


class Rows:
    """What stands in every table, as one sum a table. A table nobody wrote to is not looked at again."""

    def __init__(self) -> None:
        models = [model._meta for model in apps.get_models(include_auto_created=True)]
        self.columns = {
            meta.db_table: [
                field.column or field.name for field in meta.local_concrete_fields if field.name not in SEEN_COLUMNS
            ]
            for meta in models
            if meta.db_table not in COUNTED_APART
        }
        self.sums = {table: self._sum(table) for table in self.columns}
        self.written: set[str] = set()
        self.moved: set[str] = set()
        self.values: list[str] = []

    def _sum(self, table: str) -> str:
        name = connection.ops.quote_name
        columns = ", ".join(name(column) for column in self.columns[table])
        said = hashlib.blake2b(digest_size=12)
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT {columns} FROM {name(table)} ORDER BY 1")
            for row in cursor:
                said.update(repr(row).encode("utf-8", "replace"))
        return said.hexdigest()

    def _overhear(self, execute: Callable[..., Any], sql: Any, params: Any, many: bool, context: Any) -> Any:
        text = str(sql)
        if WRITES.match(text):
            self.written |= {table for table in self.sums if table in text}
            self.values += [text for row in (params or () if many else [params or ()]) for text in _flat(row)]
        return execute(sql, params, many, context)

    @contextmanager
    def watched(self) -> Iterator[None]:
        """What happens inside is overheard; ask ``changed`` afterwards."""
        self.written, self.values = set(), []
        with connection.execute_wrapper(self._overhear):
            yield

    def changed(self) -> set[str]:
        """Tables that hold something else than before the last watched request."""
        now = {table: self._sum(table) for table in self.written}
        self.moved = {table for table, said in now.items() if said != self.sums[table]}
        self.sums |= now
        return self.moved

    def wrote(self, text: str) -> bool:
        """Whether a text went into a row, in whatever letters."""
        sought = " ".join(text.split()).casefold()
        return any(sought in " ".join(value.split()).casefold() for value in self.values)


def _flat(row: Any) -> Iterator[str]:
    """Values as text, that of a file as what stands in it: both databases wrap bytes up."""
    for value in row.values() if isinstance(row, dict) else row:
        said = getattr(value, "obj", value)
        yield said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said)
