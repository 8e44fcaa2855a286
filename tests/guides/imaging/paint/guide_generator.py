"""Draws synthetic colour guides: panels of painted areas under line art, with all that fools a reader of paint.

A page holds brush streaks, wet edges, gaps beside the ink lines, hatching, codes scribbled right on the areas (white
pencil on dark paint), lamp falloff, paper tone, dust, rotation and scanner noise. The tint of every mark is known.
All sizes are fractions of the page's width and our own choice (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from bible.colour.charts import CHART_64
from tests.guides.imaging.paint.paint_hands import EASY, Difficulty, FloatArray, Hand, make_hand

Image = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class PageStyle:
    """How bad the page is. ``streak`` and ``falloff`` are log units, ``noise`` sRGB units of 255;
    ``bleed`` pages have no bare margin and hardly a gutter; ``uniform`` ones use all 64 tints alike."""

    width: int = 1240
    marks: int = 80
    streak: float = 0.07
    falloff: float = 0.10
    noise: float = 1.5
    scribble: float = 1.0
    hatching: float = 0.25
    gaps: float = 0.25
    tilt: float = 0.6
    dust: int = 60
    gradients: float = 0.05
    jpeg: int = 0
    uniform: bool = False
    bleed: bool = False


EASY_PAGE = PageStyle()
HARD_PAGE = PageStyle(
    streak=0.13, falloff=0.25, noise=3.0, scribble=1.6, hatching=0.5, gaps=0.5, tilt=1.5, dust=250, jpeg=88
)


@dataclass(frozen=True, eq=False)
class GuidePage:
    """``image`` (h, w, 3) uint8 sRGB; ``marks`` as the command reads them, with their true codes in percent form;
    ``painted`` (n, 3) the areas' mean linear RGB relative to paper before light, streaks and scanner."""

    image: Image
    marks: list[dict[str, Any]]
    tints: npt.NDArray[np.int_]
    painted: FloatArray
    hand: Hand | None = field(repr=False)

    def save(self, path: Path) -> Path:
        cv2.imwrite(str(path), self.image[:, :, ::-1])
        return path


def percent_code(tint: int) -> str:
    """``C25 M50``: percentages with the inks left out that are not there; ``W`` for paper."""
    pieces = [f"{ink}{int(p)}" for ink, p in zip("CMYK", CHART_64.array[tint], strict=True) if p]
    return " ".join(pieces) or "W"


def draw_tints(count: int, rng: np.random.Generator, *, uniform: bool) -> npt.NDArray[np.int_]:
    """Places on the chart: all alike, or a page's palette of 16-40 tints used unevenly."""
    if uniform:
        return rng.integers(0, len(CHART_64), count)
    size = int(rng.integers(16, 40))
    palette = rng.choice(len(CHART_64), size, replace=False)
    return rng.choice(palette, count, p=rng.dirichlet(np.full(size, 2.0)))


