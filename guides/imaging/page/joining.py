"""Cells joined to areas: what is of one paint and parted by no line, and what is too thin to be an area."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from guides.imaging.page.cells import Borders, Cells, counted

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

SAME_PAINT = (3.0, 5.0, 7.0, 9.0)
"""CIE76 distance of two cells' mean colours up to which they are one paint, nearest pairs first."""

SOFT_STEP = 5.0
"""The same for the step at their border: where a paint fades there is none."""

TOLD, LONG = 0.35, 3.0
"""Share of a border at which the step can be seen, and its length in pens, for the step to say anything."""

AMOUNT, ACROSS, WORTH_STREAKS = 0.3, 0.09, 0.3
"""A streak is more or less of the same paint: how far the amount may go (log), how far (density) the colour may be
from what that amount makes, and the density from which that can be told."""

LINE_BETWEEN = 0.6
"""Share of a border that must be line art for it to part one paint in two areas: else the line has an opening."""

THIN, HELD_BY_LINES = 0.9, 0.75
"""Radius in pens of the largest ball in what is a stroke and no area, and the share of ink in all its borders from
which something so thin is a narrow part after all."""

BROAD, BROADEST, HARDLY_HELD = 1.6, 2.8, 0.3
"""The same where hardly any ink lies around it: broad pencils; and, if it winds, letters run together."""

LETTERED = 0.6
"""Share of what is so broad that must lie within words, where it is known where they stand."""

NO_LIGHTER = 0.04
"""How much lighter (density) than what it lies on a coloured pencil may look."""

WINDING = 12.0
"""Area in squares of that radius from which something winds as writing does: a round spot has 3, a strip twice as
long as broad 7."""

WHITE_PENCIL, PENCIL_MISS, PENCIL_SHARE = 0.9, 0.07, 0.12
"""Light of white pencil relative to the paper, how far (linear light) from a mixture with it a stroke may be, and the
least share of it that shows. Twice as far where there is nothing but pencil, for it may be whiter than the paper or
less yellow."""

WRITTEN = 0.2
"""Share of its borders that must lie open to the paint beneath for something narrow between lines to be writing that
runs across a narrow part."""

WRITTEN_WORDS = 0.05
"""The same for what lies in words."""

SPECK, OTHER_PAINT = 16.0, 18.0
"""Area in square pens up to which a cell with loose ink around it is the inside of a letter, and the CIE76 distance
from the paint beyond that ink from which it is a button or a buckle after all."""

BESIDE = 0.2
"""Share of its borders that a cell must have with another, under loose strokes, to be parted from it by them only."""

LEAST = 3.0
"""Area in square pens of the smallest area there can be."""


@dataclass(frozen=True, eq=False)
class Joined:
    """``into`` (n,) the area of each cell, from 1, or 0 where it is none; ``strokes`` (n,) cells that are writing."""

    into: IntArray
    strokes: BoolArray


@dataclass
class _State:
    cells: Cells
    borders: Borders
    into: IntArray

    def join(self, pairs: tuple[IntArray, IntArray]) -> None:
        count, which = _grouped(pairs, len(self.cells.count))
        self.cells = self.cells.joined(which, count)
        self.borders = self.borders.joined(which, count)
        self.into = which[self.into]


def join(cells: Cells, borders: Borders, pen: float) -> Joined:
    """The areas that cells make up."""
    number = len(cells.count)
    state = _State(cells, borders, np.arange(number))
    for tolerance in SAME_PAINT[:2]:
        _join_paints(state, tolerance, pen)
    strokes = _absorb(state, pen)
    for tolerance in SAME_PAINT:
        _join_paints(state, tolerance, pen)
    strokes |= _absorb(state, pen)
    _join_paints(state, SAME_PAINT[-1], pen)
    _join_specks(state, pen)
    _join_paints(state, SAME_PAINT[-1], pen)
    area = state.cells.size
    kept = (area >= LEAST * pen**2) & (state.cells.count > 0)
    kept[state.into[0]] = False
    name = np.where(kept, np.cumsum(kept), 0)
    return Joined(name[state.into], strokes)


