"""Holding rows until a transaction ends: the one place where that is done to what several people write at once.

There is one order: the series, parts, issues, pages, marks, and by key within each. Whoever holds rows of several
kinds asks for all of them in one ``hold``, at the beginning, with the strongest hold that will be needed; then nobody
waits in a circle. Rows that hang on these (locks, waivers, scenes' areas, notes) are held after them. Whatever
is read to decide by is read after holding.

SQLite lets one transaction write at a time, which is as good.

Who marks keeps the series and shares the parts; who decides changes series and parts; who signs, moves an issue or
changes how codes read has the series alone. ``tests/faults/at_once.py`` tries it by the thousand.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import Enum
from typing import Any, NamedTuple

from django.core.exceptions import EmptyResultSet
from django.db import connection, models, transaction

from bible.models import Issue, Part, Series
from bible.series.refusals import Refused
from bible.series.things import why_archived

ORDER = ("series", "part", "issue", "guide", "mark")
"""Models in the order in which their rows are held. Those of the guides are known here by name only."""


PART_GONE = "A part has been deleted meanwhile, so nothing can be decided for it."


class How(Enum):
    """How rows are held, from weak to strong. A row that points at others holds them ``KEPT`` by itself, when its
    transaction ends at the latest; so what rows point at is held ``ALONE`` only by who holds the series so."""

    KEPT = "KEY SHARE"
    """By many at once, one of whom may change them; nobody has them alone."""

    SHARED = "SHARE"
    """By many at once, and nobody changes them."""

    TO_CHANGE = "NO KEY UPDATE"
    """By one who changes them; rows that point at them may still be written."""

    ALONE = "UPDATE"
    """By one, and nobody else: not even rows that point at them are written meanwhile."""


class Rows(NamedTuple):
    """Rows to be held, and how."""

    rows: models.QuerySet[Any]
    how: How


def hold(*asked: Rows) -> None:
    """Hold rows until the transaction ends, all in the order that everybody keeps.

    Raises:
        TransactionManagementError: outside a transaction, where nothing would be held.
    """
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError("Rows are held until a transaction ends: there is none.")
    if connection.vendor != "postgresql":
        return
    for rows, how in sorted(asked, key=lambda wanted: ORDER.index(wanted.rows.model._meta.model_name)):
        try:
            sql, params = rows.order_by("pk").values_list("pk").query.sql_with_params()
        except EmptyResultSet:
            continue
        table = connection.ops.quote_name(rows.model._meta.db_table)
        with connection.cursor() as cursor:
            # Counted there: held rows need not come here, and there may be very many.
            cursor.execute(f"SELECT count(*) FROM ({sql} FOR {how.value} OF {table}) held", params)


def series_rows(series_id: int, how: How) -> Rows:
    return Rows(Series.objects.filter(pk=series_id), how)


def part_rows(part_ids: Iterable[int | None], how: How) -> Rows:
    """The parts of some keys; those that are None are none."""
    return Rows(Part.objects.filter(pk__in={part for part in part_ids if part is not None}), how)


def hold_series(series_id: int) -> None:
    """Hold a series alone: nobody marks, decides or signs in it until the transaction ends."""
    hold(series_rows(series_id, How.ALONE))


def hold_reading(series_id: int) -> None:
    """Let no change of notation or chart pass between reading a code and storing it, and nobody sign: they wait until
    this transaction ends. Many may hold a series so at once. Whatever is read of the series must be read after this.
    """
    hold(series_rows(series_id, How.KEPT))


def hold_to_decide(series_id: int, part_ids: Iterable[int]) -> None:
    """Hold what a decision about some parts rests on: one decides in a series at a time, and nobody marks these parts
    meanwhile.

    Raises:
        Refused: one of the parts has been deleted.
    """
    parts = set(part_ids)
    hold(series_rows(series_id, How.TO_CHANGE), part_rows(parts, How.TO_CHANGE))
    if Part.objects.filter(pk__in=parts).count() < len(parts):
        raise Refused(PART_GONE)


def hold_to_lock(series_id: int, part_ids: Iterable[int]) -> None:
    """``hold_to_decide`` for who locks anew. What is locked already may still be put right where a part is archived:
    corrected, ended, undone.

    Raises:
        Refused: one of the parts has been deleted or archived.
    """
    parts = set(part_ids)
    hold(series_rows(series_id, How.TO_CHANGE), part_rows(parts, How.TO_CHANGE))
    if Part.objects.offered().filter(pk__in=parts).count() < len(parts):
        refuse_archived_parts(parts)
        raise Refused(PART_GONE)


def refuse_archived_parts(part_ids: Iterable[int | None]) -> None:
    """Refuse what is said anew of parts that somebody has archived meanwhile; for who holds them."""
    keys = {part for part in part_ids if part is not None}
    if away := Part.objects.archived().filter(pk__in=keys).with_names().first():
        raise Refused(why_archived(away))


def hold_places(issues: Iterable[Issue | None]) -> None:
    """Hold issues whose places in the running order a decision rests on. After the series and the parts.

    Raises:
        Refused: one of them stands elsewhere by now than when it was read.
    """
    read = {issue.pk: issue.position for issue in issues if issue}
    hold(Rows(Issue.objects.filter(pk__in=read), How.TO_CHANGE))
    for issue in Issue.objects.filter(pk__in=read).order_by("pk"):
        if issue.position != read[issue.pk]:
            raise Refused(
                f"Issue {issue.number} has been moved in the running order meanwhile. Look at the issues again, then"
                " save if yours should still hold."
            )
