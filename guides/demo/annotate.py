"""Where the codes go: a clean spot inside every painted area, the code in the colourist's hand on it or beside it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from guides.demo.dyes import Floats, Hand
from guides.demo.lettering import text_width, write
from guides.demo.panels import AreaKey, PaintedArea
from guides.demo.pens import Sheet

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
    last = np.flatnonzero(np.append(numbers[1:] != numbers[:-1], True)) if len(numbers) else []
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


class Annotator:
    """Writes codes into pencil layers without writing over faces, balloons or each other."""

    def __init__(self, ink: npt.NDArray[np.uint8], page: Floats, hand: Hand, rng: np.random.Generator) -> None:
        height, width = ink.shape
        self.dark: npt.NDArray[np.uint8] = np.zeros(ink.shape, np.uint8)
        self.white: npt.NDArray[np.uint8] = np.zeros(ink.shape, np.uint8)
        self._hand, self._rng = hand, rng
        self._line = cv2.integral((ink > 60).astype(np.uint8))
        tone = cv2.resize(page.mean(axis=2), (width // 4, height // 4), interpolation=cv2.INTER_AREA)
        self._tone = cv2.integral(tone, sdepth=cv2.CV_64F)
        self._taken: list[tuple[float, float, float, float]] = []
        self._width, self._height = width, height

    def reserve(self, x: float, y: float, w: float, h: float) -> None:
        """Keep a box free of writing."""
        self._taken.append((x, y, x + w, y + h))

    def _cost(self, x: float, y: float, w: float, h: float) -> tuple[float, float]:
        """How busy a box is (lines, writing, middling tone) and its mean tone 0-1."""
        if x < 12 or y < 12 or x + w > self._width - 12 or y + h > self._height - 12:
            return 1e6, 1.0
        x0, y0, x1, y1 = int(x), int(y), int(x + w), int(y + h)
        area = max((x1 - x0) * (y1 - y0), 1)
        lines = (self._line[y1, x1] - self._line[y0, x1] - self._line[y1, x0] + self._line[y0, x0]) / area
        u0, v0, u1, v1 = x0 // 4, y0 // 4, max(x1 // 4, x0 // 4 + 1), max(y1 // 4, y0 // 4 + 1)
        total = self._tone[v1, u1] - self._tone[v0, u1] - self._tone[v1, u0] + self._tone[v0, u0]
        tone = float(total / ((u1 - u0) * (v1 - v0)))
        overlap = sum(max(0.0, min(x + w, b[2]) - max(x, b[0])) * max(0.0, min(y + h, b[3]) - max(y, b[1])) for b in self._taken) / area
        middling = max(0.0, 0.16 - abs(tone - 0.45))
        return float(lines * 5.0 + overlap * 14.0 + middling * 5.0), tone

    def place(self, spot: Spot, text: str) -> None:
        """Write a code for a spot: on the area when it is roomy, else beside it with a leader."""
        size = float(self._rng.uniform(18.5, 22.5))
        w, h = text_width(text, size), size
        gap = 9.0
        best: tuple[float, float, float, float] | None = None
        options = [(spot.x - w / 2, spot.y + gap), (spot.x - w / 2, spot.y - gap - h), (spot.x + gap, spot.y - h / 2), (spot.x - gap - w, spot.y - h / 2)]
        for x, y in options:
            roomy = 0.0 if np.hypot(w * 0.5, h) < spot.clear else 0.35
            cost, tone = self._cost(x - 3, y - 3, w + 6, h + 6)
            if best is None or cost + roomy < best[0]:
                best = (cost + roomy, x, y, tone)
        on_area = best is not None and best[0] < 0.5
        if not on_area:
            for radius in (38.0, 56.0, 78.0, 104.0, 136.0):
                for angle in np.linspace(0, 2 * np.pi, 14, endpoint=False) + self._rng.uniform(0, 0.4):
                    cx, cy = spot.x + (radius + w * 0.4) * np.cos(angle), spot.y + radius * np.sin(angle)
                    cost, tone = self._cost(cx - w / 2 - 3, cy - h / 2 - 3, w + 6, h + 6)
                    cost += radius / 420 + 0.3
                    if best is None or cost < best[0]:
                        best = (cost, cx - w / 2, cy - h / 2, tone)
        assert best is not None
        _, x, y, tone = best
        layer = self.dark if tone > 0.42 else self.white
        write(layer, text, x, y, size, self._rng, width=2 if layer is self.dark else 3, wobble=0.04, slant=self._hand.slant)
        self.reserve(x - 5, y - 5, w + 10, h + 10)
        self.reserve(spot.x - 9, spot.y - 9, 18, 18)
        ex, ey = float(np.clip(spot.x, x - 3, x + w + 3)), float(np.clip(spot.y, y - 3, y + h + 3))
        if np.hypot(ex - spot.x, ey - spot.y) > 24:
            self._leader(layer, ex, ey, spot)

    def _leader(self, layer: npt.NDArray[np.uint8], ex: float, ey: float, spot: Spot) -> None:
        run = np.array([spot.x - ex, spot.y - ey])
        length = float(np.hypot(*run))
        run /= length
        side = np.array([-run[1], run[0]])
        end = np.array([spot.x, spot.y]) - run * 5
        start = np.array([ex, ey]) + run * 2
        bow = side * length * float(self._rng.uniform(-0.12, 0.12))
        t = np.linspace(0, 1, 12)[:, None]
        path = start * (1 - t) ** 2 + 2 * ((start + end) / 2 + bow) * t * (1 - t) + end * t**2
        barb = [end - run * 9 + side * 4, end, end - run * 9 - side * 4]
        for line in (path, np.array(barb)):
            cv2.polylines(layer, [np.round(line * 16).astype(np.int32)], False, 225, 1 if layer is self.dark else 2, lineType=cv2.LINE_AA, shift=4)

    def note(self, text: str, x: float, y: float, size: float) -> None:
        """A note in the margin."""
        write(self.dark, text, x, y, size, self._rng, width=2, wobble=0.045, slant=self._hand.slant)
        self.reserve(x, y, text_width(text, size), size)


def pencil_borders(boxes: list[tuple[int, int, int, int]], shape: tuple[int, int], rng: np.random.Generator) -> npt.NDArray[np.uint8]:
    """Pencilled panel borders that run past their corners, as a coverage layer."""
    sheet = Sheet(shape[1], shape[0])
    for x, y, w, h in boxes:
        over = rng.uniform(8, 26, 8)
        for k, (a, b) in enumerate((((x - over[0], y), (x + w + over[1], y)), ((x - over[2], y + h), (x + w + over[3], y + h)),
                                    ((x, y - over[4]), (x, y + h + over[5])), ((x + w, y - over[6]), (x + w, y + h + over[7])))):  # fmt: skip
            drift = rng.normal(0, 1.2, 2) + (k - 1.5)
            sheet.stroke(np.array([(a[0] + drift[0], a[1] + drift[1]), (b[0] + drift[0], b[1] + drift[1])]), 1.0, taper=(0.7, 0.7))
    return sheet.ink // 3
