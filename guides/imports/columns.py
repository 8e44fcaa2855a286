"""Which column of a table says what: guessed from its headings, corrected by the person. No Django in here."""

from __future__ import annotations

import re
from dataclasses import dataclass

from guides.imports.grid import Grid, GridRow
from guides.imports.workbooks import column_name

HEADINGS_WITHIN = 10
"""Rows from the top among which the headings are looked for: titles and dates stand above them."""


@dataclass(frozen=True, slots=True)
class TableField:
    """Something a table of a kind can say. ``words`` are headings it goes by, the likeliest first."""

    name: str
    label: str
    words: tuple[str, ...]
    required: bool = False
    help: str = ""


BIBLE = (
    TableField("subject", "Subject", ("subject", "character", "name", "who", "prop", "figure"), True),
    TableField(
        "kind",
        "Kind of subject",
        ("kind", "type", "sort"),
        help="character, prop …; else the first",
    ),
    TableField("costume", "Costume", ("costume", "outfit", "look", "dress", "clothes"), help="else “as drawn”"),
    TableField(
        "worn", "Worn in issues", ("worn", "worn in issues", "worn in"), help="as in 1 - 18; 43; 60 -; else always"
    ),
    TableField("part", "Part", ("part", "item", "element", "piece", "what")),
    TableField("role", "Role", ("role", "base or shade", "layer"), help="by name or short sign: shade; else base"),
    TableField("code", "Code", ("code", "tint", "tint code", "colour", "color", "colour code", "color code")),
    TableField(
        "first",
        "From issue",
        ("from", "from issue", "since", "first issue", "first", "start", "starts"),
        help="else from the first one; asked for where another code is locked",
    ),
    TableField(
        "last", "Up to and including issue", ("to", "to issue", "until", "up to", "last issue", "last", "end")
    ),
    TableField("reason", "Reason", ("reason", "why", "because", "remark", "remarks", "comment")),
    TableField("note", "Note on the subject", ("note", "notes", "subject note", "description")),
)

MARKS = (
    TableField("issue", "Issue", ("issue", "issue number", "issue no", "number of issue"), True),
    TableField("page", "Page", ("page", "page label", "page no", "p"), True),
    TableField("number", "Number of the mark", ("number", "mark", "mark number", "no")),
    TableField("x", "x", ("x", "from left", "left"), True, "fraction of the page's width from the left, 0 to 1"),
    TableField("y", "y", ("y", "from top", "top"), True, "fraction of the page's height from the top, 0 to 1"),
    TableField("written", "Code", ("written", "code", "tint", "colour", "color", "as written"), True),
    TableField("to_written", "Fades to", ("to written", "fades to", "to code", "second code")),
    TableField("to_x", "x of the arrow's end", ("to x",)),
    TableField("to_y", "y of the arrow's end", ("to y",)),
    TableField("role", "Role", ("role",), help="by name or short sign: shade; else base"),
    TableField("subject", "Subject", ("subject", "character", "who", "name")),
    TableField("costume", "Costume", ("costume", "outfit", "look")),
    TableField("part", "Part", ("part", "item", "element", "piece")),
)

ISSUES = (
    TableField("number", "Number as printed", ("number", "issue", "issue number", "issue no", "no"), True),
    TableField("title", "Title", ("title", "name", "story")),
    TableField("published", "Cover date", ("cover date", "date", "published", "on sale"), help="as 2026-11-25"),
    TableField(
        "order",
        "Place in the running order",
        ("running order", "order", "place", "position"),
        help="1 for the first issue; else the order of the rows",
    ),
)


@dataclass(frozen=True, slots=True)
class Headings:
    """Where a table's headings stand, what they are, and what they were taken to mean.

    ``guess`` maps each field's name to a column (from 0), or to None.
    """

    row: GridRow | None
    guess: dict[str, int | None]

    def column_label(self, column: int, body: tuple[GridRow, ...]) -> str:
        """“B: Costume (work coat)”: letter, heading, and the first thing that stands below."""
        heading = self.row.cell(column) if self.row else ""
        example = next((row.cell(column) for row in body if row.cell(column)), "")[:24]
        told = f"{column_name(column)}: {heading}" if heading else column_name(column)
        return f"{told} ({example})" if example else told


def normal(heading: str) -> str:
    return " ".join(re.sub(r"[^\w]+", " ", heading.casefold().replace("_", " ")).split())


def guess(cells: tuple[str, ...], fields: tuple[TableField, ...]) -> dict[str, int | None]:
    """A column for each field: whole headings first, then headings that begin or end with a field's word.

    No column is taken twice; of two alike the first is taken.
    """
    headings = [normal(cell) for cell in cells]
    found: dict[str, int | None] = {field.name: None for field in fields}
    taken: set[int] = set()
    tests = (
        lambda heading, word: heading == word,
        lambda heading, word: len(word) > 2 and (heading.startswith(f"{word} ") or heading.endswith(f" {word}")),
    )
    for fits in tests:
        # A field's likelier word goes before another field's unlikelier one.
        for rank in range(max(len(field.words) for field in fields)):
            for field in fields:
                if found[field.name] is None and rank < len(field.words):
                    word = field.words[rank]
                    for column, heading in enumerate(headings):
                        if column not in taken and fits(heading, word):
                            found[field.name] = column
                            taken.add(column)
                            break
    return found


def find_headings(grid: Grid, fields: tuple[TableField, ...]) -> Headings:
    """The row near the top that answers to the most fields, if it answers to two at least; else no headings."""
    needed = min(2, len([field for field in fields if field.required]) + 1)
    best: tuple[int, GridRow, dict[str, int | None]] | None = None
    for row in grid.rows[:HEADINGS_WITHIN]:
        guessed = guess(row.cells, fields)
        hits = sum(column is not None for column in guessed.values())
        if hits >= needed and (best is None or hits > best[0]):
            best = (hits, row, guessed)
    if best is None:
        return Headings(None, {field.name: None for field in fields})
    return Headings(best[1], best[2])


def body(grid: Grid, headings: Headings) -> tuple[GridRow, ...]:
    """The rows below the headings; all of them where there are none."""
    if headings.row is None:
        return grid.rows
    return tuple(row for row in grid.rows if row.line > headings.row.line)


def repeats_headings(row: GridRow, headings: Headings) -> bool:
    """Whether a row below says the headings again, as printed lists do on every page."""
    if headings.row is None:
        return False
    mapped = [column for column in headings.guess.values() if column is not None]
    return bool(mapped) and all(normal(row.cell(at)) == normal(headings.row.cell(at)) for at in mapped)
