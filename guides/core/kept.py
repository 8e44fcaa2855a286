"""What an issue was when it was signed or handed off, kept whole, and what has become of it: mark by mark, by whom,
when."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from bible.colour.gradients import Gradient
from bible.colour.tints import Tint
from bible.models import Issue, Series
from bible.models.fields import NoTint
from bible.models.naming import name_of
from guides.core.labels import page_order
from guides.models import Guide, IssueStep, Mark, SignedState

COLUMNS = (
    "page", "mark", "x", "y", "written", "code", "tint", "to_written", "to_tint", "role", "subject", "costume",
    "part", "expected_code", "expected", "waived", "to_x", "to_y", "expected_to",
)  # fmt: skip
"""Of a mark in ``SignedState.marks``: tints are packed, negative where there is none; codes as they were written.
States kept before a column was added lack it."""

Row = dict[str, Any]
Key = tuple[str, int]

COMPARED = (
    "written",
    "tint",
    "to_written",
    "to_tint",
    "role",
    "subject",
    "costume",
    "part",
    "expected",
    "expected_to",
    "waived",
)
"""Where one of these differs, the mark is not what was signed. Its place on the page decides nothing."""


PLACE = ("x", "y", "to_x", "to_y")
"""Where it stands: what a separator looks at, though not what was signed."""

OWED = ("expected", "expected_to")
"""Of these the bible decides, not the mark."""


def keep(step: IssueStep, rows: Mapping[Key, Row] | None = None) -> SignedState:
    """Keep what is signed or handed off, in the transaction of that step: ``rows``, else the marks as they are."""
    guides = Guide.objects.filter(issue=step.issue).current().order_by("page_order", "page")
    scans = [list(row) for row in guides.values_list("page", "revision", "sha256")]
    marks = [[row[name] for name in COLUMNS] for row in (rows_now(step.issue) if rows is None else rows).values()]
    return SignedState.objects.create(step=step, guides=scans, marks=marks)


def rows_now(issue: Issue) -> dict[Key, Row]:
    """The live marks of an issue as they would be signed now, by page and number."""
    marks = (
        Mark.objects.filter(guide__issue=issue).live().with_names().order_by("page_order", "guide__page", "number")
    )
    return {(mark.guide.page, mark.number): kept_row(issue.series, mark) for mark in marks}


def kept_row(series: Series, mark: Mark) -> Row:
    names = mark.part.names if mark.part else ("", "", "")
    return dict(
        zip(
            COLUMNS,
            (
                mark.guide.page, mark.number, mark.x, mark.y, mark.written, _code(series, mark.tint),
                packed_of(mark.tint), mark.to_written, packed_of(mark.to_tint), mark.role, *names,
                _code(series, mark.expectation), packed_of(mark.expected), mark.waived, mark.to_x, mark.to_y,
                packed_of(mark.expected_to),
            ),
            strict=True,
        )
    )  # fmt: skip


def _code(series: Series, tint: object) -> str:
    return series.write(tint) if isinstance(tint, Tint | Gradient) else ""


def packed_of(tint: object) -> int | None:
    if isinstance(tint, Tint):
        return tint.packed
    return int(tint) if isinstance(tint, NoTint) else None


def rows_of(state: SignedState) -> dict[Key, Row]:
    """What was kept, by page and number."""
    rows = (dict(zip(COLUMNS, row, strict=False)) for row in state.marks)
    return {(row["page"], row["mark"]): row for row in rows}


@dataclass(frozen=True, slots=True)
class MarkChange:
    """One mark that is not what was kept: ``was`` or ``now`` is None where it is new or gone. ``what`` says in
    words what moved; ``by`` and ``at`` who did it last and when, where that is known."""

    page: str
    mark: int
    was: Row | None
    now: Row | None
    what: str
    by: str
    at: dt.datetime | None

    @property
    def part(self) -> str:
        row = self.now or self.was or {}
        return f"{row['subject']}, {row['costume']}: {row['part']}" if row.get("part") else "background"

    @property
    def was_code(self) -> str:
        return _said(self.was)

    @property
    def now_code(self) -> str:
        return _said(self.now)

    @property
    def was_odd(self) -> str:
        """What was written where the code of the tint beside it does not say it already."""
        return _odd(self.was)

    @property
    def now_odd(self) -> str:
        return _odd(self.now)

    @property
    def was_tint(self) -> Tint | None:
        return _tint(self.was)

    @property
    def now_tint(self) -> Tint | None:
        return _tint(self.now)


def _said(row: Row | None) -> str:
    if row is None:
        return ""
    return str(row["written"] + (f" > {row['to_written']}" if row["to_written"] else ""))


def _odd(row: Row | None) -> str:
    code = _said(row)
    return "" if row is None or code == row["code"] else code


def _tint(row: Row | None) -> Tint | None:
    return Tint.from_packed(row["tint"]) if row and (row["tint"] or 0) >= 0 and row["tint"] is not None else None


def changes_since(
    step: IssueStep,
    state: SignedState,
    now: Mapping[Key, Row] | None = None,
    compared: Collection[str] = COMPARED,
) -> list[MarkChange]:
    """Every mark that is not what was kept, in the order of the pages; in as many queries whatever their number.

    Args:
        now: what it is held against, where that is not simply the marks as they are.
        compared: columns; where one of them differs, the mark has changed.
    """
    was, now = rows_of(state), rows_now(step.issue) if now is None else now
    moved = [key for key in was.keys() | now.keys() if _differs(was.get(key), now.get(key), compared)]
    marks = _marks(step.issue)
    changes = [_change(key, was.get(key), now.get(key), marks.get(key)) for key in moved]
    return sorted(changes, key=lambda change: (page_order(change.page), change.page, change.mark))


def _differs(was: Row | None, now: Row | None, compared: Collection[str]) -> bool:
    return was is None or now is None or any(_moved(was, now, name) for name in compared)


def _moved(was: Row, now: Row, name: str) -> bool:
    return name in was and was[name] != now[name]


def _marks(issue: Issue) -> dict[Key, Mark]:
    """The newest mark of each place, deleted ones and those of older revisions too."""
    rows = Mark.objects.filter(guide__issue=issue).select_related("guide", "changed_by", "lock__decided_by")
    return {(mark.guide.page, mark.number): mark for mark in rows.order_by("guide__revision", "id")}


def _change(key: Key, was: Row | None, now: Row | None, mark: Mark | None) -> MarkChange:
    by, at = _who(was, now, mark)
    return MarkChange(*key, was, now, _what(was, now), by, at)


def _who(was: Row | None, now: Row | None, mark: Mark | None) -> tuple[str, dt.datetime | None]:
    """Whoever decided the lock where only what the mark owes has moved, else whoever touched the mark last."""
    if mark is None:
        return "", None
    moved = {name for name in COMPARED if was and now and _moved(was, now, name)}
    if moved and moved <= {*OWED} and mark.lock:
        return name_of(mark.lock.decided_by), mark.lock.decided_at
    return name_of(mark.changed_by), mark.deleted_at or mark.changed_at


def _what(was: Row | None, now: Row | None) -> str:
    if was is None:
        return "new"
    if now is None:
        return "gone"
    words = {
        "code": ("written", "tint", "to_written", "to_tint"),
        "part": ("role", "subject", "costume", "part"),
        "what the bible says": OWED,
        "waiver": ("waived",),
    }
    words |= {"place": PLACE} if not any(_moved(was, now, name) for name in COMPARED) else {}
    return ", ".join(word for word, names in words.items() if any(_moved(was, now, name) for name in names))


def scans_changed(step: IssueStep, state: SignedState) -> list[str]:
    """Pages whose scan is another one than was kept, new, or gone."""
    rows = Guide.objects.filter(issue=step.issue).current().values_list("page", "revision", "sha256")
    was, now = ({row[0]: list(row) for row in some} for some in (state.guides, rows))
    moved = [page for page in was.keys() | now.keys() if was.get(page) != now.get(page)]
    return sorted(moved, key=lambda page: (page_order(page), page))
