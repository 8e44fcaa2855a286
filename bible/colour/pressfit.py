"""Fit a press condition to characterization data."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from itertools import pairwise, product

import numpy as np
import numpy.typing as npt

from bible.colour.cgats import CharacterizationData
from bible.colour.neugebauer import YULE_NIELSEN_N, CellularModel, refined
from bible.colour.press import PressCondition
from bible.colour.pressfile import MAX_RULING, MIN_RULING, NAME, TONE_DIGITS, XYZ_DIGITS
from bible.colour.science import measured_difference, measured_lab
from bible.colour.tints import INK_NAMES, INKS

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

DEFAULT_ANGLES = {"c": 105.0, "m": 75.0, "y": 90.0, "k": 45.0}
"""Degrees; the three strong inks 30° apart, yellow between (common practice, no source)."""

DEFAULT_RULING_LPI = 133.0
"""Lines per inch where the data do not say (common practice for covers, no source)."""

MIN_GAP = 20
"""Percentage points between nodes. Closer ones gain some 0.01 CIEDE2000 and leave less to test with."""

SNAP = 0.2
"""Percentages this near a whole one are taken for it: chart makers round to 8 bits, half a step is 0.2 %."""

MAX_NAME = 60
MAX_TEXT = 300

MIN_PAPER_Y = 20.0
"""A 'paper' darker than this (L* 52) is no printing paper but a wrong scale or an inverted percentage."""


class FitError(ValueError):
    """The data cannot carry a press condition; the message says what they lack."""


Patches = dict[tuple[float, ...], FloatArray]
Levels = tuple[int, ...]


def fit(
    data: CharacterizationData,
    *,
    name: str,
    title: str,
    source: str,
    paper: str = "not stated",
    ruling_lpi: float = DEFAULT_RULING_LPI,
    angles: Mapping[str, float] = DEFAULT_ANGLES,
    nodes: tuple[Levels, Levels] | None = None,
) -> PressCondition:
    """Fit a condition to characterization data.

    Only ramps of single inks and the patches on the grid of nodes are used. The others test the fit, and the
    condition's notes say how that came out.

    Args:
        data: measured patches: paper, the four solids and a step between at the least.
        name: slug of lower-case letters, figures and hyphens.
        title, source, paper: one line each, for people; the source names the report the data come from.
        ruling_lpi, angles: of the halftone view; data files seldom carry them.
        nodes: percentages of the nodes for cyan, magenta and yellow, and for key, each from 0 to 100; None takes
            the complete grids found in the data.

    Raises:
        FitError: the data lack what a fit needs, or a name or text is not usable.
    """
    _refuse_words(name, {"title": title, "source": source, "paper": paper})
    if not MIN_RULING <= ruling_lpi <= MAX_RULING:
        raise FitError(f"the ruling must be from {MIN_RULING:g} to {MAX_RULING:g} lines per inch")
    if set(angles) != set(INKS) or not all(-360 <= angle <= 360 for angle in angles.values()):
        raise FitError(f"angles are one for each of {', '.join(INKS)}, in degrees")
    snapped = np.where(np.abs(data.tints - np.rint(data.tints)) <= SNAP, np.rint(data.tints), data.tints)
    tints, xyz = CharacterizationData(snapped, data.xyz).averaged()
    model = fit_model(tints, xyz, nodes)
    notes = _notes(model, tints, xyz)
    words = (name, title.strip(), source.strip(), paper.strip())
    return PressCondition(*words, ruling_lpi, dict(angles), model, notes)


def _refuse_words(name: str, lines: Mapping[str, str]) -> None:
    if not NAME.match(name) or len(name) > MAX_NAME:
        raise FitError(f"{name[:MAX_NAME]!r} is not a name: lower-case letters, figures and single hyphens")
    for what, text in lines.items():
        if not text.strip() or len(text.splitlines()) != 1 or len(text) > MAX_TEXT:
            raise FitError(f"the {what} must be one line of text, at most {MAX_TEXT} characters")


def fit_model(tints: FloatArray, xyz: FloatArray, nodes: tuple[Levels, Levels] | None = None) -> CellularModel:
    """Fit nodes and tone curves to distinct patches: percentages (n, 4) and XYZ (n, 3). As ``fit``."""
    _require(tints, xyz)
    values = np.maximum(xyz, 0.0) ** (1 / YULE_NIELSEN_N)
    curves = np.stack([_tone_curve(tints, values, ink) for ink in range(4)])
    tones = np.asarray(np.round(curves, TONE_DIGITS), dtype=np.float64)
    roots: Patches = dict(zip(map(tuple, tints.tolist()), values, strict=True))
    _add_missing_overprints(roots)
    if nodes is None:
        steps = {int(step) for step in np.unique(tints) if step == int(step)}
        key = _spread(steps, lambda levels: _complete(roots, (0, 100), *levels), lambda step: 0)
        # Among the levels that the grid without key has, those that the darker grids have too serve most.
        worth = {step: sum(_complete(roots, (0, step, 100), level) for level in key) for step in steps}
        cmy = _spread(steps, lambda levels: _complete(roots, levels, 0), worth.__getitem__)
    else:
        cmy, key = nodes
        _require_nodes(roots, cmy, key)
    slabs = np.stack([_slab(roots, tones, cmy, level) for level in key], axis=3)
    values = np.asarray(np.round(slabs**YULE_NIELSEN_N, XYZ_DIGITS), dtype=np.float64)
    return CellularModel((cmy, cmy, cmy, key), values, tones)


def is_node(tints: FloatArray, levels: Iterable[Collection[int]]) -> BoolArray:
    """True (n,) for the patches that a fit with these levels sees: single-ink ramps and the grid of nodes."""
    grid = np.all([np.isin(tints[:, ink], list(steps)) for ink, steps in enumerate(levels)], axis=0)
    return np.asarray(grid | ((tints > 0).sum(axis=1) <= 1))


def _notes(model: CellularModel, tints: FloatArray, xyz: FloatArray) -> tuple[str, ...]:
    unseen = ~is_node(tints, model.levels)
    notes = [f"fitted to {np.count_nonzero(~unseen)} of {len(tints)} distinct patches"]
    difference = measured_difference(measured_lab(model.xyz(tints)), measured_lab(xyz))
    for words, mask in (("without key", tints[:, 3] == 0), ("with key", tints[:, 3] > 0)):
        held_out = difference[mask & unseen]
        if len(held_out):
            notes.append(
                f"{len(held_out)} other patches {words}: CIEDE2000 {held_out.mean():.2f} in the mean, "
                f"95 % below {np.percentile(held_out, 95):.2f}"
            )
    return tuple(notes)


def _alone(ink: int, percent: float = 100.0) -> tuple[float, ...]:
    return tuple(percent if other == ink else 0.0 for other in range(4))


def _require(tints: FloatArray, xyz: FloatArray) -> None:
    bare = ~tints.any(axis=1)
    if not bare.any():
        raise FitError("there is no patch of bare paper (all inks 0 %)")
    paper = xyz[bare][0]
    if paper[1] < MIN_PAPER_Y:
        raise FitError(
            f"the bare paper is as dark as Y = {paper[1]:.1f}: is the scale wrong, or does 0 % mean solid?"
        )
    for ink, name in enumerate(INKS):
        at, values = _ramp(tints, xyz, ink)
        word = INK_NAMES[name]
        if at[-1] != 100:
            raise FitError(f"there is no patch of solid {word}")
        if values[-1].sum() >= paper.sum():
            raise FitError(f"solid {word} is not darker than the paper")
        if len(at) < 3:
            raise FitError(f"no patch of {word} between paper and solid: its dot gain cannot be fitted")


def _require_nodes(roots: Patches, cmy: Levels, key: Levels) -> None:
    for levels in (cmy, key):
        if levels[:1] != (0,) or levels[-1:] != (100,) or list(levels) != sorted(set(levels)):
            raise FitError(f"nodes rise from 0 to 100, not {levels}")
    absent = next((tint for tint in product(cmy, cmy, cmy, (0,)) if tint not in roots), None)
    if absent:
        raise FitError("there is no patch for the node " + " ".join(f"{percent}" for percent in absent))


def _ramp(tints: FloatArray, values: FloatArray, ink: int) -> tuple[FloatArray, FloatArray]:
    """Rising percentages (m,) and values (m, 3) of the patches that hold nothing but this ink."""
    others = [other for other in range(4) if other != ink]
    rows = np.flatnonzero(~tints[:, others].any(axis=1))
    rows = rows[np.argsort(tints[rows, ink])]
    return tints[rows, ink], values[rows]


def _tone_curve(tints: FloatArray, roots: FloatArray, ink: int) -> FloatArray:
    """Monotone curve through the ink's ramp at 0-100 %, shape (101, 3), 0 at paper and 1 at solid."""
    from scipy.interpolate import PchipInterpolator

    at, values = _ramp(tints, roots, ink)
    span = values[-1] - values[0]
    none = np.abs(span) < 1e-6  # an ink that does nothing in a channel: any curve will do
    tone = np.where(none, at[:, None] / 100.0, (values - values[0]) / np.where(none, 1.0, span))
    tone = np.clip(np.maximum.accumulate(tone, axis=0), 0.0, 1.0)
    return np.asarray(PchipInterpolator(at, tone, axis=0)(np.arange(101)))


