"""Pages of patchwork, drawn and painted by a third hand that shares nothing with the other two.

Panels are cut like glass; in them lie wavy bands, blobs in blobs, ribbons, tiles and solid blacks, bounded by where
labels change, with a pen that swells and leaves some borders without a line. Measures are ours (common practice, no
source).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scipy.ndimage import find_objects

from bible.colour.tints import Tint, as_array

Float = npt.NDArray[np.float64]
Plane = npt.NDArray[np.float32]
Image = npt.NDArray[np.uint8]

GRAIN = 10.0
"""Pixels a millimetre of the drawing."""

SHEET = (135.0, 190.0)


@dataclass(frozen=True, eq=False)
class Fault:
    kind: str
    tint: Tint
    share: float = 1.0


@dataclass(eq=False)
class Sheet:
    labels: npt.NDArray[np.int32]
    line: Image
    tints: list[Tint]
    fades: dict[int, tuple[Tint, Float, Float]]


def waves(rng: np.random.Generator, shape: tuple[int, ...], cell: float) -> Plane:
    """Smooth noise (h, w), spread 1."""
    small = rng.normal(size=(max(3, int(shape[0] / cell)), max(3, int(shape[1] / cell)))).astype(np.float32)
    wide = cv2.resize(small, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray(wide / max(float(wide.std()), 1e-6), np.float32)


class _Hand:
    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.shape = (round(SHEET[1] * GRAIN), round(SHEET[0] * GRAIN))
        self.labels = np.zeros(self.shape, np.int32)
        self.black = np.zeros(self.shape, np.uint8)
        self.tints, self.fades = [Tint()], dict[int, tuple[Tint, Float, Float]]()
        steps = (0, 25, 50, 100) if rng.random() < 0.75 else (0, 25, 50, 75, 100)
        drawn = [Tint(*(int(v) for v in rng.choice(steps, 3))) for _ in range(60)]
        self.palette = [tint for tint in dict.fromkeys(drawn) if 0 < tint.total_ink <= 275][
            : int(rng.integers(15, 30))
        ]

    def new(self, tint: Tint | None = None) -> int:
        self.tints.append(tint or self.palette[int(self.rng.integers(len(self.palette)))])
        return len(self.tints) - 1

    def fade(self, label: int, start: Float, end: Float) -> None:
        for to in (self.palette[int(n)] for n in self.rng.permutation(len(self.palette))):
            if max(abs(a - b) for a, b in zip(self.tints[label].percentages, to.percentages, strict=True)) >= 50:
                self.fades[label] = (to, start, end)
                return

    def lay(self, ring: Float, inside: Image, label: int | None = None) -> int:
        label = self.new() if label is None else label
        mask = np.zeros(self.shape, np.uint8)
        cv2.fillPoly(mask, [np.rint(ring * GRAIN).astype(np.int32)], 1)
        here = (mask & inside) > 0
        self.labels[here], self.black[here] = label, 0
        return label

    def blob(self, at: Float, size: float) -> Float:
        angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
        far = np.ones(60)
        for n in range(2, 6):
            far += self.rng.normal(0, 0.16 / n) * np.sin(n * angle + self.rng.uniform(0, 6))
        squash = self.rng.uniform(0.55, 1.0)
        turn = self.rng.uniform(0, 3.1)
        ring = np.stack([np.cos(angle), squash * np.sin(angle)], 1) * (far * size)[:, None]
        c, s = np.cos(turn), np.sin(turn)
        return np.asarray(ring @ np.array([[c, s], [-s, c]]) + at)

    def panel(self, box: tuple[float, float, float, float]) -> None:
        rng, (left, top, right, bottom) = self.rng, box
        corners = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
        inside = np.zeros(self.shape, np.uint8)
        cv2.fillPoly(inside, [np.rint(corners * GRAIN).astype(np.int32)], 1)
        back = self.lay(corners, inside)
        if rng.random() < 0.55:
            turn = rng.uniform(0, 2 * np.pi)
            way = np.array([np.cos(turn), np.sin(turn)]) * 0.42 * (bottom - top)
            self.fade(back, corners.mean(0) - way, corners.mean(0) + way)
        xs = np.linspace(left - 3, right + 3, 80)
        for level in np.sort(rng.uniform(0.4, 0.95, int(rng.integers(1, 4)))):
            high, slow, late = rng.uniform([[0.3], [0.05], [0.0]], [[2.5], [0.6], [6.0]], (3, 3))
            wave = (high[:, None] * np.sin(xs * slow[:, None] + late[:, None])).sum(axis=0)
            crest = np.stack([xs, top + (bottom - top) * level + wave], 1)
            self.lay(np.vstack([crest, [[right + 3, bottom + 3], [left - 3, bottom + 3]]]), inside)
        for _ in range(int(rng.integers(4, 9))):
            at = np.array([rng.uniform(left, right), rng.uniform(top, bottom)])
            (self._nest, self._nest, self._ribbon, self._tiles)[int(rng.integers(4))](at, inside)
        if rng.random() < 0.6:
            at = np.array([rng.uniform(left + 8, right - 8), top + 7])
            self.lay(self.blob(at, 7), inside, self.new(Tint()))

    def _nest(self, at: Float, inside: Image) -> None:
        size = self.rng.uniform(3, 14)
        if self.rng.random() < 0.25:
            ring = self.blob(at, size)
            cv2.fillPoly(mask := np.zeros(self.shape, np.uint8), [np.rint(ring * GRAIN).astype(np.int32)], 1)
            self.black[(mask & inside) > 0] = 255
            size *= 0.7
        label = self.lay(self.blob(at, size), inside)
        if size > 9 and self.rng.random() < 0.3:
            way = self.rng.normal(size=2)
            way *= 0.7 * size / np.linalg.norm(way)
            self.fade(label, at - way, at + way)
        for _ in range(int(self.rng.integers(0, 4))):
            self.lay(self.blob(at + self.rng.normal(0, 0.4 * size, 2), size * self.rng.uniform(0.15, 0.5)), inside)

    def _ribbon(self, at: Float, inside: Image) -> None:
        turn, length = self.rng.uniform(0, 6.3), self.rng.uniform(12, 40)
        t = np.linspace(0, 1, 40)
        bend = turn + self.rng.uniform(-2, 2) * t
        spine = at + np.cumsum(np.stack([np.cos(bend), np.sin(bend)], 1), 0) * length / 40
        side = np.stack([-np.sin(bend), np.cos(bend)], 1)
        for wide in (self.rng.uniform(1.6, 4.0), self.rng.uniform(0.8, 1.4)):
            self.lay(np.vstack([spine + side * wide, (spine - side * wide)[::-1]]), inside)

    def _tiles(self, at: Float, inside: Image) -> None:
        pair, size = (self.new(), self.new()), self.rng.uniform(2.5, 5.0)
        for n in range(int(self.rng.integers(4, 12))):
            corner = at + np.array([n % 4, n // 4]) * size
            square = corner + np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * size
            self.lay(square, inside, self.new(self.tints[pair[(n % 4 + n // 4) % 2]]))

    def lines(self) -> Image:
        """Where labels change: a pen that swells; some areas' borders have none."""
        bare = self.rng.random(len(self.tints)) < 0.07
        edge = np.zeros(self.shape, np.uint8)
        for here, there, put in (
            (self.labels[:, :-1], self.labels[:, 1:], edge[:, 1:]),
            (self.labels[:-1], self.labels[1:], edge[1:]),
        ):
            put[(here != there) & ~bare[here] & ~bare[there]] = 1
        far = cv2.distanceTransform(1 - edge, cv2.DIST_L2, 5)
        wide = self.rng.uniform(0.16, 0.3) * (1 + 0.3 * waves(self.rng, self.shape, 60)) * GRAIN
        drawn = np.clip(wide - far + 0.5, 0, 1) * 255
        return np.maximum(drawn.astype(np.uint8), self.black)


