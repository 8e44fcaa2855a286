"""Crowds: guides full of small parts, drawn and photographed as no other generator here does.

Figures of a dozen parts each stand before brick walls and shelves; lines are thin, broken, and on some pages drawn
with a coloured pencil; codes are written inside the areas, however small those are; the page is reduced to 120-200
dots an inch and taken with a telephone: uneven light, a cast, a lens that blurs the corners, a slanted page, JPEG.
Used to watch, never to choose a threshold by. Measures are ours (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy.ndimage import find_objects

from bible.colour.charts import CHART_64
from tests.guides.imaging.paint.guide_generator import percent_code

Float = npt.NDArray[np.float64]
Image = npt.NDArray[np.uint8]
Labels = npt.NDArray[np.int32]

FINE = 12.0
"""Pixels a millimetre at which the page is drawn, before it is reduced."""

PAGE_MM = (150.0, 215.0)


@dataclass(frozen=True, eq=False)
class CrowdPage:
    """``image`` as photographed, ``labels`` (h, w) its true areas, 0 paper; ``marks`` (n, 2) places in pixels with
    ``tints`` (n,) painted there, ``written`` (n,) the codes' tints, ``parts`` (n,) their labels; ``mm`` millimetres
    a pixel."""

    image: Image
    labels: Labels
    marks: Float
    tints: npt.NDArray[np.int_]
    written: npt.NDArray[np.int_]
    parts: npt.NDArray[np.int_]
    mm: float


class _Pen:
    """Draws parts over what was there before; places in millimetres."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        size = (round(PAGE_MM[1] * FINE), round(PAGE_MM[0] * FINE))
        self.labels = np.zeros(size, np.int32)
        self.line = np.zeros(size, np.uint8)
        self.tints = [0]
        self.width = rng.uniform(0.22, 0.42)
        palette = rng.choice(np.arange(1, 64), int(rng.integers(14, 26)), replace=False)
        self.palette = [int(tint) for tint in palette if CHART_64.array[tint].sum() <= 250]

    def colour(self) -> int:
        return int(self.rng.choice(self.palette))

    def part(self, outline: Float, tint: int | None = None, broken: bool = True) -> int:
        """A closed area over everything below it."""
        self.tints.append(self.colour() if tint is None else tint)
        points = np.rint(outline * FINE).astype(np.int32)
        cv2.fillPoly(self.labels, [points], len(self.tints) - 1)
        cv2.fillPoly(self.line, [points], 0)
        closed = np.vstack([outline, outline[:1]])
        gap = int(self.rng.integers(len(outline))) if broken and self.rng.random() < 0.15 else -1
        for n in range(len(outline)):
            ends = np.rint(closed[n : n + 2] * FINE).astype(int)
            if n == gap:
                ends[1] = ends[0] + (ends[1] - ends[0]) * max(0.0, 1 - 5.0 / (np.hypot(*(ends[1] - ends[0])) + 1e-6))
            thick = max(1, round(self.width * FINE * self.rng.uniform(0.7, 1.3)))
            cv2.line(self.line, tuple(ends[0].tolist()), tuple(ends[1].tolist()), 255, thick, cv2.LINE_AA)
        return len(self.tints) - 1

    def oval(self, x: float, y: float, across: float, up: float, turn: float = 0.0) -> Float:
        angle = np.linspace(0, 2 * np.pi, 28, endpoint=False)
        ring = np.stack([across * np.cos(angle), up * np.sin(angle)], axis=1)
        c, s = np.cos(turn), np.sin(turn)
        return np.asarray(ring @ np.array([[c, s], [-s, c]]) + [x, y])

    def limb(self, start: Float, end: Float, thick: float) -> Float:
        way = (end - start) / (np.linalg.norm(end - start) + 1e-9)
        side = np.array([-way[1], way[0]]) * thick
        bulge = side * self.rng.uniform(1.0, 1.5)
        middle = (start + end) / 2
        return np.array(
            [start + side, middle + bulge, end + side * 0.8, end - side * 0.8, middle - bulge, start - side]
        )


