"""Curves, brush lines and the sheet they are drawn on: line art as coverage, painted areas as numbers.

Coordinates are pixels, x to the right and y down. Points are float arrays of shape (n, 2).
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

Points = npt.NDArray[np.float64]
PointsLike = Sequence[Sequence[float]] | Points

SHIFT = 4
"""Fractional bits that OpenCV's drawing functions take: a sixteenth of a pixel."""


def _fixed(points: Points) -> npt.NDArray[np.int32]:
    return np.round(points * (1 << SHIFT)).astype(np.int32)


def curve(points: PointsLike, *, closed: bool = False, steps: int = 8) -> Points:
    """A Catmull-Rom curve through the points; a point given twice makes a corner."""
    p = np.asarray(points, dtype=np.float64)
    if len(p) < 3 and not closed:
        t = np.linspace(0.0, 1.0, steps + 1)[:, None]
        return p[0] * (1 - t) + p[-1] * t
    if closed:
        padded = np.concatenate([p[-1:], p, p[:2]])
    else:
        padded = np.concatenate([2 * p[:1] - p[1:2], p, 2 * p[-1:] - p[-2:-1]])
    a, b, c, d = padded[:-3], padded[1:-2], padded[2:-1], padded[3:]
    t = np.arange(steps)[:, None, None] / steps
    out = 0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3)
    long = np.hypot(*(c - b).T) > 1e-9  # a doubled point is a corner, not a segment
    flat = out[:, long].transpose(1, 0, 2).reshape(-1, 2)
    return flat if closed else np.vstack([flat, p[-1]])


def normals(line: Points, *, closed: bool = False) -> Points:
    """Unit normals along a line, shape (n, 2)."""
    tangent = np.empty_like(line)
    tangent[1:-1] = line[2:] - line[:-2]
    if closed:
        tangent[0], tangent[-1] = line[1] - line[-1], line[0] - line[-2]
    else:
        tangent[0], tangent[-1] = line[1] - line[0], line[-1] - line[-2]
    length = np.hypot(tangent[:, 0], tangent[:, 1])
    tangent = tangent / np.maximum(length, 1e-6)[:, None]
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])


def tube(joints: PointsLike, half_widths: Sequence[float], *, steps: int = 8) -> tuple[Points, Points]:
    """The two sides of a limb along its joints, half as wide as told at each joint."""
    p = np.asarray(joints, dtype=np.float64)
    spine = curve(p, steps=steps)
    widths = np.interp(np.linspace(0, len(p) - 1, len(spine)), np.arange(len(p)), half_widths)
    offset = normals(spine) * widths[:, None]
    return spine + offset, spine - offset


