"""Where writing stands on a page: boxes turned as the writing is, and what kind of writing it seems to be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.writing.crops import Place
from guides.imaging.writing.models import run

Floats = npt.NDArray[np.float32]
Picture = npt.NDArray[np.uint8]

LONG_SIDE = 1600
"""Pixels of the page's long side as the finder sees it: some 150 dots an inch of a reduced copy."""

STRIDE, DEEPEST = 4, 32
REACH = 16.0
"""The network says distances as logarithms of so many pixels, one set for every square of ``STRIDE``; at its deepest
it sees squares of ``DEEPEST``."""

HEART = 0.45
"""Chance from which a square is taken for the heart of a word."""

FEWEST = 0.55
"""A word's best square is at least this sure."""

UNITED = 0.5
"""Squares of one heart whose boxes' middles lie within so many heights of each other speak of one word."""

AGREED = 0.6
"""Boxes that share so much of their union are the same word's."""

FRINGE, FEWEST_SQUARES = 0.12, 4
"""Smaller shares of a heart, and fewer squares, are no word of their own."""

MOST_SEEDS = 200
"""Squares of a heart that are asked for the box of a word at most."""

SAME = 0.5
"""Two boxes that share so much of the smaller one are one word."""

PIECE = 0.12
"""Two boxes along one line of writing that share so much of the smaller one are pieces of one word."""

SQUARE = 8
"""Side in pixels of the squares that are looked at for bare edges, which the network need not see."""

BARE, NOISE = 14.0, 1.5
"""Grey levels within a square from which it is not bare, and so many times what the quietest tenth of them have."""

ROOM = 32
"""Pixels left around what is drawn: writing begins a little before its strokes are seen."""

KINDS = ("code", "other", "crossed out", "unreadable")


@dataclass(frozen=True, slots=True)
class Found:
    """Writing on a page: its place in pixels of the page as given, how sure (0-1), the chances of ``KINDS``."""

    place: Place
    sure: float
    kinds: tuple[float, float, float, float]


def find(net: Any, page: Picture) -> list[Found]:
    """All writing on a page (h, w, 3) sRGB, from the top."""
    factor = min(1.0, LONG_SIDE / max(page.shape[:2]))
    small = page
    if factor < 1.0:
        size = (max(1, round(page.shape[1] * factor)), max(1, round(page.shape[0] * factor)))
        small = np.asarray(cv2.resize(page, size, interpolation=cv2.INTER_AREA), np.uint8)
    top, bottom, left, right = drawn_on(small)
    if bottom <= top:
        return []
    items = words(run(net, _batch(small[top:bottom, left:right]))[0], (bottom - top, right - left))
    kept = [
        Found(_moved(item.place, left, top).scaled(1 / factor), item.sure, item.kinds) for item in _each_once(items)
    ]
    return sorted(kept, key=lambda item: (item.place.y, item.place.x))