def _add_missing_overprints(roots: Patches) -> None:
    """Solids over solids that nobody measured, as filters one over the other (charts often stop at an ink limit)."""
    paper = roots[_alone(0, 0.0)]
    for bits in product((0.0, 100.0), repeat=4):
        if bits not in roots:
            factors = [roots[_alone(ink)] / paper for ink in range(4) if bits[ink]]
            roots[bits] = paper * np.prod(factors, axis=0)


def _complete(roots: Patches, levels: Levels, *keys: int) -> bool:
    """Whether the full C x M x Y grid of the levels was measured at these key levels."""
    return all((*cmy, key) in roots for cmy in product(levels, repeat=3) for key in keys)


def _spread(steps: Collection[int], usable: Callable[[Levels], bool], worth: Callable[[int], int]) -> Levels:
    """Levels from 0 to 100 chosen among the steps: divide the widest gap that can be, until all are narrow.

    Args:
        steps: percentages to choose from.
        usable: whether a set of levels can serve.
        worth: the larger, the rather a step is taken; among equals the one nearest to the middle of the gap.
    """
    levels: Levels = (0, 100)
    closed: set[tuple[int, int]] = set()
    while gaps := [gap for gap in pairwise(levels) if gap[1] - gap[0] >= 2 * MIN_GAP and gap not in closed]:
        low, high = max(gaps, key=lambda gap: gap[1] - gap[0])
        inside = [step for step in steps if low + MIN_GAP <= step <= high - MIN_GAP]
        order = sorted(inside, key=lambda step: (-worth(step), abs(2 * step - low - high), step))
        wider = (tuple(sorted((*levels, step))) for step in order)
        finer = next(filter(usable, wider), None)
        if finer:
            levels = finer
        else:
            closed.add((low, high))
    return levels


def _slab(roots: Patches, tones: FloatArray, levels: Levels, key: int) -> FloatArray:
    """Root node values (C, M, Y, 3) at one key level: measured, or from the level's own densest complete grid."""
    inner = _spread(levels, lambda wider: _complete(roots, wider, key), lambda step: 0)
    if not _complete(roots, inner, key):
        raise FitError(f"the solids of cyan, magenta and yellow are not complete at {key} % key")
    grid = np.array([roots[(*cmy, key)] for cmy in product(inner, repeat=3)]).reshape(*(len(inner),) * 3, 3)
    if inner != levels:
        for ink in range(3):
            grid = refined(grid, ink, tones[ink], inner, levels)
        for place in np.ndindex(*grid.shape[:3]):
            measured = roots.get((*(float(levels[at]) for at in place), float(key)))
            if measured is not None:
                grid[place] = measured
    return grid
