"""Who stands in a panel: figures found through the codes that hang together, and which code is which part's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import wraps
from typing import Concatenate, ParamSpec, TypeVar, cast

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

from guides.imaging.writing.poses import FigureLayout, Poses, fit_poses, panel_gains, place_gains

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
Told = TypeVar("Told")
Given = ParamSpec("Given")

SPEAKS = 2.0
"""Log odds of a code for a part from which the two may be the start of a figure."""

MOST_BY_PLACE = 3.0
"""Log odds that a place alone seldom exceeds."""

PAIRS, SINGLES = 24, 8
"""Starts tried for a look in a panel: two codes give a pose, one gives half of one."""

TWICE = 3.0
"""What a second code for one part of a figure costs (log odds): two gloves, a coat cut in two."""

TOUCHING = 0.5
"""Log odds for a figure of a code whose area touches areas of that figure, against one that touches others only."""

IN_FIGURE = 1.3
"""Log odds of a code for being nobody's rather than a part's, where pages have the usual share of both."""

UNMARKED = 0.6
"""What each part of a figure costs that carries no code: of a figure's parts a good share usually do."""

ROUNDS = 3


@dataclass(frozen=True)
class DressedSubject:
    """A subject in one of its costumes, with what it wears under any: ``slots`` are numbers of parts and roles in the
    bible, ``layout`` their usual places, ``tints`` (slots,) their columns in the page's agreement, -1 without one;
    ``parts`` how many parts it has, whatever their roles."""

    subject: int
    costume: int
    slots: IntArray
    layout: FigureLayout
    tints: IntArray
    is_place: bool
    parts: int

    @property
    def bare(self) -> float:
        """What it costs (log odds) that none of its parts carries a code; each code gives ``UNMARKED`` back."""
        return UNMARKED * self.parts


def _once_a_look(
    method: Callable[Concatenate[PanelCodes, DressedSubject, Given], Told],
) -> Callable[Concatenate[PanelCodes, DressedSubject, Given], Told]:
    """What a panel says of a look, and of its codes where they are given, whoever else is there: asked hundreds of
    times, worked out once."""

    @wraps(method)
    def kept(panel: PanelCodes, look: DressedSubject, *given: Given.args, **named: Given.kwargs) -> Told:
        known = vars(panel).setdefault("_known", {})
        key = method.__name__, look.subject, look.costume, *(cast("IntArray", codes).tobytes() for codes in given)
        if key not in known:
            known[key] = method(panel, look, *given, **named)
        return cast("Told", known[key])

    return kept


