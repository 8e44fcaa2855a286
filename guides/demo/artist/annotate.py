"""Where the codes go: a clean spot inside every painted area, the code in the colourist's hand on it or beside it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from guides.demo.artist.dyes import Floats
from guides.demo.artist.lettering import text_width, write
from guides.demo.artist.panels import AreaKey, PaintedArea
from guides.demo.artist.pens import Sheet
from guides.demo.story.story import Hand

Indices = npt.NDArray[np.int64]

PENCILS = {"graphite": (0.16, 0.16, 0.2), "blue": (0.12, 0.17, 0.5), "red": (0.68, 0.1, 0.12)}
WHITE_PENCIL = (0.985, 0.98, 0.95)

CLEAR_PART = 6.0
"""Pixels of clear paint a mark of a part needs all round: a scan's worth of sampling, no line in it."""
CLEAR_WASH = 15.0


@dataclass(frozen=True, slots=True)
class Spot:
    """A place to mark: area number, pixel, and how far the nearest line or edge is."""

    number: int
    x: int
    y: int
    clear: float


def find_spots(areas: npt.NDArray[np.uint16], ink: npt.NDArray[np.uint8], painted: list[PaintedArea]) -> list[Spot]:
    """The clearest spot of every part and piece of background, one a key, best panel first."""
    free = (ink < 40).astype(np.uint8)
    same_row = areas[1:, :] == areas[:-1, :]
    same_col = areas[:, 1:] == areas[:, :-1]
    free[1:, :] &= same_row
    free[:-1, :] &= same_row
    free[:, 1:] &= same_col
    free[:, :-1] &= same_col
    clear = cv2.distanceTransform(free, cv2.DIST_L2, 5)
    flat, depth = areas.ravel(), clear.ravel()
    deep = np.flatnonzero(depth >= CLEAR_PART)
    order = deep[np.lexsort((depth[deep], flat[deep]))]
    numbers = flat[order]
    last = np.flatnonzero(np.append(numbers[1:] != numbers[:-1], True))[: len(numbers)]
    best: dict[AreaKey, Spot] = {}
    for index in order[last]:
        number = int(flat[index])
        key = painted[number].key
        if key is None:
            continue
        spot = Spot(number, int(index % areas.shape[1]), int(index // areas.shape[1]), float(depth[index]))
        if spot.clear < (CLEAR_WASH if key.subject is None else CLEAR_PART):
            continue
        if key not in best or best[key].clear < spot.clear:
            best[key] = spot
    return list(best.values())


def _mean(
    table: npt.NDArray[np.float64], x0: Indices, y0: Indices, x1: Indices, y1: Indices
) -> npt.NDArray[np.float64]:
    """Means over boxes from an integral image."""
    total = table[y1, x1] - table[y0, x1] - table[y1, x0] + table[y0, x0]
    return np.asarray(total / np.maximum((x1 - x0) * (y1 - y0), 1), dtype=np.float64)


class Annotator:
    """Writes codes into pencil layers without writing over faces, balloons or each other."""

    def __init__(self, ink: npt.NDArray[np.uint8], page: Floats, hand: Hand, rng: np.random.Generator) -> None:
        height, width = ink.shape
        self.dark: npt.NDArray[np.uint8] = np.zeros(ink.shape, np.uint8)
        self.white: npt.NDArray[np.uint8] = np.zeros(ink.shape, np.uint8)
        self._hand, self._rng = hand, rng
        self._line = np.asarray(cv2.integral((ink > 60).astype(np.uint8), sdepth=cv2.CV_64F), dtype=np.float64)
        tone = cv2.resize(page.mean(axis=0), (width // 4, height // 4), interpolation=cv2.INTER_AREA)
        self._tone = np.asarray(cv2.integral(tone, sdepth=cv2.CV_64F), dtype=np.float64)
        self._taken: list[tuple[float, float, float, float]] = []
        self._width, self._height = width, height

    def reserve(self, x: float, y: float, w: float, h: float) -> None:
        """Keep a box free of writing."""
        self._taken.append((x, y, x + w, y + h))

    def _costs(self, corners: Floats, w: float, h: float) -> tuple[Floats, Floats]:
        """How busy boxes are (lines, writing, middling tone) and their mean tone 0-1; corners of shape (n, 2)."""
        x, y = corners[:, 0], corners[:, 1]
        outside = (x < 10) | (y < 10) | (x + w > self._width - 10) | (y + h > self._height - 10)
        x0, x1 = np.clip(x, 0, self._width - w - 1).astype(int), np.clip(x + w, w, self._width - 1).astype(int)
        y0, y1 = np.clip(y, 0, self._height - h - 1).astype(int), np.clip(y + h, h, self._height - 1).astype(int)
        lines = _mean(self._line, x0, y0, x1, y1)
        tone = _mean(self._tone, x0 // 4, y0 // 4, np.maximum(x1 // 4, x0 // 4 + 1), np.maximum(y1 // 4, y0 // 4 + 1))
        taken = np.array(self._taken, dtype=np.float64).reshape(-1, 4)
        wide = np.minimum(x[:, None] + w, taken[:, 2]) - np.maximum(x[:, None], taken[:, 0])
        high = np.minimum(y[:, None] + h, taken[:, 3]) - np.maximum(y[:, None], taken[:, 1])
        overlap = (np.maximum(wide, 0) * np.maximum(high, 0)).sum(axis=1) / (w * h)
        middling = np.maximum(0.0, 0.16 - np.abs(tone - 0.45))
        cost = lines * 5.0 + overlap * 14.0 + middling * 5.0 + outside * 1e6
        return cost.astype(np.float32), tone.astype(np.float32)

    def _crossings(self, middles: Floats, spot: Spot) -> Floats:
        """What it costs leaders from some middles to run over writing or over other marks' clear paint."""
        t = np.linspace(0.0, 0.92, 12)[:, None]
        path = middles[:, None, :] * (1 - t) + np.array((spot.x, spot.y)) * t
        taken = np.array([b for b in self._taken if not (b[0] < spot.x < b[2] and b[1] < spot.y < b[3])])
        x, y = path[..., 0, None], path[..., 1, None]
        struck = (x > taken[:, 0]) & (x < taken[:, 2]) & (y > taken[:, 1]) & (y < taken[:, 3])
        return np.asarray(struck.any(axis=1).sum(axis=1) * 0.7, dtype=np.float32)

    def place(self, spot: Spot, text: str) -> None:
        """Write a code for a spot: on the area when it is roomy, else beside it with a leader."""
        size = float(self._rng.uniform(18.5, 22.5))
        w, h = text_width(text, size), size
        gap = 9.0
        near = [(-w / 2, gap), (-w / 2, -gap - h), (gap, -h / 2), (-gap - w, -h / 2)]
        angles = np.linspace(0, 2 * np.pi, 14, endpoint=False) + self._rng.uniform(0, 0.4)
        radii = np.array((38.0, 56.0, 78.0, 104.0, 136.0))[:, None]
        ring = np.stack(
            [(radii + w * 0.4) * np.cos(angles) - w / 2, radii * np.sin(angles) - h / 2], axis=-1
        ).reshape(-1, 2)
        corners = np.vstack([near, ring]).astype(np.float32) + np.array((spot.x, spot.y), np.float32)
        cost, tone = self._costs(corners - 3, w + 6, h + 6)
        cost[:4] += 0.0 if np.hypot(w * 0.5, h) < spot.clear else 0.35
        cost[4:] += 0.3 + np.repeat(radii[:, 0], len(angles)).astype(np.float32) / 420
        cost += self._crossings(corners + np.array((w / 2, h / 2), np.float32), spot)
        pick = int(np.argmin(cost))
        x, y = (float(v) for v in corners[pick])
        layer = self.dark if tone[pick] > 0.42 else self.white
        write(
            layer,
            text,
            x,
            y,
            size,
            self._rng,
            width=2 if layer is self.dark else 3,
            wobble=0.04,
            slant=self._hand.slant,
        )
        self.reserve(x - 5, y - 5, w + 10, h + 10)
        ex, ey = float(np.clip(spot.x, x - 3, x + w + 3)), float(np.clip(spot.y, y - 3, y + h + 3))
        if np.hypot(ex - spot.x, ey - spot.y) > 24:
            self._leader(layer, ex, ey, spot)

    def _leader(self, layer: npt.NDArray[np.uint8], ex: float, ey: float, spot: Spot) -> None:
        run = np.array([spot.x - ex, spot.y - ey])
        length = float(np.hypot(*run))
        run /= length
        side = np.array([-run[1], run[0]])
        end = np.array([spot.x, spot.y]) - run * 7
        start = np.array([ex, ey]) + run * 2
        bow = side * length * float(self._rng.uniform(-0.12, 0.12))
        t = np.linspace(0, 1, 12)[:, None]
        path = start * (1 - t) ** 2 + 2 * ((start + end) / 2 + bow) * t * (1 - t) + end * t**2
        barb = [end - run * 9 + side * 4, end, end - run * 9 - side * 4]
        for line in (path, np.array(barb)):
            cv2.polylines(
                layer,
                [np.round(line * 16).astype(np.int32)],
                False,
                225,
                1 if layer is self.dark else 2,
                lineType=cv2.LINE_AA,
                shift=4,
            )

    def note(self, text: str, x: float, y: float, size: float) -> None:
        """A note in the margin."""
        write(self.dark, text, x, y, size, self._rng, width=2, wobble=0.045, slant=self._hand.slant)
        self.reserve(x, y, text_width(text, size), size)


def pencil_borders(
    boxes: list[tuple[int, int, int, int]], shape: tuple[int, int], rng: np.random.Generator
) -> npt.NDArray[np.uint8]:
    """Pencilled panel borders that run past their corners, as a coverage layer."""
    sheet = Sheet(shape[1], shape[0])
    for x, y, w, h in boxes:
        over = rng.uniform(8, 26, 8)
        for k, (a, b) in enumerate((((x - over[0], y), (x + w + over[1], y)), ((x - over[2], y + h),
            (x + w + over[3], y + h)),
                                    ((x, y - over[4]), (x, y + h + over[5])), ((x + w, y - over[6]), (x + w,
                                    y + h + over[7])))):  # fmt: skip
            drift = rng.normal(0, 1.2, 2) + (k - 1.5)
            sheet.stroke(
                np.array([(a[0] + drift[0], a[1] + drift[1]), (b[0] + drift[0], b[1] + drift[1])]),
                1.0,
                taper=(0.7, 0.7),
            )
    return sheet.ink // 3
