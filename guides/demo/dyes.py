"""The painted look: dyes on board, far richer than ink on newsprint, laid by a hand that is never quite even.

Dyes are modelled as optical density per channel. They do not add up: a second dye over a first takes less
(the board is already wet and full), red over yellow turns warmer than the sum, and three together go muddy.
This is our own model of paint; it knows nothing of presses.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from bible.colour.tints import Tint, as_array

Floats = npt.NDArray[np.float32]

PAPER_RGB = (0.968, 0.952, 0.905)
INK_RGB = (0.085, 0.08, 0.09)

DYES = np.array(
    [[1.42, 0.40, 0.06], [0.11, 1.30, 0.62], [0.012, 0.13, 1.75]]
)
"""Density per channel (red, green, blue) of the blue, the red and the yellow bottle at full strength."""

STRENGTHS = {0: 0.0, 25: 0.24, 50: 0.52, 100: 1.0}
"""How strong a hand mixes each step of the chart: by eye, so not in proportion to the screen."""

TEXTURE = (2048, 1536)
DIRECTIONS = 4


@dataclass(frozen=True, slots=True)
class Hand:
    """How one colourist paints: warmth and strength of the dyes, evenness and brush."""

    warmth: float = 0.0
    strength: float = 1.0
    blue_bottle: float = 1.0
    red_bottle: float = 1.0
    yellow_bottle: float = 1.0
    streaks: float = 0.10
    pooling: float = 0.16
    bleed: float = 1.6
    pencil: str = "graphite"
    slant: float = 8.0


def dye_density(tints: list[Tint], hand: Hand) -> Floats:
    """Density per channel of each tint as this hand paints it, shape (n, 3)."""
    percent = as_array(tints)[:, :3]
    steps = np.array(sorted(STRENGTHS))
    mixed = np.interp(percent, steps, [STRENGTHS[s] for s in sorted(STRENGTHS)])
    mixed = mixed * hand.strength * np.array([hand.blue_bottle, hand.red_bottle, hand.yellow_bottle])
    crowded = mixed / (1.0 + 0.16 * np.maximum(mixed.sum(axis=1, keepdims=True) - mixed, 0.0))
    density = crowded @ DYES
    warm = crowded[:, 1] * crowded[:, 2]
    muddy = crowded.min(axis=1)
    density += warm[:, None] * np.array([-0.05, 0.06, 0.1]) + muddy[:, None] * np.array([0.14, 0.06, -0.12])
    density = density + hand.warmth * density.mean(axis=1, keepdims=True) * np.array([-0.06, 0.0, 0.08])
    return (1.9 * (1.0 - np.exp(-density / 1.9))).astype(np.float32)


def dye_rgb(tint: Tint, hand: Hand) -> npt.NDArray[np.float64]:
    """The flat paint of a tint, sRGB 0-1: what a swatch dab shows."""
    return np.asarray(np.array(PAPER_RGB) * 10.0 ** -dye_density([tint], hand)[0], dtype=np.float64)


@lru_cache(maxsize=1)
def textures() -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Mottle, brush streaks (one a direction), paper grain and two fields of displacement, about 0 and ±1."""
    rng = np.random.default_rng(20)
    height, width = TEXTURE

    def octaves(cells: tuple[int, ...], decay: float = 0.6) -> Floats:
        total = np.zeros(TEXTURE, np.float32)
        for k, size in enumerate(cells):
            coarse = rng.standard_normal((height // size + 3, width // size + 3)).astype(np.float32)
            total += cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC) * decay**k
        return np.asarray(total / total.std(), dtype=np.float32)

    mottle = octaves((220, 96, 40, 16))
    grain = rng.standard_normal(TEXTURE).astype(np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), 0.9)
    grain = grain / grain.std()
    streaks = np.empty((DIRECTIONS, height, width), np.float32)
    drift = octaves((160, 60)) * 9
    yy, xx = np.mgrid[0:height, 0:width].astype(np.float32)
    for k, angle in enumerate((12.0, 62.0, 104.0, 152.0)):
        across = xx * np.sin(np.radians(angle)) - yy * np.cos(np.radians(angle)) + drift
        profile = rng.standard_normal(4096).astype(np.float32)
        broad = cv2.GaussianBlur(np.sign(rng.standard_normal(4096 // 17 + 1)).repeat(17)[None, :4096].astype(np.float32), (0, 0), 1.6)[0]
        profile = cv2.GaussianBlur(profile[None], (0, 0), 2.2)[0] * 2.0 + broad
        index = np.clip(across + 2048, 0, 4094)
        low = index.astype(np.int32)
        part = index - low
        streaks[k] = profile[low] * (1 - part) + profile[low + 1] * part
    streaks /= streaks.std()
    return mottle, streaks, np.asarray(grain, dtype=np.float32), octaves((26, 9)), octaves((26, 9))


def _window(field: Floats, rng: np.random.Generator, height: int, width: int) -> Floats:
    y, x = int(rng.integers(0, TEXTURE[0] - height + 1)), int(rng.integers(0, TEXTURE[1] - width + 1))
    view = field[..., y : y + height, x : x + width]
    return view if rng.random() < 0.5 else view[..., ::-1]


def paint(
    areas: npt.NDArray[np.uint16], tints: list[Tint], hand: Hand, rng: np.random.Generator
) -> Floats:
    """Paint a page of numbered areas; ``tints[n]`` is the tint of area n (area 0 stays bare).

    Answers sRGB 0-1 on paper, shape (h, w, 3), without the line art.
    """
    height, width = areas.shape
    mottle, streaks, grain, shift_x, shift_y = textures()
    yy, xx = np.mgrid[0:height, 0:width].astype(np.float32)
    loose = cv2.remap(
        areas,
        xx + _window(shift_x, rng, height, width) * hand.bleed,
        yy + _window(shift_y, rng, height, width) * hand.bleed,
        cv2.INTER_NEAREST,
        borderMode=cv2.BORDER_REPLICATE,
    )
    edge = np.ones(areas.shape, np.uint8)
    edge[1:, :] &= loose[1:, :] == loose[:-1, :]
    edge[:, 1:] &= loose[:, 1:] == loose[:, :-1]
    depth = cv2.distanceTransform(edge, cv2.DIST_L2, 3)
    grained = _window(grain, rng, height, width)
    flow = _window(mottle, rng, height, width)
    tone = 1.0 + 0.085 * flow + 0.05 * grained
    tone += hand.pooling * (0.7 + 0.5 * flow) * np.exp(-(((depth - 2.5) / 3.2) ** 2))
    tone -= 0.28 * np.exp(-((depth / 1.2) ** 2)) * (grained > -0.2)
    angle = rng.integers(0, DIRECTIONS, len(tints))
    lean = rng.normal(1.0, 0.035, len(tints)).astype(np.float32)
    strokes = _window(streaks, rng, height, width)
    wash = np.zeros(areas.shape, np.float32)
    direction = angle.astype(np.uint8)[loose]
    for k in range(DIRECTIONS):
        np.copyto(wash, strokes[k], where=direction == k)
    tone += hand.streaks * wash
    dry = (flow + 0.9 * wash + 0.8 * grained) < -3.3  # a brush running dry leaves the board showing
    tone[dry] *= 0.55
    tone = np.clip(tone, 0.1, 1.7) * lean[loose]
    density = dye_density(tints, hand)
    density[0] = 0.0
    spread = cv2.blur(density[loose] * tone[..., None], (3, 3))
    board = np.array(PAPER_RGB, np.float32) * (1.0 + 0.012 * grained + 0.006 * flow)[..., None]
    return np.asarray(board * np.exp(spread * np.float32(-np.log(10.0))), dtype=np.float32)


def overlay(
    page: Floats, ink: npt.NDArray[np.uint8], pencils: list[tuple[npt.NDArray[np.uint8], tuple[float, float, float]]],
    rng: np.random.Generator,
) -> npt.NDArray[np.uint8]:  # fmt: skip
    """Lay line art and pencil over the paint and answer 8-bit sRGB, shape (h, w, 3)."""
    height, width = ink.shape
    _, _, grain, _, _ = textures()
    grained = _window(grain, rng, height, width)
    cover = (ink.astype(np.float32) / 255.0 * (0.965 + 0.03 * np.clip(grained, -2, 1)))[..., None]
    out = page * (1.0 - cover) + np.array(INK_RGB, np.float32) * cover
    for layer, colour in pencils:
        ys, xs = np.nonzero(layer.max(axis=1))[0], np.nonzero(layer.max(axis=0))[0]
        if not len(ys):
            continue
        box = (slice(int(ys[0]), int(ys[-1]) + 1), slice(int(xs[0]), int(xs[-1]) + 1))
        share = (layer[box].astype(np.float32) / 255.0 * np.clip(0.86 + 0.16 * grained[box], 0.3, 1.0))[..., None]
        out[box] = out[box] * (1.0 - share) + np.array(colour, np.float32) * share
    x = np.linspace(-1, 1, width, dtype=np.float32)
    y = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
    light = 1.0 - 0.012 * (x * rng.uniform(-1, 1) + y * rng.uniform(-1, 1)) - 0.014 * (x**2 + y**2)
    return np.asarray(np.clip(out * light[..., None] * 255.0 + 0.5, 0, 255), dtype=np.uint8)
