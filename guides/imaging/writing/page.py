"""Every code on a page, found and read: ``read_writing``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from guides.imaging.writing.crops import Picture, Place
from guides.imaging.writing.finder import SAME, Found, find, shared
from guides.imaging.writing.hearing import Heard, hear
from guides.imaging.writing.lexicon import Lexicon
from guides.imaging.writing.lying import holds_two_pages, turned_by
from guides.imaging.writing.models import Models, models
from guides.imaging.writing.odds import Doubles, Odds
from guides.imaging.writing.shapes import HandShapes

MOST_ALTERNATIVES = 8
"""Readings kept for a code, the first included; the page's paint and bible may prefer a later one."""

SURELY_OTHER = 0.9
"""The finder's chance of other writing from which a word is not even read: balloons hold hundreds."""

SPOILT, SURELY_WRITING = 0.55, 0.9
"""The finder's chances from which writing is called an unreadable code, and writing at all: real ones on watched
pages had 0.59 and 1 at least."""

IS_CODE = 0.7
"""Chance from which writing is given back as a code."""

TOLD = 0.004
"""Readings less likely than this are left out."""

READ_WELL = 0.5
"""Where such a share of the words reads with such a chance, nobody need ask how the page lies."""

OTHER_NOTATION = 0.5
"""Share of a page's codes in the other style than the series', or in letters it has not, from which that is said."""

FEWEST_WORDS, NO_READING = 3, 0.3
"""Words that have to be in letters a series has not before that is said, and the chance below which none of its codes
reads there."""


TURNED = {
    90: "This page seems to lie on its side: turn it a quarter to the left and read it again.",
    180: "This page seems to lie upside down: turn it and read it again.",
    270: "This page seems to lie on its side: turn it a quarter to the right and read it again.",
}

TWO_PAGES = "Two pages seem to lie side by side on this scan: cut it apart and send each by itself."


@dataclass(frozen=True, slots=True)
class Alternative:
    """A reading: the code as the series' notation writes it, the chance that it is what stands there."""

    code: str
    p: float


