"""The sheets of a workbook laid out as one table: which of them is asked where several could be it, and what merged
cells stand for is written into every row they cover. No Django in here."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from guides.imports.questions import Answers, Question, ask
from guides.imports.texts import normal
from guides.imports.workbooks import MOST_LINES, PROBLEMS, BookSheet, Span, UnreadableTable, Workbook, column_name

ALL_SHEETS = "*"
FIRST_ROWS = 12
SHEET_HEADING = "Sheet"
"""Of the column that is added where several sheets are taken together: what each row's sheet is called."""

Rows = Sequence[tuple[int, tuple[str, ...]]]
Likely = Callable[[Rows], bool]


@dataclass(frozen=True, slots=True)
class LaidRow:
    """A line of a workbook; ``formulas`` and ``struck`` are columns from 0."""

    line: int
    cells: tuple[str, ...]
    formulas: frozenset[int] = frozenset()
    struck: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class LaidOut:
    """Rows from a workbook, what was assumed, and what is asked."""

    rows: tuple[LaidRow, ...]
    notices: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    fills: tuple[tuple[int, int, str], ...] = field(default=())


def laid_out(book: Workbook, answers: Answers, likely: Likely | None = None) -> LaidOut:
    """The rows of the sheet that is meant.

    Raises:
        UnreadableTable: that sheet is too long.
    """
    notices, questions = list(book.notices), []
    if book.hidden:
        named = ", ".join(f"“{name}”" for name in book.hidden)
        notices.append(f"Hidden sheets are not read: {named}.")
    filled = [sheet for sheet in book.sheets if sheet.rows or sheet.long]
    chosen = filled[:1] or list(book.sheets[:1])
    if len(filled) > 1:
        asked = _which(filled, answers, likely)
        questions.append(asked)
        chosen = [sheet for sheet in filled if asked.given in (sheet.name, ALL_SHEETS)] or chosen
        others = [sheet.name for sheet in filled if sheet not in chosen]
        read = ", ".join(f"“{sheet.name}”" for sheet in chosen)
        notices.append(
            f"The workbook has {len(filled)} sheets; {read} {'was' if len(chosen) == 1 else 'were'} read"
            f"{', not ' + ', '.join(f'“{name}”' for name in others) if others else ''}."
        )
    if any(sheet.long for sheet in chosen):
        raise UnreadableTable(PROBLEMS["long"])
    if len(chosen) > 1:
        laid = _together(chosen)
        return replace(laid, notices=(*notices, *laid.notices), questions=tuple(questions))
    laid = _one(chosen[0])
    return replace(laid, notices=(*notices, *laid.notices), questions=tuple(questions))


def _which(sheets: list[BookSheet], answers: Answers, likely: Likely | None) -> Question:
    """Which sheet is meant: asked, unless only one of them looks like what is wanted."""
    fitting = [sheet.name for sheet in sheets if likely and likely(sheet.rows[:FIRST_ROWS])]
    choices = [(sheet.name, f"{sheet.name} ({len(sheet.rows)} lines)") for sheet in sheets]
    if len({_first(sheet) for sheet in sheets}) == 1:
        choices.append((ALL_SHEETS, "all of them together, one below the other"))
    usual = fitting[0] if len(fitting) == 1 else ""
    return ask("sheets", "Which sheet is the table?", tuple(choices), answers, usual)


def _first(sheet: BookSheet) -> tuple[str, ...]:
    """The first line that could be headings, as it is compared."""
    row = next((cells for _, cells in sheet.rows if sum(map(bool, cells)) > 1), ())
    return tuple(normal(cell) for cell in row if cell)


def _together(sheets: list[BookSheet]) -> LaidOut:
    """One below the other, the headings once; lines go on counting, and each row says its sheet at its end."""
    width = max(len(cells) for sheet in sheets for _, cells in sheet.rows)
    rows: list[LaidRow] = []
    notices: list[str] = []
    fills: list[tuple[int, int, str]] = []
    behind = 0
    for sheet in sheets:
        laid, headed = _one(sheet), False
        notices += laid.notices
        for row in laid.rows:
            heading = not headed and sum(map(bool, row.cells)) > 1
            headed = headed or heading
            if heading and rows:
                continue
            last = SHEET_HEADING if heading else sheet.name
            cells = (*row.cells, *[""] * (width - len(row.cells)), last)
            rows.append(replace(row, line=row.line + behind, cells=cells))
        fills += [(line + behind, column, colour) for line, column, colour in laid.fills]
        if behind:
            notices.append(f"The lines of “{sheet.name}” are counted from {behind + 1} on.")
        behind = rows[-1].line if rows else behind
    return LaidOut(tuple(rows), tuple(notices), fills=tuple(fills))


def _one(sheet: BookSheet) -> LaidOut:
    cells = {line: list(row) for line, row in sheet.rows}
    notices = []
    if filled := [span for span in sheet.merged if span[1][0] > span[0][0] and _fill_down(span, cells)]:
        named = ", ".join(f"{_place(*start)}:{_place(*end)}" for start, end in filled[:5])
        more = " …" if len(filled) > 5 else ""
        notices.append(f"Merged cells ({named}{more}): their text counts for every row they cover.")
    titles = {start[0] + 1 for start, end in sheet.merged if end[1] > start[1]}
    alone = sorted(line for line in titles if line in cells and len(list(filter(None, cells[line]))) == 1)
    by_line: dict[int, set[int]] = defaultdict(set)
    for line, column in sheet.formulas:
        by_line[line].add(column)
        cells.setdefault(line, [])
    if alone:
        titled = ", ".join(f"“{''.join(cells[line])[:40]}” (line {line})" for line in alone[:5])
        notices.append(f"Titles across several columns are left out: {titled}{' …' if len(alone) > 5 else ''}.")
    if sheet.hidden:
        notices.append(f"Lines of “{sheet.name}” that are hidden are read as well: {sheet.hidden}.")
    width = max(map(len, cells.values()), default=0)
    if folded := [column_name(column) for column in sheet.folded if column < width]:
        notices.append(f"Columns of “{sheet.name}” that are hidden are read as well: {', '.join(folded)}.")
    if sheet.comments:
        commented = "; ".join(f"{_place(line - 1, column)} “{text}”" for line, column, text in sheet.comments)
        notices.append(f"Comments hang on cells and are not read: {commented}.")
    struck: dict[int, set[int]] = defaultdict(set)
    for line, column in sheet.struck:
        struck[line].add(column)
    rows = tuple(_laid(line, cells[line], by_line[line], struck[line]) for line in sorted(cells) if line not in alone)
    return LaidOut(rows, tuple(notices), fills=sheet.fills)


def _laid(line: int, cells: list[str], formulas: set[int], struck: set[int]) -> LaidRow:
    """A line with a place for each of its formulas too: one that came to nothing has no cell."""
    wide = [*cells, *[""] * (max(formulas, default=-1) + 1 - len(cells))]
    return LaidRow(line, tuple(wide), frozenset(formulas), frozenset(struck))


def _fill_down(span: Span, cells: dict[int, list[str]]) -> bool:
    """Write what merged cells say into each of the lines they cover; whether there is anything to write."""
    (first, column), (last, _) = span
    top = cells.get(first + 1, [])
    text = top[column] if column < len(top) else ""
    if not text or last - first > MOST_LINES:
        return False
    wrote = False
    for line in range(first + 2, last + 2):
        if line in cells:
            row = cells[line]
            row += [""] * (column + 1 - len(row))
            row[column], wrote = row[column] or text, True
    return wrote


def _place(row: int, column: int) -> str:
    return f"{column_name(column)}{row + 1}"
