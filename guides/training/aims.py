"""What the network that follows lines learns from: views of made pages, each with the area that its code means.

The truth is the map of the page before anything was written on it.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from multiprocessing.process import BaseProcess
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.page_map import PageMap
from guides.imaging.page.reading import read_page_map
from guides.imaging.writing.aiming import filled
from guides.imaging.writing.sights import CELL, CELLS, CHANNELS, FAR, NEAR, SIDE, FloatArray, View, view_of
from guides.training.grounds import drawn, panels, sheet, worn
from guides.training.hands import WritingHand
from guides.training.judging import PAGE_MM, chart_code, grown
from guides.training.media import Picture
from guides.training.pointers import WAYS, PointedWord, Spot, pointed_page
from guides.training.quilts import quilt
from guides.training.stream import shared, some_hands
from guides.training.texts import Style

Plane = npt.NDArray[np.uint8]

SHARES = (0.36, 0.38, 0.12, 0.07, 0.07)
"""How often each of ``WAYS`` is learnt."""

ANY = Style("letters", "BRYK", "W", (2, 1, 0), ("", "3", "2"), 0.0, False, False)
"""How letters stand for inks: the classic chart's codes ask for nothing else."""

CODES = 44
"""Most codes written on a page."""

FEWEST_SPOTS = 4
"""Areas without which a ground is passed over."""

WRITINGS = 3
"""Pages written on one ground: its map takes longer than they do."""

FAR_SHARE = 0.25
"""Share of the views that show more around, in smaller letters."""

MOST_ROOM = 14.0
"""Pixels of free paint that no spot needs more of."""

FIRST, SECOND, LINE = 1, 2, 4
"""Bits of a cell: it lies in the first area meant, in the second, on one of the code's own lines."""

LEFT_OUT = 0.06
"""Share of the other codes whose boxes are not shown: the finder misses some."""


@dataclass(frozen=True, eq=False)
class Aim:
    """A view, its cells' bits (CELLS, CELLS), the two places meant in cells (2, 2), twice the same where it is one,
    and the way in which the code is written."""

    view: View
    cells: Plane
    spots: npt.NDArray[np.float32]
    way: int


def aims(hands: Sequence[WritingHand], rng: np.random.Generator) -> Iterator[Aim]:
    """Lessons from some pages on one ground."""
    ground = _ground(rng)
    page = read_page_map(ground)
    labels, spots = filled(page.labels), _spots(page, rng)
    if len(spots) < FEWEST_SPOTS:
        return
    for _ in range(WRITINGS):
        picture, pointed_words = _written(ground, spots, hands, rng)
        boxes = [shaken(pointed.word.place.corners(), rng) for pointed in pointed_words]
        for number, pointed in enumerate(pointed_words):
            yield _aim(picture, labels, page.scale, boxes, number, pointed, rng)


def aimed_page(
    hands: Sequence[WritingHand], rng: np.random.Generator
) -> tuple[Picture, list[PointedWord]] | None:  # fmt: skip
    """A page of the kind that is learnt from; None where its ground has too few areas."""
    ground = _ground(rng)
    spots = _spots(read_page_map(ground), rng)
    return _written(ground, spots, hands, rng) if len(spots) >= FEWEST_SPOTS else None


def _written(
    ground: Picture, spots: Sequence[Spot], hands: Sequence[WritingHand], rng: np.random.Generator
) -> tuple[Picture, list[PointedWord]]:
    order = rng.permutation(len(spots))[:CODES]
    say = partial(chart_code(("letters", "percent")[int(rng.integers(2))]), ANY, rng)
    tall = float(rng.uniform(2.0, 4.6)) * ground.shape[0] / PAGE_MM
    return pointed_page(ground, hands, [spots[k] for k in order], lambda _: say(), tall, rng, SHARES)


def _ground(rng: np.random.Generator) -> Picture:
    kind = rng.random()
    if kind < 0.4:
        page = panels(rng)
    elif kind < 0.75:
        page = quilt(rng)
    elif kind < 0.97:
        page = drawn(int(rng.integers(1, 10_000)), rng)
    else:
        page = sheet(rng)
    return grown(worn(page, rng), int(rng.integers(1200, 2300)))


def _spots(page: PageMap, rng: np.random.Generator) -> list[Spot]:
    """A place in each of many areas, small ones as often as large ones, in pixels of the page."""
    labels = page.labels
    edge = np.zeros(labels.shape, bool)
    edge[:, 1:] |= labels[:, 1:] != labels[:, :-1]
    edge[1:] |= labels[1:] != labels[:-1]
    room = cv2.distanceTransform((~edge & (labels > 0)).astype(np.uint8), cv2.DIST_L2, 3)
    spots = []
    for area in rng.permutation(len(page.areas))[: 4 * CODES].tolist():
        page_area = page.areas[area]
        if page_area.radius * page.scale < 0.8 * page.pen or (page_area.is_paper and rng.random() < 0.7):
            continue
        x0, y0, x1, y1 = (int(v * page.scale) for v in page_area.box)
        own = np.where(labels[y0 : y1 + 1, x0 : x1 + 1] == area + 1, room[y0 : y1 + 1, x0 : x1 + 1], 0)
        wanted = min(float(own.max()), MOST_ROOM) * rng.uniform(0.5, 0.95)
        rows, columns = np.nonzero(own >= max(wanted, 1.0))
        if len(rows):
            pick = int(rng.integers(len(rows)))
            spots.append(((columns[pick] + x0 + 0.5) / page.scale, (rows[pick] + y0 + 0.5) / page.scale))
    return spots


