"""Tables that are laid out otherwise than a row a thing, laid out so: several side by side, names in one cell, inks
in one cell in an order of their own, running lines of text. What was understood is told. No Django in here."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import zip_longest

from guides.imports.codes import Reads, plain_code
from guides.imports.columns import HEADINGS_WITHIN, Headings, TableField, guess
from guides.imports.grid import Grid, GridRow
from guides.imports.texts import listed, normal
from guides.imports.workbooks import column_name

_BETWEEN = r"[\s/,;.|+-]*"
_INK = "([CMYKBR])"
_ORDER = re.compile(
    rf"(?<![^\W_]){_INK}{_BETWEEN}{_INK}{_BETWEEN}{_INK}(?:{_BETWEEN}{_INK})?(?![^\W_])", re.IGNORECASE
)
_FIGURES = re.compile(r"\d{1,3}(?:\s*%)?(?:[\s/,;|+-]+\d{1,3}(?:\s*%)?){2,3}")
_TRADE = {"B": "C", "R": "M"}
"""The trade calls cyan blue and magenta red (common practice, no source)."""
BETWEEN_NAMES = tuple(re.compile(one) for one in (r"\s+[-–—‐]\s+", r"\s+/\s+", r"\s*>\s*", r"\s+\|\s+", r"\s*:\s+"))
MOSTLY = 0.7
"""Of the cells of a column that holds several names in one."""
_LINE = re.compile(r"([^:;,]{1,60}):\s*(\S.*)")
_IN_LINE = re.compile(r"[,;]\s*(?![^(]*\))")


def inks_in_order(grid: Grid) -> tuple[Grid, tuple[str, ...]]:
    """Percentages in one cell, in the order that their heading says: “Y/M/C” above 100/50/25."""
    for row in grid.rows[:HEADINGS_WITHIN]:
        for at, cell in enumerate(row.cells):
            order = _order(cell)
            if order and (written := _written_out(grid, row.line, at, order)):
                notice = f"Column {column_name(at)} “{cell}” is read in that order: {written[1]}."
                return written[0], (notice,)
    return grid, ()


def _order(cell: str) -> str:
    match = _ORDER.search(cell)
    order = (
        "".join(_TRADE.get(letter.upper(), letter.upper()) for letter in match.groups() if letter) if match else ""
    )
    return order if len(set(order)) == len(order) and set(order) >= set("CMY") else ""


def _written_out(grid: Grid, heading: int, at: int, order: str) -> tuple[Grid, str] | None:
    rows, example = [], ""
    for row in grid.rows:
        cell = row.cell(at)
        if row.line > heading and _FIGURES.fullmatch(cell):
            figures = re.findall(r"\d+", cell)
            if len(figures) == len(order):
                code = " ".join(f"{ink}{int(figure)}%" for ink, figure in zip(order, figures, strict=True))
                example = example or f"{cell} is {code}"
                row = replace(row, cells=(*row.cells[:at], code, *row.cells[at + 1 :]))
        rows.append(row)
    return (replace(grid, rows=tuple(rows)), example) if example else None


def one_below_the_other(grid: Grid) -> tuple[Grid, tuple[str, ...]]:
    """Tables side by side under the same headings, put one below the other; their lines keep their numbers."""
    for row in grid.rows[:HEADINGS_WITHIN]:
        heads = [normal(cell) for cell in row.cells]
        blocks = _blocks(heads)
        if len(blocks) < 2:
            continue
        first, width = blocks[0], len(blocks[0])
        above = [other for other in grid.rows if other.line <= row.line]
        below = [other for other in grid.rows if other.line > row.line]
        stacked = [_moved(lower, block, first, width) for block in blocks for lower in below]
        kept = [replace(upper, cells=upper.cells[: first[-1] + 1]) for upper in above]
        named = ", ".join(f"{column_name(block[0])}-{column_name(block[-1])}" for block in blocks)
        notice = f"{len(blocks)} tables stand side by side ({named}): they are read one below the other."
        rows = (*kept, *(moved for moved in stacked if any(moved.cells)))
        return Grid(rows, grid.notices, grid.questions, ()), (notice,)
    return grid, ()


def _blocks(heads: list[str]) -> list[list[int]]:
    """The places of headings that stand there again, all of them in the same order; one block where none does."""
    filled = [at for at, head in enumerate(heads) if head]
    words = [heads[at] for at in filled]
    for times in range(2, len(words) // 2 + 1):
        size = len(words) // times
        if (
            size > 1
            and len(words) == size * times
            and words == words[:size] * times
            and len(set(words[:size])) == size
        ):
            return [filled[begin : begin + size] for begin in range(0, len(filled), size)]
    return [filled]


def _moved(row: GridRow, block: list[int], first: list[int], width: int) -> GridRow:
    cells = [""] * (first[-1] + 1)
    for at, to in zip(block, first, strict=True):
        cells[to] = row.cell(at)
    places = dict(zip(block, first, strict=True))
    formulas, struck = (
        frozenset(places[at] for at in marked if at in places) for marked in (row.formulas, row.struck)
    )
    return GridRow(row.line, tuple(cells), formulas, struck)


def names_apart(grid: Grid, headings: Headings, reads: Reads) -> tuple[Grid, tuple[str, ...]]:
    """Subject, costume and part that stand in one cell, each in a column of its own."""
    head = headings.row
    if head is None or headings.rows > 1 or headings.guess.get("subject") is not None:
        return grid, ()
    below = [row for row in grid.rows if row.line > head.line]
    for at in range(grid.width):
        cells = [row.cell(at) for row in below if row.cell(at)]
        between = next((sign for sign in BETWEEN_NAMES if _cut(cells, sign)), None)
        if between is None or sum(map(reads, cells)) > len(cells) / 2:
            continue
        rows = [_apart(row, at, between, grid.width) if row.line > head.line else row for row in grid.rows]
        named = _wider(head, at, ("Subject", "Costume", "Part"), grid.width)
        rows = [replace(named, line=row.line) if row.line == head.line else row for row in rows]
        example = next(cell for cell in cells if between.search(cell))
        notice = (
            f"Column {column_name(at)} “{head.cell(at)}” says subject, costume and part in one: “{example[:60]}”."
        )
        return replace(grid, rows=tuple(rows)), (notice,)
    return grid, ()


def _cut(cells: list[str], between: re.Pattern[str]) -> bool:
    """Whether a sign cuts most cells into two or three names."""
    return sum(len(between.split(cell)) in (2, 3) for cell in cells) >= max(2, MOSTLY * len(cells))


def _apart(row: GridRow, at: int, between: re.Pattern[str], width: int) -> GridRow:
    pieces = between.split(row.cell(at))
    if len(pieces) not in (2, 3):
        pieces = [row.cell(at)]
    subject, *others = pieces
    return _wider(row, at, (subject, others[0] if len(others) == 2 else "", others[-1] if others else ""), width)


def _wider(row: GridRow, at: int, names: tuple[str, str, str], width: int) -> GridRow:
    """A row with one cell changed, and two behind its last."""
    cells = [*row.cells, *[""] * (width - len(row.cells))]
    cells[at] = names[0]
    return replace(row, cells=(*cells, *names[1:]))


def under_other_headings(
    grid: Grid, headings: Headings, fields: tuple[TableField, ...]
) -> tuple[Grid, tuple[str, ...]]:
    """A second table below the first, with its columns in another order, laid under the first one's headings."""
    if headings.row is None or headings.rows > 1:
        return grid, ()
    first = here = {name: at for name, at in headings.guess.items() if at is not None}
    places, head, lines, rows = dict(first), headings.row, list[int](), list[GridRow]()
    words = frozenset(word for field in fields for word in field.words)
    for row in grid.rows:
        columns = _headings_in(row, fields, words) if row.line > head.line else {}
        if not columns or columns == first:
            here = first if columns else here
            rows.append(row if here is first else _laid(row, here, places))
            continue
        here = columns
        lines.append(row.line)
        for name in [name for name in columns if name not in places]:
            places[name] = max(grid.width, *(at + 1 for at in places.values()))
            wider = [*head.cells, *[""] * (places[name] - len(head.cells)), row.cell(columns[name])]
            head = replace(head, cells=tuple(wider))
    rows = [head if row.line == head.line else row for row in rows]
    notice = f"Other headings stand on {listed(lines)}: what stands below is read by them."
    return (replace(grid, rows=tuple(rows)), (notice,)) if lines else (grid, ())


