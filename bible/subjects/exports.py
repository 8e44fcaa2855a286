"""Subjects, their history and what is archived, as tables to take along."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from bible.exports.tables import LOCK_COLUMNS, NO_LOCK, Cell, Table, about, lock_cells, person_cell
from bible.models import Lock, Part, Series, Subject
from bible.series.running_order import AsOf, RunningOrder

TOLD_COLUMNS = ("edition", "from_issue", "to_issue", "reason", "decided_by", "decided_at")
NOT_DECIDED = (None,) * len(TOLD_COLUMNS)


def bible_table(series: Series, subjects: Iterable[Subject], as_of: AsOf) -> Table:
    """Every lock that stands, with its edition, issues, reason, decider and date; those in force as of an issue where
    one was asked for, of an edition those that it needs. No edition: the first printing. Parts, costumes and subjects
    that have none stand there without. What it says comes back in."""

    order = RunningOrder.of(series)

    def rows() -> Iterator[tuple[Cell, ...]]:
        for subject in subjects:
            named = (subject.name, series.kinds.name(subject.kind))
            note = subject.note or None
            costumes = list(subject.costumes.all())
            for costume in costumes:
                parts = list(costume.parts.all())
                worn = order.worn_cell(costume) or None
                for part in parts:
                    for cells in _told_locks(series, part, order, as_of) or [(*NO_LOCK, *NOT_DECIDED)]:
                        yield (*named, costume.name, worn, part.name, *cells, note)
                if not parts:
                    yield (*named, costume.name, worn, None, *NO_LOCK, *NOT_DECIDED, note)
            if not costumes:
                yield (*named, None, None, None, *NO_LOCK, *NOT_DECIDED, note)

    columns = ("subject", "kind", "costume", "worn", "part", *LOCK_COLUMNS, *TOLD_COLUMNS, "note")
    facts = about(series, as_of_issue=as_of.asked or None, edition=as_of.edition_name)
    return Table("bible", columns, rows(), facts)


def _told_locks(series: Series, part: Part, order: RunningOrder, as_of: AsOf) -> list[tuple[Cell, ...]]:
    locks: list[Lock] = part.locks_in_force if as_of.edition else part.standing_locks  # type: ignore[attr-defined]
    return [
        (
            *lock_cells(series, lock), lock.edition.name if lock.edition else None, *order.cells(lock),
            lock.reason or None, person_cell(lock.decided_by), lock.decided_at,
        )
        for lock in locks
        if as_of.edition or not as_of.asked or (lock.edition is None and lock.holds_at(as_of.position))
    ]  # fmt: skip


def history_table(
    series: Series, subject: Subject, history: Iterable[Lock], order: RunningOrder, as_of: AsOf, *, with_notes: bool
) -> Table:
    """Every lock a subject ever had; ``in_force`` as of the issue that was asked for."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for lock in history:
            ends = lock.to_position
            holds = lock.withdrawn_at is None and lock.from_position <= as_of.position
            cells = (
                lock.part.costume.name, lock.part.name, *lock_cells(series, lock), order.span(lock),
                holds and (ends is None or as_of.position < ends), person_cell(lock.decided_by), lock.decided_at,
                lock.reason, lock.withdrawn_at, person_cell(lock.withdrawn_by), lock.withdrawn_reason,
            )  # fmt: skip
            yield (*cells, "; ".join(note.text for note in lock.notes.all())) if with_notes else cells

    columns: tuple[str, ...] = (
        "costume", "part", *LOCK_COLUMNS, "issues", "in_force", "decided_by", "decided_at", "reason", "withdrawn_at",
        "withdrawn_by", "withdrawn_reason",
    )  # fmt: skip
    facts = about(series, subject=subject.name, as_of_issue=as_of.number or None)
    return Table(f"subject-{subject.pk}", (*columns, "notes") if with_notes else columns, rows(), facts)


def archived_table(series: Series, archived: Iterable[tuple[str, str, Any]]) -> Table:
    """Sort, name and row of each archived thing."""
    rows = ((what, name, row.archived_at) for what, name, row in archived)
    return Table("archived", ("what", "name", "archived_at"), rows, about(series))
