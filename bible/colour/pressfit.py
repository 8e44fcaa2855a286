"""Fit a press condition to characterization data."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product

import numpy as np
import numpy.typing as npt

from bible.colour.cgats import CharacterizationData
from bible.colour.neugebauer import YULE_NIELSEN_N, CellularModel
from bible.colour.press import PressCondition
from bible.colour.pressfile import NAME, TONE_DIGITS, XYZ_DIGITS

FloatArray = npt.NDArray[np.float64]

CMY_LEVELS = (0, 20, 40, 70, 100)
KEY_LEVELS = (0, 20, 40, 60, 80, 100)
"""Percentages where IT8.7/3 and IT8.7/4 hold complete grids: the levels that a fit puts its nodes on."""

_INK_WORDS = ("cyan", "magenta", "yellow", "key")


class FitError(ValueError):
    """The data cannot carry a press condition; the message says what they lack."""


DEFAULT_ANGLES = {"c": 105.0, "m": 75.0, "y": 90.0, "k": 45.0}
"""Degrees; the three strong inks 30° apart, yellow between (common practice, no source)."""


def fit(
    data: CharacterizationData,
    *,
    name: str,
    title: str,
    source: str,
    paper: str = "not stated",
    ruling_lpi: float = 133.0,
    angles: Mapping[str, float] = DEFAULT_ANGLES,
    notes: tuple[str, ...] = (),
) -> PressCondition:
    """Fit a condition to characterization data.

    Args:
        data: measured patches; paper and the four solids at least.
        name: slug of lower-case letters, figures and hyphens.
        title, source, paper: words for people; the source names the report the data come from.
        ruling_lpi, angles: of the halftone view; the data files do not carry them.

    Raises:
        FitError: the data lack paper or a solid, or the name or a text is not usable.
    """
    if not NAME.match(name):
        raise FitError(f"{name!r} is not a name: lower-case letters, figures and single hyphens")
    words = {"title": title, "source": source, "paper": paper}
    for what, text in words.items():
        if not text.strip() or len(text.splitlines()) != 1:
            raise FitError(f"the {what} must be one line of text")
    model = fit_model(*data.averaged())
    return PressCondition(
        name, title.strip(), source.strip(), paper.strip(), ruling_lpi, angles, model, notes
    )


def fit_model(
    tints: FloatArray,
    xyz: FloatArray,
    cmy_levels: tuple[int, ...] = CMY_LEVELS,
    key_levels: tuple[int, ...] = KEY_LEVELS,
) -> CellularModel:
    """Fit nodes and tone curves to distinct patches: percentages (n, 4) and XYZ (n, 3)."""
    known = {tuple(row): value for row, value in zip(tints.tolist(), xyz, strict=True)}
    _require(known)
    roots = {tint: np.maximum(value, 0.0) ** (1 / YULE_NIELSEN_N) for tint, value in known.items()}
    tones = np.round(np.stack([_tone_curve(roots, ink) for ink in range(4)]), TONE_DIGITS)
    coarse_levels = ((0, 100),) * 4
    coarse = CellularModel(coarse_levels, _corners(known), tones)
    levels = (cmy_levels, cmy_levels, cmy_levels, key_levels)
    grid = np.array(list(product(*levels)), dtype=np.float64)
    filled = _fill(grid, levels, known, coarse, tones)
    return CellularModel(levels, np.round(filled, XYZ_DIGITS), tones)


def _require(known: dict[tuple[float, ...], FloatArray]) -> None:
    if (0.0, 0.0, 0.0, 0.0) not in known:
        raise FitError("there is no patch of bare paper (0, 0, 0, 0)")
    for ink, word in enumerate(_INK_WORDS):
        if tuple(100.0 if other == ink else 0.0 for other in range(4)) not in known:
            raise FitError(f"there is no patch of solid {word}")


def _tone_curve(roots: dict[tuple[float, ...], FloatArray], ink: int) -> FloatArray:
    from scipy.interpolate import PchipInterpolator

    ramp = sorted((t[ink], v) for t, v in roots.items() if all(t[i] == 0 for i in range(4) if i != ink))
    at = np.array([step for step, _ in ramp])
    values = np.array([value for _, value in ramp])
    span = values[-1] - values[0]
    safe = np.where(np.abs(span) > 1e-6, span, 1.0)
    tone = np.where(np.abs(span) > 1e-6, (values - values[0]) / safe, at[:, None] / 100.0)
    tone = np.clip(np.maximum.accumulate(tone, axis=0), 0.0, 1.0)
    return np.asarray(PchipInterpolator(at, tone, axis=0)(np.arange(101)))


def _corners(known: dict[tuple[float, ...], FloatArray]) -> FloatArray:
    paper = np.maximum(known[(0.0, 0.0, 0.0, 0.0)], 1e-6)
    corners = np.empty((2, 2, 2, 2, 3))
    for bits in product((0, 1), repeat=4):
        tint = tuple(100.0 * bit for bit in bits)
        if tint in known:
            corners[bits] = known[tint]
            continue
        value = paper.copy()  # an overprint nobody measured: the inks as filters one over the other
        for ink, bit in enumerate(bits):
            if bit:
                value = value * known[tuple(100.0 if i == ink else 0.0 for i in range(4))] / paper
        corners[bits] = value
    return corners


def _fill(
    grid: FloatArray,
    levels: tuple[tuple[int, ...], ...],
    known: dict[tuple[float, ...], FloatArray],
    coarse: CellularModel,
    tones: FloatArray,
) -> FloatArray:
    """Node values: measured where there is a patch, else from the key level's densest complete grid."""
    shape = tuple(len(level) for level in levels)
    values = coarse.xyz(grid).reshape(*shape, 3)
    for place, key in enumerate(levels[3]):
        inner = _complete_levels(known, levels[0], key)
        if inner is None:
            continue
        slab = np.array([[[known[(c, m, y, key)] for y in inner] for m in inner] for c in inner])
        model = CellularModel((inner,) * 3 + ((0, 100),), np.stack([slab, slab], axis=3), tones)
        slab_grid = np.array([(c, m, y, 0) for c, m, y in product(*levels[:3])], dtype=np.float64)
        values[..., place, :] = model.xyz(slab_grid).reshape(*shape[:3], 3)
    flat = values.reshape(-1, 3)
    for row, tint in enumerate(map(tuple, grid.tolist())):
        if tint in known:
            flat[row] = known[tint]
    return values


def _complete_levels(
    known: dict[tuple[float, ...], FloatArray], levels: tuple[int, ...], key: int
) -> tuple[int, ...] | None:
    """The largest set of the levels whose full C x M x Y grid was measured at this key level."""
    inner: tuple[int, ...] = (0, 100)
    if not all((*cmy, key) in known for cmy in product(inner, repeat=3)):
        return None
    for level in sorted(set(levels) - {0, 100}, key=lambda step: abs(step - 40)):
        wider = tuple(sorted((*inner, level)))
        if all((*cmy, key) in known for cmy in product(wider, repeat=3)):
            inner = wider
    return inner