def _figure(pen: _Pen, x: float, foot: float, tall: float) -> None:
    """A person of about fifteen parts whose sizes go down to half a millimetre."""
    rng, unit = pen.rng, tall / 8.0
    skin, coat, trousers, boots = (pen.colour() for _ in range(4))
    for side in (-1.0, 1.0):
        hip, knee = (
            np.array([x + side * 0.45 * unit, foot - 3.9 * unit]),
            np.array([x + side * 0.7 * unit, foot - unit]),
        )
        pen.part(pen.limb(hip, knee, 0.42 * unit), trousers)
        pen.part(pen.limb(knee, knee + np.array([side * 0.15, 0.9]) * unit, 0.36 * unit), boots)
    shoulder = foot - 6.6 * unit
    body = np.array([[-1.1, 0], [1.1, 0], [0.95, 1.4], [1.15, 3.0], [-1.15, 3.0], [-0.95, 1.4]]) * unit + [
        x,
        shoulder,
    ]
    pen.part(body, coat)
    pen.part(np.array([[-0.35, 0], [0.35, 0], [0.0, 1.5]]) * unit + [x, shoulder])
    pen.part(np.array([[-1.08, 2.1], [1.08, 2.1], [1.12, 2.45], [-1.12, 2.45]]) * unit + [x, shoulder])
    for row in range(int(rng.integers(0, 4))):
        pen.part(pen.oval(x + 0.55 * unit, shoulder + (0.4 + 0.5 * row) * unit, 0.15 * unit, 0.15 * unit))
    for side in (-1.0, 1.0):
        top = np.array([x + side * 1.1 * unit, shoulder + 0.3 * unit])
        hand = top + np.array([side * rng.uniform(0.2, 1.6), rng.uniform(0.6, 2.6)]) * unit
        pen.part(pen.limb(top, hand, 0.34 * unit), coat if rng.random() < 0.7 else None)
        pen.part(pen.oval(hand[0], hand[1], 0.36 * unit, 0.36 * unit), skin)
    head = shoulder - 0.9 * unit
    pen.part(pen.oval(x, head - 0.15 * unit, 0.95 * unit, 1.05 * unit))
    pen.part(pen.oval(x, head + 0.1 * unit, 0.72 * unit, 0.85 * unit), skin)
    if rng.random() < 0.6:
        pen.part(np.array([[-1.1, 0], [1.1, 0], [0.7, -0.9], [-0.7, -0.9]]) * unit + [x, head - 0.5 * unit])
        pen.part(np.array([[-1.05, 0], [1.05, 0], [0.92, -0.3], [-0.92, -0.3]]) * unit + [x, head - 0.5 * unit])
    for side in (-1, 1):
        spot = np.rint(np.array([x + side * 0.28 * unit, head]) * FINE).astype(int)
        cv2.circle(pen.line, tuple(spot.tolist()), max(1, round(0.09 * unit * FINE)), 255, -1, cv2.LINE_AA)


def _backdrop(pen: _Pen, box: tuple[float, float, float, float]) -> None:
    left, top, right, bottom = box
    corners = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
    pen.part(corners, broken=False)
    floor = bottom - (bottom - top) * pen.rng.uniform(0.15, 0.35)
    pen.part(np.array([[left, floor], [right, floor], [right, bottom], [left, bottom]]), broken=False)
    kind, pair = pen.rng.random(), (pen.colour(), pen.colour())
    if kind < 0.35:  # a patch of bricks
        x0, y0 = left + 3, top + 6
        for row in range(5):
            for column in range(4):
                x, y = x0 + column * 7 + (row % 2) * 3.5, y0 + row * 3.2
                pen.part(np.array([[x, y], [x + 6.6, y], [x + 6.6, y + 2.8], [x, y + 2.8]]), pair[(row + column) % 2])
    elif kind < 0.7:  # a shelf of books
        x = left + 4.0
        while x < right - 8:
            wide, tall = pen.rng.uniform(1.6, 4.0), pen.rng.uniform(9, 14)
            base = top + 22
            pen.part(np.array([[x, base - tall], [x + wide, base - tall], [x + wide, base], [x, base]]))
            x += wide


def _balloon(pen: _Pen, x: float, y: float) -> None:
    pen.part(pen.oval(x, y, 13, 7), 0, broken=False)
    for row in (-1, 0, 1):
        cv2.putText(
            pen.line, "".join(pen.rng.choice(list("AEHIMNORSTU"), 6)), (round((x - 9) * FINE), round((y + 1 + row * 3.4) * FINE)),
            cv2.FONT_HERSHEY_DUPLEX, 0.07 * FINE, 255, max(1, round(0.22 * FINE)), cv2.LINE_AA,
        )  # fmt: skip


