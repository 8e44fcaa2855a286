"""Simulated hands: how somebody paints each of the 64 tints, by several models that disagree with one another.

Nobody has published how colourists' paints behave, so no single model may be trusted. Each family here turns amounts
of three inks into a painted colour by another law; strengths, hues, palettes and the scanner are drawn anew for every
hand. All constants are our own choices (common practice, no source) and meant to be wide, not true. ``TRAINING``
families teach the shipped prior; ``HELD_OUT`` families never do, and show how the engine fares on a hand nobody
foresaw.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bible.colour.charts import CHART_64
from bible.colour.press import load

FloatArray = npt.NDArray[np.float64]
Law = Callable[[FloatArray], FloatArray]

CMY = CHART_64.array[:, :3] / 100.0
"""Nominal amounts (64, 3) of cyan, magenta and yellow, 0-1, in the order of the chart."""

STEPS = np.array([0.0, 0.25, 0.5, 1.0])


@dataclass(frozen=True)
class Difficulty:
    """How unevenly one hand works: ``mix`` is the spread of an ink's strength from area to area, ``stain`` the spread
    of the colour whatever the ink (log units), ``palette`` the factor on a family's own irregularities."""

    name: str
    mix: float
    stain: float


EASY = Difficulty("easy", mix=0.03, stain=0.008)
HARD = Difficulty("hard", mix=0.06, stain=0.015)
DIFFICULTIES = (EASY, HARD)


@dataclass(frozen=True, eq=False)
class Hand:
    """A colourist with paints, paper and scanner.

    ``law`` maps amounts (n, 3) to linear RGB (n, 3) relative to bare paper; ``offsets`` (64, 3) are log factors of a
    palette's own irregularities; ``transform`` is the scanner, again relative to paper.
    """

    family: str
    law: Law
    levels: FloatArray
    offsets: FloatArray
    matrix: FloatArray
    gamma: FloatArray
    flare: float

    def paint(
        self, tints: npt.NDArray[np.int_], rng: np.random.Generator, difficulty: Difficulty | None
    ) -> FloatArray:
        """Linear RGB (n, 3), paper = 1, of one painted area for each index into the 64 tints."""
        steps = np.searchsorted(STEPS, CMY[tints])
        amounts = np.take_along_axis(self.levels.T[None].repeat(len(tints), 0), steps[:, :, None], 2)[:, :, 0]
        if difficulty is not None:
            common = rng.normal(0.0, difficulty.mix * 0.6, (len(tints), 1))
            amounts = amounts * np.exp(rng.normal(0.0, difficulty.mix * 0.8, amounts.shape) + common)
        rgb = np.clip(self.law(amounts), 1e-4, None) * np.exp(self.offsets[tints])
        if difficulty is not None:
            stain = rng.normal(0.0, difficulty.stain, rgb.shape) * 0.6 + rng.normal(
                0.0, difficulty.stain, (len(rgb), 1)
            )
            rgb = rgb * np.exp(np.where((amounts.sum(axis=1) > 0)[:, None], stain, 0.0))
        return self.scan(rgb)

    def scan(self, rgb: FloatArray) -> FloatArray:
        """What the scanner makes of linear RGB (n, 3): channel crosstalk, a tone curve, flare."""
        mixed = np.clip(rgb @ self.matrix.T, 1e-4, None) ** self.gamma
        return (mixed + self.flare) / (1.0 + self.flare)

    def chart(self) -> FloatArray:
        """The 64 tints (64, 3) as this hand means them, linear RGB relative to paper."""
        return self.paint(np.arange(64), np.random.default_rng(0), None)


def _strengths(rng: np.random.Generator) -> FloatArray:
    """Amount of paint (4, 3) for nothing, 25 %, 50 % and solid of the three inks; solid is 1."""
    quarter = rng.uniform(0.12, 0.42, 3) * 0.6 + rng.uniform(0.12, 0.42) * 0.4
    half = quarter + (1.0 - quarter) * rng.uniform(0.25, 0.5, 3)
    return np.stack([np.zeros(3), quarter, half, np.ones(3)])


def _dyes(rng: np.random.Generator) -> FloatArray:
    """Densities (3 inks, 3 channels R, G, B) in natural log units of solid cyan, magenta and yellow paint."""
    main = np.exp(rng.normal(np.log([2.5, 2.3, 2.2]), 0.28)) * np.exp(rng.normal(0, 0.15))
    side = np.array([[0.0, 0.28, 0.10], [0.06, 0.0, 0.32], [0.015, 0.10, 0.0]]) * np.exp(rng.normal(0, 0.5, (3, 3)))
    return main[:, None] * (np.eye(3) + side)


def additive(rng: np.random.Generator) -> Law:
    """Dyes in layers: densities add (Beer-Lambert)."""
    dyes = _dyes(rng)
    return lambda amounts: np.exp(-amounts @ dyes)