def join_paints_only(cells: Cells, borders: Borders, pen: float) -> IntArray:
    """The area (n,) of each cell, from 1, where nothing is a stroke; 0 for the empty first cell."""
    state = _State(cells, borders, np.arange(len(cells.count)))
    for tolerance in SAME_PAINT:
        _join_paints(state, tolerance, pen)
    into = state.into + 1
    into[0] = 0
    return into


def _apart(state: _State, pen: float) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Of every border: how far the paints are apart, the same at the border itself, and whether one is a streak of
    the other."""
    mean, borders = state.cells.mean, state.borders
    paint, beyond = mean[borders.first], mean[borders.second]
    colour = np.linalg.norm(paint[:, :3] - beyond[:, :3], axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        step = np.linalg.norm(borders.step, axis=1) / borders.steps
    border = borders.open + borders.line + borders.loose
    step = np.where((borders.steps > TOLD * border) & (borders.steps >= LONG * pen), step, colour)
    first, second = paint[:, 3:], beyond[:, 3:]
    strength = np.maximum((first**2).sum(axis=1), 1e-6)
    amount = (first * second).sum(axis=1) / strength
    across = np.linalg.norm(second - amount[:, None] * first, axis=1)
    streak = (first.max(axis=1) > WORTH_STREAKS) & (second.max(axis=1) > WORTH_STREAKS) & (across < ACROSS)
    streak &= np.abs(np.log(np.maximum(amount, 1e-3))) < AMOUNT
    return colour, step, streak


def _join_paints(state: _State, tolerance: float, pen: float) -> None:
    """Join every cell with its nearest neighbour in colour, again and again, as far as the tolerance goes."""
    for _ in range(12):
        colour, step, streak = _apart(state, pen)
        borders = state.borders
        border = borders.open + borders.line + borders.loose
        parted = borders.line > LINE_BETWEEN * border
        # where they meet by themselves, writing that runs from one to the other opens no way
        own = border - borders.written
        parted |= (borders.line - borders.written_line > LINE_BETWEEN * own) & (own >= LONG * pen)
        away = np.minimum(colour, np.where(step < SOFT_STEP, step * (tolerance / SOFT_STEP), np.inf))
        away = np.where(streak, np.minimum(away, 0.5 * colour), away)
        known = (state.cells.count[borders.first] > 0) & (state.cells.count[borders.second] > 0)
        may = ~parted & (away < tolerance) & known
        if not may.any():
            return
        pairs = _nearest_pairs(borders.first[may], borders.second[may], away[may], len(state.cells.count))
        state.join(pairs)


def _nearest_pairs(first: IntArray, second: IntArray, away: FloatArray, number: int) -> tuple[IntArray, IntArray]:
    """Pairs of cells, each the other's nearest neighbour."""
    cell = np.concatenate([first, second])
    edge = np.concatenate([np.arange(len(first))] * 2)
    order = np.lexsort((edge, away[edge], cell))  # by border where two are as near: one pair is always mutual
    leading = np.ones(len(order), bool)
    leading[1:] = cell[order][1:] != cell[order][:-1]
    best = np.full(number, -1)
    best[cell[order][leading]] = edge[order][leading]
    chosen = np.unique(best[best >= 0])
    mutual = (best[first[chosen]] == chosen) & (best[second[chosen]] == chosen)
    return first[chosen[mutual]], second[chosen[mutual]]


@dataclass(frozen=True, eq=False)
class _Narrow:
    """Cells (n,) that are strokes by their shape and what holds them (``strokes``), that are if they look like pencil
    (``free``: no line holds them; ``narrow``: whatever holds them; ``broad``: any pencil will do), and that are if
    they are the inside of a letter (``specks``); ``around`` is the length of each one's borders."""

    strokes: BoolArray
    free: BoolArray
    narrow: BoolArray
    broad: BoolArray
    specks: BoolArray
    worded: BoolArray
    around: FloatArray