def _drawn(rng: np.random.Generator) -> _Pen:
    pen = _Pen(rng)
    rows = int(rng.integers(2, 4))
    edges = np.linspace(9, PAGE_MM[1] - 9, rows + 1)
    for row in range(rows):
        cuts = np.r_[8, np.sort(rng.uniform(50, 100, int(rng.integers(0, 2)))), PAGE_MM[0] - 8]
        for column in range(len(cuts) - 1):
            box = (cuts[column] + 1, edges[row] + 1, cuts[column + 1] - 1, edges[row + 1] - 1)
            mask = pen.labels.copy(), pen.line.copy()
            _backdrop(pen, box)
            deep = box[3] - box[1]
            for _ in range(int(rng.integers(2, 6))):
                tall = deep * rng.uniform(0.45, 0.8)
                _figure(pen, rng.uniform(box[0] + 6, box[2] - 6), box[3] - rng.uniform(1, 0.2 * deep), tall)
            if rng.random() < 0.7:
                _balloon(pen, rng.uniform(box[0] + 15, max(box[0] + 16, box[2] - 15)), box[1] + 9)
            outside = np.ones(pen.labels.shape, bool)
            outside[round(box[1] * FINE) : round(box[3] * FINE), round(box[0] * FINE) : round(box[2] * FINE)] = False
            pen.labels[outside], pen.line[outside] = mask[0][outside], mask[1][outside]
            ends = np.rint(np.array(box) * FINE).astype(int).tolist()
            cv2.rectangle(
                pen.line, (ends[0], ends[1]), (ends[2], ends[3]), 255, max(2, round(1.6 * pen.width * FINE))
            )
    return pen


def _hand(rng: np.random.Generator) -> Float:
    """Density (64, 3) of the 64 tints by dyes of this hand, which run into each other a little."""
    strength = np.array([0.0, 0.32, 0.6, 1.0]) ** rng.uniform(0.8, 1.1)
    levels = np.searchsorted([0, 25, 50, 100], CHART_64.array[:, :3])
    dyes = np.diag(rng.uniform(1.4, 2.4, 3)) + rng.uniform(0.02, 0.35, (3, 3)) * (1 - np.eye(3))
    mixed = strength[levels] @ dyes
    return np.asarray(mixed * (1 - 0.06 * (levels > 0).sum(axis=1, keepdims=True)))


