"""The text file of a fitted press condition: its source inside, readable by people, strict to read."""

from __future__ import annotations

import math
import re
from functools import lru_cache

import numpy as np

from bible.colour.condition import PressCondition
from bible.colour.doubt import NodeDoubt
from bible.colour.neugebauer import CellularModel
from bible.colour.tints import INKS

FIRST_LINE = "press condition, format 1"
MAX_BYTES = 1024 * 1024
"""A condition with the densest grid accepted is below 0.5 MB."""

MAX_LEVELS = 11
"""Node levels per ink, every 10 %: denser grids hold more paper noise than press."""

MIN_RULING, MAX_RULING = 10.0, 1000.0
"""Lines per inch that a screen can have at all: a poster's coarsest to twice the finest art printing."""

XYZ_DIGITS = 3
TONE_DIGITS = 5
DOUBT_DIGITS = 2
MAX_DOUBT = 100.0
"""CIEDE2000: black and white are that far apart."""

NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*\Z")

_INK_LETTERS = tuple(ink.upper() for ink in INKS)


class PressFileError(ValueError):
    """The text is not a press condition. ``line`` is the 1-based line it went wrong on."""

    def __init__(self, message: str, line: int) -> None:
        self.line = line
        self.reason = message
        super().__init__(f"line {line}: {message}")


def dumps(condition: PressCondition) -> str:
    """The condition as text; ``loads`` gives the same predictions back."""
    model = condition.model
    lines = [
        FIRST_LINE,
        f"name: {condition.name}",
        f"title: {condition.title}",
        f"source: {condition.source}",
        f"paper: {condition.paper}",
        f"ruling lpi: {condition.ruling_lpi:g}",
        "angles: " + " ".join(f"{ink.upper()} {condition.angles[ink]:g}" for ink in INKS),
        *(f"note: {note}" for note in condition.notes),
        *(f"levels {ink}: {' '.join(map(str, at))}" for ink, at in zip(_INK_LETTERS, model.levels, strict=True)),
        "",
        "tones: ink, percent, then 0 (paper) to 1 (solid) in the roots of X, Y and Z",
    ]
    for ink, curve in zip(_INK_LETTERS, model.tones, strict=True):
        lines += [f"{ink} {at} " + " ".join(f"{v:.{TONE_DIGITS}f}" for v in row) for at, row in enumerate(curve)]
    lines += ["", "nodes: C M Y K in percent, then X Y Z (D50, 2 degrees, Y = 100)"]
    for place in np.ndindex(*model.nodes.shape[:4]):
        values = " ".join(f"{value:.{XYZ_DIGITS}f}" for value in model.nodes[place])
        lines.append(f"{_percent(model.levels, place)} {values}")
    if condition.doubt is not None:
        lines += ["", "doubts: C M Y K in percent, then the CIEDE2000 that 90 of 100 true colours lie within"]
        nodes = condition.doubt.nodes
        lines += [f"{_percent(model.levels, at)} {nodes[at]:.{DOUBT_DIGITS}f}" for at in np.ndindex(*nodes.shape)]
    return "\n".join(lines) + "\nend\n"


def _percent(levels: tuple[tuple[int, ...], ...], place: tuple[int, ...]) -> str:
    return " ".join(str(level[at]) for level, at in zip(levels, place, strict=True))


@lru_cache(maxsize=64)
def loads(text: str) -> PressCondition:
    """Read a condition from its text. The same text gives the same object, whose swatches are remembered.

    Raises:
        PressFileError: anything is missing, out of order or out of range; the error names the line.
    """
    if len(text) > MAX_BYTES:
        raise PressFileError("too long for a press condition", 1)
    return _Parser(text.splitlines()).read()