class Sheet:
    """One panel (or page) in the making.

    ``ink`` is uint8 coverage of black line (h, w), ``areas`` uint16 numbers of painted areas (h, w),
    0 where nothing is painted.
    """

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self.ink: npt.NDArray[np.uint8] = np.zeros((height, width), np.uint8)
        self.areas: npt.NDArray[np.uint16] = np.zeros((height, width), np.uint16)

    def fill(self, outline: Points, area: int | None) -> None:
        """Lay an area over what is there, wiping the lines beneath. ``None`` only wipes to bare paper."""
        fixed = _fixed(outline)
        cv2.fillPoly(self.areas, [fixed], area or 0, lineType=cv2.LINE_8, shift=SHIFT)
        cv2.fillPoly(self.ink, [fixed], 0, lineType=cv2.LINE_AA, shift=SHIFT)

    def tuck(self, outline: Points, area: int, *, inside: Sequence[int]) -> None:
        """Lay an area only where one of the areas ``inside`` is (shade on a coat), leaving lines alone."""
        low = np.floor(outline.min(axis=0)).astype(int) - 1
        high = np.ceil(outline.max(axis=0)).astype(int) + 2
        x0, y0 = max(int(low[0]), 0), max(int(low[1]), 0)
        x1, y1 = min(int(high[0]), self.width), min(int(high[1]), self.height)
        if x0 >= x1 or y0 >= y1:
            return
        mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
        cv2.fillPoly(mask, [_fixed(outline - (x0, y0))], 255, shift=SHIFT)
        window = self.areas[y0:y1, x0:x1]
        window[(mask > 0) & np.isin(window, list(inside))] = area

    def black(self, outline: Points) -> None:
        """A solid spot of black."""
        cv2.fillPoly(self.ink, [_fixed(outline)], 255, lineType=cv2.LINE_AA, shift=SHIFT)

    def crease(
        self,
        line: PointsLike,
        width: float,
        *,
        inside: Sequence[int | None],
        taper: tuple[float, float] = (0.7, 0.05),
    ) -> None:
        """A brush line that stops where the areas ``inside`` stop: folds and feathering never leave the cloth."""
        p = np.asarray(line, dtype=np.float64)
        low, high = np.floor(p.min(axis=0) - width - 2).astype(int), np.ceil(p.max(axis=0) + width + 3).astype(int)
        x0, y0 = max(int(low[0]), 0), max(int(low[1]), 0)
        x1, y1 = min(int(high[0]), self.width), min(int(high[1]), self.height)
        if x0 >= x1 or y0 >= y1:
            return
        patch = Sheet(x1 - x0, y1 - y0)
        patch.stroke(p - (x0, y0), width, taper=taper)
        cloth = np.isin(self.areas[y0:y1, x0:x1], [number for number in inside if number is not None])
        window = self.ink[y0:y1, x0:x1]
        np.maximum(window, patch.ink, out=window, where=cloth)

    def stroke(self, line: PointsLike, width: float, *, taper: tuple[float, float] = (0.25, 0.25)) -> None:
        """A brush line, thin at its ends: ``taper`` is the share of the width left there."""
        p = np.asarray(line, dtype=np.float64)
        if len(p) < 2:
            return
        t = np.linspace(0.0, 1.0, len(p))
        swell = np.minimum(np.minimum(taper[0] + t * 4, taper[1] + (1 - t) * 4), 1.0)
        half = 0.5 * max(width, 0.9) * swell
        offset = normals(p) * half[:, None]
        self.black(np.vstack([p + offset, (p - offset)[::-1]]))

    def contour(self, outline: Points, width: float, *, light: tuple[float, float] = (-0.6, -0.8)) -> None:
        """A closed brush line, heavier on the side turned from the light."""
        n = normals(outline, closed=True)
        x, y = outline[:, 0], outline[:, 1]
        if x @ np.append(y[1:], y[0]) - np.append(x[1:], x[0]) @ y > 0:
            n = -n
        away = np.clip(-(n @ np.array(light)), 0.0, 1.0)
        half = 0.5 * max(width, 0.9) * (0.72 + 0.75 * away)
        outer, inner = outline + n * (half * 0.6)[:, None], outline - n * (half * 1.4)[:, None]
        cv2.fillPoly(self.ink, [_fixed(outer), _fixed(inner)], 255, lineType=cv2.LINE_AA, shift=SHIFT)

    def shape(self, outline: Points, area: int | None, width: float) -> None:
        """An area with its contour."""
        self.fill(outline, area)
        self.contour(outline, width)


class Frame:
    """A local frame: where its origin lies, how large a unit is, turned by how much, mirrored or not."""

    def __init__(self, x: float, y: float, unit: float, *, turn: float = 0.0, flip: bool = False) -> None:
        self.x, self.y, self.unit, self.turn, self.flip = x, y, unit, turn, flip
        cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        mirror = -1.0 if flip else 1.0
        self._matrix = unit * np.array([[cos, sin], [-sin, cos]]) * np.array([mirror, 1.0])
        self._origin = np.array([x, y])

    def __call__(self, points: PointsLike) -> Points:
        """Local points as pixels; positive ``turn`` leans the top towards the side the frame faces."""
        return np.asarray(points, dtype=np.float64) @ self._matrix + self._origin

    def at(self, u: float, v: float) -> tuple[float, float]:
        x, y = self([(u, v)])[0]
        return float(x), float(y)

    def inner(self, u: float, v: float, *, scale: float = 1.0, turn: float = 0.0) -> Frame:
        """A frame at a place of this one, turned further."""
        x, y = self.at(u, v)
        return Frame(x, y, self.unit * scale, turn=self.turn + turn, flip=self.flip)
