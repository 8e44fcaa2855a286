"""Writes a series into one zip, while people work in it, in memory that does not grow with it."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path, PurePosixPath
from typing import IO, Any

from django.contrib.auth import get_user_model
from django.core.files.storage import default_storage
from django.db import connection, models, transaction
from django.db.models import Count, Max, Min
from django.utils import timezone

from bible.models import Series
from guides.archive import steps
from guides.archive.tables import FORMAT, TABLES, VERSION, ArchiveColumn, ArchiveTable

CHUNK = 2_000
"""Rows read at a time."""

BLOCK = 2**20
"""Bytes of a picture held at a time."""

LEVEL = 3
"""Lines of JSON shrink to about a tenth whatever the level; this one costs the least time."""

ZIP_MOMENT = (1980, 1, 1, 0, 0, 0)
"""The same series gives the same bytes: the manifest alone says when."""


@dataclass
class Exported:
    """What went into an archive. ``missing`` names pictures that the media store did not have."""

    path: Path
    rows: dict[str, int] = field(default_factory=dict)
    pictures: int = 0
    byte_size: int = 0
    missing: list[str] = field(default_factory=list)


def export_series(series: Series, path: Path) -> Exported:
    """Write an archive of a series to ``path``.

    Everything is read from one snapshot of the database, so what people save meanwhile is either wholly in it or
    not at all. The file appears under its name only when it is complete.
    """
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as out, snapshot():
            exported = _Writer(series, out, path).write()
        os.replace(draft, path)
    except BaseException:
        os.unlink(draft)
        raise
    exported.byte_size = path.stat().st_size
    return exported


@contextmanager
def snapshot() -> Iterator[None]:
    """Reads inside see the database as it was at the first of them; nobody has to wait for it.

    Inside a transaction that has begun already it leaves things as they are.
    """
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "sqlite":
        # Not ``atomic``: that takes SQLite's write lock here (IMMEDIATE), and everybody would wait. In WAL mode a
        # deferred transaction that only reads keeps its snapshot beside writers.
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
            try:
                yield
            finally:
                cursor.execute("ROLLBACK")
    else:
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield


class People:
    """Names of people by primary key, looked up once each."""

    def __init__(self) -> None:
        self.known: dict[int, str] = {}
        self.rows: dict[str, dict[str, str]] = {}

    def name(self, pk: int) -> str:
        if pk not in self.known:
            user = get_user_model()._default_manager.get(pk=pk)
            self.known[pk] = user.get_username()
            self.rows[self.known[pk]] = {
                "username": user.get_username(),
                "first_name": user.first_name,
                "last_name": user.last_name,
            }
        return self.known[pk]


class _Writer:
    def __init__(self, series: Series, out: IO[bytes], path: Path) -> None:
        self.series = series
        self.zip = zipfile.ZipFile(out, "w", allowZip64=True)
        self.exported = Exported(path)
        self.people = People()
        self.members: dict[str, dict[str, Any]] = {}
        self.first: dict[str, int] = {}
        self.manifest: dict[str, Any] = {
            "format": FORMAT,
            "version": VERSION,
            "series": series.slug,
            "title": series.title,
            "written_at": timezone.now().isoformat(),
            "tables": {},
        }

    def write(self) -> Exported:
        for table in TABLES:
            self._measure(table)
        for table in TABLES:
            self._add(table.member, partial(self._lines, table), zipfile.ZIP_DEFLATED)
        for table in TABLES:
            self._add_files(table)
        people = (_line(self.people.rows[name]) for name in sorted(self.people.rows))
        self._add("people.jsonl", lambda: people, zipfile.ZIP_DEFLATED)
        self.manifest |= {"missing": self.exported.missing, "members": self.members}
        self.zip.writestr(_entry("manifest.json", zipfile.ZIP_DEFLATED), json.dumps(self.manifest, indent=1))
        self.zip.close()
        return self.exported

    def _measure(self, table: ArchiveTable) -> None:
        """Keys in an archive count from 1 in every table, so that they fit behind whatever a database holds."""
        rows = table.rows(self.series.pk).order_by()
        figures = rows.aggregate(n=Count("pk"), first=Min("pk"), last=Max("pk"))
        self.first[table.key] = first = figures["first"] or 1
        span = (figures["last"] - first + 1) if figures["n"] else 0
        self.manifest["tables"][table.key] = {"rows": figures["n"], "last_id": span}
        self.exported.rows[table.key] = figures["n"]

    def _lines(self, table: ArchiveTable) -> Iterator[bytes]:
        columns = table.columns
        writers = [(column.name, self._writer_of(table, column)) for column in columns]
        names = [column.field.attname for column in columns]
        key = next(index for index, column in enumerate(columns) if column.is_key)
        for row in table.rows(self.series.pk).values_list(*names).iterator(CHUNK):
            data = {
                name: None if value is None else write(value, row[key])
                for (name, write), value in zip(writers, row, strict=True)
            }
            yield _line(data)

    def _writer_of(self, table: ArchiveTable, column: ArchiveColumn) -> Any:
        if column.is_key or column.target:
            shift = self.first[(column.target or table).key] - 1
            return lambda value, pk: value - shift
        if column.is_person:
            return lambda value, pk: self.people.name(value)
        if isinstance(column.field, models.FileField):
            shift = self.first[table.key] - 1
            return lambda value, pk: member_of(table, pk - shift, column.name, value)
        if column.has_keys:
            return lambda value, pk: steps.moved(value, self._key_in_archive)
        return lambda value, pk: column.dump(value)

    def _key_in_archive(self, label: str, pk: int) -> int:
        """0 where the row is gone, be it that the table begins behind it or ends before it."""
        key = pk - self.first[label] + 1
        return key if 0 < key <= self.manifest["tables"][label]["last_id"] else 0

    def _add_files(self, table: ArchiveTable) -> None:
        if not table.file_columns:
            return
        shift = self.first[table.key] - 1
        names = [column.field.attname for column in table.file_columns]
        for pk, *stored in table.rows(self.series.pk).values_list("pk", *names).iterator(CHUNK):
            for column, name in zip(table.file_columns, stored, strict=True):
                if name:
                    self._add_file(member_of(table, pk - shift, column.name, name), name)

    def _add_file(self, member: str, stored: str) -> None:
        try:
            source = default_storage.open(stored)
        except FileNotFoundError:
            self.exported.missing.append(member)
            return
        with source:
            # Pictures are compressed already.
            self._add(member, lambda: iter(partial(source.read, BLOCK), b""), zipfile.ZIP_STORED)
        self.exported.pictures += 1

    def _add(self, member: str, blocks: Any, compression: int) -> None:
        digest, size = hashlib.sha256(), 0
        with self.zip.open(_entry(member, compression), "w", force_zip64=True) as out:
            for block in blocks():
                digest.update(block)
                size += len(block)
                out.write(block)
        self.members[member] = {"sha256": digest.hexdigest(), "bytes": size}


def member_of(table: ArchiveTable, row: int, column: str, stored: str) -> str:
    """Where a stored file stands in the archive; empty where there is none."""
    suffix = PurePosixPath(stored).suffix.lower()
    suffix = suffix if suffix[1:].isalnum() and suffix.isascii() and len(suffix) <= 9 else ""
    return f"files/{table.key}/{row}/{column}{suffix}" if stored else ""


def _line(data: dict[str, Any]) -> bytes:
    # Sorted, because PostgreSQL keeps no order inside a JSON column: both databases write the same bytes.
    return json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode() + b"\n"


def _entry(name: str, compression: int) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, ZIP_MOMENT)
    entry.compress_type = compression
    entry._compresslevel = LEVEL  # type: ignore[attr-defined]
    entry.external_attr = 0o644 << 16
    return entry
