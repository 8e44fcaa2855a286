"""The closed list of what a code on a page can say: every tint of the chart, in every way people write it.

Text becomes a tint in ``bible.colour.notation`` and nowhere else; here tints become texts that may stand for them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import permutations, product

import numpy as np
import numpy.typing as npt

from bible.colour.charts import Chart
from bible.colour.notation import Notation
from bible.colour.tints import Tint

SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ%/"
"""What the reader can say, in the order of its channels; the blank stands before the first."""

SMALL_CHART = 400
"""A chart with more tints than this is read in the series' own order only: the list would take seconds."""

OWN_STYLE = 0.97
"""Share of codes in the style the series writes (letters or percentages): common practice, no source."""

OWN_ORDER = 0.85
"""Share of codes whose inks stand in the series' order (common practice, no source)."""

UNUSUAL = 0.04
"""Share of codes in percentages with signs or zeros between them."""

STROKES = 0.3
"""Share of codes in percentages with strokes between them: some houses write every one so, and where nobody does so
expecting them costs nothing (on pages that choose as many codes were read with 0.04)."""


@dataclass(frozen=True, slots=True)
class Spelling:
    """One way to write a code: ``text`` in capitals without spaces, ``code`` as the notation writes it, how likely
    it is among the ways of this code (0-1); ``own`` when it is in the style of the series."""

    text: str
    code: str
    chance: float
    own: bool


@dataclass(frozen=True)
class Tree:
    """The spellings as a tree of signs: for each node its sign (a channel of the reader) and its parent; node 0 is
    the root. ``ends`` (n,) are the spellings' last nodes, ``codes`` (n,) which code each means, ``chances`` (n,)."""

    signs: npt.NDArray[np.intp]
    parents: npt.NDArray[np.intp]
    ends: npt.NDArray[np.intp]
    codes: npt.NDArray[np.intp]
    chances: npt.NDArray[np.float32]


@dataclass(frozen=True)
class Lexicon:
    """What may stand on the pages of one series. Build it with ``of``.

    Attributes:
        codes: the codes, each once, as the series' notation writes them.
        spellings: every way to write one of them that the reader's signs allow.
        style: "letters" or "percent".
    """

    codes: tuple[str, ...]
    spellings: tuple[Spelling, ...]
    style: str

    @classmethod
    def of(cls, notation: Notation, chart: Chart | None = None) -> Lexicon:
        """The lexicon of a series: the tints of its chart (without one, of its notation's steps) and its aliases."""
        tints = list((chart or notation.steps_chart).tints)
        if not any(tint.is_paper for tint in tints):
            tints.append(Tint())
        every = len(tints) <= SMALL_CHART
        spellings: dict[str, Spelling] = {}
        for tint in tints:
            code = notation.write(tint)
            for text, chance, style in _ways(notation, tint, every=every):
                known = spellings.get(text)
                if set(text) <= set(SIGNS) and (known is None or known.chance < chance):
                    spellings[text] = Spelling(text, code, chance, style == notation.style)
        return cls(
            tuple(dict.fromkeys(s.code for s in spellings.values())), tuple(spellings.values()), notation.style
        )

    @cached_property
    def by_text(self) -> dict[str, Spelling]:
        """Text in capitals without spaces to what it says."""
        return {spelling.text: spelling for spelling in self.spellings}

    @cached_property
    def letters(self) -> frozenset[str]:
        """Every letter a code of this series can hold."""
        return frozenset(sign for spelling in self.spellings for sign in spelling.text if sign.isalpha())

    @cached_property
    def tree(self) -> Tree:
        """The spellings as a tree, for the decoder."""
        numbers = {code: number for number, code in enumerate(self.codes)}
        children: dict[tuple[int, int], int] = {}
        signs, parents, ends = [0], [0], []
        for spelling in self.spellings:
            node = 0
            for sign in spelling.text:
                channel = SIGNS.index(sign) + 1
                if (node, channel) not in children:
                    children[node, channel] = len(signs)
                    signs.append(channel)
                    parents.append(node)
                node = children[node, channel]
            ends.append(node)
        return Tree(
            np.array(signs),
            np.array(parents),
            np.array(ends),
            np.array([numbers[s.code] for s in self.spellings]),
            np.array([s.chance for s in self.spellings], np.float32),
        )


def _ways(notation: Notation, tint: Tint, *, every: bool) -> Iterator[tuple[str, float, str]]:
    """Texts for a tint with their chances and style."""
    share = {style: OWN_STYLE if notation.style == style else 1 - OWN_STYLE for style in ("letters", "percent")}
    if tint.is_paper:
        yield notation.paper, 0.9, notation.style
        yield "C0M0Y0", 0.05, "percent"
        yield "0/0/0", 0.05, "percent"
        return
    for text, chance in _lettered(notation, tint, every=every):
        yield text, chance * share["letters"], "letters"
    for text, chance in _in_percent(notation, tint, every=every):
        yield text, chance * share["percent"], "percent"


def _orders(inks: list[str], usual: str, *, every: bool) -> list[tuple[tuple[str, ...], float]]:
    """Orders of inks with their chances: the usual one, and where there is room for it all others."""
    first = tuple(sorted(inks, key=usual.index))
    others = [order for order in permutations(inks) if order != first] if every and len(inks) < 4 else []
    if not others:
        return [(first, 1.0)]
    return [(first, OWN_ORDER), *((order, (1 - OWN_ORDER) / len(others)) for order in others)]


def _lettered(notation: Notation, tint: Tint, *, every: bool) -> Iterator[tuple[str, float]]:
    pieces: dict[str, list[str]] = {}
    for ink in "cmyk":
        percent = getattr(tint, ink)
        if percent:
            letter = notation.letter_of[ink]
            pieces[ink] = [
                text for text, value in notation.percent_of.items() if value == percent and text[0] == letter
            ]
    if any(not texts for texts in pieces.values()):
        return
    for order, chance in _orders(list(pieces), notation.order, every=every):
        choices = list(product(*(pieces[ink] for ink in order)))
        for chosen in choices:
            yield "".join(chosen), chance / len(choices)


def _in_percent(notation: Notation, tint: Tint, *, every: bool) -> Iterator[tuple[str, float]]:
    inks = [ink for ink in "cmyk" if getattr(tint, ink)]
    usual = "cmyk" if notation.style == "letters" else _percent_order(notation)
    for order, chance in _orders(inks, usual, every=every):
        plain = [f"{ink.upper()}{getattr(tint, ink)}" for ink in order]
        yield "".join(plain), chance
        if every:
            yield "".join(f"{piece}%" for piece in plain), chance * UNUSUAL
    if every and not tint.k:
        yield f"{tint.c}/{tint.m}/{tint.y}", STROKES
        if len(inks) < 3:
            yield f"C{tint.c}M{tint.m}Y{tint.y}", UNUSUAL


def _percent_order(notation: Notation) -> str:
    """Percentages are written C, M, Y, K unless the series' order differs from the letters' usual."""
    return "cmyk" if notation.order == Notation().order else notation.order