def _thin(state: _State, pen: float) -> _Narrow:
    cells, borders = state.cells, state.borders
    number = len(cells.count)
    total, loose, inked = (
        counted(borders.first, length, number) + counted(borders.second, length, number)
        for length in (borders.open + borders.line + borders.loose, borders.loose, borders.line + borders.loose)
    )
    held = inked / np.maximum(total, 1)
    lettered = cells.lettered > LETTERED * cells.size
    free = (held < HARDLY_HELD) & lettered
    thin = (cells.radius < THIN * pen) & (held < HELD_BY_LINES)
    broad = (cells.radius < BROAD * pen) & free & ~thin
    broad |= (cells.radius < BROADEST * pen) & free & (cells.size > WINDING * cells.radius**2) & ~thin
    specks = (cells.size < SPECK * pen**2) & (2 * loose > total) & ~thin
    narrow = (cells.radius < BROADEST * pen) & ~thin
    for kind in (thin, narrow, broad, specks):
        kind[state.into[0]] = False
    worded = lettered & (cells.lettered < cells.size).any()
    return _Narrow(thin, narrow & free, narrow, broad, specks, worded, total)


def pencilled(over: FloatArray, under: FloatArray, least: float = PENCIL_SHARE) -> BoolArray:
    """Whether densities (n, 3) are those of other paints with white pencil over ``least`` of them, or darkened by a
    grey one."""
    light, paint = np.exp(-over), np.exp(-under)
    toward = WHITE_PENCIL - paint
    share = (toward * (light - paint)).sum(axis=1) / np.maximum((toward**2).sum(axis=1), 1e-6)
    missed = np.linalg.norm(light - paint - share[:, None] * toward, axis=1)
    white = (share > least) & (missed < PENCIL_MISS * (1 + np.clip(share, 0, 1)))
    darker = over - under
    grey = (darker.min(axis=1) > 0.4 * least) & (np.ptp(darker, axis=1) < 0.35 * darker.mean(axis=1) + 0.05)
    if least < PENCIL_SHARE:
        left = (light * paint).sum(axis=1) / np.maximum((paint**2).sum(axis=1), 1e-6)
        grey |= (
            (left < 0.9) & (left > 0.25) & (np.linalg.norm(light - left[:, None] * paint, axis=1) < 0.5 * PENCIL_MISS)
        )
    return np.asarray(white | grey)


def _absorb(state: _State, pen: float) -> BoolArray:
    """Give thin cells that no line holds to the neighbour they lie on. Returns which of the first cells they were."""
    strokes = np.zeros(len(state.into), bool)
    for _ in range(6):
        giver = np.concatenate([state.borders.first, state.borders.second])
        taker = np.concatenate([state.borders.second, state.borders.first])
        narrow = _thin(state, pen)
        length = np.tile(state.borders.open + 0.5 * state.borders.loose, 2)
        good = _lies_on(state, narrow, giver, taker) & (length > 0)
        if not good.any():
            return strokes
        pick = _longest(giver, taker, np.where(good, length, 0.0), narrow.strokes)
        strokes |= np.isin(state.into, giver[pick])
        _hand_over(state, giver[pick], taker[pick])
    return strokes


def _lies_on(state: _State, narrow: _Narrow, giver: IntArray, taker: IntArray) -> BoolArray:
    """Which borders, from a cell to another, are those of writing with what it may lie on."""
    cells, thin = state.cells, narrow.strokes
    known = (cells.count[giver] > 0) & (cells.count[taker] > 0)
    over, under = cells.mean[giver], cells.mean[taker]
    pencil = known & pencilled(over[:, 3:], under[:, 3:])
    alike = ~known | pencil | (np.linalg.norm(over[:, :3] - under[:, :3], axis=1) < OTHER_PAINT)
    bigger = cells.size[taker] > cells.size[giver]
    # a stroke lies on what is broad; among strokes the broader one takes
    good = thin[giver] & (~thin[taker] | bigger)
    good |= bigger & ((narrow.specks[giver] & alike) | (narrow.free[giver] & pencil))
    drawn = ~known | pencil | ((over - under)[:, 3:].min(axis=1) > -NO_LIGHTER)
    good |= bigger & narrow.broad[giver] & drawn
    # letters may cut a narrow part in two, each smaller than they are
    across = np.tile(state.borders.open, 2) / np.maximum(narrow.around[giver], 1)
    share = cells.size[taker] / np.maximum(cells.size[giver], 1)
    crossing = (across > WRITTEN) & (2 * share > 1)
    crossing |= narrow.worded[giver] & (across > WRITTEN_WORDS) & (4 * share > 1)
    good |= narrow.narrow[giver] & pencil & crossing & ~thin[taker]
    good &= ~(narrow.worded[taker] & ~pencil & known & pencilled(under[:, 3:], over[:, 3:]))
    return np.asarray(good & (taker != state.into[0]))


