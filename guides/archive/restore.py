"""Brings an archive back as a series of its own: all of it or nothing, and beside whatever else is here."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice, repeat
from operator import itemgetter
from pathlib import PurePosixPath
from typing import Any

from django.contrib.auth import get_user_model
from django.core.exceptions import ValidationError
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.core.validators import validate_slug
from django.db import DatabaseError, connection, models, transaction
from django.db.models import Max

from bible.models import Series, refuse_reserved_slug
from bible.models.bulk import BATCH, write_rows
from bible.models.fields import OwnKeyField
from bible.models.roles import BadOwnList
from bible.series.refusals import Refused
from guides.archive import steps
from guides.archive.check import Archive, DamagedArchive
from guides.archive.older import OneTime, say_what_waived_marks_fade_to
from guides.archive.tables import BY_KEY, BY_MODEL, TABLES, ArchiveColumn, ArchiveTable, BadValue
from guides.core import counts

Load = Callable[[dict[str, Any]], Any]
"""From a row of an archive to what the database takes for one of its columns; raises ``BadValue``."""

Loader = tuple[ArchiveColumn, Load]

ASKED_ONCE = (int, str, bool, type(None))
"""Types of values that are the same whenever they are equal; -0.0 and 0.0 are not."""


def _by_columns(loaders: list[Loader], rows: list[dict[str, Any]]) -> Iterable[Sequence[Any]] | None:
    """Some rows column by column, each distinct value of a column loaded once: among a million marks few are.

    None where anything is amiss, or a row lacks a column: they are then to be looked at one by one.
    """
    names = [column.name for column, _ in loaders]
    if any(len(row) != len(names) for row in rows):
        return None
    try:
        columns = list(zip(*map(itemgetter(*names), rows), strict=True))
        return zip(*map(_column, loaders, columns, repeat(rows)), strict=True)
    except (KeyError, BadValue):
        return None


def _column(loader: Loader, values: Sequence[Any], rows: list[dict[str, Any]]) -> Iterable[Any]:
    column, load = loader
    kinds = set(map(type, values))
    # Of one type besides None: True is 1 to a dictionary, and here one is right where the other is damage.
    if not isinstance(column.field, models.FileField) and kinds <= set(ASKED_ONCE) and len(kinds - {type(None)}) < 2:
        loaded = {value: load({column.name: value}) for value in set(values)}
        return map(loaded.__getitem__, values)
    return list(map(load, rows))


@dataclass
class Restored:
    """What came back. ``joined`` are people who were here already under the same user name, ``made`` new ones."""

    series: Series
    rows: dict[str, int] = field(default_factory=dict)
    pictures: int = 0
    missing: list[str] = field(default_factory=list)
    joined: list[str] = field(default_factory=list)
    made: list[str] = field(default_factory=list)


def restore_series(archive: Archive, *, slug: str = "") -> Restored:
    """Restore an archive under its own short name, or under ``slug``.

    Keys are moved behind every key there is, so no row that is here already can be met. People are found by user
    name; who is missing is made anew and cannot sign in until a password is set. Files are written first and
    removed again if the rows cannot be.
    """
    slug = slug or str(archive.manifest.get("series"))
    _refuse_slug(slug)
    archive.verify()
    first = _reserve(archive)
    files = _Files(archive, f"guides/restored-{uuid.uuid4().hex}")
    try:
        files.write()
        with transaction.atomic():
            return _RowReader(archive, slug, first, files).read()
    except DatabaseError as error:
        files.remove()
        raise DamagedArchive(f"The database refused the rows of this archive: {error}") from error
    except BaseException:
        files.remove()
        raise


def _refuse_slug(slug: str) -> None:
    try:
        validate_slug(slug)
        refuse_reserved_slug(slug)
    except ValidationError as error:
        raise Refused(f"“{slug}” cannot be a short name: {' '.join(error.messages)}") from error
    if len(slug) > (Series._meta.get_field("slug").max_length or 0):
        raise Refused(f"“{slug}” is too long for a short name.")
    if Series.objects.filter(slug=slug).exists():
        raise Refused(
            f"There is a series “{slug}” here already, and it is left alone. Choose another name with --as."
        )


def _reserve(archive: Archive) -> dict[str, int]:
    """Set a stretch of keys of every table aside; returns the first key of each.

    Short and in a transaction of its own, so that on PostgreSQL nobody waits for the rows; keys that are not used
    in the end are only skipped. On SQLite the counter can be raised only with the rows: see ``_claim``.
    """
    if connection.vendor == "sqlite":
        return {table.key: 0 for table in TABLES}
    with transaction.atomic():
        return {table.key: _claim(table, archive.span(table.key)) for table in TABLES}


def _claim(table: ArchiveTable, span: int) -> int:
    name, last = table.model._meta.db_table, table.model._base_manager.aggregate(last=Max("pk"))["last"] or 0
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [name])
            row = cursor.fetchone()
            return max(last, row[0] if row else 0) + 1
        cursor.execute(f"LOCK TABLE {connection.ops.quote_name(name)} IN SHARE ROW EXCLUSIVE MODE")
        cursor.execute("SELECT pg_get_serial_sequence(%s, 'id')", [name])
        (sequence,) = cursor.fetchone()
        cursor.execute(f"SELECT last_value FROM {sequence}")
        first = max(last, cursor.fetchone()[0]) + 1
        cursor.execute("SELECT setval(%s, %s)", [sequence, first + span])
    return first


class _Files:
    """The pictures of an archive on their way into the media store."""

    def __init__(self, archive: Archive, folder: str) -> None:
        self.archive = archive
        self.folder = folder
        self.stored: dict[str, str] = {}

    def write(self) -> None:
        for member in self.archive.members:
            if member.startswith("files/"):
                with self.archive.zip.open(member) as source:
                    self.stored[member] = default_storage.save(self.name_of(member), File(source, name=member))

    def name_of(self, member: str) -> str:
        _, table, row, name = PurePosixPath(member).parts
        return f"{self.folder}/{table}/{row}/{name}"

    def remove(self) -> None:
        for name in self.stored.values():
            default_storage.delete(name)


class _RowReader:
    def __init__(self, archive: Archive, slug: str, first: dict[str, int], files: _Files) -> None:
        self.archive = archive
        self.slug = slug
        self.first = first
        self.files = files
        self.people: dict[str, int] = {}
        self.named: set[str] = set()
        self.one_time = OneTime(archive)
        self.series: Series | None = None

    def read(self) -> Restored:
        if connection.vendor == "sqlite":
            # The write lock is held from here on, so nobody can take these keys.
            self.first = {table.key: _claim(table, self.archive.span(table.key)) for table in TABLES}
        _refuse_slug(self.slug)
        joined, made = self._find_people()
        rows = {table.key: self._insert(table) for table in TABLES}
        self.one_time.save(self.first[OneTime.table.key])
        series = Series.objects.get(pk=self.first[BY_MODEL["bible.Series"].key])
        say_what_waived_marks_fade_to(series)
        self._refuse_unreadable(series)
        counts.recount(series)
        if unused := sorted(set(self.files.stored) - self.named):
            raise DamagedArchive(f"{unused[0]} belongs to no row of the archive.")
        return Restored(
            series=series,
            rows=rows,
            pictures=len(self.files.stored),
            missing=sorted(self.archive.missing),
            joined=joined,
            made=made,
        )

    def _find_people(self) -> tuple[list[str], list[str]]:
        users = get_user_model()._default_manager
        joined, made = [], []
        for number, row in self.archive.lines("people.jsonl"):
            names = {name: row.get(name) for name in ("username", "first_name", "last_name")}
            if (
                not all(isinstance(name, str) and len(name) <= 150 for name in names.values())
                or not names["username"]
            ):
                raise DamagedArchive(f"people.jsonl, line {number} does not name a person.")
            username = str(names["username"])
            user = users.filter(username=username).first()
            if user is None:
                user = get_user_model()(**{name: str(value) for name, value in names.items()})
                user.set_unusable_password()
                user.save(force_insert=True)
                made.append(username)
            else:
                joined.append(username)
            self.people[username] = user.pk
        return joined, made

    def _insert(self, table: ArchiveTable) -> int:
        count = 0

        def counted() -> Iterator[Sequence[Any]]:
            nonlocal count
            for row in self._rows(table):
                count += 1
                yield row

        write_rows(table.model, [str(column.field.column) for column in table.columns], counted())
        if count != self.archive.row_count(table.key):
            raise DamagedArchive(f"{table.member} has {count} rows; the manifest says otherwise.")
        return count

    def _rows(self, table: ArchiveTable) -> Iterator[Sequence[Any]]:
        """Rows as the database takes them, without passing ``auto_now`` and the like: a moment stays what it was."""
        loaders = [(column, self._loader(table, column)) for column in table.columns]
        lines = self.archive.lines(table.member)
        while batch := list(islice(lines, BATCH)):
            if table == OneTime.table:
                self.one_time.take_out(batch)
            rows = _by_columns(loaders, [row for _, row in batch])
            yield from (self._row(table, loaders, *line) for line in batch) if rows is None else rows

    def _row(self, table: ArchiveTable, loaders: list[Loader], number: int, row: dict[str, Any]) -> list[Any]:
        """One row by itself. Raises ``DamagedArchive`` that names the line, and the column where one is wrong."""
        if strange := row.keys() - {column.name for column, _ in loaders}:
            raise DamagedArchive(
                f"{table.member}, line {number}: this program does not know “{min(strange)}”; is it older?"
            )
        values = []
        for column, load in loaders:
            try:
                values.append(load(row))
            except BadValue as error:
                raise DamagedArchive(f"{table.member}, line {number}, {column.name}: {error}.") from error
        return values

    def _loader(self, table: ArchiveTable, column: ArchiveColumn) -> Any:
        prepare, name, nullable = (
            column.field.get_db_prep_save,
            column.name,
            column.field.null,
        )
        is_key, target = column.is_key or column.target is not None, column.target or table
        span, shift = (self.archive.span(target.key), self.first[target.key] - 1) if is_key else (0, 0)
        is_slug = table.label == "bible.Series" and name == "slug"
        known = self._own_keys(column.field)

        def load(row: dict[str, Any]) -> Any:
            if name not in row:
                if not column.has_default:
                    raise BadValue("it is missing")
                return prepare(column.field.get_default(), connection)
            if is_slug:
                return self.slug
            value = row[name]
            if value is None:
                if not nullable and not isinstance(column.field, models.JSONField):
                    raise BadValue("it is empty")
                return prepare(None, connection)
            if isinstance(value, str) and "\0" in value:
                raise BadValue("it holds a NUL character")
            if column.is_person:
                return self._person(value)
            if is_key:
                if type(value) is not int or not 1 <= value <= span:
                    raise BadValue(f"{value!r} is not a key of {target.member}")
                return shift + value
            if isinstance(column.field, models.FileField):
                return self._file(table, row, name, value)
            if column.has_keys:
                return prepare(self._steps(value), connection)
            if known and value and value not in known:
                raise BadValue(f"{value!r} is none of {', '.join(sorted(known))}")
            return prepare(column.load(value), connection)

        return load

    def _steps(self, value: Any) -> list[list[Any]]:
        try:
            return steps.moved(value, self._key_here)
        except ValueError as error:
            raise BadValue(str(error)) from error

    def _key_here(self, label: str, key: Any) -> int:
        if type(key) is not int or not 0 <= key <= self.archive.span(label):
            raise ValueError(f"{str(key)[:40]!r} is not a key of {BY_KEY[label].member}")
        return key + self.first[label] - 1 if key else 0

    def _own_keys(self, field: models.Field[Any, Any]) -> frozenset[str]:
        """The entries of the series' own list that a column names; the series comes before every other table."""
        if not isinstance(field, OwnKeyField):
            return frozenset()
        if self.series is None:
            self.series = Series.objects.get(pk=self.first[BY_MODEL["bible.Series"].key])
        try:
            return frozenset(getattr(self.series, field.of).keys)
        except BadOwnList as error:
            raise DamagedArchive(f"The series of this archive has a list that is none: {error}.") from error

    def _person(self, value: Any) -> int:
        if not isinstance(value, str) or value not in self.people:
            raise BadValue(f"{value!r} is not in people.jsonl")
        return self.people[value]

    def _file(self, table: ArchiveTable, row: dict[str, Any], name: str, value: Any) -> str:
        if value == "":
            return ""
        if not isinstance(value, str) or not value.startswith(f"files/{table.key}/{row.get('id')}/{name}"):
            raise BadValue(f"{value!r} is not where the file of this row stands")
        if value in self.archive.missing:
            return self.files.name_of(value)
        if value not in self.files.stored:
            raise BadValue(f"{value!r} is not in the archive")
        self.named.add(value)
        return str(self.files.stored[value])

    def _refuse_unreadable(self, series: Series) -> None:
        try:
            series.notation, series.chart  # noqa: B018  (both are worked out on first use)
        except Exception as error:
            member = BY_MODEL["bible.Series"].member
            raise DamagedArchive(f"{member}: notation or chart cannot be read: {error}.") from error
