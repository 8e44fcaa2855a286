"""Drawn comic pages of our own, painted as guides: the tests' material for the proof desk.

A page is a map of labelled areas and a line-art mask, both at twice the guide's resolution, and per area the
tint it is coded with. ``proof_printer`` prints it. Pages look like comics in what matters for registration and
reading: panels, outlined shapes, hatching, lettering, small and thin areas, fades. Nothing here is a picture
of anything that exists.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt
from scipy.ndimage import find_objects

from bible.colour.tints import Tint

Array = npt.NDArray[np.float32]
Box = tuple[slice, slice]
SCALE = 2
"""Resolution of the label map over the guide's."""

LEVELS = (0, 25, 50, 100)
LEVELS_125 = (0, 25, 50, 75, 100)


@dataclass
class Fade:
    """From ``start`` to ``end`` (guide pixels): ``tint`` of the area becomes ``to``; past the ends it stays."""

    to: Tint
    start: tuple[float, float]
    end: tuple[float, float]


@dataclass
class Area:
    tint: Tint
    fade: Fade | None = None


@dataclass
class Mark:
    id: str
    x: float
    y: float
    label: int


@dataclass
class Page:
    """A drawn page. ``labels`` (2h, 2w) uint16, 0 is bare margin; ``lines`` (2h, 2w) uint8, 255 is line art."""

    width: int
    height: int
    labels: npt.NDArray[np.uint16]
    lines: npt.NDArray[np.uint8]
    areas: list[Area]
    marks: list[Mark] = field(default_factory=list)

    def to_json(self) -> list[dict[str, object]]:
        """The marks as ``check_proof`` takes them."""
        out: list[dict[str, object]] = []
        for mark in self.marks:
            area = self.areas[mark.label]
            gradient = None
            if area.fade:
                gradient = {
                    "to": _code(area.fade.to),
                    "from_xy": list(area.fade.start),
                    "to_xy": list(area.fade.end),
                }
            out.append({"id": mark.id, "x": mark.x, "y": mark.y, "code": _code(area.tint), "gradient": gradient})
        return out


def _code(tint: Tint) -> str:
    return "W" if tint.is_paper else str(tint)