@dataclass(frozen=True)
class PanelCodes:
    """The codes of one panel.

    Attributes:
        panel: x0, y0, x1, y1.
        where: (n, 2) places, pixels of the picture.
        gain: (n, tints) what writing and paint say, of ``clues.Agreement``.
        touching: (n, n) whether their areas touch.
        small: (n,) log odds by the sizes of their areas for parts of figures, against background.
        nobody: log odds for a code of being nobody's rather than some part's, before anything is looked at.
        code: (n,) the row of the code that a row is about: behind the codes may come what else each of them may
            mean. None where every row is a code.
    """

    panel: FloatArray
    where: FloatArray
    gain: FloatArray
    touching: npt.NDArray[np.bool_]
    small: FloatArray
    nobody: float = IN_FIGURE
    code: IntArray | None = None

    def rows_of(self, code: int) -> IntArray:
        """Rows that are about a code."""
        return np.array([code], np.intp) if self.code is None else np.flatnonzero(self.code == code)

    @_once_a_look
    def code_gain(self, look: DressedSubject) -> FloatArray:
        """(n, slots) for a look by writing, paint and size; the bible's code may be unknown."""
        gain = np.where(look.tints >= 0, self.gain[:, np.maximum(look.tints, 0)], 0.0)
        return np.asarray(gain if look.is_place else gain + self.small[:, None])

    @property
    def of_part(self) -> float:
        """Log odds of a code for being a part's at all, once its figure is there."""
        return UNMARKED - self.nobody

    @_once_a_look
    def may_gain(self, look: DressedSubject) -> float:
        """More than a look can gain here by codes that speak for it."""
        code_gain = self.code_gain(look)
        each = np.where(code_gain >= SPEAKS, code_gain + MOST_BY_PLACE, 0.0)
        return float(min(each.max(axis=1).sum(), each.max(axis=0).sum()))

    def places(self, look: DressedSubject, poses: Poses) -> FloatArray:
        """(k, n, slots) for a look in k poses."""
        if look.is_place:
            return panel_gains(look.layout, self.where, self.panel)
        return place_gains(poses, look.layout, self.where, self.panel)

    def pose(self, look: DressedSubject, codes: IntArray, slots: IntArray) -> Poses:
        """How a look stands whose ``slots`` (k, m) are the ``codes`` (k, m)."""
        return fit_poses(look.layout.of(slots), self.where[codes], self.panel)

    def usual_pose(self, look: DressedSubject) -> Poses:
        """How a look usually stands in a panel, whatever its codes are."""
        nothing = np.zeros((1, 0), np.intp)
        return self.pose(look, nothing, nothing)

    @_once_a_look
    def usual_gain(self, look: DressedSubject) -> FloatArray:
        """(n, slots) for a look that stands where it usually does in a panel."""
        return self.places(look, self.usual_pose(look))[0] + self.code_gain(look) + self.of_part

    @_once_a_look
    def gains_of(self, look: DressedSubject, codes: IntArray, slots: IntArray) -> FloatArray:
        """(n, slots) by the places of a look whose ``slots`` (m,) are the ``codes`` (m,), each of these judged by the
        pose that the others give: none vouches for itself."""
        poses = self.usual_pose(look) if look.is_place else self.pose(look, codes[None], slots[None])
        table = np.asarray(self.places(look, poses)[0])
        if look.is_place:
            return table
        count = len(codes)
        kept = np.array([[k for k in range(count) if k != out] for out in range(count)], np.intp).reshape(count, -1)
        poses = self.pose(look, codes[kept], slots[kept])
        table, without = table.copy(), self.places(look, poses)
        for place, code in enumerate(codes.tolist()):
            rows = self.rows_of(code)
            table[rows] = without[place, rows]
        return table

    @_once_a_look
    def beginnings(self, look: DressedSubject) -> FloatArray | None:
        """What the codes gain (k, n, slots) in poses that a look may have here, each from one or two codes that speak
        for it; None where no code speaks for it."""
        code_gain = self.code_gain(look)
        if look.is_place:
            poses = self.usual_pose(look)
        elif (starts := _starts(code_gain, look)) is not None:
            poses = _stacked([self.pose(look, codes, slots) for codes, slots in starts])
        else:
            return None
        return np.asarray(self.places(look, poses) + code_gain + self.of_part)


@dataclass(frozen=True)
class Figure:
    """A look found in a panel: ``codes`` (m,) of the scene and the ``slots`` (m,) of the look they are, which say how
    it stands, and what the panel gains by it (log odds)."""

    look: DressedSubject
    codes: IntArray
    slots: IntArray
    gain: float


def assign(gains: FloatArray) -> tuple[IntArray, IntArray]:
    """Codes and slots that go together best: ``gains`` (n, slots) over being nobody's; a slot once, or twice at a
    price."""
    count, slots = gains.shape
    table = np.concatenate([gains, gains - TWICE, np.zeros((count, count))], axis=1)
    codes, columns = linear_sum_assignment(table, maximize=True)
    own = columns < 2 * slots
    return codes[own].astype(np.intp), (columns[own] % slots).astype(np.intp)


def find_look(scene: PanelCodes, look: DressedSubject, held: FloatArray) -> Figure | None:
    """The best figure of a look among a panel's codes, over what the codes ``held`` (n,) gain already elsewhere."""
    if (beginnings := scene.beginnings(look)) is None:
        return None
    gains = beginnings
    more = np.maximum(gains - held[:, None], 0)
    # One slot takes one code, one code one slot: the smaller sum is the closer bound.
    worth = np.minimum(more.max(axis=2).sum(axis=1), more.max(axis=1).sum(axis=1))
    return _settled(scene, look, gains[int(np.argmax(worth))], held)


