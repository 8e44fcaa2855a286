"""Whole pages whose every word is known, and how well they are read."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np

from bible.colour.charts import CHART_64
from bible.colour.notation import LETTERS_64, PERCENT, Notation
from guides.imaging.writing.crops import Place
from guides.imaging.writing.finder import union_share
from guides.imaging.writing.lexicon import Lexicon
from guides.imaging.writing.page import WrittenCode, read_page
from guides.training import clutter
from guides.training.hands import WritingHand
from guides.training.media import Picture
from guides.training.texts import Style
from guides.training.tiles import CODE, CROSSED, IGNORED, UNREADABLE, PageHabit, Tile, Word, codes

NOTATIONS: dict[str, Notation] = {"letters": LETTERS_64, "percent": PERCENT}

PAGE_MM = 260.0
"""Height of the reduced copy that is scanned (common practice, no source)."""

FOUND = 0.4
"""Intersection over union from which a box counts as found."""


def chart_code(form: str) -> Callable[[Style, np.random.Generator], str]:
    """Says codes of the classic chart, bare paper seldom, percentages with or without spaces."""

    def say(_: Style, rng: np.random.Generator) -> str:
        tints = CHART_64.tints
        code = NOTATIONS[form].write(tints[int(rng.integers(len(tints)))])
        if form == "letters":
            return code
        return code.replace(" ", "") if rng.random() < 0.5 else code

    return say


def written_page(ground: Picture, hands: Sequence[WritingHand], form: str, rng: np.random.Generator, most: int = 40,
                 *, faint: bool = False) -> tuple[Picture, list[Word]]:  # fmt: skip
    """A ground with balloons, notes, pen marks and up to ``most`` codes in one hand, 2 to 5 mm tall, scanned.

    ``faint`` ones are 1.3 to 3 mm tall, written with little pressure and carelessly: over lines, over other writing.
    """
    tile = Tile(np.ascontiguousarray(ground), rng)
    dots_mm = ground.shape[0] / PAGE_MM
    tall = float(rng.uniform(2.0, 4.6)) * dots_mm
    way = Style(form, "BRYK", "W", (2, 1, 0), ("", "3", "2"), 0.0, False, False)
    who = PageHabit(hands[int(rng.integers(len(hands)))], way, tall, float(np.radians(rng.normal(0, 1))), 0.4,
                chart_code(form))  # fmt: skip
    if faint:
        tall = float(rng.uniform(1.3, 3.0)) * dots_mm
        who = replace(who, tall=tall, careless=0.8, press=float(rng.uniform(0.3, 0.8)))
    for _ in range(int(rng.integers(2, 6))):
        clutter.balloon(tile, hands)
    codes(tile, who, most)
    clutter.notes(tile, who, hands, int(rng.integers(2, 8)))
    clutter.strokes(tile, int(rng.integers(2, 10)))
    return clutter.scanned(tile.picture, rng), tile.words


def judged(pages: Iterable[tuple[Picture, list[Word]]], form: str, folder: Path | None = None) -> Tally:
    """How well pages in one notation are read, by the networks in ``folder`` (without one, ours)."""
    tally, lexicon = Tally(), Lexicon.of(NOTATIONS[form])
    for page, words in pages:
        tally.add(words, read_page(page, lexicon, folder).codes, form)
    return tally


def grown(ground: Picture, height: int) -> Picture:
    """A ground brought to another height."""
    size = (round(ground.shape[1] * height / ground.shape[0]), height)
    way = cv2.INTER_AREA if height < ground.shape[0] else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(ground, size, interpolation=way), np.uint8)


@dataclass
class Tally:
    """Counts over pages; ``misses`` says what went wrong, for looking at."""

    codes: int = 0
    found: int = 0
    given: int = 0
    given_codes: int = 0
    readable: int = 0
    right: int = 0
    among_three: int = 0
    sure: int = 0
    sure_right: int = 0
    states: int = 0
    states_told: int = 0
    misses: list[tuple[str, str, str, float, Place]] = field(default_factory=list)

    def add(self, words: Iterable[Word], read: Sequence[WrittenCode], form: str) -> None:
        """One page: what is true of it and what was read."""
        words = list(words)
        taken: set[int] = set()
        for word in words:
            if word.kind not in (CODE, CROSSED, UNREADABLE):
                continue
            match = _match(word.place, read, taken)
            if match is not None:
                taken.add(match)
            self._word(word, read[match] if match is not None else None, form)
        for number, code in enumerate(read):
            if number in taken:
                continue
            doubtful = any(word.kind == IGNORED and union_share(word.place, code.place) > 0.2 for word in words)
            if not doubtful:
                self.given += 1
                self.misses.append(("no code", "", code.code or "", code.p, code.place))

    def _word(self, word: Word, code: WrittenCode | None, form: str) -> None:
        if word.kind != CODE:
            if code is not None:
                self.states += 1
                state_told = code.crossed_out if word.kind == CROSSED else code.unreadable
                self.states_told += state_told
            return
        self.codes += 1
        if code is None:
            self.misses.append(("not found", word.text, "", 0.0, word.place))
            return
        self.found += 1
        self.given += 1
        self.given_codes += 1
        notation = NOTATIONS[form]
        truth = notation.write(notation.read(word.text))
        first = code.alternatives[0].code if code.alternatives else code.code
        self.right += first == truth
        self.among_three += truth in [other.code for other in code.alternatives[:3]]
        self.sure += code.p >= 0.95
        self.sure_right += code.p >= 0.95 and first == truth
        if first != truth:
            self.misses.append(("misread", truth, first or "", code.p, word.place))

    def lines(self) -> list[str]:
        """The rows of the table, in percent."""

        def share(part: int, whole: int) -> str:
            return f"{100 * part / max(whole, 1):.1f} %"

        return [
            f"codes found {share(self.found, self.codes)} of {self.codes}; found ones that are codes "
            f"{share(self.given_codes, self.given)}",
            f"read exactly {share(self.right, self.found)}; among three {share(self.among_three, self.found)}",
            f"sure (0.95) {share(self.sure, self.found)}; of them right {share(self.sure_right, self.sure)}",
            f"struck out or unreadable, and said so {share(self.states_told, self.states)} of {self.states} found",
        ]


def _match(place: Place, read: Sequence[WrittenCode], taken: set[int]) -> int | None:
    shares = [(union_share(place, code.place), number) for number, code in enumerate(read) if number not in taken]
    best = max(shares, default=(0.0, -1))
    return best[1] if best[0] > FOUND else None
