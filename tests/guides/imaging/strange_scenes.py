"""Pages for the proof desk as strangers would draw them: nothing here is shared with ``proof_generator``.

Slanted tiers and inset rounds hold hills, suns, trees, boats, flags with narrow stripes, people of capsules, and
balloons with tails; line art is brushed in strokes that swell, shading is stippled. Fades run at any angle and lie in
small things too. Guides are painted in washes on cream paper. Measures are our own (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy.ndimage import find_objects

from bible.colour.tints import Tint

Float = npt.NDArray[np.float64]
FINE = 2
"""Pixels of the label map per pixel of the guide, each way."""

FREE = 4.0
"""Radius around a mark that is free of lines, in thousandths of the page's height."""


@dataclass
class Patch:
    """An area. With ``to`` it fades from ``tint`` at ``start`` to that at ``end`` (guide px)."""

    tint: Tint
    to: Tint | None = None
    start: tuple[float, float] = (0.0, 0.0)
    end: tuple[float, float] = (0.0, 0.0)

    def along(self, x: Float, y: Float) -> Float:
        """How far along its fade a place is, 0-1."""
        way = np.array(self.end) - np.array(self.start)
        return np.clip(((x - self.start[0]) * way[0] + (y - self.start[1]) * way[1]) / (way @ way), 0.0, 1.0)


@dataclass
class Scene:
    """``labels`` and ``lines`` (0-255) are at FINE times the guide's size (width, height); patch 0 is bare paper.

    ``spots``: a mark's id to its place (guide px) and patch.
    """

    width: int
    height: int
    labels: npt.NDArray[np.int32]
    lines: npt.NDArray[np.uint8]
    patches: list[Patch]
    spots: dict[str, tuple[float, float, int]]

    def marks(self) -> list[dict[str, object]]:
        """As ``check_proof`` takes them."""
        listed: list[dict[str, object]] = []
        for name, (x, y, label) in self.spots.items():
            patch = self.patches[label]
            fade = (
                {"to": _code(patch.to), "from_xy": list(patch.start), "to_xy": list(patch.end)} if patch.to else None
            )
            listed.append({"id": name, "x": x, "y": y, "code": _code(patch.tint), "gradient": fade})
        return listed


def _code(tint: Tint) -> str:
    return "W" if tint.is_paper else str(tint)


