"""What somebody asks the look-up for: words of names, codes as people write them, words for colours."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from bible.colour.charts import Chart
from bible.colour.colour_words import colour_term, is_called
from bible.colour.notation import NotationError
from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array
from bible.models import Series
from bible.series.presses import condition

INKS_AT_MOST = 4
"""So many words may be one code: “Y R3 B2”, “C25 M50 Y100 K10”."""

CODE_LETTERS = 12
"""Longer words are names: no code of four inks has more."""


@dataclass(frozen=True, slots=True)
class Term:
    """One word of a question. It may fit a name; ``tint`` is what it means as a code, and ``called`` are the tints
    of the chart that it is a word for."""

    word: str
    tint: Tint | None = None
    called: frozenset[Tint] = frozenset()


def terms_of(series: Series, words: str) -> list[Term]:
    """A question word by word; neighbours that are one code in pieces are one term."""
    asked = words.replace("\0", " ").split()  # PostgreSQL takes no NUL, and nothing is called by one
    codes = [_read(series, word) for word in asked]
    terms = []
    at = 0
    while at < len(asked):
        together = 1
        while at + together < len(asked) and together < INKS_AT_MOST and codes[at] and codes[at + together]:
            together += 1
        word = " ".join(asked[at : at + together])
        tint = codes[at] if together == 1 else _read(series, word)
        if together > 1 and tint is None:  # two codes after each other are two questions
            word, tint, together = asked[at], codes[at], 1
        term = colour_term(word)
        terms.append(Term(word, tint, _tints_called(condition(series), series.chart, term) if term else frozenset()))
        at += together
    return terms


def _read(series: Series, word: str) -> Tint | None:
    if len(word.replace(" ", "")) > CODE_LETTERS:
        return None
    try:
        return series.notation.read_plain(word, series.chart)  # what a name might have meant as a code nobody asks
    except NotationError:
        return None


@lru_cache(maxsize=128)
def _tints_called(press: PressCondition, chart: Chart, term: str) -> frozenset[Tint]:
    """The tints of a chart that may be called by a colour term in print. Neither a condition nor a chart changes."""
    called = is_called(press.relative_lab(as_array(chart.tints)), term)
    return frozenset(tint for tint, fits in zip(chart.tints, called, strict=True) if fits)