def _longest(giver: IntArray, taker: IntArray, length: FloatArray, thin: BoolArray) -> IntArray:
    """Of the borders of every giver the longest, those with what is no stroke first; none where all are 0."""
    order = np.lexsort((-length, thin[taker], giver))
    order = order[length[order] > 0]
    leading = np.ones(len(order), bool)
    leading[1:] = giver[order][1:] != giver[order][:-1]
    return np.asarray(order[leading])


def _hand_over(state: _State, giver: IntArray, taker: IntArray) -> None:
    """Join strokes with what they lie on: their colour, and the steps at their borders, are not that area's."""
    cells, borders = state.cells, state.borders
    given = np.zeros(len(cells.count), bool)
    given[giver] = True
    given[_left_alone(giver, taker, given, cells)] = False
    state.cells = replace(cells, count=cells.count * ~given, total=cells.total * ~given[:, None])
    still = ~(given[borders.first] | given[borders.second])
    border = borders.open + borders.line + borders.loose
    state.borders = replace(
        borders,
        step=borders.step * still[:, None],
        steps=borders.steps * still,
        written=np.where(still, borders.written, border),
        written_line=np.where(still, borders.written_line, borders.line),
    )
    state.join((giver, taker))


def _grouped(pairs: tuple[IntArray, IntArray], number: int) -> tuple[int, IntArray]:
    """How many groups pairs of ``number`` cells hang together in, and which one each cell (number,) is of."""
    graph = coo_matrix((np.ones(len(pairs[0]), bool), pairs), shape=(number, number))
    count, group = connected_components(graph, directed=False)
    return int(count), group.astype(np.int64)


def _left_alone(giver: IntArray, taker: IntArray, given: BoolArray, cells: Cells) -> IntArray:
    """Where all that is joined would be given to each other, the largest cell of each such group: its paint is all
    that shows there."""
    count, group = _grouped((giver, taker), len(given))
    taken = np.zeros(count, bool)
    taken[group[~given]] = True
    order = np.argsort(cells.count, kind="stable")
    largest = np.zeros(count, np.int64)
    largest[group[order]] = order
    return np.asarray(largest[~taken])


def _join_specks(state: _State, pen: float) -> None:
    """Join small or thin cells with a neighbour of the same paint, whatever line lies between."""
    for _ in range(3):
        colour, _, streak = _apart(state, pen)
        cells, borders = state.cells, state.borders
        small = (cells.size < SPECK * pen**2) | (cells.radius < THIN * pen)
        same = (np.where(streak, 0.5 * colour, colour) < SAME_PAINT[-1]) & (cells.count[borders.first] > 0)
        same &= cells.count[borders.second] > 0
        border = borders.open + borders.line + borders.loose
        around = np.bincount(borders.first, border, len(small)) + np.bincount(borders.second, border, len(small))
        free = borders.loose + borders.open
        loose = (free > borders.line) & (free > BESIDE * np.minimum(around[borders.first], around[borders.second]))
        may = same & (small[borders.first] | small[borders.second] | loose)
        if not may.any():
            return
        state.join(_nearest_pairs(borders.first[may], borders.second[may], colour[may], len(cells.count)))
