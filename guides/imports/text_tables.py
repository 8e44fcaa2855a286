"""Tables that are written as text in other ways than CSV: a web page saved as a workbook, and the tables of wikis,
drawn with upright bars. No Django in here."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser

_TABLE = re.compile(r"<table\b", re.IGNORECASE)
_RULE = re.compile(r"[\s|:+=-]*-[\s|:+=-]*")
_EMPHASIS = re.compile(r"^(\*\*|__|`|\*|_)(.+)\1$")
MOST_SPAN = 1_000
"""Rows or columns that one cell may cover (the living standard of HTML, 4.9.11, bounds columns so)."""

Lines = Iterator[tuple[int, list[str]]]
"""Line as a text program counts it, and its cells."""


def is_web_page(text: str) -> bool:
    """Programs on the web save a page under the name of a workbook."""
    head = text[:2_000].lstrip().lower()
    return head.startswith(("<", "\ufeff<")) and _TABLE.search(text) is not None


def _span(text: str) -> int:
    return min(max(int(text), 1), MOST_SPAN) if text.isascii() and text.isdecimal() and len(text) < 6 else 1


class _Page(HTMLParser):
    """The cells of all tables of a page, one below the other; a cell over several rows stands in each of them."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.rows: list[tuple[int, list[str]]] = []
        self.cell: list[str] | None = None
        self.spans = (1, 1)
        self.below: dict[int, tuple[int, str]] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "tr":
            self._finish()
            self.rows.append((self.getpos()[0], []))
        elif tag in ("td", "th"):
            self._finish()
            attributes = dict(attrs)
            wide, high = (attributes.get(name) or "1" for name in ("colspan", "rowspan"))
            self.spans = (_span(wide), _span(high))
            self.cell = []
        elif tag == "br" and self.cell is not None:
            self.cell.append(" ")

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th", "tr", "table"):
            self._finish()
        if tag == "tr" and self.rows:
            self._from_above(self.rows[-1][1])

    def handle_data(self, data: str) -> None:
        if self.cell is not None:
            self.cell.append(data)

    def _from_above(self, cells: list[str]) -> None:
        while (spanning := self.below.get(len(cells))) is not None:
            left, text = spanning
            if left == 1:
                del self.below[len(cells)]
            else:
                self.below[len(cells)] = (left - 1, text)
            cells.append(text)

    def _finish(self) -> None:
        if self.cell is None:
            return
        text, self.cell = " ".join("".join(self.cell).split()), None
        if not self.rows:
            self.rows.append((self.getpos()[0], []))
        cells = self.rows[-1][1]
        self._from_above(cells)
        wide, high = self.spans
        for at in range(wide):
            if high > 1:
                self.below[len(cells)] = (high - 1, text)
            cells.append(text if at == 0 else "")


def web_rows(text: str) -> Lines:
    page = _Page()
    page.feed(text)
    page.close()
    yield from enumerate((cells for _, cells in page.rows), 1)


def is_drawn(text: str) -> bool:
    """Most lines that hold a bar begin with one, and one is a rule of dashes."""
    lines = [line.strip() for line in text.splitlines()[:200] if "|" in line]
    begun = sum(line.startswith("|") for line in lines)
    return len(lines) > 2 and begun > 0.8 * len(lines) and any(_RULE.fullmatch(line) for line in lines)


def drawn_rows(text: str) -> Lines:
    """The lines of a drawn table without its rules, and without stars and ticks around words."""
    for number, line in enumerate(text.splitlines(), 1):
        bare = line.strip()
        if _RULE.fullmatch(bare):
            continue
        inner = bare.removeprefix("|").removesuffix("|") if bare.startswith("|") else bare
        yield number, [_plain(cell.strip()) for cell in re.split(r"(?<!\\)\|", inner)]


def _plain(cell: str) -> str:
    while match := _EMPHASIS.match(cell):
        cell = match[2].strip()
    return cell.replace("\\|", "|")
