"""Draws guides as strangers would: other shapes, textures, scribbles and scanners than ``guide_generator`` has.

Figures of ellipses and polygons stand on split panels; marker strokes overlap with sharp edges, poster paint is
ridged, screen fills are flat; codes are written in letters of our own strokes, hatching is drawn or dotted. Nothing
of this ever taught the shipped prior. All measures are our own choices (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy.ndimage import find_objects

from tests.guides.imaging.paint.guide_generator import GuidePage, percent_code
from tests.guides.imaging.paint.strange_paints import STRANGERS, FloatArray

Plane = npt.NDArray[np.float32]
Labels = npt.NDArray[np.int32]


@dataclass(frozen=True)
class Manner:
    """``texture`` marker, poster or flat; ``light`` loss of light at the far end (log); ``grain`` of 255;
    ``letters`` share of areas written upon; ``hatched`` share crossed with lines; ``turn`` degrees; ``smallest``
    share of an area's cell a figure may shrink to."""

    texture: str
    light: float = 0.15
    grain: float = 2.0
    letters: float = 0.8
    hatched: float = 0.25
    turn: float = 0.8
    smallest: float = 0.35
    jpeg: int = 82
    height: int = 1700
    margin: float = 0.04


MANNERS = {
    "marker": Manner("marker"),
    "poster": Manner("poster", light=0.25, hatched=0.4, turn=1.5, jpeg=90),
    "picker": Manner("flat", light=0.04, grain=1.0, letters=1.0, jpeg=70, turn=0.0, margin=0.02),
}


def _cells(rng: np.random.Generator, width: int, height: int, count: int, margin: float) -> list[tuple[int, ...]]:
    """Split the page until there are ``count`` boxes (left, top, right, bottom): the largest is cut, never in half."""
    edge = int(margin * width)
    boxes: list[tuple[int, ...]] = [(edge, edge, width - edge, height - edge)]
    while len(boxes) < count:
        sizes = [(r - left) * (b - t) * rng.uniform(0.5, 1.0) for left, t, r, b in boxes]
        left, top, right, bottom = boxes.pop(int(np.argmax(sizes)))
        share = rng.uniform(0.32, 0.68)
        if (right - left) * rng.uniform(0.7, 1.4) > bottom - top:
            cut = int(left + share * (right - left))
            boxes += [(left, top, cut, bottom), (cut, top, right, bottom)]
        else:
            cut = int(top + share * (bottom - top))
            boxes += [(left, top, right, cut), (left, cut, right, bottom)]
    return boxes


def _figure(rng: np.random.Generator, box: tuple[int, ...], smallest: float) -> npt.NDArray[np.int32]:
    """An ellipse, a blunt star or a polygon within a box, as points (n, 2)."""
    left, top, right, bottom = box
    middle = np.array([(left + right) / 2, (top + bottom) / 2])
    reach = np.array([right - left, bottom - top]) / 2 * rng.uniform(smallest, 0.85)
    turns = np.linspace(0, 2 * np.pi, int(rng.choice([5, 7, 40])), endpoint=False) + rng.uniform(0, 6)
    bulge = 1 + (0.25 * rng.normal(size=len(turns)) if len(turns) < 20 else 0.15 * np.sin(3 * turns))
    ring = np.stack([np.cos(turns), np.sin(turns)], axis=1) * np.clip(bulge, 0.5, 1.2)[:, None]
    return np.asarray(middle + ring * reach, dtype=np.int32)


def _draw(
    rng: np.random.Generator, width: int, height: int, count: int, manner: Manner
) -> tuple[Labels, npt.NDArray[np.uint8]]:
    """Labels (h, w), 0 the margin, and the line art (h, w): every cell is ground, and most hold a figure."""
    labels, lines = np.zeros((height, width), np.int32), np.zeros((height, width), np.uint8)
    figures = count * 2 // 5
    boxes = _cells(rng, width, height, count - figures, manner.margin)
    pen = max(2, round(width / 500))
    for place, (left, top, right, bottom) in enumerate(boxes):
        labels[top:bottom, left:right] = place + 1
        cv2.rectangle(lines, (left, top), (right, bottom), 255, pen if rng.random() < 0.6 else 2 * pen)
    big = np.argsort([-(r - left) * (b - t) for left, t, r, b in boxes])[:figures]
    for number, place in enumerate(big):
        shape = _figure(rng, boxes[int(place)], manner.smallest)
        cv2.fillPoly(labels, [shape], len(boxes) + number + 1)
        cv2.polylines(lines, [shape], True, 255, int(rng.integers(pen, 2 * pen + 1)), cv2.LINE_AA)
    return labels, lines