def drawn_on(page: Picture) -> tuple[int, int, int, int]:
    """Top, bottom, left, right of what is not bare at a page's edges, in pixels; 0, 0, 0, 0 for a bare page."""
    height, width = page.shape[0] // SQUARE * SQUARE, page.shape[1] // SQUARE * SQUARE
    if min(height, width) < 2 * ROOM:
        return 0, page.shape[0], 0, page.shape[1]
    green = page[:height, :width, 1].reshape(height // SQUARE, SQUARE, width // SQUARE, SQUARE)
    ranges = (green.max(axis=(1, 3)) - green.min(axis=(1, 3))).astype(np.float64)
    busy = ranges > max(BARE, NOISE * float(np.percentile(ranges, 10)))
    rows, columns = np.flatnonzero(busy.any(axis=1)), np.flatnonzero(busy.any(axis=0))
    if not len(rows):
        return 0, 0, 0, 0
    top, left = max(rows[0] * SQUARE - ROOM, 0), max(columns[0] * SQUARE - ROOM, 0)
    bottom = page.shape[0] if rows[-1] == len(busy) - 1 else (rows[-1] + 1) * SQUARE + ROOM
    right = page.shape[1] if columns[-1] == busy.shape[1] - 1 else (columns[-1] + 1) * SQUARE + ROOM
    return int(top), int(min(bottom, page.shape[0])), int(left), int(min(right, page.shape[1]))


def _moved(place: Place, right: float, down: float) -> Place:
    return Place(place.x + right, place.y + down, place.wide, place.high, place.turn)


def _batch(page: Picture) -> Floats:
    """As the network takes it: (1, 3, h, w) about -2 to 2, sides filled to multiples of ``DEEPEST`` with the edge."""
    height, width = page.shape[:2]
    filled = cv2.copyMakeBorder(page, 0, -height % DEEPEST, 0, -width % DEEPEST, cv2.BORDER_REPLICATE)
    return np.ascontiguousarray((filled.astype(np.float32).transpose(2, 0, 1)[None] - 128) / 64)


def words(answer: Floats, shape: tuple[int, ...]) -> list[Found]:
    """Words from the network's answer (10, h/4, w/4) on a page of ``shape``: hearts hang together, every square of
    one has its say about the edges, the more the nearer it lies. Where the squares of one heart speak of several
    boxes, words run into each other there and are parted."""
    heart = 1 / (1 + np.exp(-answer[0]))
    _, labels = cv2.connectedComponents((heart > HEART).astype(np.uint8), connectivity=8)
    ys, xs = np.nonzero(labels)
    if not len(ys):
        return []
    word, sure = labels[ys, xs] - 1, heart[ys, xs]
    turn = _mean(answer[9, ys, xs], sure, word)[word]
    cos, sin = np.cos(turn), np.sin(turn)
    x, y = (xs + 0.5) * STRIDE, (ys + 0.5) * STRIDE
    along, down = x * cos + y * sin, y * cos - x * sin
    far = np.exp(np.clip(answer[5:9, ys, xs], -4, 4)) * REACH
    sides = np.stack([along - far[0], along + far[1], down - far[2], down + far[3]])
    word = _parted(word, sure, sides)
    left, right, top, bottom = (_mean(sides[n], sure / (far[n] + 4) ** (2 if n < 2 else 1), word) for n in range(4))
    kinds = np.exp(answer[1:5, ys, xs] - answer[1:5, ys, xs].max(axis=0))
    kinds = np.stack([_mean(kind, sure, word) for kind in kinds / kinds.sum(axis=0)])
    best = np.zeros(len(left))
    np.maximum.at(best, word, sure)
    turn = _mean(turn, sure, word)
    cos, sin = np.cos(turn), np.sin(turn)
    middle, level = (left + right) / 2, (top + bottom) / 2
    boxes = (middle * cos - level * sin, middle * sin + level * cos, right - left, bottom - top, turn)
    return [
        Found(Place(*box), float(best[i]), tuple(kinds[:, i].tolist()))
        for i, box in enumerate(np.stack(boxes, axis=1).tolist())
        if best[i] > FEWEST and min(box[2], box[3]) > 3 and _on_page(box, shape)
    ]


def _mean(values: Floats, weights: Floats, word: npt.NDArray[np.intp]) -> npt.NDArray[np.float64]:
    return np.asarray(np.bincount(word, values * weights) / np.maximum(np.bincount(word, weights), 1e-9))


def _parted(word: npt.NDArray[np.intp], sure: Floats, sides: Floats) -> npt.NDArray[np.intp]:
    """Numbers of words for squares of hearts ``word``: those that speak of one box are one word's, and each of the
    others goes to the word whose box is most like its own."""
    order = np.argsort(word, kind="stable")
    starts = np.flatnonzero(np.diff(word[order], prepend=-1))
    middles = np.stack([sides[:2].mean(axis=0), sides[2:].mean(axis=0)])[:, order]
    spread = np.maximum.reduceat(middles, starts, axis=1) - np.minimum.reduceat(middles, starts, axis=1)
    doubtful = (spread > UNITED * _mean(sides[3] - sides[2], sure, word)).any(axis=0)
    parts, number, hearts = word.copy(), len(starts), np.split(order, starts[1:])
    for here in (hearts[heart] for heart in np.flatnonzero(doubtful)):
        boxes = sides[:, here[_seeds(sides[:, here], sure[here])]]
        nearest = _alike(sides[:, here], boxes).argmax(axis=1)
        parts[here[nearest > 0]] = number + nearest[nearest > 0] - 1
        number += boxes.shape[1] - 1
    return parts


def _seeds(sides: Floats, sure: Floats) -> list[int]:
    """Squares of one heart whose boxes stand for its words: each that with which most of the others agree."""
    asked = np.arange(0, len(sure), max(1, len(sure) // MOST_SEEDS))
    agree = _alike(sides[:, asked], sides[:, asked]) > AGREED
    left, seeds = np.ones(len(asked), bool), list[int]()
    while left.any():
        votes = np.where(left, (agree & left) @ sure[asked], -1.0)
        best = int(votes.argmax())
        if seeds and (agree[best] & left).sum() < max(FRINGE * len(asked), FEWEST_SQUARES):
            break
        seeds.append(int(asked[best]))
        left &= ~agree[best]
        left[best] = False
    return seeds


def _alike(some: Floats, others: Floats) -> Floats:
    """Intersection over union of boxes (4, n) with boxes (4, m), left, right, top and bottom: (n, m)."""
    first, second = some[:, :, None], others[:, None]
    wide = np.minimum(first[1], second[1]) - np.maximum(first[0], second[0])
    high = np.minimum(first[3], second[3]) - np.maximum(first[2], second[2])
    common = np.maximum(wide, 0) * np.maximum(high, 0)
    areas = [(box[1] - box[0]) * (box[3] - box[2]) for box in (first, second)]
    return np.asarray(common / (areas[0] + areas[1] - common + 1e-6), np.float32)


def _on_page(place: Sequence[float], shape: tuple[int, ...]) -> bool:
    return -2 < place[0] < shape[1] + 2 and -2 < place[1] < shape[0] + 2


def _each_once(items: list[Found]) -> list[Found]:
    """Without words that lie in another, surer or larger one; pieces of one line that run into each other are one."""
    kept: list[Found] = []
    for item in sorted(items, key=lambda f: -f.sure * np.sqrt(f.place.wide * f.place.high)):
        for number, other in enumerate(kept):
            part = shared(item.place, other.place)
            if part > PIECE and _in_line(item.place, other.place):
                kept[number] = Found(both(other.place, item.place), other.sure, other.kinds)
                break
            if part > SAME:
                break
        else:
            kept.append(item)
    return kept


def _in_line(first: Place, second: Place) -> bool:
    """Whether two boxes lie along one line of writing."""
    down = (second.x - first.x) * -np.sin(first.turn) + (second.y - first.y) * np.cos(first.turn)
    high = min(first.high, second.high)
    alike = max(first.high, second.high) < 1.6 * high and abs(first.turn - second.turn) < 0.2
    return bool(alike and abs(down) < 0.35 * high)


def both(first: Place, second: Place) -> Place:
    """The box along ``first``'s axes that holds both."""
    cos, sin = np.cos(first.turn), np.sin(first.turn)
    corners = np.concatenate([first.corners(), second.corners()]) - (first.x, first.y)
    along, down = corners @ (cos, sin), corners @ (-sin, cos)
    a, d = (along.min() + along.max()) / 2, (down.min() + down.max()) / 2
    x, y = first.x + cos * a - sin * d, first.y + sin * a + cos * d
    return Place(float(x), float(y), float(np.ptp(along)), float(np.ptp(down)), first.turn)


def shared(first: Place, second: Place) -> float:
    """How much two boxes share, as a part of the smaller one."""
    reach = (first.wide + first.high + second.wide + second.high) / 2
    if abs(first.x - second.x) > reach or abs(first.y - second.y) > reach:
        return 0.0
    return _overlap(first, second) / max(min(first.wide * first.high, second.wide * second.high), 1e-6)


def union_share(first: Place, second: Place) -> float:
    """Intersection over union of two turned boxes."""
    common = _overlap(first, second)
    return common / max(first.wide * first.high + second.wide * second.high - common, 1e-6)


def _overlap(first: Place, second: Place) -> float:
    boxes = [((p.x, p.y), (p.wide, p.high), float(np.degrees(p.turn))) for p in (first, second)]
    _, corners = cv2.rotatedRectangleIntersection(*boxes)
    return float(cv2.contourArea(cv2.convexHull(corners))) if corners is not None and len(corners) > 2 else 0.0