class _Brush:
    """Draws closed shapes with swelling outlines; places in guide px, ``size`` in thousandths of the height."""

    def __init__(self, rng: np.random.Generator, width: int, height: int, levels: tuple[int, ...]) -> None:
        self.rng, self.unit = rng, height / 1000.0
        self.labels = np.zeros((height * FINE, width * FINE), np.int32)
        self.lines = np.zeros(self.labels.shape, np.uint8)
        self.patches = [Patch(Tint())]
        self.inside: npt.NDArray[np.uint8] = np.full(self.labels.shape, 255, np.uint8)
        chosen = rng.choice(len(levels) ** 3, 40, replace=False)
        tints = [Tint(*(levels[int(n) // len(levels) ** k % len(levels)] for k in range(3))) for n in chosen]
        self.palette = [tint for tint in tints if 0 < tint.total_ink <= 250][: int(rng.integers(14, 28))]

    def pick(self) -> Tint:
        return self.palette[int(self.rng.integers(len(self.palette)))]

    def fill(self, outline: Float, tint: Tint | None = None, pen: float = 1.8) -> int:
        """A closed area over whatever was there; returns its label."""
        self.patches.append(Patch(self.pick() if tint is None else tint))
        label = len(self.patches) - 1
        box, shift = self._box(outline, 1)
        shape = np.zeros(self.lines[box].shape, np.uint8)
        cv2.fillPoly(shape, [np.rint(outline * FINE - shift).astype(np.int32)], 255)
        shape &= self.inside[box]
        self.labels[box][shape > 0] = label
        self.lines[box][shape > 0] = 0
        self.stroke(np.vstack([outline, outline[:1]]), pen)
        return label

    def _box(self, points: Float, beyond: float) -> tuple[tuple[slice, slice], Float]:
        """The part of the page around points (n, 2), and its corner in pixels of the label map."""
        size = np.array(self.lines.shape[::-1])
        low = np.clip(np.floor(points.min(axis=0) * FINE - beyond), 0, size - 1).astype(int)
        high = np.clip(np.ceil(points.max(axis=0) * FINE + beyond) + 1, low + 1, size).astype(int)
        return (slice(low[1], high[1]), slice(low[0], high[0])), low.astype(float)

    def stroke(self, points: Float, pen: float) -> None:
        """A brushed line: its width swells along the way."""
        box, shift = self._box(points, 4 * pen * self.unit * FINE + 3)
        drawn = np.zeros(self.lines[box].shape, np.uint8)
        swell = self.rng.uniform(0.6, 1.5, 4)
        for n in range(len(points) - 1):
            width = pen * float(np.interp(n / max(len(points) - 1, 1), np.linspace(0, 1, 4), swell))
            ends = np.rint(points[n : n + 2] * FINE - shift).astype(int)
            thick = max(1, round(width * self.unit * FINE))
            cv2.line(drawn, tuple(ends[0]), tuple(ends[1]), 255, thick, cv2.LINE_AA)
        self.lines[box] = np.maximum(self.lines[box], drawn & self.inside[box])

    def round(self, x: float, y: float, across: float, up: float, turn: float = 0.0) -> Float:
        angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
        ring = np.stack([across * np.cos(angle), up * np.sin(angle)], 1)
        c, s = np.cos(turn), np.sin(turn)
        return np.asarray(ring @ np.array([[c, s], [-s, c]]) + [x, y])

    def fade(self, label: int, outline: Float) -> None:
        """Make a patch fade across its outline at any angle: one of its ends has at least 50 % more of some ink."""
        patch, rng = self.patches[label], self.rng
        for _ in range(40):
            to = (
                self.pick()
                if rng.random() < 0.5
                else Tint(*(int(v) * int(rng.random() < 0.5) for v in patch.tint.percentages[:3]))
            )
            if max(abs(a - b) for a, b in zip(patch.tint.percentages, to.percentages, strict=True)) >= 50:
                break
        else:
            return
        turn = rng.uniform(0, 2 * np.pi)
        way = np.array([np.cos(turn), np.sin(turn)])
        reach = (outline - outline.mean(axis=0)) @ way
        low, high = outline.mean(axis=0) + way * reach.min() * 0.9, outline.mean(axis=0) + way * reach.max() * 0.9
        patch.to, patch.start, patch.end = to, (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))


def _panel(brush: _Brush, corners: Float) -> None:
    rng = brush.rng
    low, high = corners.min(axis=0), corners.max(axis=0)
    w, h = high - low
    brush.inside = np.zeros(brush.lines.shape, np.uint8)
    cv2.fillPoly(brush.inside, [np.rint(corners * FINE).astype(np.int32)], 255)
    sky = brush.fill(corners, pen=2.6)
    if rng.random() < 0.5:
        brush.fade(sky, corners)
    if rng.random() < 0.6:
        size = min(w, h) * rng.uniform(0.08, 0.2)
        sun = brush.round(low[0] + w * rng.uniform(0.1, 0.9), low[1] + h * rng.uniform(0.15, 0.4), size, size)
        label = brush.fill(sun, pen=1.5)
        if rng.random() < 0.3 and size > 30 * brush.unit:
            brush.fade(label, sun)
    xs = np.linspace(low[0] - 5, high[0] + 5, 60)
    for level in np.sort(rng.uniform(0.45, 0.85, int(rng.integers(1, 4)))):
        wave = sum(rng.uniform(2, 14) * np.sin(xs / w * rng.uniform(3, 20) + rng.uniform(0, 6)) for _ in range(3))
        hill = np.stack([xs, low[1] + h * level + wave * brush.unit], 1)
        brush.fill(np.vstack([hill, [[high[0] + 5, high[1] + 5], [low[0] - 5, high[1] + 5]]]))
    for _ in range(int(rng.integers(2, 6))):
        at = (low[0] + w * rng.uniform(0.05, 0.95), low[1] + h * rng.uniform(0.4, 0.9))
        size = min(w, h, 260 * brush.unit) * rng.uniform(0.25, 0.6)
        (_tree, _boat, _flag, _person)[int(rng.integers(4))](brush, *at, size)
    if rng.random() < 0.8:
        _balloon(brush, low[0] + w * rng.uniform(0.2, 0.8), low[1] + h * 0.16, min(w * 0.25, 130 * brush.unit))
    for _ in range(int(rng.integers(0, 4))):  # stippling
        middle = low + np.array([w, h]) * rng.uniform(0.1, 0.9, 2)
        for at in middle + rng.normal(0, 12 * brush.unit, (int(rng.integers(8, 30)), 2)):
            brush.stroke(np.array([at, at + 0.6 * brush.unit]), 1.4)
    brush.stroke(np.vstack([corners, corners[:1]]), 3.0)


def _tree(brush: _Brush, x: float, y: float, size: float) -> None:
    brush.fill(
        np.array(
            [
                [x - size * 0.06, y],
                [x + size * 0.06, y],
                [x + size * 0.1, y + size * 0.5],
                [x - size * 0.1, y + size * 0.5],
            ]
        )
    )
    leaves = brush.pick()
    for turn in brush.rng.uniform(0, 6.28, 4):
        brush.fill(
            brush.round(
                x + size * 0.2 * np.cos(turn), y - size * 0.1 + size * 0.15 * np.sin(turn), size * 0.25, size * 0.2
            ),
            leaves,
            1.4,
        )


def _boat(brush: _Brush, x: float, y: float, size: float) -> None:
    for side in (-1, 1):
        brush.fill(
            np.array(
                [[x + side * size * 0.04, y - size * 0.7], [x + side * size * 0.4, y], [x + side * size * 0.04, y]]
            )
        )
    brush.fill(
        np.array(
            [
                [x - size * 0.5, y + size * 0.05],
                [x + size * 0.5, y + size * 0.05],
                [x + size * 0.35, y + size * 0.28],
                [x - size * 0.35, y + size * 0.28],
            ]
        )
    )
    brush.stroke(np.array([[x, y - size * 0.75], [x, y + size * 0.05]]), 2.2)


def _flag(brush: _Brush, x: float, y: float, size: float) -> None:
    pair = (brush.pick(), brush.pick())
    stripes = int(brush.rng.integers(3, 6))
    for n in range(stripes):
        top, low = y - size * 0.3 + n * size * 0.6 / stripes, y - size * 0.3 + (n + 1) * size * 0.6 / stripes
        brush.fill(
            np.array([[x, top], [x + size * 0.8, top - size * 0.08], [x + size * 0.8, low - size * 0.08], [x, low]]),
            pair[n % 2],
            1.0,
        )
    brush.stroke(np.array([[x, y - size * 0.4], [x, y + size * 0.6]]), 3.0)


def _person(brush: _Brush, x: float, y: float, size: float) -> None:
    trousers = brush.pick()
    for side in (-1, 1):
        brush.fill(brush.round(x + side * size * 0.1, y + size * 0.5, size * 0.09, size * 0.28, side * 0.1), trousers)
        brush.fill(
            brush.round(x + side * size * 0.26, y + size * 0.12, size * 0.07, size * 0.22, side * -0.5), pen=1.4
        )
    brush.fill(brush.round(x, y + size * 0.15, size * 0.2, size * 0.28))
    brush.fill(
        np.array(
            [
                [x - size * 0.19, y + size * 0.3],
                [x + size * 0.19, y + size * 0.3],
                [x + size * 0.18, y + size * 0.37],
                [x - size * 0.18, y + size * 0.37],
            ]
        ),
        pen=1.0,
    )
    brush.fill(brush.round(x, y - size * 0.25, size * 0.14, size * 0.17), Tint(m=25, y=25))
    brush.fill(
        np.array([[x - size * 0.16, y - size * 0.3], [x, y - size * 0.5], [x + size * 0.16, y - size * 0.3]]), pen=1.4
    )
    for side in (-1, 1):
        brush.stroke(
            np.array([[x + side * size * 0.05, y - size * 0.25], [x + side * size * 0.06, y - size * 0.23]]), 1.8
        )


def _balloon(brush: _Brush, x: float, y: float, wide: float) -> None:
    brush.fill(np.array([[x - wide * 0.1, y], [x + wide * 0.1, y], [x - wide * 0.3, y + wide * 0.8]]), Tint(), 1.4)
    brush.fill(brush.round(x, y, wide * 0.55, wide * 0.3), Tint(), 1.4)
    for row in range(-1, 2):
        at = x - wide * 0.38
        while at < x + wide * 0.32:
            size = wide * brush.rng.uniform(0.03, 0.07)
            letter = [at, y + row * wide * 0.14] + brush.rng.uniform(-0.5, 0.5, (4, 2)) * [size, wide * 0.09]
            brush.stroke(letter, 1.0)
            at += size * 1.5


def draw_scene(seed: int, width: int, height: int, marks: int, levels: tuple[int, ...] = (0, 25, 50, 100)) -> Scene:
    """A page in slanted tiers, or one picture with inset rounds, and up to ``marks`` marks."""
    rng = np.random.default_rng([seed, 501])
    brush = _Brush(rng, width, height, levels)
    edge, gap = 0.035 * width, 0.008 * height
    if rng.random() < 0.25:
        _panel(brush, np.array([[0, 0], [width, 0], [width, height], [0, height]], float))
        for _ in range(3):
            size = rng.uniform(0.13, 0.2) * height
            _panel(brush, brush.round(width * rng.uniform(0.25, 0.75), height * rng.uniform(0.15, 0.85), size, size))
    else:
        tiers = int(rng.integers(2, 5))
        left = np.linspace(edge, height - edge, tiers + 1)
        right = left + np.r_[0, rng.normal(0, 0.02 * height, tiers - 1), 0]
        for tier in range(tiers):
            cuts = np.r_[0, np.sort(rng.uniform(0.3, 0.7, int(rng.integers(0, 2)))), 1]
            slant = np.r_[0, rng.normal(0, 0.04, len(cuts) - 2), 0]
            for n in range(len(cuts) - 1):
                x = edge + (width - 2 * edge) * np.array(
                    [cuts[n] + slant[n], cuts[n + 1] + slant[n + 1], cuts[n + 1] - slant[n + 1], cuts[n] - slant[n]]
                )
                ends = np.where([True, True, False, False], tier, tier + 1)
                y = left[ends] + (right - left)[ends] * (x - edge) / (width - 2 * edge)
                _panel(
                    brush, np.stack([x + np.array([gap, -gap, -gap, gap]), y + np.array([gap, gap, -gap, -gap])], 1)
                )
    return Scene(width, height, brush.labels, brush.lines, brush.patches, _spots(brush, marks))


def _spots(brush: _Brush, wanted: int) -> dict[str, tuple[float, float, int]]:
    """Places for marks, fades first: anywhere in an area that is clear of its lines."""
    rng = brush.rng
    spots: dict[str, tuple[float, float, int]] = {}
    order = sorted(range(1, len(brush.patches)), key=lambda label: (brush.patches[label].to is None, rng.random()))
    clear = FREE * brush.unit * FINE
    boxes = find_objects(brush.labels)
    for label in order:
        box = boxes[label - 1] if label <= len(boxes) else None
        if box is None or len(spots) >= wanted:
            continue
        own = ((brush.labels[box] == label) & (brush.lines[box] < 50)).astype(np.uint8)
        room = cv2.distanceTransform(np.pad(own, 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
        good = np.argwhere(room > max(clear, 0.35 * float(room.max())))
        if not len(good):
            continue
        row, column = good[int(rng.integers(len(good)))] + [box[0].start, box[1].start]
        spots[f"s{len(spots) + 1}"] = ((float(column) + 0.5) / FINE - 0.5, (float(row) + 0.5) / FINE - 0.5, label)
    return spots


def paint_scene(scene: Scene, seed: int) -> npt.NDArray[np.uint8]:
    """The guide, RGB (h, w, 3): washes that pool at their edges on cream paper, some codes boxed beside their mark."""
    rng = np.random.default_rng([seed, 502])
    dyes = np.array([(1.9, 0.35, 0.06), (0.08, 1.8, 0.5), (0.02, 0.12, 1.7)])  # densities of C, M, Y by R, G, B

    def density(tint: Tint) -> Float:
        return np.asarray((np.array(tint.percentages[:3]) / 100.0) ** 0.8 @ dyes)

    start = np.array([density(patch.tint) for patch in scene.patches])
    uneven = 1 + 0.06 * rng.normal(size=(len(scene.patches), 1))
    laid = (start * uneven)[scene.labels].astype(np.float32)
    for label, patch in enumerate(scene.patches):
        if patch.to:
            rows, columns = np.nonzero(scene.labels == label)
            share = patch.along(columns / FINE, rows / FINE)[:, None]
            laid[rows, columns] = uneven[label] * (start[label] * (1 - share) + density(patch.to) * share)
    grain = rng.normal(size=(scene.height // 16, scene.width // 16)).astype(np.float32)
    laid *= 1 + 0.05 * cv2.resize(grain, laid.shape[1::-1], interpolation=cv2.INTER_CUBIC)[..., None]
    laid += 2.2 * (scene.lines / np.float32(255))[..., None]
    small = cv2.resize(laid, (scene.width, scene.height), interpolation=cv2.INTER_AREA)
    image = np.array([0.98, 0.96, 0.9], np.float32) * 10.0**-small
    coded = np.clip(image, 0, 1) ** (1 / 2.2) * 255 + rng.normal(0, 1.5, image.shape)
    out = np.ascontiguousarray(np.clip(coded + 0.5, 0, 255), dtype=np.uint8)
    for x, y, label in scene.spots.values():
        if rng.random() < 0.4:
            text = _code(scene.patches[label].tint).replace(" ", "")
            at = (int(x + rng.uniform(-6, 2) * scene.height / 1000), int(y + rng.uniform(2, 9) * scene.height / 1000))
            cv2.putText(
                out, text, at, cv2.FONT_HERSHEY_PLAIN, 0.55 * scene.height / 1000, (60, 60, 60), 1, cv2.LINE_AA
            )
    return out