def _inside(
    labels: Labels, area: int, box: tuple[slice, ...], rng: np.random.Generator
) -> tuple[float, float, float]:
    """A place (x, y) in an area, known to lie in a box of the page, and its distance from the area's edge."""
    top, left = box[0].start, box[1].start
    patch = np.pad((labels[box] == area).astype(np.uint8), 1)
    room = cv2.distanceTransform(patch, cv2.DIST_L2, 3)[1:-1, 1:-1]
    y, x = rng.permutation(np.argwhere(room >= room.max() * rng.uniform(0.5, 0.95)))[0]
    return float(left + x), float(top + y), float(room[y, x])


def _strokes(rng: np.random.Generator, shape: tuple[int, int], pitch: float) -> Plane:
    """Marker passes (h, w): every pass a band of its own strength, twice as dense where two overlap."""
    height, width = shape
    across = np.arange(height)[:, None] * np.cos(turn := rng.uniform(-0.4, 0.4)) + np.arange(width) * np.sin(turn)
    wobble = 3.0 * np.sin(np.arange(width) / rng.uniform(90, 200) + rng.uniform(0, 6))
    at = (across + wobble + 2 * width) / pitch
    band = at.astype(int)
    strength = 1 + 0.05 * rng.normal(size=int(band.max()) + 2)
    return np.asarray(strength[band] + 0.16 * ((at - band) < rng.uniform(0.06, 0.16)), dtype=np.float32)


