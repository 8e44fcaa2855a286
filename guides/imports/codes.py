"""Codes as people write them, made such as the series' notation reads: “C=25 M=50 Y=100”, “100 Y 50 M”, “YR3
(check!)”.

Nothing is read here: a way of writing is offered to the notation, which alone turns text into a tint. What it reads
only in another form than it was written in is said before anything is saved. No Django in here.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from guides.imports.texts import alike, tidy

Reads = Callable[[str], bool]
"""Whether the series' notation reads a text."""

LONGEST = 200
"""Signs of a cell that is looked at for a code; a longer one holds sentences."""


@dataclass(frozen=True, slots=True)
class CodeCell:
    """``code``: what the notation reads, or the cell as it stands where it reads none of it. ``note``: what stood
    beside it. ``told``: what was understood, where that is more than spaces."""

    code: str
    note: str = ""
    told: str = ""


_RAISED = re.compile("[⁰¹²³⁴-⁹₀-₉]")
_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_BEHIND = re.compile(r"^(.*?)\s*([?!*†‡]+)$", re.DOTALL)
_AFTER = re.compile(r"^(.+?)\s*(?:[,;:]|\s-+)\s+(.*[^\W\d_]{3,}.*)$", re.DOTALL)
_INK_WORDS = {
    "cyan": "C", "cian": "C", "ciano": "C", "シアン": "C",
    "magenta": "M", "マゼンタ": "M",
    "yellow": "Y", "gelb": "Y", "jaune": "Y", "amarillo": "Y", "giallo": "Y", "イエロー": "Y",
    "black": "K", "key": "K", "schwarz": "K", "noir": "K", "negro": "K", "nero": "K", "ブラック": "K",
}  # fmt: skip
_WORD = re.compile("|".join(sorted(_INK_WORDS, key=len, reverse=True)), re.IGNORECASE)
_FIGURE_FIRST = re.compile(r"(\d{1,3})\s*(%?)\s*([CMYK])(?![A-Za-z0-9])", re.IGNORECASE)
_FIGURE = r"(\d{1,3})\s*%?\s*"
_FOUR = re.compile(r"(?:cmyk\b\W*)?" + r"[/,;|\- ]\s*".join([_FIGURE] * 4), re.IGNORECASE)
_PERCENTS = re.compile(r"(?:[CMYK]\s*\d{1,3}\s*%?[\s/|,;+.-]*){2,4}", re.IGNORECASE)
_SHARES = re.compile(r"([CMYK])\s*([01](?:[.,]\d{1,2})?)(?!\d)", re.IGNORECASE)


def plain_code(cell: str, reads: Reads) -> CodeCell:
    """A cell's code, with what stood beside it kept apart."""
    if not cell or len(cell) > LONGEST or cell.lstrip().startswith(("+", "＋")) or reads(cell):
        return CodeCell(cell)
    for text, note in _without_notes(unicodedata.normalize("NFKC", cell).strip()):
        for form in _forms(text):
            if form and reads(form):
                code = " ".join(form.split())
                notices = [f"“{cell}” is read as {code}"] if alike(code) != alike(cell) else []
                notices += [f"the note “{note}” is kept"] if note else []
                notice = ", ".join(notices)
                return CodeCell(code, note, f"{notice[:1].upper()}{notice[1:]}." if notice else "")
    return CodeCell(cell)


def raised(cell: str) -> str:
    """Why a cell with a raised or lowered figure is none to be read: it may be a footnote's."""
    if not _RAISED.search(cell):
        return ""
    return f"“{cell[:40]}” has a raised or lowered figure: write it plainly where it belongs to the code."


def _without_notes(text: str) -> Iterator[tuple[str, str]]:
    """The text as it is; without what stands in brackets; without a sign of doubt; without words behind it."""
    yield text, ""
    notes = [remark.strip() for remark in _BRACKETS.findall(text) if remark.strip()]
    bare = " ".join(_BRACKETS.sub(" ", text).split())
    if notes:
        yield bare, "; ".join(notes)
    if match := _BEHIND.match(bare):
        bare = match[1]
        notes.append(match[2])
        yield bare, "; ".join(notes)
    if match := _AFTER.match(bare):
        yield match[1], "; ".join([match[2], *notes])


def _forms(text: str) -> Iterator[str]:
    """Other ways to write the same: no signs between letter and figure, words for letters, figures first, four bare
    percentages in the order of their names."""
    yield text
    plain = _WORD.sub(lambda match: _INK_WORDS[match[0].casefold()], text)
    plain = re.sub(r"(?<=[A-Za-z])\s*[=:]\s*(?=\d)", "", plain)
    yield plain
    yield re.sub(r"\s*[,;+&]\s*|(?<=\w)\s*[-_.](?=[A-Za-z])", " ", plain)
    if _PERCENTS.fullmatch(plain.strip()):
        yield re.sub(r"[/|,;+.-]", " ", plain)
    turned = _FIGURE_FIRST.sub(r" \3\1\2 ", re.sub(r"[/|,;+]", " ", plain))
    yield tidy(turned)
    if match := _FOUR.fullmatch(plain.strip()):
        yield " ".join(f"{ink}{int(figure)}" for ink, figure in zip("CMYK", match.groups(), strict=True))
    shares = _SHARES.findall(plain)
    rest = _SHARES.sub("", plain).strip(" /|,;+-")
    if len(shares) > 1 and not rest and any("." in figure or "," in figure for _, figure in shares):
        yield " ".join(f"{ink}{round(float(figure.replace(',', '.')) * 100)}" for ink, figure in shares)
