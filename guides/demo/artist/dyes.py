"""The painted look: dyes on board, far richer than ink on newsprint, laid by a hand that is never quite even.

Dyes are modelled as optical density per channel. They do not add up: a second dye over a first takes less
(the board is already wet and full), red over yellow turns warmer than the sum, and three together go muddy.
This is our own model of paint; it knows nothing of presses.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from bible.colour.tints import Tint, as_array
from guides.demo.story.story import Hand

Floats = npt.NDArray[np.float32]

PAPER_RGB = (0.968, 0.952, 0.905)
INK_RGB = (0.085, 0.08, 0.09)

DYES = np.array([[1.42, 0.40, 0.06], [0.11, 1.30, 0.62], [0.012, 0.13, 1.75]])
"""Density per channel (red, green, blue) of the blue, the red and the yellow bottle at full strength."""

BLACK_WASH = np.array([0.95, 0.98, 0.93])
"""Density per channel of drawing ink over a whole area; thinned with water it gives the greys of key."""

STRENGTHS = {0: 0.0, 25: 0.125, 50: 0.40, 100: 1.0}
"""How strong a hand mixes each step of the chart: by eye, so not in proportion to the screen."""

TEXTURE = (2048, 1536)
DIRECTIONS = 4
DRY = -4.3
"""Below this the brush has run dry: rare, a few streaks a page."""
BRUSH = 23
"""Width of a brush stroke in pixels."""


def dye_density(tints: list[Tint], hand: Hand) -> Floats:
    """Density per channel of each tint as this hand paints it, shape (n, 3)."""
    percent = as_array(tints)
    steps = np.array(sorted(STRENGTHS))
    strength = np.interp(percent, steps, [STRENGTHS[s] for s in sorted(STRENGTHS)])
    mixed, black = strength[:, :3], strength[:, 3:]
    mixed = mixed * hand.strength * np.array([hand.blue_bottle, hand.red_bottle, hand.yellow_bottle])
    crowded = mixed / (1.0 + 0.16 * np.maximum(mixed.sum(axis=1, keepdims=True) - mixed, 0.0))
    density = crowded @ DYES + black * BLACK_WASH
    warm = crowded[:, 1] * crowded[:, 2]
    muddy = crowded.min(axis=1)
    density += warm[:, None] * np.array([-0.05, 0.06, 0.1]) + muddy[:, None] * np.array([0.14, 0.06, -0.12])
    density = density + hand.warmth * density.mean(axis=1, keepdims=True) * np.array([-0.06, 0.0, 0.08])
    return (1.9 * (1.0 - np.exp(-density / 1.9))).astype(np.float32)


def dye_rgb(tint: Tint, hand: Hand) -> npt.NDArray[np.float64]:
    """The flat paint of a tint, sRGB 0-1: what a swatch dab shows."""
    return np.asarray(np.array(PAPER_RGB) * 10.0 ** -dye_density([tint], hand)[0], dtype=np.float64)


def _floats(array: npt.ArrayLike) -> Floats:
    return np.asarray(array, dtype=np.float32)


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
        return _floats(total / total.std())

    mottle = octaves((220, 96, 40, 16))
    grain = _floats(cv2.GaussianBlur(rng.standard_normal(TEXTURE).astype(np.float32), (0, 0), 0.9))
    grain = grain / grain.std()
    streaks = np.empty((DIRECTIONS, height, width), np.float32)
    drift = octaves((420, 150)) * 5
    yy, xx = np.mgrid[0:height, 0:width].astype(np.float32)
    for k, angle in enumerate((12.0, 62.0, 104.0, 152.0)):
        across = xx * np.sin(np.radians(angle)) - yy * np.cos(np.radians(angle)) + drift
        profile = rng.standard_normal(4096).astype(np.float32)
        broad = np.sign(rng.standard_normal(4096 // BRUSH + 1)).repeat(BRUSH)[None, :4096].astype(np.float32)
        profile = cv2.GaussianBlur(profile[None], (0, 0), 2.6)[0] * 1.2 + cv2.GaussianBlur(broad, (0, 0), 2.4)[0]
        index = np.clip(across + 2048, 0, 4094)
        low = index.astype(np.int32)
        part = index - low
        streaks[k] = profile[low] * (1 - part) + profile[low + 1] * part
    streaks /= streaks.std()
    return mottle, streaks, grain, octaves((26, 9)), octaves((26, 9))


def _window(field: Floats, rng: np.random.Generator, height: int, width: int) -> Floats:
    y, x = int(rng.integers(0, TEXTURE[0] - height + 1)), int(rng.integers(0, TEXTURE[1] - width + 1))
    return np.ascontiguousarray(field[..., y : y + height, x : x + width])


def paint(areas: npt.NDArray[np.uint16], tints: list[Tint], hand: Hand, rng: np.random.Generator) -> Floats:
    """Paint a page of numbered areas; ``tints[n]`` is the tint of area n (area 0 stays bare).

    Answers sRGB 0-1 on paper in planes, shape (3, h, w), without the line art.
    """
    height, width = areas.shape
    mottle, streaks, grain, shift_x, shift_y = textures()
    xx, yy = np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32)[:, None]
    along = cv2.scaleAdd(_window(shift_x, rng, height, width), hand.bleed, np.broadcast_to(xx, areas.shape).copy())
    down = cv2.scaleAdd(_window(shift_y, rng, height, width), hand.bleed, np.broadcast_to(yy, areas.shape).copy())
    bled = cv2.remap(areas, along, down, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
    loose = np.asarray(bled, dtype=np.uint16)
    edge = np.ones(areas.shape, np.uint8)
    edge[1:, :] &= loose[1:, :] == loose[:-1, :]
    edge[:, 1:] &= loose[:, 1:] == loose[:, :-1]
    depth = _floats(cv2.distanceTransform(edge, cv2.DIST_L2, 3))
    grained = _window(grain, rng, height, width)
    flow = _window(mottle, rng, height, width)
    tone = _floats(cv2.addWeighted(flow, 0.085, grained, 0.05, 1.0))
    near = np.flatnonzero(depth < 13.0)  # only a rim has pooled or thinned paint: spare the rest of the page
    rim, rim_flow, rim_grain = depth.ravel()[near], flow.ravel()[near], grained.ravel()[near]
    rim_tone = hand.pooling * (0.7 + 0.5 * rim_flow) * np.exp(-(((rim - 2.5) / 3.2) ** 2))
    rim_tone -= 0.28 * np.exp(-((rim / 1.2) ** 2)) * (rim_grain > -0.2)
    tone.ravel()[near] += rim_tone
    angle = rng.integers(0, DIRECTIONS, len(tints)).astype(np.uint8)
    lean = rng.normal(1.0, 0.035, len(tints)).astype(np.float32)
    wash = np.empty(areas.shape, np.float32)
    direction = angle.take(loose)
    for k in range(DIRECTIONS):
        cv2.copyTo(_window(streaks[k], rng, height, width), (direction == k).view(np.uint8), wash)
    # a brush running dry leaves the board showing
    dry = _floats(cv2.addWeighted(flow, 1.0, wash, 0.9, 0.0)) + 0.8 * grained < DRY
    tone = _floats(cv2.scaleAdd(wash, hand.streaks, tone))
    tone[dry] *= 0.55
    np.clip(tone, 0.1, 1.7, out=tone)
    tone *= lean.take(loose)
    density = dye_density(tints, hand)
    density[0] = 0.0
    board = _floats(cv2.addWeighted(grained, 0.012, flow, 0.006, 1.0))
    page = np.empty((3, *areas.shape), np.float32)
    for channel in range(3):
        layer = cv2.multiply(density[:, channel].take(loose), tone, scale=-float(np.log(10.0)))
        layer = cv2.exp(cv2.blur(layer, (3, 3)))
        page[channel] = cv2.multiply(layer, board, scale=PAPER_RGB[channel])
    return page


def overlay(
    page: Floats, ink: npt.NDArray[np.uint8], pencils: list[tuple[npt.NDArray[np.uint8], tuple[float, float, float]]],
    rng: np.random.Generator,
) -> npt.NDArray[np.uint8]:  # fmt: skip
    """Lay line art and pencil over the planes of paint, which are used up, and answer 8-bit sRGB, shape (h, w, 3)."""
    height, width = ink.shape
    _, _, grain, _, _ = textures()
    grained = _window(grain, rng, height, width)
    cover = np.empty(ink.shape, np.float32)
    np.clip(grained, -2, 1, out=cover)
    cover *= 0.03 / 255.0
    cover += 0.965 / 255.0
    cover *= ink
    shares = [(_box(layer), layer, colour) for layer, colour in pencils if layer.any()]
    x = np.linspace(-1, 1, width, dtype=np.float32)
    y = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
    lean_x, lean_y = rng.uniform(-1, 1), rng.uniform(-1, 1)
    light = _floats(255.0 * (1.0 - 0.012 * (x * lean_x + y * lean_y) - 0.014 * (x**2 + y**2)))
    finished = np.empty((height, width, 3), np.uint8)
    for channel in range(3):
        plane = page[channel]
        plane += (INK_RGB[channel] - plane) * cover
        for box, layer, colour in shares:
            share = layer[box] * (np.clip(0.86 + 0.16 * grained[box], 0.3, 1.0) / 255.0)
            plane[box] += (colour[channel] - plane[box]) * share
        plane *= light
        plane += 0.5
        np.clip(plane, 0.0, 255.0, out=plane)
        finished[..., channel] = plane
    return finished


def _box(layer: npt.NDArray[np.uint8]) -> tuple[slice, slice]:
    """The rectangle that holds everything drawn in a layer that isn't empty."""
    ys, xs = np.flatnonzero(layer.any(axis=1)), np.flatnonzero(layer.any(axis=0))
    return slice(int(ys[0]), int(ys[-1]) + 1), slice(int(xs[0]), int(xs[-1]) + 1)
