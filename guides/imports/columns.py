"""Which column of a table says what: guessed from its headings, corrected by the person. No Django in here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from guides.imports.grid import Grid, GridRow
from guides.imports.heading_words import FOREIGN
from guides.imports.inks import INK_FIELDS
from guides.imports.texts import normal
from guides.imports.workbooks import column_name

HEADINGS_WITHIN = 10
"""Rows from the top among which the headings are looked for: titles and dates stand above them."""
MOST_TURNED = 300
"""Lines of a table that may be one lying on its side: each becomes a column."""
INKS_NEEDED = 3
"""Columns of inks that make a tint; one letter alone above a column may mean anything."""

_OF_PAGES = frozenset((
    "page", "pages", "panel", "panels", "seite", "seiten", "planche", "case", "página", "pagina", "viñeta",
))  # fmt: skip
"""A heading that holds one of these speaks of a page, whatever else it says: “from page” is no issue."""
_RUNS = frozenset(("issue", "issues", "heft", "hefte", "ausgabe", "ausgaben", "numéro", "número", "numero", "号"))
_ENDS = frozenset((
    "from", "to", "until", "till", "since", "first", "last", "start", "end", "up", "before", "after", "through",
    "ab", "bis", "von", "seit", "vor", "nach", "de", "du", "à", "au", "depuis", "avant", "après", "desde", "hasta",
    "antes", "dal", "al", "fino", "prima", "dopo",
))  # fmt: skip
"""A heading that holds one of these says one end of a run of issues, “before issue” maybe none that we take."""
_NUMBERED = frozenset(
    ("no", "nr", "number", "num", "id", "nummer", "numéro", "número", "numero", "ref", "index", "番号")
)
_NAMES_OF = frozenset(
    ("subject", "character", "costume", "outfit", "part", "item", "figur", "teil", "kostüm", "prop")
)
"""“Part name” goes before “part no”, wherever it stands."""

Remembered = Mapping[str, str]
"""What a series called its columns by hand: normal heading to field."""


@dataclass(frozen=True, slots=True)
class TableField:
    """Something a table of a kind can say. ``words`` are headings it goes by, the likeliest first; ``exact``: only
    as a whole heading."""

    name: str
    label: str
    words: tuple[str, ...]
    required: bool = False
    help: str = ""
    exact: bool = False


_INKS = (
    TableField(
        "cyan",
        "Cyan, in %",
        ("cyan percent", "cyan", "c", "blue", "b"),
        help="where each ink has a column of its own: 25, 25 %, 0.25 or 0,25",
        exact=True,
    ),
    TableField("magenta", "Magenta, in %", ("magenta percent", "magenta", "m", "red", "r"), exact=True),
    TableField("yellow", "Yellow, in %", ("yellow percent", "yellow", "y"), exact=True),
    TableField("key", "Black, in %", ("key percent", "key", "black", "k"), exact=True),
)


def known_words(kind: str, fields: tuple[TableField, ...]) -> tuple[TableField, ...]:
    """Fields with the words of other languages behind their own."""
    return tuple(replace(field, words=(*field.words, *FOREIGN[kind].get(field.name, ()))) for field in fields)


BIBLE = known_words(
    "bible",
    (
        TableField("subject", "Subject", ("subject", "character", "name", "who", "prop", "figure"), True),
        TableField(
            "kind",
            "Kind of subject",
            ("kind", "type", "sort"),
            help="character, prop …; else the first",
        ),
        TableField("costume", "Costume", ("costume", "outfit", "look", "dress", "clothes"), help="else “as drawn”"),
        TableField(
            "worn",
            "Worn in issues",
            ("worn", "worn in issues", "worn in"),
            help="as in 1 - 18; 43; 60 -; else always",
        ),
        TableField("part", "Part", ("part", "item", "element", "piece", "what")),
        TableField(
            "role", "Role", ("role", "base or shade", "layer", "tone"), help="by name or short sign: shade; else base"
        ),
        TableField("code", "Code", ("code", "tint", "tint code", "colour", "color", "colour code", "color code")),
        TableField("written", "Code as it was written", ("written", "as written"), exact=True),
        TableField("fades", "Fades to", ("fades to", "fade to", "to code", "second code", "code 2"), exact=True),
        *_INKS,
        TableField(
            "issues",
            "Issues, first and last in one",
            ("issues", "issue range", "in issues", "valid in", "valid for", "issue", "issue numbers"),
            help="as in 12-18 or from 12; instead of the next two",
        ),
        TableField(
            "first",
            "From issue",
            (
                "from",
                "from issue",
                "issue from",
                "since",
                "first issue",
                "first",
                "start",
                "starts",
                "as of issue",
                "valid from",
            ),
            help="else from the first one; asked for where another code is locked",
        ),
        TableField(
            "last",
            "Up to and including issue",
            (
                "to",
                "to issue",
                "issue to",
                "until",
                "up to",
                "last issue",
                "last",
                "end",
                "ends",
                "till",
                "through",
                "thru",
            ),
        ),
        TableField("edition", "Edition", ("edition", "printing"), help="else the first printing", exact=True),
        TableField("reason", "Reason", ("reason", "why", "because", "remark", "remarks", "comment", "comments")),
        TableField("note", "Note on the subject", ("note", "notes", "subject note", "description")),
    ),
)

MARKS = known_words(
    "marks",
    (
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
    ),
)

ISSUES = known_words(
    "issues",
    (
        TableField("number", "Number as printed", ("number", "issue", "issue number", "issue no", "no"), True),
        TableField("title", "Title", ("title", "name", "story")),
        TableField(
            "published",
            "Cover date",
            ("cover date", "date", "published", "on sale"),
            help="as 2026-11-25 or 25 Nov 2026",
        ),
        TableField(
            "order",
            "Place in the running order",
            ("running order", "order", "place", "position"),
            help="1 for the first issue; else the order of the rows",
        ),
    ),
)


@dataclass(frozen=True, slots=True)
class Headings:
    """Where a table's headings stand, what they are, and what they were taken to mean.

    ``guess`` maps each field's name to a column (from 0), or to None. ``known``: whether any heading was; where none
    was, ``row`` only looks like headings. ``rows``: how many lines they take.
    """

    row: GridRow | None
    guess: dict[str, int | None]
    known: bool = True
    rows: int = 1

    def column_label(self, column: int, body: tuple[GridRow, ...]) -> str:
        """“B: Costume (work coat)”: letter, heading, and the first thing that stands below."""
        heading = self.row.cell(column) if self.row else ""
        example = next((row.cell(column) for row in body if row.cell(column)), "")[:24]
        label = f"{column_name(column)}: {heading}" if heading else column_name(column)
        return f"{label} ({example})" if example else label


def guess(
    cells: tuple[str, ...],
    fields: tuple[TableField, ...],
    above: tuple[str, ...] = (),
    remembered: Remembered | None = None,
) -> dict[str, int | None]:
    """A column for each field: what the series remembers, whole headings, then headings that begin or end with a
    field's word.

    No column is taken twice; of two alike the first is taken. Fewer columns of inks than make a tint are none.

    Args:
        above: what stands in the line above, where headings take two lines.
    """
    ways = [_ways(cell, above[at] if at < len(above) else "") for at, cell in enumerate(cells)]
    columns: dict[str, int | None] = {field.name: None for field in fields}
    taken: set[int] = set()
    at: int | None
    for at, headings in enumerate(ways):
        name = next((remembered[heading] for heading in headings if heading in remembered), "") if remembered else ""
        if name in columns and columns[name] is None:
            columns[name] = at
            taken.add(at)
    ranks = range(max(len(field.words) for field in fields))
    for exact in (True, False):
        # A field's likelier word goes before another field's unlikelier one.
        for rank in ranks:
            for field in fields:
                if columns[field.name] is None and rank < len(field.words) and (exact or not field.exact):
                    at = _column_of(field.words[rank], ways, taken, exact=exact)
                    if at is not None:
                        columns[field.name] = at
                        taken.add(at)
    if sum(columns.get(name) is not None for name in INK_FIELDS) < INKS_NEEDED:
        columns |= {name: None for name in INK_FIELDS if name in columns}
    return columns


def _ways(cell: str, above: str) -> tuple[str, ...]:
    """A heading by itself, and together with what stands above it."""
    lower, upper = normal(cell), normal(above)
    if not upper:
        return (lower,) if lower else ()
    return (lower, f"{upper} {lower}") if lower else (upper,)


def _column_of(word: str, ways: list[tuple[str, ...]], taken: set[int], *, exact: bool) -> int | None:
    if not exact and len(word) <= 2:
        return None
    columns: Iterable[int] = range(len(ways))
    if word in _NAMES_OF:
        columns = sorted(columns, key=lambda at: any(_NUMBERED & set(heading.split()) for heading in ways[at]))
    for column in columns:
        headings = ways[column]
        if column in taken:
            continue
        for heading in headings:
            more = set(heading.split()) - set(word.split())
            if _OF_PAGES & more or (word in _RUNS and _ENDS & more):
                continue
            if heading == word or (not exact and (heading.startswith(f"{word} ") or heading.endswith(f" {word}"))):
                return column
    return None


def find_headings(
    grid: Grid, fields: tuple[TableField, ...], remembered: Remembered | None = None, line: int | None = None
) -> Headings:
    """The row near the top, or the two rows, that answer to the most fields, if they answer to two at least; else the
    first row that looks like headings; else none.

    Args:
        line: where somebody says that they stand; 0 where there are none.
    """
    none: dict[str, int | None] = {field.name: None for field in fields}
    if line == 0:
        return Headings(None, none, known=False)
    best: tuple[int, Headings] | None = None
    top = [row for row in grid.rows if row.line == line] if line else grid.rows[:HEADINGS_WITHIN]
    for row in top:
        guessed = guess(row.cells, fields, remembered=remembered)
        if best is None or _hits(guessed) > best[0]:
            best = (_hits(guessed), Headings(row, guessed, known=_hits(guessed) > 0))
    for upper, lower in pairwise(top):
        above = _spread(upper.cells, len(lower.cells))
        guessed = guess(lower.cells, fields, above, remembered)
        if best and _hits(guessed) > best[0] and _hits(guessed) > _hits(guess(above, fields, remembered=remembered)):
            both = GridRow(lower.line, tuple(" ".join(filter(None, pair)) for pair in _pairs(above, lower.cells)))
            best = (_hits(guessed), Headings(both, guessed, rows=2))
    needed = min(2, len([field for field in fields if field.required]) + 1)
    if best and (line or best[0] >= needed):
        return best[1]
    first = next((row for row in grid.rows[:HEADINGS_WITHIN] if len(list(filter(None, row.cells))) > 1), None)
    if first is not None and looks_like_headings(first, grid):
        return Headings(first, guess(first.cells, fields, remembered=remembered), known=False)
    return Headings(None, none, known=False)


def _hits(guessed: Mapping[str, int | None]) -> int:
    return sum(column is not None for column in guessed.values())


def _pairs(above: tuple[str, ...], lower: tuple[str, ...]) -> list[tuple[str, str]]:
    width = max(len(above), len(lower))
    filled = [(*cells, *[""] * (width - len(cells))) for cells in (above, lower)]
    return [(up if up != low else "", low) for up, low in zip(*filled, strict=True)]


def _spread(cells: tuple[str, ...], width: int) -> tuple[str, ...]:
    """A heading that spans several columns, said above each of them."""
    spread: list[str] = []
    for at in range(max(width, len(cells))):
        cell = cells[at] if at < len(cells) else ""
        spread.append(cell or (spread[-1] if spread else ""))
    return tuple(spread)


def looks_like_headings(row: GridRow, grid: Grid) -> bool:
    """Whether a row holds words alone, none twice and none that stands below again, while something below holds a
    figure or a code: headings in a language that nobody taught us."""
    words = [cell for cell in row.cells if cell]
    if any(any(sign.isdigit() for sign in cell) or len(cell) < 2 for cell in words) or len(set(words)) < len(words):
        return False
    below = [other for other in grid.rows if other.line > row.line][:100]
    again = any(other.cell(at) == cell for other in below for at, cell in enumerate(row.cells) if cell)
    return bool(below) and not again


def turned(grid: Grid) -> Grid | None:
    """The table with rows and columns changed round, each row's line its column's number; None where it is too large
    for one that lies on its side."""
    if len(grid.rows) > MOST_TURNED:
        return None
    rows = [
        GridRow(at + 1, tuple(row.cell(at) for row in grid.rows), frozenset())
        for at in range(grid.width)
        if any(row.cell(at) for row in grid.rows)
    ]
    return Grid(tuple(rows), grid.notices)


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
