"""A file opened as a table: its rows, its headings, what they were taken to mean and what is asked. No Django in
here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from guides.imports.codes import Reads, plain_code
from guides.imports.columns import (
    BIBLE,
    HEADINGS_WITHIN,
    ISSUES,
    MARKS,
    Headings,
    Remembered,
    TableField,
    body,
    find_headings,
    turned,
)
from guides.imports.deed_columns import ASSIGNMENTS, SCENES, WAIVERS
from guides.imports.grid import Grid, GridRow, read_table
from guides.imports.inks import INK_FIELDS
from guides.imports.questions import NO_ANSWERS, Answers, Question, ask
from guides.imports.reshaping import (
    from_lines,
    groups_apart,
    inks_in_order,
    names_apart,
    one_below_the_other,
    under_other_headings,
)
from guides.imports.series_words import USUAL, SeriesWords
from guides.imports.sheets import Rows
from guides.imports.telling import looks_like
from guides.imports.texts import normal, says_nothing
from guides.imports.workbooks import UnreadableTable, column_name

FIELDS: dict[str, tuple[TableField, ...]] = {
    "bible": BIBLE,
    "marks": MARKS,
    "issues": ISSUES,
    "scenes": SCENES,
    "waivers": WAIVERS,
    "assignments": ASSIGNMENTS,
}
MOST_CODES_WRONG = 0.3
"""Of the cells of a column that holds codes: some are always miswritten."""
ACROSS = {
    "part": "parts: each is a part of the row's subject",
    "subject": "subjects: each row is a part of theirs",
    "costume": "costumes",
    "role": "roles",
    "first": "issues: a code holds from its issue until the next one in the row",
    "none": "none of these: leave them out",
}

SHAPING = ("sheets", "encoding", "headings", "across", "counts")
"""Questions whose answers make another table of the file."""

Columns = Mapping[str, int | None]
"""By field: the column that says it, from 0; None where none does."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A table with its headings found. ``codes``: columns that hold codes and are named for nothing; ``across``: what
    their headings are; ``shape`` stands for all this, so that columns named for another shape are not taken for
    it."""

    grid: Grid
    headings: Headings
    rows: tuple[GridRow, ...]
    notices: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    codes: tuple[int, ...] = ()
    across: str = ""
    shape: str = ""
    lying: bool = False

    @property
    def ours(self) -> bool:
        """Whether the table is the bible's own, as we write it: there every cell says one thing."""
        words = {normal(cell) for cell in self.headings.row.cells} if self.headings.row else set()
        return {"decided by", "decided at"} <= words

    def label(self, column: int) -> str:
        """“F “Pantone””: a column by its letter and heading."""
        heading = self.headings.row.cell(column) if self.headings.row else ""
        return f"{column_name(column)} “{heading}”" if heading else column_name(column)


def open_table(
    data: bytes,
    filename: str,
    kind: str,
    answers: Answers = NO_ANSWERS,
    words: SeriesWords = USUAL,
) -> Opened:
    """A file as a table of a kind.

    Args:
        answers: what somebody said to the questions so far.
        words: the series' own: its notation, its roles, what it called columns by hand.

    Raises:
        UnreadableTable: the file is no table, or has no rows below its headings.
    """
    fields, remembered = FIELDS[kind], words.remembered
    grid = read_table(data, filename, answers, lambda rows: _fits(rows, fields, remembered))
    if not grid.rows:
        raise UnreadableTable("The table has no rows.")
    line = int(answers["headings"]) if answers.get("headings", "").isdecimal() else None
    understood: list[str] = []
    grid, headings = _reshaped(grid, kind, words, line, understood)
    lying = _lies(grid, headings, fields, remembered, answers)
    if lying is not None:
        grid, headings = lying
    rows = body(grid, headings)
    if not rows:
        raise UnreadableTable("There is nothing below the headings.")
    opened = Opened(grid, headings, rows, (*grid.notices, *understood), lying=lying is not None)
    opened = _with_codes(opened, kind, answers, words)
    asked = [*grid.questions, looks_like(kind, headings, answers), *opened.questions, _where(opened, answers)]
    questions = tuple(question for question in asked if question)
    notices = tuple(filter(None, (*opened.notices, _headed(opened))))
    shape = "|".join(f"{question.key}={question.given}" for question in questions if question.key in SHAPING)
    return replace(opened, questions=questions, notices=notices, shape=shape)


def _reshaped(
    grid: Grid, kind: str, words: SeriesWords, line: int | None, understood: list[str]
) -> tuple[Grid, Headings]:
    """The table with its headings, a bible laid out as a row a thing; what was understood goes to ``understood``."""
    fields, remembered = FIELDS[kind], words.remembered
    if kind != "bible":
        return grid, find_headings(grid, fields, remembered, line)
    if grid.text:
        grid, notices = from_lines(grid, grid.text, words.reads)
        understood += notices
    for reshape in (one_below_the_other, inks_in_order):
        grid, notices = reshape(grid)
        understood += notices
    headings = find_headings(grid, fields, remembered, line)
    if line is None and not headings.known and headings.row and any(map(words.reads, headings.row.cells)):
        headings = find_headings(grid, fields, remembered, 0)  # a row with a code is none of headings
    for lay_out in (names_apart, groups_apart):
        grid, notices = lay_out(grid, headings, words.reads)
        understood += notices
        headings = find_headings(grid, fields, remembered, line) if notices else headings
    grid, notices = under_other_headings(grid, headings, fields)
    understood += notices
    return grid, find_headings(grid, fields, remembered, line) if notices else headings


