"""Three hands that share no law and no code with those of ``paint_hands``, so that the reader of paint meets strangers.

``marker`` is spectral: dyes seen by the CIE 1931 observer, each layer lifting some of the one below. ``poster`` mixes
opaque tubes by the two constants of Kubelka and Munk (1931). ``picker`` chooses by eye: the printed chart pulled
about in CIELAB. Strengths and spectra are our own choices, wide rather than true (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import numpy.typing as npt

from bible.colour.charts import CHART_64

FloatArray = npt.NDArray[np.float64]
Painter = Callable[[npt.NDArray[np.int_], np.random.Generator], FloatArray]
"""Linear RGB (n, 3), relative to paper, of one painted area for each place on the 64-tint chart."""

AMOUNTS = CHART_64.array[:, :3] / 100.0
BANDS = np.arange(400.0, 701.0, 10.0)


@cache
def _observer() -> FloatArray:
    """Linear sRGB (3, 31) of a reflectance under D65: CIE 1931 observer and illuminant as colour-science has them."""
    import colour

    shape = colour.SpectralShape(400, 700, 10)
    matching = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    weights = (matching * light[:, None]).T
    weights /= weights[1].sum()
    rgb = colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB @ weights
    return np.asarray(rgb / rgb.sum(axis=1, keepdims=True))


def _band(low: float, high: float, soft: float) -> FloatArray:
    """A plateau of absorption between two wavelengths (31,), softer on its long side."""
    rise = 1.0 / (1.0 + np.exp(-(BANDS - low) / soft))
    fall = 1.0 / (1.0 + np.exp((BANDS - high) / (soft * 1.4)))
    return np.asarray(rise * fall)


def _seen(reflectance: FloatArray) -> FloatArray:
    """Linear sRGB (n, 3) of reflectances (n, 31), a little greyed, as scanners' filters overlap; the rest is cut off."""
    rgb = reflectance @ _observer().T
    return np.clip(0.85 * rgb + 0.15 * rgb.mean(axis=1, keepdims=True), 0.002, 1.3)


def _steps(rng: np.random.Generator) -> FloatArray:
    """Strength (3 inks, 4 steps) relative to solid, each ink's own."""
    quarter = rng.uniform(0.16, 0.34, 3)
    half = quarter + (1 - quarter) * rng.uniform(0.28, 0.46, 3)
    return np.stack([np.zeros(3), quarter, half, np.ones(3)], axis=1)


def _strength(tints: npt.NDArray[np.int_], steps: FloatArray) -> FloatArray:
    level = np.searchsorted([0.0, 0.25, 0.5, 1.0], AMOUNTS[tints])
    return steps[np.arange(3), level]


def marker(rng: np.random.Generator) -> Painter:
    """Marker dyes laid over one another in the hand's own order; a later layer lifts part of what lies below."""
    edge = rng.normal(0.0, 8.0, 6)
    dyes = np.stack(
        [
            _band(575 + edge[0], 730 + edge[1], 16) + rng.uniform(0.03, 0.15) * _band(380, 450, 20),
            _band(495 + edge[2], 590 + edge[3], 12) + rng.uniform(0.05, 0.3) * _band(380, 470, 15),
            _band(360, 495 + edge[4], 9),
        ]
    )
    dyes *= np.exp(rng.normal(np.log([1.9, 1.9, 2.1]), 0.22))[:, None]
    order, lift, steps = rng.permutation(3), rng.uniform(0.0, 0.22), _steps(rng)
    uneven = rng.uniform(0.02, 0.06)

    def paint(tints: npt.NDArray[np.int_], mix: np.random.Generator) -> FloatArray:
        laid = _strength(tints, steps) * np.exp(mix.normal(0.0, uneven, (len(tints), 3)))
        film = np.zeros((len(tints), len(BANDS)))
        for ink in order:
            film = film * (1.0 - lift * np.clip(laid[:, ink : ink + 1], 0, 1)) + laid[:, ink : ink + 1] * dyes[ink]
        return _seen(10.0 ** (-film * 0.6))

    return paint


