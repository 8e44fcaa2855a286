"""Code list, plate list and marks as CSV (RFC 4180, UTF-8), and marks read back from such a file without loss."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from bible.colour.tints import INKS
from bible.exports.cells import unguarded
from bible.exports.tables import csv_text
from bible.models.roles import FIRST_ROLES, RoleList
from guides.core.labels import runs
from guides.handoff.queries import NOT_LOOKED_AT, CodeLine, HandOff
from guides.handoff.services import FileMark, Trouble, checked_row

MARK_COLUMNS = (
    "issue", "page", "number", "x", "y", "written", "to_x", "to_y", "to_written", "role", "subject", "costume",
    "part", "code", "cyan", "magenta", "yellow", "key", "flag", "waived", "instead_of",
)  # fmt: skip
"""The first thirteen are read back; the others follow from them and are for the reader. Sign-offs keep a digest of
this list: a column more, and older signings no longer match the list one downloads today."""


def marks_csv(hand_off: HandOff) -> str:
    """Every mark. ``x`` and ``y`` are fractions of the page from top left, written so that they read back exactly."""
    rows = (_mark_cells(line) for page in hand_off.pages for line in page.lines)
    return _written(MARK_COLUMNS, rows)


def _mark_cells(line: CodeLine) -> Sequence[object]:
    mark, part, end = line.mark, line.mark.part, line.mark.arrow_end or ("", "")
    names = part.names if part else ("", "", "")
    return (
        mark.guide.issue.number, mark.guide.page, mark.number, mark.x, mark.y, mark.written, *end, mark.to_written,
        mark.role, *names,
        line.code, *(getattr(line.tint, ink) if line.tint else "" for ink in INKS),
        line.state if line.is_open else "", line.state if line.waiver else "",
        line.code_on_page if line.instead else "",
    )  # fmt: skip


def codes_csv(hand_off: HandOff) -> str:
    """The code list: per page each tint with its marks, and beside each what holds for the whole page."""
    rows = (
        (page.guide.page, row.code, *row.tint.percentages, row.marks, page.notes_said)
        for page in hand_off.pages
        for row in page.codes
    )
    return _written(("page", "code", "cyan", "magenta", "yellow", "key", "marks", "holds for the page"), rows)


def notes_csv(hand_off: HandOff) -> str:
    """Every note: those that hold for a page or a run of pages, once on each page, and those beside its marks."""
    rows: list[Sequence[object]] = []
    for page in hand_off.pages:
        here = page.guide.page
        rows += [(here, "", note.run, note.text, note.written_by, note.written_at.date()) for note in page.notes]
        rows += [
            (here, line.number, "", note.text, note.written_by, note.written_at.date())
            for line in page.noted_lines
            for note in line.notes
        ]
    return _written(("page", "mark", "holds for", "note", "written by", "on"), rows)


def neighbours_csv(hand_off: HandOff) -> str:
    """Areas that touch and print look-alike; a page that nobody has looked at has a row that says so."""
    rows: list[Sequence[object]] = []
    for page in hand_off.pages:
        here = page.guide.page
        rows += [
            (
                here,
                pair.first.number,
                pair.second.number,
                pair.word,
                pair.difference,
                pair.waived_by or "",
                pair.reason,
            )
            for pair in page.sinking
        ]
        rows += [] if page.looked_at else [(here, "", "", NOT_LOOKED_AT, "", "", "")]
    return _written(("page", "mark", "beside", "likeness", "ciede2000", "waived by", "reason"), rows)


def plates_csv(hand_off: HandOff) -> str:
    """The plate list; the key plate's line art is named on every page."""
    rows: list[Sequence[object]] = []
    for page in hand_off.pages:
        here = page.guide.page
        rows += [(here, p.ink_name, p.strength, p.start, p.end, runs(p.numbers)) for p in page.plates.plates]
        rows.append((here, "key", "solid", 100, 100, "the line art"))
        rows += [(here, "none", "bare paper", 0, 0, runs(page.plates.paper))] if page.plates.paper else []
        rows += [(here, "unknown", "cannot be read", "", "", runs(page.plates.unread))] if page.plates.unread else []
    return _written(("page", "ink", "strength", "percent", "to percent", "marks"), rows)


def changes_csv(hand_off: HandOff) -> str:
    """What has changed since the pack before, a row a mark; only its head where there was none."""
    changes = hand_off.pack.changes if hand_off.pack else ()
    rows = (
        (
            change.page,
            change.mark,
            change.part,
            change.what,
            change.was_code,
            change.now_code,
            change.by,
            change.at.date() if change.at else "",
        )
        for change in changes
    )
    return _written(("page", "mark", "part", "what", "was", "is", "by", "on"), rows)


def _written(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    return "".join(csv_text(columns, ([str(cell) for cell in row] for row in rows)))


def read_marks_csv(text: str, roles: RoleList = FIRST_ROLES) -> tuple[list[FileMark], list[Trouble]]:
    """Marks from a CSV file with the columns of ``marks_csv``; columns that are missing are taken for empty."""
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""))
    try:
        columns = [name.strip().lower() for name in next(reader, [])]
    except csv.Error as error:
        return [], [Trouble("line 1", str(error))]
    if missing := {"x", "y", "written"} - set(columns):
        return [], [Trouble("line 1", f"the columns {', '.join(sorted(missing))} are missing")]
    rows: list[FileMark] = []
    troubles: list[Trouble] = []
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return rows, troubles
        except csv.Error as error:
            return rows, [*troubles, Trouble(f"line {reader.line_num}", str(error))]
        if not any(cells):
            continue
        checked = checked_row(
            dict(zip(columns, map(unguarded, cells), strict=False)), f"line {reader.line_num}", roles
        )
        if isinstance(checked, Trouble):
            troubles.append(checked)
        else:
            rows.append(checked)
