"""What a scan shows at each patch: light averaged over whole screen periods, the light of the lamp evened out.

Dots must be averaged as light, not as coded values, and a window that fades out at its edges lets no dot at a border
count more than another: what is left of a screen of p periods falls faster than 1/p² (a raised cosine's side lobes).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from bible.colour.colorimetry import decode_srgb
from guides.imaging.chart.finding import FoundSheet
from guides.imaging.chart.refusals import ChartFault, ChartRefused
from guides.imaging.chart.sheet import SheetLayout

FloatArray = npt.NDArray[np.float64]
Picture = npt.NDArray[np.uint8]

INNER, INNER_ON_WALL = 0.72, 0.55
"""Share of a patch's width and height that is looked at: its edges print softly and scan softer."""

FEWEST_PIXELS = 12.0
"""Pixels across a patch's window below which dots and noise are not averaged away."""

LOW_END, HIGH_END = 1, 254
"""Coded values at which a channel has come to its end: sRGB holds no solid cyan of a good press."""

PARTS = 3
"""The window is looked at in 3 × 3 parts, whose spread says how even the patch is."""

SHADE = 1.8
"""Brightest paper against darkest on one sheet. A lamp that falls off makes 1.3, a hand or a lid more."""

PAPER_RADIUS = 1.6
"""Millimetres around a spot of the rim."""

_LINEAR = decode_srgb(np.arange(256) / 255.0).astype(np.float32)


@dataclass(frozen=True)
class PatchSamples:
    """What was read.

    Attributes:
        rgb: (n, 3) linear light 0-1, the patches' order.
        spread: (n, 3) standard error of it, from the spread within a patch.
        clipped: (n,) share of pixels in which a channel has come to its end: the true colour lies beyond.
        quads: (n, 4, 2) corners of the patches, pixels of the scan.
        even: brightest paper against darkest before the light was evened; 1 where nobody could tell.
        lamp: how bright the lamp is at places (m, 2) of the sheet, 1 in the mean of its patches.
    """

    rgb: FloatArray
    spread: FloatArray
    clipped: FloatArray
    quads: FloatArray
    even: float
    lamp: Callable[[FloatArray], FloatArray]


def read_patches(scan: Picture, sheet: SheetLayout, placed: FoundSheet) -> PatchSamples:
    """Average every patch of a sheet that was found on a scan (h, w, 3), sRGB.

    Raises:
        ChartRefused: patches lie outside the picture, are too small in it, or half of it lies in shadow.
    """
    corners = np.concatenate([patch.corners for patch in sheet.patches])
    quads = placed.to_scan(corners).reshape(-1, 4, 2)
    _require_inside(quads, scan, sheet)
    inner = INNER if sheet.marked else INNER_ON_WALL
    read = [patch_light(scan, quad, inner) for quad in quads]
    rgb, spread = np.array([light.rgb for light in read]), np.array([light.spread for light in read])
    clipped = np.array([light.clipped for light in read])
    if not sheet.marked:
        return PatchSamples(rgb, spread, clipped, quads, 1.0, lambda places: np.ones(len(places)))
    lamp, even = _lamp(scan, sheet, placed, rgb)
    factor = lamp(_centres(sheet))[:, None]
    return PatchSamples(rgb / factor, spread / factor, clipped, quads, even, lamp)


def _require_inside(quads: FloatArray, scan: Picture, sheet: SheetLayout) -> None:
    height, width = scan.shape[:2]
    outside = ((quads < -0.5) | (quads > [width, height])).any(axis=(1, 2))
    if outside.any():
        code = sheet.patches[int(np.flatnonzero(outside)[0])].code
        raise ChartRefused(
            ChartFault.CUT_OFF,
            f"{int(outside.sum())} patches lie outside the picture, {code} the first: scan the whole sheet.",
        )
    sides = np.linalg.norm(np.roll(quads, -1, axis=1) - quads, axis=2).min()
    if sides * INNER < FEWEST_PIXELS:
        raise ChartRefused(
            ChartFault.TOO_COARSE,
            f"A patch is {sides:.0f} pixels high on this picture, too few to average dots and noise away. "
            "Scan at 150 dots an inch or more.",
        )


class PatchLight(NamedTuple):
    """Mean linear light (3,) of a patch, its standard error (3,), and the share of pixels at a channel's end."""

    rgb: FloatArray
    spread: FloatArray
    clipped: float