def poster(rng: np.random.Generator) -> Painter:
    """Opaque tubes stirred with white, the two constants of Kubelka and Munk averaged by share, thick over paper."""
    edge = rng.normal(0.0, 9.0, 5)
    absorbing = np.stack(
        [
            _band(560 + edge[0], 740, 20) + 0.05,
            _band(480 + edge[1], 600 + edge[2], 14) + rng.uniform(0.05, 0.3) * _band(380, 470, 20),
            _band(360, 488 + edge[3], 10) + 0.004,
            np.full(len(BANDS), 0.003),
        ]
    )
    absorbing[:3] *= np.exp(rng.normal(np.log([4.0, 4.0, 5.0]), 0.3))[:, None]
    scattering = np.array([*np.exp(rng.normal(np.log(0.6), 0.25, 3)), 1.0])
    steps, uneven = _steps(rng) ** rng.uniform(1.0, 1.35), rng.uniform(0.03, 0.08)

    def paint(tints: npt.NDArray[np.int_], mix: np.random.Generator) -> FloatArray:
        share = _strength(tints, steps) * np.exp(mix.normal(0.0, uneven, (len(tints), 3)))
        white = np.clip(1.0 - share.max(axis=1, keepdims=True), 0.0, 1.0)
        share = np.concatenate([share, white], axis=1)
        share /= share.sum(axis=1, keepdims=True)
        ratio = (share @ absorbing) / (share @ scattering)[:, None]
        film = 1.0 + ratio - np.sqrt(ratio**2 + 2.0 * ratio)
        base = 1.003 - np.sqrt(0.003**2 + 0.006)
        bare = (AMOUNTS[tints].sum(axis=1) == 0)[:, None]
        return np.where(bare, 1.0, _seen(film / base))

    return paint


def picker(rng: np.random.Generator) -> Painter:
    """Flat fills chosen by eye from the printed chart: richer, hues turned, each swatch off by a little of its own."""
    from bible.colour.press import load

    press = load(str(rng.choice(["newsprint", "newsprint", "uncoated-fogra29", "web-coated-tr003"])))
    lab = np.asarray(press.lab(CHART_64.array))
    lab = lab - lab[0] + np.array([100.0, 0.0, 0.0])
    chroma, turn = rng.uniform(1.15, 1.7), rng.normal(0.0, 0.08)
    swirl, phase = rng.normal(0.0, 0.08), rng.uniform(0, 2 * np.pi)
    hue = np.arctan2(lab[:, 2], lab[:, 1])
    length = np.hypot(lab[:, 1], lab[:, 2]) * chroma * (1 + rng.normal(0, 0.08) * np.sin(2 * hue + phase))
    hue = hue + turn + swirl * np.sin(hue + phase)
    light = 100 - (100 - lab[:, 0]) * rng.uniform(0.95, 1.3)
    own = rng.normal(0.0, rng.uniform(0.5, 2.0), (64, 3)) * (AMOUNTS.sum(axis=1, keepdims=True) > 0)
    chart = np.stack([light, length * np.cos(hue), length * np.sin(hue)], axis=1) + own
    uneven = rng.uniform(0.3, 1.3)

    def paint(tints: npt.NDArray[np.int_], mix: np.random.Generator) -> FloatArray:
        import colour

        picked = chart[tints] + mix.normal(0.0, uneven, (len(tints), 3)) * (AMOUNTS[tints].sum(axis=1) > 0)[:, None]
        picked[:, 0] = np.clip(picked[:, 0], 4.0, 100.0)
        white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
        xyz = colour.Lab_to_XYZ(picked, white)
        rgb = colour.XYZ_to_RGB(xyz, "sRGB", white, apply_cctf_encoding=False)
        return np.clip(np.asarray(rgb), 0.002, 1.0)

    return paint


STRANGERS: dict[str, Callable[[np.random.Generator], Painter]] = {
    "marker": marker,
    "poster": poster,
    "picker": picker,
}