def _fits(rows: Rows, fields: tuple[TableField, ...], remembered: Remembered | None) -> bool:
    grid = Grid(tuple(GridRow(line, cells) for line, cells in rows))
    headings = find_headings(grid, fields, remembered)
    needed = [headings.guess[field.name] for field in fields if field.required]
    return headings.known and None not in needed and bool(body(grid, headings))


def _lies(
    grid: Grid, headings: Headings, fields: tuple[TableField, ...], remembered: Remembered | None, answers: Answers
) -> tuple[Grid, Headings] | None:
    """The table turned round, where its first column holds more headings than any of its lines."""
    if headings.known or "headings" in answers or (on_its_side := turned(grid)) is None:
        return None
    headings_aside = find_headings(on_its_side, fields, remembered)
    needed = [headings_aside.guess[field.name] for field in fields if field.required]
    return (on_its_side, headings_aside) if headings_aside.known and None not in needed else None


def _headed(opened: Opened) -> str:
    row = opened.headings.row
    if opened.lying and row is not None:
        return (
            f"The headings stand one below the other in column {column_name(row.line - 1)}, so every column is a row:"
            f" “line 2” below is column B."
        )
    if row and not row.line:
        return ""  # of running lines, which have none of their own
    if row is None:
        return "No headings were recognised, so every line counts as a row: name the columns."
    if not opened.headings.known:
        problem = f"Line {row.line} looks like headings, but none of them is known"
        return f"{problem}: name the columns. They are remembered."
    where = f"on lines {row.line - 1} and {row.line}" if opened.headings.rows == 2 else f"on line {row.line}"
    return f"The headings were found {where}; what stands above is left out."


def _where(opened: Opened, answers: Answers) -> Question | None:
    """Where the headings are, for whoever sees that it was found wrongly: never needed."""
    head = opened.headings.row
    if opened.lying or (head and not head.line):
        return None
    choices = [("0", "there are none: every line is a row")]
    for row in opened.grid.rows[:HEADINGS_WITHIN]:
        cells = ", ".join(filter(None, row.cells))[:60]
        choices.append((str(row.line), f"line {row.line}: {cells}"))
    return ask("headings", "Headings", tuple(choices), answers, str(head.line if head else 0))


def _with_codes(opened: Opened, kind: str, answers: Answers, own: SeriesWords) -> Opened:
    """A bible's columns of codes that no heading names: one is the code, several are said across, if not for
    roles."""
    guessed = opened.headings.guess
    if kind != "bible" or any(guessed[name] is not None for name in INK_FIELDS):
        return opened
    taken = {column for column in guessed.values() if column is not None}
    codes = [at for at in range(opened.grid.width) if at not in taken and holds_codes(opened.rows, at, own.reads)]
    head = opened.headings.row
    others = [at for at in codes if not head or normal(head.cell(at)) not in own.roles]
    if guessed["code"] is not None and others and head:
        return _which_counts(opened, (guessed["code"], *others), tuple(codes), answers)
    if guessed["code"] is not None or not codes or len(others) < len(codes):
        return replace(opened, codes=tuple(codes))
    if len(codes) == 1:
        headings = replace(opened.headings, guess=guessed | {"code": codes[0]})
        notice = f"Column {opened.label(codes[0])} holds codes, so it is taken for the code."
        return replace(opened, headings=headings, notices=(*opened.notices, notice))
    named = ", ".join(opened.label(at) for at in codes[:6]) + (" …" if len(codes) > 6 else "")
    words = f"Codes stand below several headings: {named}. What are these headings?"
    asked = ask("across", words, tuple(ACROSS.items()), answers)
    guessed = guessed | _beside(opened, codes, asked.given)
    headings = replace(opened.headings, guess=guessed)
    return replace(opened, headings=headings, questions=(asked,), codes=tuple(codes), across=asked.given)


def _which_counts(opened: Opened, columns: tuple[int, ...], codes: tuple[int, ...], answers: Answers) -> Opened:
    """Asked where codes stand in other columns than the one that a heading names: “old code”, “code by night”."""
    named = ", ".join(opened.label(at) for at in columns)
    choices = tuple((str(at), f"{opened.label(at)}: the others are left out") for at in columns)
    asked = ask("counts", f"Codes stand in several columns: {named}. Which are to be locked?", choices, answers)
    headings = replace(opened.headings, guess=opened.headings.guess | {"code": int(asked.given or columns[0])})
    return replace(opened, headings=headings, questions=(asked,), codes=codes)


def _beside(opened: Opened, codes: list[int], across: str) -> dict[str, int | None]:
    """The column left of the codes, where it is named for nothing, says what the headings do not."""
    guessed = opened.headings.guess
    taken = {column for column in guessed.values() if column is not None}
    free = [at for at in range(min(codes)) if at not in taken and any(row.cell(at) for row in opened.rows)]
    lacking = [name for name in ("subject", "part") if guessed[name] is None and name != across]
    return dict(zip(lacking, free[-len(lacking) :] if lacking else (), strict=False))


def holds_codes(rows: tuple[GridRow, ...], column: int, reads: Reads) -> bool:
    """Whether what stands in a column is codes, most of it."""
    cells = [row.cell(column) for row in rows[:500]]
    cells = [cell for cell in cells if cell and not says_nothing(cell)]
    if not cells or all(cell.replace(".", "").isdigit() for cell in cells):
        return False
    wrong = sum(not reads(plain_code(cell, reads).code) for cell in cells)
    return wrong <= MOST_CODES_WRONG * len(cells)