def _settled(scene: PanelCodes, look: DressedSubject, gains: FloatArray, held: FloatArray) -> Figure | None:
    """A figure from what codes gain (n, slots) as it begins."""
    codes = slots = np.zeros(0, np.intp)
    for _ in range(2):
        codes, slots = assign(gains - held[:, None])
        if not len(codes):
            return None
        if look.is_place:
            break
        gains = scene.gains_of(look, codes, slots) + scene.code_gain(look) + scene.of_part
    return Figure(look, codes, slots, float((gains - held[:, None])[codes, slots].sum()) - look.bare)


def _starts(code_gain: FloatArray, look: DressedSubject) -> list[tuple[IntArray, IntArray]] | None:
    """Pairs (k, 2) and single ones (k, 1) of codes and slots that agree, to judge poses by."""
    codes, slots = np.nonzero(code_gain >= SPEAKS)
    if not len(codes):
        return None
    strength = code_gain[codes, slots]
    order = np.argsort(-strength)[: 3 * SINGLES]
    codes, slots, strength = codes[order], slots[order], strength[order]
    starts = [(codes[:SINGLES, None], slots[:SINGLES, None])]
    first, second = np.triu_indices(len(codes), 1)
    fits = (codes[first] != codes[second]) & (slots[first] != slots[second])
    first, second = first[fits], second[fits]
    if len(first):
        order = np.argsort(-(strength[first] + strength[second]), kind="stable")[:PAIRS]
        both = np.stack([first[order], second[order]], axis=1)
        starts.append((codes[both], slots[both]))
    return starts


def _stacked(poses: Sequence[Poses]) -> Poses:
    return Poses(*(np.concatenate([getattr(p, name) for p in poses]) for name in Poses.__dataclass_fields__))


def figure_gains(scene: PanelCodes, figures: Sequence[Figure]) -> list[FloatArray]:
    """What each code (n,) gains by each slot of each figure: by writing, paint, place, and what its area touches."""
    owner = np.full(len(scene.where), -1)
    for number, figure in enumerate(figures):
        owner[figure.codes] = number
    tables = []
    for number, figure in enumerate(figures):
        placed = scene.gains_of(figure.look, figure.codes, figure.slots)
        table = placed + scene.code_gain(figure.look) + scene.of_part
        if not figure.look.is_place:
            mine = (scene.touching & (owner == number)[None]).any(axis=1)
            others = (scene.touching & ((owner != number) & (owner >= 0))[None]).any(axis=1)
            table = table + (TOUCHING * (mine.astype(float) - (others & ~mine)))[:, None]
        tables.append(table)
    return tables


def _alike(first: Figure, second: Figure) -> bool:
    return np.array_equal(first.codes, second.codes) and np.array_equal(first.slots, second.slots)


def shared_out(scene: PanelCodes, figures: Sequence[Figure]) -> list[Figure]:
    """The figures with all codes shared out among them at once, and each judged anew."""
    for _ in range(ROUNDS):
        tables = figure_gains(scene, figures)
        if not tables:
            return []
        codes, columns = assign(np.concatenate(tables, axis=1))
        edges = np.cumsum([0, *(table.shape[1] for table in tables)])
        renewed = []
        for number, figure in enumerate(figures):
            own = (columns >= edges[number]) & (columns < edges[number + 1])
            mine, slots = codes[own], columns[own] - edges[number]
            if not len(mine):
                continue
            gain = float(tables[number][mine, slots].sum()) - figure.look.bare
            renewed.append(replace(figure, codes=mine, slots=slots, gain=gain))
        settled = len(renewed) == len(figures) and all(map(_alike, figures, renewed))
        figures = renewed
        if settled:
            break
    return list(figures)