@dataclass(frozen=True, slots=True)
class WrittenCode:
    """A code on a page.

    Attributes:
        place: its box, turned as the writing is, in pixels of the page as given.
        text: the signs as they seem to stand there, capitals without spaces, bound by no lexicon.
        code: the likeliest code, as the series' notation writes it; None where it can't be read.
        p: the chance (0-1) that this is a code and says ``code``; calibrated on hands nothing was learnt from.
        alternatives: likeliest first, ``code`` itself the first of them.
        is_code: the chance that this is a code at all.
        unreadable: somebody wrote a code here and it can't be read.
        crossed_out: it is struck through; what it said is read all the same.
        as_written: the lexicon's spelling of ``code`` that fits best, which the notation reads; None without one.
    """

    place: Place
    text: str
    code: str | None
    p: float
    alternatives: tuple[Alternative, ...]
    is_code: float
    unreadable: bool = False
    crossed_out: bool = False
    as_written: str | None = None

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom of the level box, pixels."""
        return self.place.bounds()

    @property
    def angle(self) -> float:
        """Degrees the writing is turned, clockwise as seen."""
        return float(np.degrees(self.place.turn))


@dataclass(frozen=True)
class Writing:
    """What is written on a page.

    Attributes:
        codes: from the top.
        others: places of writing that is no code (lettering, notes), as far as it was found.
        upside_down: the page seems to lie on its head.
        notes: sentences for a person: what is odd about the page.
        turned: degrees clockwise that the page seems to lie turned (0, 90, 180 or 270); where it is turned, no code
            is told.
    """

    codes: tuple[WrittenCode, ...]
    others: tuple[Place, ...]
    upside_down: bool
    notes: tuple[str, ...]
    turned: int = 0

    @property
    def places(self) -> tuple[Place, ...]:
        """Of all writing that was found."""
        return (*(code.place for code in self.codes), *self.others)


def read_writing(page: Picture, lexicon: Lexicon, hand: HandShapes | None = None) -> tuple[WrittenCode, ...]:
    """The codes on a page (h, w, 3) uint8 sRGB, from the top; ``hand`` is what is known of its colourist's signs.

    Raises:
        WritingModelError: the networks can't be used.
        ValueError: the picture has another shape or kind.
    """
    return read_page(page, lexicon, hand=hand).codes


def read_page(
    page: Picture, lexicon: Lexicon, folder: Path | None = None, *, hand: HandShapes | None = None
) -> Writing:
    """As ``read_writing``, with what else is to be said of the page."""
    if page.ndim != 3 or page.shape[2] != 3 or page.dtype != np.uint8 or min(page.shape[:2]) < 1:
        raise ValueError("a page is an array (h, w, 3) of uint8")
    nets = models(folder)
    items = find(nets.finder, page)
    asked = [item for item in items if item.kinds[1] < SURELY_OTHER]
    codes, strange = _read(page, asked, lexicon, nets, hand)
    turned = _turned(page, asked, codes, lexicon, nets)
    others = tuple(item.place for item in items if not any(shared(item.place, code.place) > SAME for code in codes))
    notes = (TURNED[turned],) if turned else _notes(codes, others, lexicon, strange)
    if not turned and holds_two_pages(page):
        notes = (TWO_PAGES, *notes)
    return Writing(() if turned else codes, others, turned == 180, notes, turned)


def _turned(page: Picture, asked: Sequence[Found], codes: Sequence[WrittenCode], lexicon: Lexicon, nets: Models
            ) -> int:  # fmt: skip
    """Degrees that a page seems to lie turned; nobody asks where it reads well."""

    def well(read: Sequence[WrittenCode]) -> int:
        return sum(code.p > READ_WELL for code in read)

    def reads(other: Picture) -> int:
        items = [item for item in find(nets.finder, other) if item.kinds[1] < SURELY_OTHER]
        return well(_read(other, items, lexicon, nets)[0])

    if codes and well(codes) >= READ_WELL * len(asked):
        return 0
    return turned_by(page, asked, well(codes), lexicon, nets, reads)


def _read(
    page: Picture, asked: Sequence[Found], lexicon: Lexicon, nets: Models, hand: HandShapes | None = None
) -> tuple[tuple[WrittenCode, ...], bool]:
    """The codes, from the top, and whether most of what looks like one is in letters that the series has not."""
    if not asked:
        return (), False
    odds = Odds.of(nets.ledger)
    heard = hear(page, asked, lexicon, nets, odds.temperature, hand)
    is_code, right = odds.chances(heard.facts)
    readings = []
    for place, item in enumerate(heard.asked):
        spoilt = item.kinds[3] > SPOILT and item.sure > SURELY_WRITING
        if is_code[place] < IS_CODE and not (spoilt and item.kinds[1] < 1 - IS_CODE):
            continue
        readings.append(_told(item, place, heard, lexicon, float(is_code[place]), float(right[place]), spoilt))
    codes = tuple(sorted(readings, key=lambda code: (code.place.y, code.place.x)))
    return codes, _in_strange_letters(heard, right, lexicon)


def _in_strange_letters(heard: Heard, right: Doubles, lexicon: Lexicon) -> bool:
    """Whether most of the words that the finder takes for codes have letters that no code of the series has.

    Words are asked, not codes: how many of them are given back as codes hangs on the odds. Single signs say nothing:
    a cross is an X.
    """
    strange = [
        p < NO_READING and bool(set(filter(str.isalpha, reading.text)) - lexicon.letters)
        for item, reading, p in zip(heard.asked, heard.free, right, strict=True)
        if item.kinds[0] + item.kinds[2] > IS_CODE and len(reading.text) > 1
    ]
    return sum(strange) >= FEWEST_WORDS and sum(strange) > OTHER_NOTATION * len(strange)


def _told(item: Found, place: int, heard: Heard, lexicon: Lexicon, is_code: float, right: float, spoilt: bool
          ) -> WrittenCode:  # fmt: skip
    shares = heard.shares[place]
    order = np.argsort(-shares)[:MOST_ALTERNATIVES]
    first = min(right, is_code)
    rest = max(is_code - first, 0.0) / max(1 - float(shares[order[0]]), 1e-9)
    chances = [first, *(min(float(shares[code]) * rest, first) for code in order[1:])]
    kept = tuple(
        Alternative(lexicon.codes[code], round(p, 4))
        for code, p in zip(order, chances, strict=True)
        if p > TOLD or code == order[0]
    )
    spelling = lexicon.spellings[int(heard.spellings[place, order[0]])]
    crossed = item.kinds[2] > max(item.kinds[0], item.kinds[1], item.kinds[3])
    if spoilt:
        return WrittenCode(item.place, heard.free[place].text, None, 0.0, kept, is_code, unreadable=True)
    return WrittenCode(
        item.place,
        heard.free[place].text,
        kept[0].code,
        round(first, 4),
        kept,
        is_code,
        False,
        crossed,
        spelling.text,
    )


def _notes(codes: Sequence[WrittenCode], others: Sequence[Place], lexicon: Lexicon, strange: bool) -> tuple[str, ...]:
    if strange:
        return ("Most codes on this page have letters that this series does not use.",)
    read = [code for code in codes if code.as_written is not None]
    if not read:
        return ("There is writing on this page, but no code." if others else "No writing was found on this page.",)
    foreign = sum(not lexicon.by_text[code.as_written].own for code in read if code.as_written)
    if len(read) >= FEWEST_WORDS and foreign / len(read) > OTHER_NOTATION:
        ours = {"letters": "letters and figures", "percent": "percentages"}
        theirs = ours["percent" if lexicon.style == "letters" else "letters"]
        return (f"Most codes on this page are written as {theirs}; this series writes {ours[lexicon.style]}.",)
    return ()
