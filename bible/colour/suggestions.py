"""What an unreadable code may have meant: the nearest codes of the chart, offered and never taken.

Each ink the text names keeps its letter; what its figure may mean is a small set of percentages. Every chart
tint is then as far away as its inks are from those sets, in percentage points (Euclidean), plus a fixed sum
for an ink that would be dropped or brought in. All by arrays: chart tints times a handful of possible
meanings.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from itertools import permutations
from typing import TYPE_CHECKING, Protocol

import numpy as np
import numpy.typing as npt

from bible.colour.notation_errors import NotationError
from bible.colour.notation_scan import MAX_LENGTH, Item, scan
from bible.colour.tints import INKS, Tint

if TYPE_CHECKING:
    from bible.colour.charts import Chart

MOST = 4
"""A list longer than this is no help beside the drawing board."""

WRONG_INK = 40.0
"""Percentage points charged for dropping an ink that was named, or adding one that was not: between one step
(25) and two (50), so that the strength of a named ink is doubted before its presence is."""

MARGIN = 30.0
"""Readings further than this behind the best one are not offered: a little more than one step."""

FAR = 75.0
"""A tint that can be read but is further than this from everything on the chart (solid key on a chart without
key) has no near relation there."""

UNKNOWN_STRENGTH = 75
"""A figure no step explains, where the steps give no line to continue, is taken for 75 %, as R4 might be."""

MOST_UNEXPLAINED = 3
"""A text with more pieces than this that name no ink is prose with a few letters in it, not a code."""

CONFUSED_WITH_B = ("3", "8")
"""Figures that handwriting turns B into (common practice, no source)."""

Wanted = dict[str, list[int]]
"""Per ink the percentages it may have been meant to have."""


class Letters(Protocol):
    """What is asked of a notation here: its letters, its steps, and how it writes a tint."""

    @property
    def paper(self) -> str: ...
    @property
    def steps(self) -> tuple[tuple[str, int], ...]: ...
    @property
    def ink_of(self) -> dict[str, str]: ...
    @property
    def percent_of(self) -> dict[str, int]: ...
    def write(self, tint: Tint) -> str: ...


def nearest_readings(notation: Letters, error: NotationError, chart: Chart) -> tuple[str, ...]:
    """At most four codes of chart tints that ``error.text`` may have meant, nearest first; () for rubbish."""
    if len(error.text) > MAX_LENGTH:
        return ()
    items = scan(unicodedata.normalize("NFKC", error.text)[:MAX_LENGTH])
    if error.tint is not None:
        distance = _distance(chart.array, _around(notation, items, error.tint), charge=0.0)
        limit = FAR
    else:
        columns = [
            _distance(chart.array, wanted, WRONG_INK) + surcharge for wanted, surcharge in _meanings(notation, items)
        ]
        if not columns:
            return ()
        distance = np.min(columns, axis=0)
        limit = float(distance.min()) + MARGIN
    order = np.argsort(distance, kind="stable")[:MOST]
    return tuple(notation.write(chart.tints[place]) for place in order if distance[place] <= limit)


def _around(notation: Letters, items: list[Item], tint: Tint) -> Wanted:
    """The tint that was read, or what its figures say when they are steps (C3 where B3 was meant)."""
    wanted: Wanted = {ink: [getattr(tint, ink)] for ink in INKS}
    steps = dict(notation.steps)
    for item in items:
        if item.letter in "CMYK" and not item.signed and item.figure in steps:
            wanted[item.letter.lower()].append(steps[item.figure])
    return wanted


def _meanings(notation: Letters, items: list[Item]) -> Iterator[tuple[Wanted, float]]:
    """Everything the pieces may mean, each with a surcharge for what it leaves out."""
    named, loose = _named(notation, items)
    if len(loose) > MOST_UNEXPLAINED:
        return
    if len(loose) <= 1 and any(item.letter == notation.paper for item in items):
        yield {}, 0.0
    if named:
        yield named, WRONG_INK * min(len(loose), 1)
    if items and items[0].figure and not items[0].letter:
        turned, left = _named(notation, _figures_first(items))
        if turned and not left:
            yield turned, 0.0
    yield from _misread_b(notation, items, named)
    free = [ink for ink in "ymc" if ink not in named]
    if not 0 < len(loose) <= len(free):
        return
    for inks in permutations(free, len(loose)):
        added = {ink: _strengths(notation, item) for ink, item in zip(inks, loose, strict=True)}
        yield named | added, 0.0


def _named(notation: Letters, items: list[Item]) -> tuple[Wanted, list[Item]]:
    """The inks that are named, and the pieces that name none."""
    named: Wanted = {}
    loose = []
    for item in items:
        if ink := _ink(notation, item.letter):
            named.setdefault(ink, []).extend(_strengths(notation, item))
        elif item.figure or (item.letter and item.letter != notation.paper):
            loose.append(item)
    return named, loose


def _ink(notation: Letters, letter: str) -> str:
    return notation.ink_of.get(letter) or (letter.lower() if letter in "CMYK" else "")


def _figures_first(items: list[Item]) -> list[Item]:
    """The pieces re-cut for people who write the figure before its letter: "3R", "25% C 50% M"."""
    cut: list[Item] = []
    for item in items:
        if item.letter and cut and not cut[-1].letter:
            cut[-1].letter = item.letter
        elif item.letter:
            cut.append(Item(item.letter, "", item.start, item.end))
        if item.figure:
            cut.append(Item("", item.figure, item.start, item.end, item.signed))
    return cut


def _misread_b(notation: Letters, items: list[Item], named: Wanted) -> Iterator[tuple[Wanted, float]]:
    """B (whichever ink has that letter) hidden in a stray 3 or 8, or at the end of a figure too long."""
    ink = notation.ink_of.get("B", "")
    if not ink or ink in named:
        return
    for item in items:
        code = item.letter + item.figure
        if not item.figure.endswith(CONFUSED_WITH_B) or code in notation.percent_of:
            continue
        if not item.letter and len(item.figure) == 1:
            yield named | {ink: [100]}, 0.0
        elif item.letter in notation.ink_of and code[:-1] in notation.percent_of:
            owner = notation.ink_of[item.letter]
            yield named | {owner: [notation.percent_of[code[:-1]]], ink: [100]}, 0.0


def _strengths(notation: Letters, item: Item) -> list[int]:
    """The percentages the figure of ``item`` may stand for."""
    steps = dict(notation.steps)
    if not item.figure:
        return [steps.get("", 100)]
    value = round(float(item.figure.replace(",", "."))) if len(item.figure) <= 5 else 100
    options = []
    known = notation.percent_of.get(item.letter + item.figure, steps.get(item.figure))
    if known is not None:
        options.append(known)
    if item.signed or len(item.figure) > 1 or value == 0:
        options.append(min(value, 100))
    return options or [_between(steps, value)]


def _between(steps: dict[str, int], figure: int) -> int:
    """Where a figure that is no step falls on the line through the steps' figures, prolonged at both ends."""
    points = sorted((int(written), percent) for written, percent in steps.items() if written)
    if len(points) < 2:
        return UNKNOWN_STRENGTH
    figures, percents = zip(*points, strict=True)
    if figures[0] <= figure <= figures[-1]:
        return round(float(np.interp(figure, figures, percents)))
    near, far = (0, 1) if figure < figures[0] else (-1, -2)
    slope = (percents[near] - percents[far]) / (figures[near] - figures[far])
    return min(max(round(percents[near] + slope * (figure - figures[near])), 0), 100)


def _distance(array: npt.NDArray[np.float64], wanted: Wanted, charge: float) -> npt.NDArray[np.float64]:
    """Distance of each row of ``array`` (n, 4) from ``wanted``, shape (n,), in percentage points."""
    total = np.zeros(len(array))
    for place, ink in enumerate(INKS):
        column = array[:, place]
        options = np.array(wanted.get(ink, [0]), dtype=np.float64)
        apart = np.abs(column[:, None] - options[None, :]).min(axis=1)
        if ink not in wanted:
            apart = apart + charge * (column > 0)
        elif options.min() > 0:
            apart = apart + charge * (column == 0)
        total += apart**2
    return np.sqrt(total)
