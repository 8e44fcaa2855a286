"""Three families of simulated scanners: thresholds are chosen on one, watched on another, judged on the third.

They differ in the kind of lamp and sensor, in what the maker's own colour matrix was made from, and in how much goes
wrong. What tunes never judges.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from bible.colour.science import colour_science
from tests.guides.imaging.chart.printed_sheets import WAVES, Scan, makers_matrix, target_spectra

FloatArray = npt.NDArray[np.float64]


def _bell(centre: float, width: float) -> FloatArray:
    return np.exp(-0.5 * ((WAVES - centre) / width) ** 2)


def _smooth_spectra(rng: np.random.Generator, count: int) -> FloatArray:
    """Reflectances of whatever a maker may have calibrated with: smooth, from dark to light."""
    bells = np.stack([_bell(centre, 60.0) for centre in range(380, 741, 40)])
    logs = rng.normal(0, 1.1, (count, len(bells))) @ bells / 1.6 + rng.uniform(-2.2, 0.6, (count, 1))
    return 0.02 + 0.9 / (1 + np.exp(-logs))


def _common(rng: np.random.Generator, rough: float) -> dict[str, Any]:
    return {
        "power": 1 + rng.normal(0, 0.012 * rough) + rng.normal(0, 0.004 * rough, 3),
        "gain": np.full(3, 1 + rng.normal(0, 0.006 * rough)) * (1 + rng.normal(0, 0.004 * rough, 3)),
        "glare": float(rng.uniform(0.003, 0.012) * rough),
        "falloff": (*rng.normal(0, 0.015 * rough, 2), float(rng.uniform(0, 0.04) * rough)),
        "noise": float(rng.uniform(0.5, 1.2) * rough),
        "turn": float(rng.uniform(-2, 2)),
        "bend": float(rng.uniform(-0.6, 0.6)),
        "blur": float(rng.uniform(0.5, 0.9)),
        "through": float(rng.uniform(0, 0.02)),
    }


def tuning(seed: int, **overrides: Any) -> Scan:
    """Flat-bed, white lamp of blue and phosphor, three broad sensors; the maker took a usual target."""
    rng = np.random.default_rng([1, seed])
    lamp = 0.9 * _bell(452, 12) + _bell(rng.normal(570, 6), 62)
    sensors = np.stack([_bell(rng.normal(c, 4), rng.normal(w, 2)) for c, w in ((605, 34), (540, 36), (455, 26))], 1)
    responses = lamp[:, None] * sensors
    matrix = makers_matrix(responses, np.r_[target_spectra()[1], _smooth_spectra(rng, 30)])
    return Scan(responses, matrix, **(_common(rng, 1.0) | {"seed": seed} | overrides))


def watching(seed: int, **overrides: Any) -> Scan:
    """Flat-bed, a fluorescent tube of narrow bands (CIE FL11, published by colour-science), steep filters."""
    rng = np.random.default_rng([2, seed])
    colour = colour_science()
    tube = colour.SDS_ILLUMINANTS["FL11"].copy().align(colour.SpectralShape(400, 700, 10)).values
    edges = ((585 + rng.normal(0, 5), 720), (490 + rng.normal(0, 5), 590), (390, 505 + rng.normal(0, 5)))
    sensors = np.stack(
        [1 / (1 + np.exp(-(WAVES - low) / 8)) / (1 + np.exp((WAVES - high) / 8)) for low, high in edges], 1
    )
    responses = (tube / tube.max() + 0.02)[:, None] * sensors
    matrix = makers_matrix(responses, _smooth_spectra(rng, 60))
    return Scan(responses, matrix, **(_common(rng, 1.2) | {"seed": seed} | overrides))


def judging(seed: int, **overrides: Any) -> Scan:
    """Even seeds: a contact sensor that lights the page by three coloured diodes in turn. Odd ones: a camera on a
    stand by daylight, with sensitivities that colour-science publishes, seen a little from one side."""
    rng = np.random.default_rng([3, seed])
    colour = colour_science()
    common = _common(rng, 1.0)
    if seed % 2:
        shape = colour.SpectralShape(400, 700, 10)
        cameras = list(colour.MSDS_CAMERA_SENSITIVITIES.values())
        sensors = cameras[(seed // 2) % len(cameras)].copy().align(shape).values
        daylight = colour.SDS_ILLUMINANTS["D55"].copy().align(shape).values / 100.0
        responses = daylight[:, None] * sensors
        common |= {"keystone": float(rng.uniform(-0.05, 0.05)), "turn": float(rng.uniform(-6, 6))}
        common["falloff"] = (*rng.normal(0, 0.03, 2), float(rng.uniform(0.02, 0.08)))
    else:
        peaks = ((rng.normal(627, 4), 9), (rng.normal(526, 5), 15), (rng.normal(464, 4), 10))
        responses = np.stack([_bell(centre, width) for centre, width in peaks], 1)
    matrix = makers_matrix(responses, _smooth_spectra(rng, 80))
    return Scan(responses, matrix, **(common | {"seed": seed} | overrides))