def _ridges(rng: np.random.Generator, shape: tuple[int, int], scale: float) -> Plane:
    """Relief of a bristle brush (h, w) about 1: fine ridges that bend, lit from one side."""
    small = rng.normal(size=(shape[0] // 2 + 1, shape[1] // 24 + 2)).astype(np.float32)
    field = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    field = cv2.GaussianBlur(field, (0, 0), 0.8 * scale)
    return np.asarray(1 + 0.05 * field / field.std(), dtype=np.float32)


def _scrawl(
    target: npt.NDArray[np.uint8], at: tuple[float, float], text: str, size: float, rng: np.random.Generator
) -> None:
    """Letters of crooked strokes: each a few points of its box joined, none alike twice."""
    x = at[0] - len(text) * size * 0.35
    for _ in text:
        points = np.array([[x, at[1]]]) + rng.uniform(-0.5, 0.5, (int(rng.integers(3, 6)), 2)) * [size * 0.6, size]
        bent = cv2.approxPolyDP(points.astype(np.float32), 0.5, False).astype(np.int32)
        cv2.polylines(target, [bent], False, 255, max(1, round(size / 9)), cv2.LINE_AA)
        x += size * 0.7


def _coat(paint: Plane, labels: Labels, manner: Manner, rng: np.random.Generator) -> Plane:
    """Linear light (h, w, 3) of the paint with its texture."""
    shape = labels.shape
    unit = shape[0] / 1700
    if manner.texture == "flat":
        soft = cv2.GaussianBlur(
            rng.normal(size=(shape[0] // 40 + 1, shape[1] // 40 + 1)).astype(np.float32), (0, 0), 2
        )
        return (
            paint * (1 + 0.02 * cv2.resize(soft / soft.std(), shape[::-1], interpolation=cv2.INTER_CUBIC))[..., None]
        )
    if manner.texture == "poster":
        lit = paint * _ridges(rng, shape, unit)[..., None]
        thin = (rng.random(int(labels.max()) + 1) < 0.2)[labels] & (_ridges(rng, shape, 3 * unit) > 1.08)
        return np.where(thin[..., None], 0.75 * lit + 0.25, lit)
    passes = [_strokes(rng, shape, rng.uniform(14, 26) * unit) for _ in range(2)]
    density = np.where((rng.random(int(labels.max()) + 1) < 0.5)[labels], *passes)
    return np.asarray(np.exp(np.log(np.clip(paint, 1e-3, None)) * density[..., None]))


def stranger_page(kind: str, seed: int, marks: int = 80, height: int | None = None) -> GuidePage:
    """One guide by a new hand of that kind (``STRANGERS``), as it comes from the scanner."""
    rng = np.random.default_rng([seed, 77])
    manner = MANNERS[kind]
    height = height or manner.height
    width, unit = round(height * 0.68), height / 1700
    hand = STRANGERS[kind](rng)
    palette = rng.choice(64, int(rng.integers(20, 50)), replace=False)
    tints = rng.choice(palette, marks)
    colour = hand(tints, rng).astype(np.float32)
    labels, lines = _draw(rng, width, height, marks, manner)
    page: Plane = _coat(np.concatenate([np.ones((1, 3), np.float32), colour])[labels], labels, manner, rng)
    page[labels == 0] = 1.0
    dark, white = np.zeros((height, width), np.uint8), np.zeros((height, width), np.uint8)
    places, boxes = np.zeros((marks, 2)), find_objects(labels)
    for area in range(marks):
        x, y, room = _inside(labels, area + 1, boxes[area], rng)
        places[area] = x, y
        if rng.random() < manner.letters:
            pencil = white if colour[area].max() < 0.35 else dark
            size = float(np.clip(room * rng.uniform(0.4, 0.9), 9 * unit, 34 * unit))
            _scrawl(
                pencil,
                (x + rng.normal(0, size), y + rng.normal(0, size / 2)),
                percent_code(int(tints[area])),
                size,
                rng,
            )
        if rng.random() < manner.hatched:
            pitch, slope = rng.uniform(7, 13) * unit, rng.uniform(-1, 1)
            for line in range(-3, 4):
                start = (int(x - room), int(y + line * pitch - slope * room))
                cv2.line(
                    lines,
                    start,
                    (int(x + room), int(y + line * pitch + slope * room)),
                    255,
                    max(1, round(1.6 * unit)),
                )
    grey = rng.uniform(0.1, 0.35, 3).astype(np.float32)
    strength = rng.uniform(0.45, 0.95)
    for layer, tone in ((dark, grey), (white, np.full(3, 0.88, np.float32))):
        cover = np.float32(strength) * (layer / np.float32(255))[..., None]
        page = (page * (1 - cover) + cover * (tone * page if layer is dark else tone)).astype(np.float32)
    page = page * (1 - 0.97 * (cv2.GaussianBlur(lines, (0, 0), 0.7 * unit) / np.float32(255))[..., None])
    return _scan(page, places, tints, colour, manner, rng)


def _scan(
    page: Plane,
    places: FloatArray,
    tints: npt.NDArray[np.int_],
    colour: Plane,
    manner: Manner,
    rng: np.random.Generator,
) -> GuidePage:
    """Paper tone, a lamp along one side, a lid that bends the tone, a turn, grain and JPEG."""
    height, width = page.shape[:2]
    tone = np.array([rng.uniform(0.86, 0.99), rng.uniform(0.82, 0.96), rng.uniform(0.68, 0.92)], np.float32)
    way = rng.normal(size=2)
    slope = (np.linspace(-1, 1, width) * way[0] + np.linspace(-1, 1, height)[:, None] * way[1]) / np.abs(way).sum()
    page = page * (tone * np.exp(-manner.light * (slope + 1) / 2)[..., None]).astype(np.float32)
    page = np.clip(page, 0, 1) ** np.float32(rng.uniform(0.9, 1.12)) * np.float32(0.985) + np.float32(
        rng.uniform(0, 0.012)
    )
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), rng.uniform(-1, 1) * manner.turn, 1.0)
    page = cv2.warpAffine(page, turn, (width, height), borderMode=cv2.BORDER_REPLICATE)
    coded = np.where(page <= 0.0031308, 12.92 * page, 1.055 * np.clip(page, 1e-6, None) ** (1 / 2.4) - 0.055) * 255
    noise = cv2.GaussianBlur(rng.normal(0, 1, page.shape).astype(np.float32), (0, 0), 0.6)
    image = np.clip(coded + noise / noise.std() * manner.grain + 0.5, 0, 255).astype(np.uint8)
    packed = cv2.imencode(".jpg", image[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, manner.jpeg])[1]
    image = np.ascontiguousarray(np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), dtype=np.uint8)[:, :, ::-1])
    listed = [
        {"id": f"s{number + 1:03d}", "x": round(float(x), 1), "y": round(float(y), 1), "code": percent_code(int(tint)),
         "gradient": False}
        for number, ((x, y), tint) in enumerate(zip(places @ turn[:, :2].T + turn[:, 2], tints, strict=True))
    ]  # fmt: skip
    return GuidePage(image, listed, tints, colour.astype(np.float64), None)
