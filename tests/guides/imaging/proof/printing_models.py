"""How the tests' proofs print: primaries and dot gain of several models, some of them never seen while tuning.

Rulings, angles and faults follow common practice (no source); solids of the ``press`` models are TR 002's and FOGRA's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bible.colour import press
from bible.colour.colorimetry import xyz_to_linear_srgb

Float = npt.NDArray[np.float64]


def _corner_tints() -> Float:
    bits = np.array([[(n >> i) & 1 for i in range(3)] for n in range(8)], float)
    return np.hstack([bits * 100, np.zeros((8, 1))])


def _primaries_of_press(name: str, density: Float) -> Float:
    corners = _corner_tints()
    condition = press.load(name)
    linear = np.clip(xyz_to_linear_srgb(condition.xyz(corners)), 0.004, None)
    alone = np.zeros((3, 4))
    alone[np.arange(3), np.arange(3)] = 100
    single = np.log(np.clip(xyz_to_linear_srgb(condition.xyz(alone)), 0.004, None) / linear[0])
    bits = corners[:, :3] / 100
    return np.asarray(linear * np.exp(bits @ ((density - 1)[:, None] * single)))


def _primaries_of_filters(inks: Float, density: Float, trap: float = 0.0) -> Float:
    bits = _corner_tints()[:, :3] / 100
    order = bits.sum(1, keepdims=True)
    logs = bits @ (density[:, None] * np.log(inks)) * (1 - trap * np.maximum(order - 1, 0))
    return np.asarray(np.exp(logs) * 0.92)


def _curve_press(name: str) -> Callable[[Float, int], Float]:
    grid = np.arange(101)

    def curve(value: Float, ink: int) -> Float:
        ramp = np.zeros((101, 4))
        ramp[:, ink] = grid
        coverage = press.load(name).effective_coverage(ramp).coverage[:, ink] / 100
        return np.asarray(np.interp(value, grid / 100, coverage))

    return curve


def _curve_gain(amount: float) -> Callable[[Float, int], Float]:
    return lambda value, ink: np.clip(value + amount * 4 * value * (1 - value), 0, 1)


OFFSET_INKS = np.array([(0.10, 0.42, 0.68), (0.72, 0.10, 0.28), (0.95, 0.82, 0.10)])
LETTERPRESS_INKS = np.array([(0.16, 0.40, 0.55), (0.66, 0.14, 0.20), (0.86, 0.70, 0.14)])
NAIVE_INKS = np.array([(0.02, 0.40, 0.85), (0.80, 0.02, 0.26), (1.0, 0.87, 0.01)])


@dataclass(frozen=True)
class Model:
    primaries: Callable[[Float], Float]
    curve: Callable[[Float, int], Float]
    encoded: bool = False
    exact: str | None = None
    yule_nielsen: float = 1.0


MODELS: dict[str, Model] = {
    # Seen while the engine was tuned.
    "press": Model(lambda d: _primaries_of_press("newsprint", d), _curve_press("newsprint")),
    "filters": Model(lambda d: _primaries_of_filters(OFFSET_INKS, d), _curve_gain(0.2)),
    "exact": Model(lambda d: _primaries_of_press("newsprint", d), _curve_press("newsprint"), exact="newsprint"),
    # Held out.
    "letterpress": Model(lambda d: _primaries_of_filters(LETTERPRESS_INKS, d, 0.06), _curve_gain(0.14)),
    "uncoated": Model(lambda d: _primaries_of_press("uncoated-fogra29", d), _curve_press("uncoated-fogra29")),
    "naive": Model(lambda d: _primaries_of_filters(NAIVE_INKS, d), _curve_gain(0.16), encoded=True),
}
TUNED = ("press", "filters", "exact")
HELD_OUT = ("letterpress", "uncoated", "naive")