def patch_light(scan: Picture, quad: FloatArray, inner: float) -> PatchLight:
    """What lies within the inner part of a quadrilateral (4, 2), pixels."""
    centre = quad.mean(axis=0)
    across = (quad[1] + quad[2] - quad[0] - quad[3]) / 4 * inner
    down = (quad[2] + quad[3] - quad[0] - quad[1]) / 4 * inner
    reach = np.abs(across) + np.abs(down)
    low = np.maximum(np.floor(centre - reach).astype(int), 0)
    high = np.minimum(np.ceil(centre + reach).astype(int) + 1, scan.shape[1::-1])
    coded = scan[low[1] : high[1], low[0] : high[0]]
    light = _LINEAR[coded]
    x = np.arange(low[0], high[0]) - centre[0]
    y = np.arange(low[1], high[1])[:, None] - centre[1]
    inverse = np.linalg.inv(np.stack([across, down], axis=1))
    u, v = inverse[0, 0] * x + inverse[0, 1] * y, inverse[1, 0] * x + inverse[1, 1] * y
    weight = np.where((np.abs(u) < 1) & (np.abs(v) < 1), (1 + np.cos(np.pi * u)) * (1 + np.cos(np.pi * v)), 0.0)
    weight = weight.astype(np.float32)
    part = (np.clip((u + 1) * PARTS / 2, 0, PARTS - 1).astype(int) * PARTS) + np.clip(
        (v + 1) * PARTS / 2, 0, PARTS - 1
    ).astype(int)
    total = np.bincount(part.ravel(), weight.ravel(), PARTS**2)
    sums = np.stack([np.bincount(part.ravel(), (weight * light[..., c]).ravel(), PARTS**2) for c in range(3)], axis=1)
    mean = sums.sum(axis=0) / total.sum()
    means = sums / np.maximum(total, 1e-9)[:, None]
    share = total / total.sum()
    variance = (share[:, None] * (means - mean) ** 2).sum(axis=0)
    ends = ((coded <= LOW_END) | (coded >= HIGH_END)).any(axis=2)
    return PatchLight(mean, np.sqrt(variance / PARTS**2), float((weight * ends).sum() / total.sum()))


def _centres(sheet: SheetLayout) -> FloatArray:
    return np.array([[patch.x + patch.width / 2, patch.y + patch.height / 2] for patch in sheet.patches])


def _lamp(
    scan: Picture, sheet: SheetLayout, placed: FoundSheet, rgb: FloatArray
) -> tuple[Callable[[FloatArray], FloatArray], float]:
    """How bright the lamp is at places of the sheet, 1 in the mean of its patches, from bare paper; how uneven it is.

    A surface of the second degree in the logarithm of light: a lamp's falloff and a lid's shade are smooth.
    """
    papers = [at for at, patch in enumerate(sheet.patches) if patch.tint.is_paper]
    centres = _centres(sheet)
    spots = sheet.paper_spots()
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * PAPER_RADIUS
    quads = placed.to_scan((spots[:, None] + square).reshape(-1, 2)).reshape(-1, 4, 2)
    height, width = scan.shape[:2]
    inside = ((quads > 0) & (quads < [width, height])).all(axis=(1, 2))
    rim = np.array([patch_light(scan, quad, 1.0).rgb for quad in quads[inside]]).reshape(-1, 3)
    places = np.concatenate([centres[papers], spots[inside]])
    light = np.log(np.maximum(np.concatenate([rgb[papers], rim]).mean(axis=1), 1e-3))
    terms, weight = _quadratic(places, sheet), np.ones(len(places))
    for _ in range(4):  # writing, a finger or a label on a spot counts less and less
        solved = np.linalg.lstsq(terms * weight[:, None], light * weight, rcond=None)[0]
        rest = np.abs(light - terms @ solved)
        weight = 1.0 / np.maximum(1.0, rest / (1.5 * max(float(np.median(rest)), 0.002)))
    low, high = np.percentile(light, [15, 95])  # a patch that should be bare and is not makes no shadow
    even = float(np.exp(max(np.ptp(terms @ solved), high - low)))
    if even > SHADE:
        raise ChartRefused(
            ChartFault.SHADOW,
            f"The paper is {even:.1f} times as bright in one place of the sheet as in another: part of it lies in "
            "shadow or glare. Scan it flat with the lid closed, or in even light.",
        )
    mean = float((_quadratic(centres, sheet) @ solved).mean())
    return lambda where: np.exp(_quadratic(where, sheet) @ solved - mean), even


def _quadratic(places: FloatArray, sheet: SheetLayout) -> FloatArray:
    x, y = 2 * places[:, 0] / sheet.width - 1, 2 * places[:, 1] / sheet.height - 1
    return np.stack([np.ones_like(x), x, y, x * y, x * x, y * y], axis=1)