def _smooth(shape: tuple[int, int], across: float, along: float, rng: np.random.Generator) -> FloatArray:
    """A noise field (h, w) of unit spread, blurred by ``across`` rows and ``along`` columns."""
    shrink = max(1, int(min(across, along) / 2))
    small = rng.normal(size=(shape[0] // shrink + 2, shape[1] // shrink + 2)).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), sigmaX=along / shrink, sigmaY=across / shrink)
    big = cv2.resize(small / small.std(), (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(big, dtype=np.float32)


def _layout(
    shape: tuple[int, int], count: int, rng: np.random.Generator, bleed: bool
) -> tuple[npt.NDArray[np.int32], Image]:
    """Labels (h, w): 0 gutter, 1..count areas; and the ink lines as a mask."""
    height, width = shape
    unit = width / 1240
    margin, gutter = (0, int(4 * unit)) if bleed else (int(60 * unit), int(22 * unit))
    rows = int(rng.integers(3, 5))
    edges = np.linspace(margin, height - margin, rows + 1) + np.r_[0, rng.uniform(-40, 40, rows - 1) * unit, 0]
    boxes = []
    for top, bottom in pairwise(edges):
        columns = int(rng.integers(1, 4))
        cuts = np.linspace(margin, width - margin, columns + 1)
        cuts[1:-1] += rng.uniform(-60, 60, columns - 1) * unit
        for left, right in pairwise(cuts):
            boxes.append(
                (int(top) + gutter // 2, int(bottom) - gutter // 2, int(left) + gutter // 2, int(right) - gutter // 2)
            )
    sizes = np.array([(low - high) * (right - left) for high, low, left, right in boxes], dtype=float)
    share = np.maximum(1, np.floor(sizes / sizes.sum() * count)).astype(int)
    while share.sum() < count:
        share[int(np.argmax(sizes / share))] += 1
    while share.sum() > count:
        share[int(np.argmax(share))] -= 1
    labels = np.zeros(shape, np.int32)
    lines = np.zeros(shape, np.uint8)
    bend_x, bend_y = (_smooth(shape, 40 * unit, 40 * unit, rng) * 14 * unit for _ in range(2))
    grid_y, grid_x = np.mgrid[0:height, 0:width].astype(np.float32)
    pen = max(1, round(2.6 * unit))
    done = 0
    for (top, bottom, left, right), number in zip(boxes, share, strict=True):
        here = np.s_[top:bottom, left:right]
        points = np.stack([rng.uniform(left, right, number * 3), rng.uniform(top, bottom, number * 3)], 1)
        chosen = [0]
        for _ in range(number - 1):  # far from one another, so that no area is a sliver
            gap = np.min(np.linalg.norm(points[:, None] - points[chosen][None], axis=2), axis=1)
            chosen.append(int(np.argmax(gap * rng.uniform(0.5, 1.0, len(gap)))))
        weight = rng.uniform(0.0, 30.0 * unit, number)
        best = np.full((bottom - top, right - left), np.inf, np.float32)
        for index, point in enumerate(points[chosen]):
            away = (
                np.hypot(grid_x[here] + bend_x[here] - point[0], grid_y[here] + bend_y[here] - point[1])
                - weight[index]
            )
            closer = away < best
            labels[here][closer] = done + index + 1
            best = np.where(closer, away, best)
        done += number
        cv2.rectangle(lines, (left, top), (right, bottom), 255, pen + 1)
    borders = np.zeros(shape, np.uint8)
    borders[:, 1:] |= ((labels[:, 1:] != labels[:, :-1]) * 255).astype(np.uint8)
    borders[1:] |= ((labels[1:] != labels[:-1]) * 255).astype(np.uint8)
    borders = cv2.dilate(borders, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (pen, pen)))
    return labels, cv2.GaussianBlur(np.maximum(lines, borders), (0, 0), 0.6 * unit + 0.2)


def _places(labels: npt.NDArray[np.int32], count: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """A mark (count, 2) x, y well inside each area but seldom in its middle, and the room around it."""
    marks, room = np.zeros((count, 2)), np.zeros(count)
    for index in range(count):
        ys, xs = np.nonzero(labels[::4, ::4] == index + 1)
        if not len(ys):
            continue
        top, left = ys.min() * 4, xs.min() * 4
        patch = (labels[top : ys.max() * 4 + 4, left : xs.max() * 4 + 4] == index + 1).astype(np.uint8)
        inside = cv2.distanceTransform(np.pad(patch, 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
        deep = np.argwhere(inside > inside.max() * rng.uniform(0.45, 0.9))
        y, x = deep[int(rng.integers(len(deep)))]
        marks[index], room[index] = (left + x, top + y), inside[y, x]
    return marks, room


def _write(lines: Image, x: float, y: float, text: str, size: float, rng: np.random.Generator) -> None:
    """Handwriting: a wobbly stroke font around (x, y)."""
    pen = max(1, round(size * 2.2))
    (wide, tall), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SCRIPT_SIMPLEX, size, pen)
    corner = (int(x - wide * rng.uniform(0.3, 0.7)), int(y + tall * rng.uniform(0.2, 0.8)))
    cv2.putText(lines, text, corner, cv2.FONT_HERSHEY_SCRIPT_SIMPLEX, size, 255, pen, cv2.LINE_AA)
    if rng.random() < 0.3:
        end = (int(x + rng.normal(0, 60 * size)), int(y + rng.normal(0, 60 * size)))
        cv2.arrowedLine(lines, corner, end, 255, pen, cv2.LINE_AA)


def make_page(
    family: str, seed: int, style: PageStyle = EASY_PAGE, difficulty: Difficulty = EASY, hand: Hand | None = None
) -> GuidePage:
    """One guide by a new hand of that family (or by ``hand``), upright portrait 1 : 1.4."""
    rng = np.random.default_rng(seed)
    hand = hand or make_hand(family, rng)
    height, width = int(style.width * 1.4), style.width
    unit = width / 1240
    tints = draw_tints(style.marks, rng, uniform=style.uniform)
    labels, ink = _layout((height, width), style.marks, rng, style.bleed)
    marks, room = _places(labels, style.marks, rng)
    colour = np.vstack([np.ones(3), hand.paint(tints, rng, difficulty)]).astype(np.float32)
    other = np.vstack([np.ones(3), hand.paint(rng.permutation(tints), rng, difficulty)]).astype(np.float32)
    graded = rng.random(style.marks + 1) < style.gradients
    graded[0] = False

    paint = np.log(colour[labels])
    if graded.any():
        ramp = np.zeros((height, width, 1), np.float32)
        rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
        for area in np.flatnonzero(graded):  # from the mark's own tint onwards
            here, (x, y), turn = labels == area, marks[area - 1], rng.uniform(0, 2 * np.pi)
            along = (columns[here] - x) * np.cos(turn) + (rows[here] - y) * np.sin(turn)
            ramp[here, 0] = np.clip(rng.uniform(0.0, 0.15) + along / (110 * unit), 0, 1)
        where = graded[labels][..., None]
        paint = np.where(where, (1 - ramp) * paint + ramp * np.log(other[labels]), paint)
    textures = np.stack(
        [_smooth((height, width), 2.5 * unit, 60 * unit, rng), _smooth((height, width), 60 * unit, 2.5 * unit, rng)]
    )
    way = rng.integers(0, 2, style.marks + 1)[labels]
    streak = np.where(way == 0, textures[0], textures[1]) * style.streak
    streak += _smooth((height, width), 25 * unit, 25 * unit, rng) * style.streak * 0.35
    borders = (ink > 60).astype(np.uint8)
    edge = cv2.distanceTransform(1 - borders, cv2.DIST_L2, 3)
    streak += style.streak * 1.2 * np.exp(-edge / (4 * unit))  # paint dries darker at its edge
    paint *= (1.0 + streak)[..., None]
    bare = (edge < _smooth((height, width), 12 * unit, 12 * unit, rng) * 3 * unit) & (
        rng.random(style.marks + 1)[labels] < style.gaps
    )
    paint[bare] = 0.0
    page = np.exp(paint)

    dark, white = np.zeros((height, width), np.uint8), np.zeros((height, width), np.uint8)
    for (x, y), space, tint, place in zip(marks, room, tints, range(style.marks), strict=True):
        level = float(colour[place + 1] @ np.array([0.3, 0.6, 0.1]))
        size = max(0.25, min(0.75, space / (45 * unit))) * unit * rng.uniform(0.7, 1.1)
        target = white if level < rng.uniform(0.12, 0.25) else dark
        if rng.random() < 0.75 * style.scribble:
            _write(target, x, y, percent_code(int(tint)).replace(" ", ""), size, rng)
        if rng.random() < style.hatching:
            step, start = rng.normal(0, 1, 2), np.array([x, y]) + rng.normal(0, space * 0.5, 2)
            for line in range(int(rng.integers(3, 9))):
                a = start + step[::-1] * line * 6 * unit * np.array([1, -1])
                b = a + step / np.linalg.norm(step) * space * 1.2
                cv2.line(
                    ink, a.astype(int).tolist(), b.astype(int).tolist(), 255, max(1, round(1.8 * unit)), cv2.LINE_AA
                )
    pencil = np.float32(rng.uniform(0.5, 0.9)) * (dark / np.float32(255))[..., None]
    page *= 1 - pencil * (1 - np.array(rng.choice([0.08, 0.15, 0.25]) * rng.uniform(0.6, 1.2, 3), np.float32))
    chalk = np.float32(rng.uniform(0.55, 0.9)) * (white / np.float32(255))[..., None]
    page = page * (1 - chalk) + chalk * np.float32(0.92)
    page *= 1 - (ink / np.float32(255))[..., None] * np.float32(rng.uniform(0.95, 0.985))

    for _ in range(style.dust):
        spot = (int(rng.integers(width)), int(rng.integers(height)))
        shade = float(rng.choice([0.05, 0.3, 1.05]))
        cv2.circle(page, spot, int(rng.uniform(0.5, 2.5) * unit), (shade, shade, shade), -1, cv2.LINE_AA)
    tone = np.exp(-rng.uniform([0.0, 0.01, 0.04], [0.08, 0.12, 0.28])).astype(np.float32)
    lamp = rng.uniform(0, 1, 2) * (width, height)
    ys, xs = np.mgrid[0:height, 0:width].astype(np.float32)
    far = ((xs - lamp[0]) ** 2 + (ys - lamp[1]) ** 2) / np.float32(width**2 + height**2)
    page *= np.exp(-style.falloff * far / far.max())[..., None] * tone * np.float32(rng.uniform(0.88, 0.97))
    angle = rng.uniform(-style.tilt, style.tilt)
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), angle, 1.0)
    page = cv2.warpAffine(page, turn, (width, height), borderValue=tuple(float(v) * 0.9 for v in tone))
    coded = np.where(page <= 0.0031308, 12.92 * page, 1.055 * np.clip(page, 1e-6, None) ** (1 / 2.4) - 0.055)
    grain = rng.integers(0, 997)
    coded = coded * 255 + np.resize(rng.normal(0, style.noise, 1_000_003 + grain), coded.shape)
    image = np.clip(coded + 0.5, 0, 255).astype(np.uint8)
    if style.jpeg:
        packed = cv2.imencode(".jpg", image[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, style.jpeg])[1]
        image = np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), dtype=np.uint8)[:, :, ::-1]
    turned = marks @ turn[:, :2].T + turn[:, 2]
    listed = [
        {
            "id": f"m{i + 1:03d}",
            "x": round(float(x), 1),
            "y": round(float(y), 1),
            "code": percent_code(int(t)),
            "gradient": bool(graded[i + 1]),
        }
        for i, ((x, y), t) in enumerate(zip(turned, tints, strict=True))
    ]
    return GuidePage(np.ascontiguousarray(image), listed, tints, colour[1:].astype(np.float64), hand)