def crowd_page(seed: int, marks: int = 80, wrong: int = 0, *, bare: bool = False) -> CrowdPage:
    """One page; ``wrong`` of its codes are written otherwise than painted; ``bare`` without a word on it."""
    rng = np.random.default_rng([seed, 9090])
    pen = _drawn(rng)
    size = pen.labels.shape
    tints = np.array(pen.tints)
    spots, parts, room = _spots(pen, marks, rng)
    written = tints[parts].copy()
    for slipped in rng.permutation(len(parts))[:wrong]:
        written[slipped] = rng.choice(np.setdiff1d(np.arange(64), [written[slipped]]))
    depth = _hand(rng)[tints] * (1 + 0.05 * rng.normal(size=(len(tints), 1)))
    depth[0] = 0.0
    laid = depth.astype(np.float32)[pen.labels]
    mottle = cv2.resize(
        rng.normal(size=(size[0] // 30, size[1] // 30)).astype(np.float32), size[::-1], interpolation=cv2.INTER_CUBIC
    )
    grain = cv2.resize(
        rng.normal(size=(size[0] // 4, size[1] // 60)).astype(np.float32), size[::-1], interpolation=cv2.INTER_LINEAR
    )
    laid *= np.clip(1 + 0.07 * mottle + 0.05 * grain, 0.3, None)[..., None]
    missed = (rng.random(len(tints)) < 0.15)[pen.labels] & (mottle > 1.3)
    laid[missed] *= 0.15
    page = np.exp(-laid).astype(np.float32)
    pencil = _written(size, spots, parts, written, room, rng, 0.0 if bare else 0.85)
    dark = depth[parts].sum(axis=1) > 3.2
    for light in (False, True):
        cover = np.zeros(size, np.uint8)
        for number in np.flatnonzero(dark == light):
            box, letters = pencil[int(number)]
            cover[box] = np.maximum(cover[box], letters)
        share = np.float32(rng.uniform(0.5, 0.85)) * (cover / np.float32(255))[..., None]
        tone = (
            np.full(3, 0.9)
            if light
            else np.array(rng.choice([[0.2, 0.2, 0.24], [0.5, 0.12, 0.1], [0.1, 0.16, 0.45]]))
        )
        under = 1.0 if light else page
        page = (page * (1 - share) + share * under * tone.astype(np.float32)).astype(np.float32)
    ink = np.array([0.03, 0.03, 0.035]) if rng.random() < 0.65 else rng.uniform(0.05, 0.3, 3)
    inked = (pen.line / np.float32(255))[..., None] * np.float32(rng.uniform(0.85, 0.98))
    page = (page * (1 - inked * (1 - ink.astype(np.float32)))).astype(np.float32)
    return _photographed(page, pen.labels, spots, tints[parts], written, parts, rng)


def _spots(pen: _Pen, wanted: int, rng: np.random.Generator) -> tuple[Float, npt.NDArray[np.int_], Float]:
    """Places (n, 2) in fine pixels, their labels, and the room around each in fine pixels."""
    spots: list[tuple[float, float]] = []
    parts: list[int] = []
    rooms: list[float] = []
    boxes = find_objects(pen.labels)
    for label in rng.permutation(np.arange(1, len(pen.tints))):
        box = boxes[label - 1] if label <= len(boxes) else None
        if box is None or len(spots) >= wanted:
            continue
        own = ((pen.labels[box] == label) & (pen.line[box] < 90)).astype(np.uint8)
        room = cv2.distanceTransform(np.pad(own, 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
        if room.max() < 0.45 * FINE:
            continue
        row, column = rng.permutation(np.argwhere(room >= rng.uniform(0.5, 0.95) * room.max()))[0]
        spots.append((box[1].start + column, box[0].start + row))
        parts.append(int(label))
        rooms.append(float(room[row, column]))
    return np.array(spots, float), np.array(parts), np.array(rooms)


def _written(
    size: tuple[int, int], spots: Float, parts: npt.NDArray[np.int_], written: npt.NDArray[np.int_], room: Float,
    rng: np.random.Generator, share: float,
) -> list[tuple[tuple[slice, slice], Image]]:  # fmt: skip
    """Codes in letters at the places, as boxes of the page and the ink in each; where there is no room none."""
    found = []
    for (x, y), tint, space in zip(spots, written, room, strict=True):
        text = percent_code(int(tint)).replace(" ", "")
        high = float(np.clip(space * rng.uniform(0.5, 1.0), 1.1 * FINE, 3.2 * FINE))
        scale, thick = high / 22.0, max(1, round(rng.uniform(0.16, 0.34) * FINE))
        (wide, tall), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_COMPLEX_SMALL | cv2.FONT_ITALIC, scale, thick)
        left, top = int(x - wide * rng.uniform(0.2, 0.8)), int(y - tall * rng.uniform(0.2, 0.8))
        rows, columns = (
            slice(max(top - 6, 0), min(top + tall + 12, size[0])),
            slice(max(left - 6, 0), min(left + wide + 6, size[1])),
        )
        letters = np.zeros((max(rows.stop - rows.start, 1), max(columns.stop - columns.start, 1)), np.uint8)
        if rng.random() < share:
            cv2.putText(
                letters, text, (left - columns.start, top + tall - rows.start),
                cv2.FONT_HERSHEY_COMPLEX_SMALL | cv2.FONT_ITALIC, scale, 255, thick, cv2.LINE_AA,
            )  # fmt: skip
        found.append(((rows, columns), letters[: rows.stop - rows.start, : columns.stop - columns.start]))
    return found


def _photographed(
    page: npt.NDArray[np.float32], labels: Labels, spots: Float, tints: npt.NDArray[np.int_],
    written: npt.NDArray[np.int_], parts: npt.NDArray[np.int_], rng: np.random.Generator,
) -> CrowdPage:  # fmt: skip
    """Reduced, slanted, unevenly lit, blurred and packed."""
    high, wide = page.shape[:2]
    dots = rng.uniform(120, 200) / 25.4
    width, height = round(PAGE_MM[0] * dots), round(PAGE_MM[1] * dots)
    corners = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32)
    slant = rng.uniform(-0.012, 0.012, (4, 2)) * width
    to = (np.array([[0, 0], [width, 0], [width, height], [0, height]]) + slant).astype(np.float32)
    turn = cv2.getPerspectiveTransform(corners, to)
    soft = cv2.GaussianBlur(page, (0, 0), 0.42 * FINE / dots)
    taken = cv2.warpPerspective(soft, turn, (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    true = cv2.warpPerspective(labels.astype(np.float32), turn, (width, height), flags=cv2.INTER_NEAREST)
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    lamp = rng.uniform(-0.7, 0.7, 2)
    light = np.exp(-rng.uniform(0.05, 0.16) * ((x - lamp[0]) ** 2 + (y - lamp[1]) ** 2))[..., None]
    tone = np.array([rng.uniform(0.8, 0.95), rng.uniform(0.78, 0.9), rng.uniform(0.62, 0.86)])
    coded = np.clip(taken * light * tone + rng.uniform(0.004, 0.02), 0, 1) ** (1 / 2.2) * 255
    noise = cv2.GaussianBlur(rng.normal(0, 1, coded.shape), (0, 0), 0.7)
    image = np.clip(coded + noise / noise.std() * rng.uniform(1.0, 3.0) + 0.5, 0, 255).astype(np.uint8)
    packed = cv2.imencode(".jpg", image[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(70, 92))])[1]
    image = np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), dtype=np.uint8)[:, :, ::-1]
    places = cv2.perspectiveTransform(spots[None].astype(np.float64), turn.astype(np.float64))[0]
    return CrowdPage(
        np.ascontiguousarray(image), np.rint(true).astype(np.int32), places, tints, written, parts, 1.0 / dots
    )