def _headings_in(row: GridRow, fields: tuple[TableField, ...], words: frozenset[str]) -> dict[str, int]:
    """What a row says as headings, if every cell of it is one and a code is among them."""
    cells = [cell for cell in row.cells if cell]
    if len(cells) < 2 or not all(normal(cell) in words for cell in cells):
        return {}
    columns = {name: at for name, at in guess(row.cells, fields).items() if at is not None}
    return columns if len(columns) == len(cells) and {"code", "cyan"} & set(columns) else {}


def _laid(row: GridRow, here: dict[str, int], places: dict[str, int]) -> GridRow:
    """A row with its cells where ``places`` has them."""
    moves = {at: places[name] for name, at in here.items()}
    cells = [""] * (max(places.values()) + 1)
    for at, to in moves.items():
        cells[to] = row.cell(at)
    formulas, struck = (frozenset(moves[at] for at in marked if at in moves) for marked in (row.formulas, row.struck))
    return GridRow(row.line, tuple(cells), formulas, struck)


def groups_apart(grid: Grid, headings: Headings, reads: Reads) -> tuple[Grid, tuple[str, ...]]:
    """Subjects that stand alone above their parts in the parts' own column, put in one of their own."""
    at, code = headings.guess.get("part"), headings.guess.get("code")
    head, width = headings.row or GridRow(0, ("Part", "Code")), grid.width
    if headings.row is None and width == 2:
        at, code = 0, 1
    if headings.guess.get("subject") is not None or headings.rows > 1 or at is None or code is None:
        return grid, ()
    below = [row for row in grid.rows if row.line > head.line]
    alone = [bool(row.cell(at)) and sum(map(bool, row.cells)) == 1 for row in below]
    coded = [bool(row.cell(code)) and reads(plain_code(row.cell(code), reads).code) for row in below]
    twice = any(this and (following is None or following) for this, following in zip_longest(alone, alone[1:]))
    if not below or not alone[0] or twice or sum(coded) < MOSTLY * (len(below) - sum(alone)):
        return grid, ()
    rows, subject = [_at_end(head, width, "Subject")], ""
    for row, names in zip(below, alone, strict=True):
        subject = row.cell(at) if names else subject
        rows += [] if names else [_at_end(row, width, subject)]
    lines = listed(row.line for row, names in zip(below, alone, strict=True) if names)
    notice = f"What stands alone in column {column_name(at)} ({lines}) is read as the subject of the parts below it."
    return replace(grid, rows=(*(row for row in grid.rows if row.line < head.line), *rows)), (notice,)