class _Drawer:
    """Draws labelled shapes with outlines; coordinates in guide pixels."""

    def __init__(self, seed: int, width: int, height: int, levels: tuple[int, ...]) -> None:
        self.rng = np.random.default_rng(seed)
        self.width, self.height = width, height
        self.u = height / 1000.0
        self.labels = np.zeros((height * SCALE, width * SCALE), np.uint16)
        self.lines = np.zeros((height * SCALE, width * SCALE), np.uint8)
        self.areas = [Area(Tint())]
        self.levels = levels
        self.palette = self._palette()
        self.clip: npt.NDArray[np.uint8] | None = None

    def _palette(self) -> list[Tint]:
        count = int(self.rng.integers(12, 26))
        common = [Tint(y=25, m=25), Tint(y=100, m=50), Tint(y=100), Tint(c=25), Tint(c=50, m=25)]
        drawn = [Tint(*(int(v) for v in self.rng.choice(self.levels, 3))) for _ in range(count)]
        inked = [tint for tint in drawn if not tint.is_paper and tint.total_ink <= 300]
        return list(dict.fromkeys(common[: int(self.rng.integers(2, 6))] + inked))

    def tint(self) -> Tint:
        return self.palette[int(self.rng.integers(len(self.palette)))]

    def new(self, tint: Tint | None = None, fade: Fade | None = None) -> int:
        self.areas.append(Area(self.tint() if tint is None else tint, fade))
        return len(self.areas) - 1

    def polygon(self, points: npt.ArrayLike, label: int, line: float = 2.0) -> None:
        """Fills and outlines a polygon, inside the current panel only."""
        scaled = self._scaled(points)
        width = max(1, round(line * self.u * SCALE * float(self.rng.uniform(0.7, 1.5))))
        box, moved = self._box(scaled, width)
        mask = np.zeros(self.lines[box].shape, np.uint8)
        cv2.fillPoly(mask, [moved], 255, cv2.LINE_8, 4)
        if self.clip is not None:
            mask &= self.clip[box]
        self.labels[box][mask > 0] = label
        self.lines[box][mask > 0] = 0
        stroke = np.zeros_like(mask)
        cv2.polylines(stroke, [moved], True, 255, width, cv2.LINE_AA, 4)
        self.ink(stroke, box)

    def _scaled(self, points: npt.ArrayLike) -> npt.NDArray[np.int32]:
        """Sixteenths of pixels of the label map."""
        return np.rint(np.asarray(points, float) * SCALE * 16).astype(np.int32)

    def _box(self, scaled: npt.NDArray[np.int32], width: int) -> tuple[Box, npt.NDArray[np.int32]]:
        """The part of the page that a line through ``scaled`` can touch, and the same points as they lie in it."""
        size = np.array(self.lines.shape[::-1])
        low = np.clip(scaled.min(axis=0) // 16 - width - 2, 0, size - 1)
        high = np.clip(scaled.max(axis=0) // 16 + width + 3, low + 1, size)
        return (slice(low[1], high[1]), slice(low[0], high[0])), (scaled - low * 16).astype(np.int32)

    def ink(self, stroke: npt.NDArray[np.uint8], box: Box) -> None:
        if self.clip is not None:
            stroke &= self.clip[box]
        np.maximum(self.lines[box], stroke, out=self.lines[box])

    def blob(self, x: float, y: float, rx: float, ry: float, wobble: float = 0.12) -> npt.NDArray[np.float64]:
        angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
        radius = np.ones_like(angle)
        for order in range(2, 6):
            radius += wobble / order * np.sin(order * angle + self.rng.uniform(0, 6.3)) * self.rng.uniform(0.3, 1.5)
        tilt = self.rng.uniform(-0.4, 0.4)
        px, py = rx * radius * np.cos(angle), ry * radius * np.sin(angle)
        return np.stack([x + px * np.cos(tilt) - py * np.sin(tilt), y + px * np.sin(tilt) + py * np.cos(tilt)], 1)

    def stroke(self, points: npt.ArrayLike, line: float) -> None:
        width = max(1, round(line * self.u * SCALE))
        box, moved = self._box(self._scaled(points), width)
        layer = np.zeros(self.lines[box].shape, np.uint8)
        cv2.polylines(layer, [moved], False, 255, width, cv2.LINE_AA, 4)
        self.ink(layer, box)

    def panel(self, box: tuple[float, float, float, float]) -> None:
        left, top, right, bottom = box
        rng = self.rng
        corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
        self.clip = np.zeros(self.lines.shape, np.uint8)
        cv2.fillPoly(self.clip, [np.rint(corners * SCALE).astype(np.int32)], 255)
        fade = None
        tint = self.tint()
        if rng.random() < 0.45:
            fade = self._fade(box, tint)
        self.polygon(corners, self.new(tint, fade), 3)
        w, h = right - left, bottom - top
        if rng.random() < 0.7:
            base = top + h * rng.uniform(0.5, 0.8)
            xs = np.linspace(left, right, 12)
            ridge = np.stack([xs, base + rng.normal(0, h * 0.04, 12)], 1)
            self.polygon(np.vstack([ridge, (right, bottom), (left, bottom)]), self.new())
        for _ in range(int(rng.integers(1, 4))):
            self.house(left + w * rng.uniform(0, 0.9), top + h * rng.uniform(0.2, 0.6), w * 0.25, h * 0.5)
        for _ in range(int(rng.integers(1, 4))):
            self.figure(
                left + w * rng.uniform(0.1, 0.9),
                top + h * rng.uniform(0.25, 0.5),
                h * rng.uniform(0.2, 0.45),
            )
        self.balloon(left + w * rng.uniform(0.15, 0.6), top + h * 0.12, w * rng.uniform(0.15, 0.3), h * 0.09)
        for _ in range(int(rng.integers(3, 9))):
            start = np.array([left + w * rng.random(), top + h * rng.random()])
            for step in range(int(rng.integers(3, 12))):
                at = start + step * 4 * self.u
                self.stroke([at, at + np.array([-1, 1]) * h * 0.05], rng.uniform(0.6, 1.3))
        self.polygon_outline(corners)
        self.clip = None

    def polygon_outline(self, corners: npt.NDArray[np.float64]) -> None:
        self.stroke(np.vstack([corners, corners[:1]]), 3)

    def _fade(self, box: tuple[float, float, float, float], tint: Tint) -> Fade:
        left, top, right, bottom = box
        rng = self.rng
        to = tint
        while to == tint or max(abs(a - b) for a, b in zip(to.percentages, tint.percentages, strict=True)) < 50:
            to = (
                self.tint()
                if rng.random() < 0.3
                else Tint(*(int(v * rng.choice((0, 0, 1))) for v in tint.percentages))
            )
            if tint.is_paper or max(tint.percentages) < 50:
                to = Tint(*(100 if v else int(rng.choice((0, 100))) for v in tint.percentages[:3]))
        if rng.random() < 0.7:
            start, end = ((left + right) / 2, top + 6 * self.u), ((left + right) / 2, bottom - 6 * self.u)
        else:
            start, end = (left + 6 * self.u, (top + bottom) / 2), (right - 6 * self.u, (top + bottom) / 2)
        if rng.random() < 0.5:
            start, end = end, start
        return Fade(to, (float(start[0]), float(start[1])), (float(end[0]), float(end[1])))

    def house(self, x: float, y: float, w: float, h: float) -> None:
        rng = self.rng
        self.polygon([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], self.new())
        self.polygon([(x - w * 0.1, y), (x + w * 0.5, y - h * 0.3), (x + w * 1.1, y)], self.new())
        pane = self.tint()
        for column in range(2):
            for row in range(int(rng.integers(1, 4))):
                px, py = x + w * (0.12 + 0.45 * column), y + h * (0.1 + 0.28 * row)
                self.polygon(
                    [(px, py), (px + w * 0.28, py), (px + w * 0.28, py + h * 0.2), (px, py + h * 0.2)],
                    self.new(pane),
                    1.2,
                )

    def figure(self, x: float, y: float, size: float) -> None:
        rng = self.rng
        coat, s = self.new(), size
        for side in (-1, 1):
            self.polygon(
                [(x + side * s * 0.05, y + s), (x + side * s * 0.3, y + s), (x + side * s * 0.25, y + s * 2),
                 (x + side * s * 0.08, y + s * 2)],
                self.new(),
            )  # fmt: skip
        self.polygon(self.blob(x, y + s * 0.7, s * 0.38, s * 0.5), coat)
        self.polygon(
            [
                (x - s * 0.36, y + s * 0.8),
                (x + s * 0.36, y + s * 0.75),
                (x + s * 0.36, y + s * 0.9),
                (x - s * 0.36, y + s * 0.95),
            ],
            self.new(),
            1.4,
        )
        self.polygon(self.blob(x, y, s * 0.25, s * 0.3), self.new(Tint(m=25, y=25) if rng.random() < 0.5 else None))
        self.polygon(self.blob(x, y - s * 0.22, s * 0.28, s * 0.15, 0.3), self.new(), 1.6)
        for side in (-1, 1):
            self.stroke([(x + side * s * 0.08, y), (x + side * s * 0.11, y + s * 0.01)], 2.2)
        self.stroke([(x - s * 0.08, y + s * 0.14), (x, y + s * 0.17), (x + s * 0.08, y + s * 0.13)], 1.2)
        for _ in range(6):
            at = (x + s * rng.uniform(-0.3, 0.3), y + s * rng.uniform(0.35, 1.0))
            self.stroke([at, (at[0] + s * 0.04, at[1] + s * 0.15)], 1.0)

    def balloon(self, x: float, y: float, w: float, h: float) -> None:
        self.polygon(self.blob(x + w / 2, y, w * 0.7, h, 0.04), self.new(Tint()), 1.6)
        for row in range(3):
            text = "".join(self.rng.choice(list("AEHIKLMNORSTUVX "), 9))
            at = (int((x - w * 0.05) * SCALE), int((y - h * 0.35 + row * h * 0.42) * SCALE))
            size, pen = 0.42 * self.u * SCALE * w / 120, max(1, round(self.u * SCALE * 0.8))
            (wide, high), below = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, size, pen)
            reach = np.array([at, (at[0] + wide, at[1] + below), (at[0], at[1] - high)], np.int32) * 16
            box, moved = self._box(reach, pen + 4)
            layer = np.zeros(self.lines[box].shape, np.uint8)
            start = (int(moved[0, 0]) // 16, int(moved[0, 1]) // 16)
            cv2.putText(layer, text, start, cv2.FONT_HERSHEY_SIMPLEX, size, 255, pen, cv2.LINE_AA)
            self.ink(layer, box)


def draw_page(
    seed: int,
    width: int = 1000,
    height: int = 1500,
    marks: int = 60,
    levels: tuple[int, ...] = LEVELS,
    rows: int | None = None,
) -> Page:
    """A page of panels with up to ``marks`` marks, each well inside its own area."""
    drawer = _Drawer(seed, width, height, levels)
    rng = drawer.rng
    margin, gutter = 0.04 * width, 0.012 * height
    count = rows or int(rng.integers(2, 5))
    edges = np.linspace(margin, height - margin, count + 1) + np.r_[0, rng.normal(0, 0.01 * height, count - 1), 0]
    for row in range(count):
        columns = int(rng.integers(1, 4))
        cuts = (
            np.linspace(margin, width - margin, columns + 1) + np.r_[0, rng.normal(0, 0.03 * width, columns - 1), 0]
        )
        for column in range(columns):
            drawer.panel((cuts[column], edges[row], cuts[column + 1] - gutter, edges[row + 1] - gutter))
    page = Page(width, height, drawer.labels, drawer.lines, drawer.areas)
    page.marks = _place_marks(page, rng, marks)
    return page


MIN_RADIUS = 4.5
"""Marks sit where a disc of this radius (guide pixels at 1000 px page height) is free of line art."""


def _place_marks(page: Page, rng: np.random.Generator, wanted: int) -> list[Mark]:
    free = np.where(page.lines < 60, page.labels, 0).astype(np.uint16)
    marks: list[Mark] = []
    order = list(range(1, len(page.areas)))
    rng.shuffle(order)
    fades = [label for label in order if page.areas[label].fade]
    boxes = find_objects(free, len(page.areas) - 1)
    for label in fades + [label for label in order if not page.areas[label].fade]:
        box = boxes[label - 1]
        if box is None:
            continue
        mask = (free[box] == label).astype(np.uint8)
        inside = cv2.copyMakeBorder(mask, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
        distance = cv2.distanceTransform(inside, cv2.DIST_L2, 5)[1:-1, 1:-1]
        radius = float(distance.max())
        if radius < MIN_RADIUS * page.height / 1000 * SCALE:
            continue
        good = np.argwhere(distance > max(radius * 0.6, MIN_RADIUS * page.height / 1000 * SCALE * 0.9))
        py, px = good[int(rng.integers(len(good)))]
        at = (float((px + box[1].start) / SCALE), float((py + box[0].start) / SCALE))
        marks.append(Mark(f"m{len(marks) + 1}", *at, label))
        if len(marks) == wanted:
            break
    return marks


def paint_guide(page: Page, seed: int, codes: bool = True) -> npt.NDArray[np.uint8]:
    """The guide as RGB (h, w, 3): rich dyes per area, not press colours; streaks, paper, line art, written codes."""
    rng = np.random.default_rng(seed + 77)
    dye = np.array([(0.05, 0.62, 0.95), (0.95, 0.08, 0.5), (1.0, 0.93, 0.05)])  # C, M, Y in sRGB 0-1
    strength = {0: 0.0, 25: 0.3, 50: 0.62, 70: 0.8, 75: 0.84, 100: 1.0}
    colours = np.ones((len(page.areas), 3))
    ends = np.ones((len(page.areas), 3))
    for label, area in enumerate(page.areas):
        jitter = rng.normal(0, 0.025, 3)
        for tint, target in ((area.tint, colours), (area.fade.to if area.fade else area.tint, ends)):
            for ink in range(3):
                target[label] *= 1 - strength[tint.percentages[ink]] * (1 - dye[ink])
            if label:
                target[label] = np.clip(target[label] + jitter, 0.02, 1)
    image = colours.astype(np.float32).take(page.labels, axis=0)
    for label, area in enumerate(page.areas):
        if area.fade:
            ys, xs = np.nonzero(page.labels == label)
            along = fade_position(area.fade, xs / SCALE, ys / SCALE)[:, None]
            image[ys, xs] = colours[label] * (1 - along) + ends[label] * along
    grain = rng.normal(0, 1, (page.height // 3, page.width // 12)).astype(np.float32)
    streak = cv2.resize(grain, (page.width * SCALE, page.height * SCALE), interpolation=cv2.INTER_CUBIC)
    image *= 1 + 0.02 * streak[..., None] * (image < 0.99)
    image *= 1 - page.lines[..., None].astype(np.float32) / 255 * 0.93
    image = cv2.resize(image, (page.width, page.height), interpolation=cv2.INTER_AREA)
    if codes:
        pen = np.zeros(image.shape[:2], np.uint8)
        for mark in page.marks:
            text = _code(page.areas[mark.label].tint).replace(" ", "")
            size = 0.35 * page.height / 1000
            at = (int(mark.x + rng.uniform(-10, 4)), int(mark.y + rng.uniform(-6, 10)))
            if rng.random() < 0.6:
                cv2.putText(pen, text, at, cv2.FONT_HERSHEY_SCRIPT_SIMPLEX, size, 255, 1, cv2.LINE_AA)
        image *= 1 - pen[..., None].astype(np.float32) / 255 * 0.85
    image += rng.normal(0, 0.008, image.shape).astype(np.float32)
    return np.asarray(np.clip(image * 255 + 0.5, 0, 255), np.uint8)


def fade_position(fade: Fade, x: npt.ArrayLike, y: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """How far along the fade a point lies, 0-1."""
    start, end = np.array(fade.start), np.array(fade.end)
    way = end - start
    return np.clip(((np.asarray(x) - start[0]) * way[0] + (np.asarray(y) - start[1]) * way[1]) / (way @ way), 0, 1)