class _Parser:
    def __init__(self, lines: list[str]) -> None:
        self.lines = [(number, line.strip()) for number, line in enumerate(lines, start=1) if line.strip()]
        self.at = 0

    def next(self) -> tuple[int, str]:
        if self.at >= len(self.lines):
            last = self.lines[-1][0] if self.lines else 1
            raise PressFileError("the file ends too early", last)
        self.at += 1
        return self.lines[self.at - 1]

    def keyed(self, key: str) -> tuple[int, str]:
        number, line = self.next()
        name, colon, value = line.partition(":")
        if not colon or name.strip() != key or not value.strip():
            raise PressFileError(f"'{key}: …' is expected here, not {line[:60]!r}", number)
        return number, value.strip()

    def floats(self, cells: list[str], number: int, low: float, high: float) -> list[float]:
        values = []
        for cell in cells:
            try:
                value = float(cell)
            except ValueError:
                value = math.nan
            if not low <= value <= high:
                raise PressFileError(f"{cell[:40]!r} is not a number from {low:g} to {high:g}", number)
            values.append(value)
        return values

    def read(self) -> PressCondition:
        number, line = self.next()
        if line != FIRST_LINE:
            raise PressFileError(f"the first line must be {FIRST_LINE!r}", number)
        number, name = self.keyed("name")
        if not NAME.match(name):
            raise PressFileError("a name is lower-case letters, figures and single hyphens", number)
        title, source, paper = (self.keyed(key)[1] for key in ("title", "source", "paper"))
        number, ruling = self.keyed("ruling lpi")
        (ruling_lpi,) = self.floats([ruling], number, MIN_RULING, MAX_RULING)
        angles = self._angles()
        notes = []
        while self.at < len(self.lines) and self.lines[self.at][1].startswith("note:"):
            notes.append(self.keyed("note")[1])
        levels = tuple(self._levels(letter) for letter in _INK_LETTERS)
        tones = self._tones()
        self.keyed("nodes")
        nodes = self._nodes(levels, 3, 200)
        doubt = None
        if self.at < len(self.lines) and self.lines[self.at][1].startswith("doubts:"):
            self.next()
            doubt = NodeDoubt(levels, self._nodes(levels, 1, MAX_DOUBT)[..., 0])
        number, line = self.next()
        if line != "end" or self.at != len(self.lines):
            raise PressFileError("'end' is expected here and nothing after it", number)
        model = CellularModel(levels, nodes, tones)
        return PressCondition(name, title, source, paper, ruling_lpi, angles, model, tuple(notes), doubt)

    def _angles(self) -> dict[str, float]:
        number, text = self.keyed("angles")
        cells = text.split()
        if tuple(cells[::2]) != _INK_LETTERS or len(cells) != 8:
            raise PressFileError("angles read 'C … M … Y … K …' in degrees", number)
        return dict(zip(INKS, self.floats(cells[1::2], number, -360, 360), strict=True))

    def _levels(self, letter: str) -> tuple[int, ...]:
        number, text = self.keyed(f"levels {letter}")
        cells = text.split()
        if len(cells) > MAX_LEVELS or not all(cell.isdecimal() for cell in cells):
            raise PressFileError(f"levels are at most {MAX_LEVELS} whole percentages", number)
        levels = tuple(int(cell) for cell in cells)
        if levels[:1] != (0,) or levels[-1:] != (100,) or list(levels) != sorted(set(levels)):
            raise PressFileError("levels rise from 0 to 100", number)
        return levels

    def _tones(self) -> np.ndarray:
        self.keyed("tones")
        tones = np.empty((4, 101, 3))
        for ink, letter in enumerate(_INK_LETTERS):
            for percent in range(101):
                number, line = self.next()
                cells = line.split()
                if cells[:2] != [letter, str(percent)] or len(cells) != 5:
                    raise PressFileError(f"the tone of {letter} at {percent} % is expected here", number)
                tones[ink, percent] = self.floats(cells[2:], number, 0, 1)
                if percent and (tones[ink, percent] < tones[ink, percent - 1]).any():
                    raise PressFileError("a tone curve falls here", number)
            if tones[ink, 0].any() or (tones[ink, 100] != 1).any():
                raise PressFileError(f"the tone curve of {letter} must run from 0 to 1", number)
        return tones

    def _nodes(self, levels: tuple[tuple[int, ...], ...], figures: int, most: float) -> np.ndarray:
        """So many figures of 0 to ``most`` at each node."""
        shape = tuple(len(level) for level in levels)
        nodes = np.empty((*shape, figures))
        for place in np.ndindex(*shape):
            number, line = self.next()
            cells = line.split()
            percent = _percent(levels, place)
            if cells[:4] != percent.split() or len(cells) != 4 + figures:
                raise PressFileError(f"the node {percent} is expected here", number)
            nodes[place] = self.floats(cells[4:], number, 0, most)
        return nodes