def _at_end(row: GridRow, width: int, cell: str) -> GridRow:
    return replace(row, cells=(*row.cells, *[""] * (width - len(row.cells)), cell))


def from_lines(grid: Grid, text: str, reads: Reads) -> tuple[Grid, tuple[str, ...]]:
    """Running lines, “Mara: hair Y, coat YR3B2”, as a table; the grid where they are none."""
    rows: list[GridRow] = []
    read, other = 0, list[int]()
    for number, line in enumerate(text.splitlines(), 1):
        match = _LINE.fullmatch(line.strip())
        pieces = [_part_and_code(piece, reads) for piece in _IN_LINE.split(match[2])] if match else []
        if match and pieces and all(pieces):
            rows += [GridRow(number, (match[1].strip(), *piece)) for piece in pieces if piece]
            read += 1
        elif line.strip():
            other.append(number)
    if read < 2 or len(other) > read:
        return grid, ()
    notices = ["The file is no table but running lines: each names a subject, then its parts with their codes."]
    if other:
        notices.append(f"Lines without such codes are left out: {listed(other)}.")
    return Grid((GridRow(0, ("Subject", "Part", "Code")), *rows), grid.notices, grid.questions), tuple(notices)


def _part_and_code(piece: str, reads: Reads) -> tuple[str, str] | None:
    """“scarf R (check)”: the longest end that is a code, and what stands before it."""
    words = piece.split()
    for at in range(1, len(words)):
        code = " ".join(words[at:])
        if reads(plain_code(code, reads).code):
            return " ".join(words[:at]).rstrip("=:-–"), code
    return None