def stepwise(rng: np.random.Generator) -> Law:
    """Densities add, but each strength is a mixture of its own whose hue drifts."""
    dyes = _dyes(rng)
    drift = rng.normal(0.0, 0.12, (3, 3)) * dyes.max(axis=1, keepdims=True)
    return lambda amounts: np.exp(-np.clip(amounts @ dyes + (amounts * (1 - amounts)) @ drift, 0.0, None))


_BANDS = np.linspace(400.0, 700.0, 31)


def _bell(centre: float, width: float) -> FloatArray:
    return np.asarray(np.exp(-0.5 * ((_BANDS - centre) / width) ** 2))


# Rough channel sensitivities of a scanner's red, green and blue, each summing to one.
_EYES = np.stack([_bell(605, 35), _bell(545, 35), _bell(450, 28)])
_EYES /= _EYES.sum(axis=1, keepdims=True)


def _absorptions(rng: np.random.Generator) -> FloatArray:
    """Absorption spectra (3, 31) of a cyan, a magenta and a yellow paint."""
    move = rng.normal(0.0, 10.0, 3)
    spread = np.exp(rng.normal(0.0, 0.15, 3))
    cyan = _bell(640 + move[0], 60 * spread[0]) + rng.uniform(0.02, 0.12) * _bell(430, 60)
    magenta = _bell(545 + move[1], 38 * spread[1]) + rng.uniform(0.05, 0.25) * _bell(420, 50)
    yellow = 1.0 / (1.0 + np.exp((_BANDS - 495 - move[2]) / (9 * spread[2])))
    return np.stack([cyan, magenta, yellow])


def kubelka_munk(rng: np.random.Generator) -> Law:
    """Paint films thick enough to hide the paper: K/S adds with white as the base (Kubelka and Munk 1931)."""
    spectra = _absorptions(rng) * np.exp(rng.normal(np.log([3.5, 3.5, 4.0]), 0.35))[:, None]
    base = rng.uniform(0.003, 0.012)
    power = rng.uniform(1.0, 1.6)

    def law(amounts: FloatArray) -> FloatArray:
        def reflectance(ratio: FloatArray) -> FloatArray:
            return 1.0 + ratio - np.sqrt(ratio**2 + 2.0 * ratio)

        film = reflectance(amounts**power @ spectra + base)
        return np.asarray(film @ _EYES.T / reflectance(np.array(base)))

    return law


def gouache(rng: np.random.Generator) -> Law:
    """Opaque tube colours stirred with white: the colours' weighted power mean."""
    inks = np.exp(-_dyes(rng) * rng.uniform(0.9, 1.6))
    power = rng.uniform(-0.35, 0.35)
    white = rng.uniform(0.1, 0.5)

    def law(amounts: FloatArray) -> FloatArray:
        total = amounts.sum(axis=1, keepdims=True)
        pure = np.clip(amounts.max(axis=1, keepdims=True), 0.0, None)
        tint = white * np.clip(1.0 - pure, 0.0, None) / 0.6
        weight = total + tint
        parts = np.concatenate([amounts * rng_strength, tint], axis=1)
        parts /= np.where(weight > 0, parts.sum(axis=1, keepdims=True), 1.0) + 1e-12
        colours = np.vstack([inks, np.ones(3)])
        mean = np.clip(parts @ colours**power, 1e-6, None) ** (1.0 / power)
        return np.where(total > 1e-9, mean, 1.0)

    if abs(power) < 0.05:
        power = 0.05
    rng_strength = np.exp(rng.normal(0.0, 0.25, 3))
    return law


_CORNERS = np.array([[i, j, k] for i in (0.0, 1.0) for j in (0.0, 1.0) for k in (0.0, 1.0)])


def neugebauer(rng: np.random.Generator) -> Law:
    """A screen fill that imitates halftone: eight corner colours averaged by area, with an n-factor."""
    corners = np.exp(-_CORNERS @ _dyes(rng) * rng.uniform(0.8, 1.2)) * np.exp(rng.normal(0.0, 0.12, (8, 3)))
    corners[0] = 1.0
    factor = rng.uniform(1.0, 4.0)

    def law(amounts: FloatArray) -> FloatArray:
        area = np.clip(amounts, 0.0, 1.15)[:, None, :]
        weights = np.where(_CORNERS[None] > 0, area, 1.0 - area).prod(axis=2)
        return np.asarray(np.clip(weights @ corners ** (1 / factor), 1e-3, None) ** factor)

    return law


def _printed(name: str, amounts: FloatArray) -> FloatArray:
    from bible.colour.colorimetry import xyz_to_srgb

    tints = np.zeros((len(amounts), 4))
    tints[:, :3] = np.clip(amounts, 0.0, 1.0) * 100.0
    coded = np.asarray(xyz_to_srgb(load(name).relative_xyz(tints))[0]) / 255.0
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


_GRID_CACHE: dict[str, FloatArray] = {}