def shaken(box: FloatArray, rng: np.random.Generator) -> FloatArray:
    """A box as the finder might give it."""
    middle = box.mean(axis=0)
    high = float(np.hypot(*(box[3] - box[0])))
    return np.asarray(middle + (box - middle) * rng.normal(1.0, 0.06) + rng.normal(0, 0.05, 2) * high)


def _aim(
    picture: Picture, labels: npt.NDArray[np.int32], scale: float, boxes: Sequence[FloatArray], number: int,
    pointed: PointedWord, rng: np.random.Generator,
) -> Aim:  # fmt: skip
    shown = [box for other, box in enumerate(boxes) if other != number and rng.random() > LEFT_OUT]
    high = (FAR if rng.random() < FAR_SHARE else NEAR) * float(np.exp(rng.normal(0, 0.1)))
    view = view_of(picture, [boxes[number], *shown], 0, high)
    x, y = view.cells()
    rows = np.clip((y * scale).astype(int), 0, labels.shape[0] - 1)
    columns = np.clip((x * scale).astype(int), 0, labels.shape[1] - 1)
    here = np.where(((y >= 0) & (y < picture.shape[0]))[:, None] & ((x >= 0) & (x < picture.shape[1])),
                    labels[rows[:, None], columns], 0)  # fmt: skip
    cells = np.zeros((CELLS, CELLS), np.uint8)
    for bit, spot in zip((FIRST, SECOND), (pointed.means[0], pointed.means[-1]), strict=True):
        row, column = (min(int(v * scale), size - 1) for v, size in zip(spot[::-1], labels.shape, strict=True))
        cells |= np.where(here == labels[row, column], bit, 0).astype(np.uint8)
    corner, cell = np.array([view.left, view.top]), view.step * CELL
    line = np.zeros((CELLS, CELLS), np.uint8)
    for path in pointed.paths:
        fixed = np.round(((path - corner) / cell - 0.5) * 16).astype(np.int32)
        cv2.polylines(line, [fixed], False, 1, 1, cv2.LINE_8, 4)
    cells |= line * LINE
    spots = (np.array([pointed.means[0], pointed.means[-1]]) - corner) / cell
    return Aim(view, cells, spots.astype(np.float32), WAYS.index(pointed.way))


@dataclass(frozen=True)
class Range:
    """Room for so many lessons, filled once from its beginning by several makers, each in places of its own;
    ``ready`` (n,) 1 where one is whole, ``way`` as in ``WAYS``."""

    views: npt.NDArray[np.generic]
    cells: npt.NDArray[np.generic]
    spots: npt.NDArray[np.generic]
    way: npt.NDArray[np.generic]
    ready: npt.NDArray[np.generic]

    @classmethod
    def of(cls, count: int) -> Range:
        """An empty one."""
        return cls(
            shared((count, CHANNELS, SIDE, SIDE), np.uint8), shared((count, CELLS, CELLS), np.uint8),
            shared((count, 2, 2), np.float32), shared((count,), np.uint8), shared((count,), np.uint8),
        )  # fmt: skip

    def put(self, slot: int, aim: Aim) -> None:
        """Write one lesson into its place."""
        self.ready[slot] = 0
        self.views[slot], self.cells[slot] = aim.view.picture, aim.cells
        self.spots[slot], self.way[slot] = aim.spots, aim.way
        self.ready[slot] = 1


def start_makers(store: Range, folder: Path, workers: int, seed: int) -> list[BaseProcess]:
    """Start makers; each fills its own places over and over until it is ended."""
    context = get_context("fork")
    makers = [
        context.Process(target=_fill, args=(store, folder, which, workers, seed), daemon=True)
        for which in range(workers)
    ]
    for maker in makers:
        maker.start()
    return list(makers)


def _fill(store: Range, folder: Path, which: int, workers: int, seed: int) -> None:
    cv2.setNumThreads(1)
    os.nice(5)
    rng = np.random.default_rng((seed, which, 77))
    slots = np.arange(which, len(store.ready), workers)
    turn, hands, renewed = 0, some_hands(folder, rng), time.monotonic()
    while True:
        if time.monotonic() - renewed > 60:
            hands, renewed = some_hands(folder, rng), time.monotonic()
        for aim in aims(hands, rng):
            store.put(int(slots[turn % len(slots)]), aim)
            turn += 1