def draw(rng: np.random.Generator) -> Sheet:
    hand = _Hand(rng)

    def cut(box: tuple[float, float, float, float], depth: int) -> None:
        left, top, right, bottom = box
        if depth == 0 or min(right - left, bottom - top) < 50:
            hand.panel(box)
        elif bottom - top > right - left:
            at = top + (bottom - top) * rng.uniform(0.38, 0.62)
            cut((left, top, right, at - 1.2), depth - 1)
            cut((left, at + 1.2, right, bottom), depth - 1)
        else:
            at = left + (right - left) * rng.uniform(0.38, 0.62)
            cut((left, top, at - 1.2, bottom), depth - 1)
            cut((at + 1.2, top, right, bottom), depth - 1)

    cut((6, 6, SHEET[0] - 6, SHEET[1] - 6), int(rng.integers(2, 4)))
    return Sheet(hand.labels, hand.lines(), hand.tints, hand.fades)


def places_of(sheet: Sheet, wanted: int, least: float, rng: np.random.Generator) -> list[tuple[Float, int, float]]:
    """Places (mm), labels and inscribed radii (mm)."""
    found: list[tuple[Float, int, float]] = []
    boxes = find_objects(sheet.labels)
    order = sorted(range(1, len(sheet.tints)), key=lambda label: (label not in sheet.fades, rng.random()))
    for label in order:
        box = boxes[label - 1] if label <= len(boxes) else None
        if box is None or len(found) >= wanted:
            continue
        own = ((sheet.labels[box] == label) & (sheet.line[box] < 60)).astype(np.uint8)
        room = cv2.distanceTransform(np.pad(own, 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
        if room.max() < least * GRAIN:
            continue
        row, column = rng.permutation(np.argwhere(room > rng.uniform(0.3, 0.9) * room.max()))[0]
        found.append(
            (np.array([box[1].start + column, box[0].start + row]) / GRAIN, label, float(room.max() / GRAIN))
        )
    return found


def draw_faults(
    sheet: Sheet, spots: list[tuple[Float, int, float]], rng: np.random.Generator, brutal: bool
) -> dict[int, Fault]:
    """By label."""
    found: dict[int, Fault] = {}
    for _, label, _ in spots:
        tint = sheet.tints[label]
        if label in sheet.fades:
            if rng.random() < 0.35:
                found[label] = Fault("gradient_step", tint)
            continue
        inks = [ink for ink in "cmy" if getattr(tint, ink)]
        if not inks or rng.random() > 0.11:
            continue
        share = float(rng.uniform(0.45, 0.85)) if brutal and rng.random() < 0.4 else 1.0
        ink, kind = str(rng.choice(inks)), rng.random()
        if kind < 0.25 or (kind < 0.5 and len(inks) == 1):
            found[label] = Fault("colour_missing", Tint(), share)
        elif kind < 0.5:
            found[label] = Fault("ink_missing", replace(tint, **{ink: 0}), share)
        else:
            steps = [step for step in (25, 50, 100) if step != getattr(tint, ink)]
            found[label] = Fault("wrong_strength", replace(tint, **{ink: int(rng.choice(steps))}), share)
    return found


# --- paint -------------------------------------------------------------------------------------------------


def paint(sheet: Sheet, spots: list[tuple[Float, int, float]], rng: np.random.Generator) -> tuple[Image, Float]:
    """The painted guide, scanned, and the map (2, 3) from mm to its pixels."""
    dyes = np.diag(rng.uniform(1.3, 2.2, 3)) + rng.uniform(0.02, 0.3, (3, 3)) * (1 - np.eye(3))
    inks = (as_array(sheet.tints)[:, :3] / 100) ** rng.uniform(0.7, 1.0)
    depth = (inks @ dyes * (1 + 0.05 * rng.normal(size=(len(inks), 1)))).astype(np.float32)
    laid = depth[sheet.labels]
    for label, (to, start, end) in sheet.fades.items():
        rows, columns = np.nonzero(sheet.labels == label)
        share = along(np.stack([columns, rows], 1) / GRAIN, start, end)[:, None]
        other = ((as_array([to])[:, :3] / 100) ** 0.85 @ dyes)[0]
        laid[rows, columns] = depth[label] * (1 - share) + other * share
    laid *= (1 + 0.06 * waves(rng, sheet.labels.shape, 25) + 0.04 * waves(rng, sheet.labels.shape, 7))[..., None]
    light = np.exp(-np.maximum(laid, 0))
    light *= 1 - 0.95 * (sheet.line / np.float32(255))[..., None]
    pencil = np.zeros(sheet.line.shape, np.uint8)
    for at, label, radius in spots:
        if rng.random() < 0.6:
            text, high = str(sheet.tints[label]).replace(" ", "") or "W", float(np.clip(radius * 0.5, 1.2, 2.6))
            place = (int((at[0] - radius * 0.3) * GRAIN), int((at[1] + rng.uniform(-1, 2.5)) * GRAIN))
            cv2.putText(pencil, text, place, cv2.FONT_HERSHEY_SIMPLEX, high * GRAIN / 22, 255, 2, cv2.LINE_AA)
    light *= 1 - np.array([0.75, 0.75, 0.68], np.float32) * (pencil / np.float32(255))[..., None]
    dots = rng.uniform(130, 160) / 25.4
    turn, scale = np.deg2rad(rng.normal(0, 1.0)), dots
    c, s = scale * np.cos(turn), scale * np.sin(turn)
    size = (round(SHEET[0] * dots * 1.06), round(SHEET[1] * dots * 1.06))
    to_px = np.array([[c, -s, 0.0], [s, c, 0.0]])
    to_px[:, 2] = np.array(size) / 2 - to_px[:, :2] @ (np.array(SHEET) / 2)
    soft = cv2.GaussianBlur(light, (0, 0), 0.45 * GRAIN / dots)
    drawn = to_px.copy()
    drawn[:, :2] /= GRAIN
    paper = np.array([rng.uniform(0.86, 0.95), rng.uniform(0.84, 0.93), rng.uniform(0.74, 0.9)])
    taken = cv2.warpAffine(soft, drawn, size, flags=cv2.INTER_LINEAR, borderValue=(1, 1, 1)) * paper
    coded = np.clip(taken, 0, 1) ** (1 / 2.2) * 255 + rng.normal(0, 1.5, taken.shape)
    return packed(coded, int(rng.integers(82, 94))), to_px


def along(at: Float, start: Float, end: Float) -> Float:
    way = end - start
    return np.asarray(np.clip((at - start) @ way / (way @ way), 0.0, 1.0))


def packed(coded: npt.NDArray[Any], quality: int) -> Image:
    eight = np.clip(coded + 0.5, 0, 255).astype(np.uint8)
    packed = cv2.imencode(".jpg", np.ascontiguousarray(eight[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    picture = np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), dtype=np.uint8)
    return np.ascontiguousarray(picture[..., ::-1])