def _printed_log(name: str, amounts: FloatArray) -> FloatArray:
    """Printed densities (n, 3), read from a table of 11 levels an ink: hands ask thousands of times."""
    from scipy.interpolate import interpn

    levels = np.linspace(0.0, 1.0, 11)
    if name not in _GRID_CACHE:
        grid = np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), axis=-1)
        log = -np.log(np.clip(_printed(name, grid.reshape(-1, 3)), 0.004, None))
        _GRID_CACHE[name] = log.reshape(11, 11, 11, 3)
    points = np.clip(amounts, 0.0, 1.0)
    over = np.clip(amounts.max(axis=1, keepdims=True), 1.0, None)  # stronger than solid: deeper than the table
    return np.asarray(interpn((levels, levels, levels), _GRID_CACHE[name], points)) * over


PRESSES = ("newsprint", "web-coated-tr003", "uncoated-fogra29", "coated-fogra39")


def press_rich(rng: np.random.Generator) -> Law:
    """Copies the printed chart, richer: printed densities times a strength, turned a little in hue."""
    name = PRESSES[int(rng.integers(2)) if rng.random() < 0.8 else int(rng.integers(4))]
    rich = rng.uniform(1.05, 1.9)
    turn = np.eye(3) + rng.normal(0.0, 0.07, (3, 3))
    return lambda amounts: np.exp(-rich * np.clip(_printed_log(name, amounts) @ turn, 0.0, None))


def crosstalk(rng: np.random.Generator) -> Law:
    """Layered dyes that wet each other: densities saturate, and overlapping inks lose or gain some."""
    dyes = _dyes(rng)
    limit = rng.uniform(2.2, 4.5)
    clash = rng.normal(-0.12, 0.12, (3, 3))

    def law(amounts: FloatArray) -> FloatArray:
        pairs = np.stack(
            [amounts[:, 0] * amounts[:, 1], amounts[:, 1] * amounts[:, 2], amounts[:, 0] * amounts[:, 2]], 1
        )
        density = np.clip(amounts @ dyes + pairs @ (clash * 1.5), 0.0, None)
        return np.asarray(np.exp(-limit * (1.0 - np.exp(-density / limit))))

    return law


def warped(rng: np.random.Generator) -> Law:
    """A smooth random warp of the printed colours, held to no physics."""
    name = PRESSES[int(rng.integers(4))]
    rich = rng.uniform(1.1, 1.8)
    first, phase = rng.normal(0.0, 1.1, (3, 12)), rng.uniform(0, 2 * np.pi, 12)
    second = rng.normal(0.0, 0.06, (12, 3))

    def law(amounts: FloatArray) -> FloatArray:
        print_log = _printed_log(name, amounts)
        bend = (np.sin(print_log @ first + phase) - np.sin(phase)) @ second
        return np.asarray(np.exp(-np.clip(rich * print_log + bend, 0.0, None)))

    return law


def glazes(rng: np.random.Generator) -> Law:
    """Spectral dyes in layers, each seen through the others, with a surface gloss (after Saunderson 1942)."""
    spectra = _absorptions(rng) * np.exp(rng.normal(np.log([2.6, 2.6, 2.6]), 0.25))[:, None]
    gloss = rng.uniform(0.0, 0.03)
    return lambda amounts: (np.exp(-amounts @ spectra) @ _EYES.T) * (1 - gloss) + gloss


TRAINING: dict[str, Callable[[np.random.Generator], Law]] = {
    "additive": additive,
    "stepwise": stepwise,
    "kubelka-munk": kubelka_munk,
    "gouache": gouache,
    "press-rich": press_rich,
    "neugebauer": neugebauer,
}
HELD_OUT: dict[str, Callable[[np.random.Generator], Law]] = {
    "crosstalk": crosstalk,
    "warped": warped,
    "glazes": glazes,
}
FAMILIES = TRAINING | HELD_OUT


def make_hand(family: str, rng: np.random.Generator) -> Hand:
    """A new hand of that family."""
    law = FAMILIES[family](rng)
    levels = _strengths(rng)
    if family in ("press-rich", "warped", "neugebauer"):  # their laws bring a tone curve of their own
        levels = np.clip(STEPS[:, None] + rng.normal(0.0, 0.04, (4, 3)) * (STEPS > 0)[:, None], 0.0, 1.0)
        levels[3] = 1.0
    irregular = rng.uniform(0.0, 0.06) if rng.random() < 0.6 else 0.0
    offsets = rng.normal(0.0, irregular, (64, 3)) * np.clip(CMY.sum(axis=1, keepdims=True), 0.0, 0.6)
    matrix = np.eye(3) + rng.normal(0.0, 0.03, (3, 3))
    matrix /= matrix.sum(axis=1, keepdims=True)
    gamma = np.exp(rng.normal(0.0, 0.1) + rng.normal(0.0, 0.03, 3))
    return Hand(family, law, levels, offsets, matrix, gamma, flare=float(rng.uniform(0.0, 0.012)))
