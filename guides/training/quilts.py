"""Grounds that are crowded: panels full of small areas side by side, under lines of any colour, thin or broad."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from guides.demo.artist.pens import curve
from guides.training.grounds import boxes, fill, shape, sheet
from guides.training.media import Picture

Outline = npt.NDArray[np.float64]


def quilt(rng: np.random.Generator) -> Picture:
    """A page (h, w, 3) of our own: bands, fans, scales, pebbles and leaves over panels."""
    page = sheet(rng).astype(np.float32)
    lines = np.zeros(page.shape[:2], np.uint8)
    pen = int(rng.integers(1, 5))
    for left, top, right, bottom in boxes(rng):
        here, line = page[top:bottom, left:right], lines[top:bottom, left:right]
        fill(here, None, rng)
        for _ in range(int(rng.integers(3, 9))):
            middle = rng.uniform(0, 1, 2) * line.shape[::-1]
            make = KINDS[int(rng.integers(len(KINDS)))]
            for outline in make(float(rng.uniform(0.08, 0.3)) * min(line.shape), rng):
                shape(here, line, outline + middle, pen, rng)
        if rng.random() < 0.9:
            cv2.rectangle(line, (0, 0), (line.shape[1] - 1, line.shape[0] - 1), 255, pen + 1, cv2.LINE_AA)
    ink = rng.uniform(8, 40, 3) if rng.random() < 0.7 else rng.uniform(20, 170, 3)
    share = lines[..., None].astype(np.float32) / 255 * float(rng.uniform(0.7, 1.0))
    return np.asarray(np.clip(page * (1 - share) + ink.astype(np.float32) * share, 0, 255), np.uint8)


def _turned(points: Outline, turn: float) -> Outline:
    cos, sin = np.cos(turn), np.sin(turn)
    return np.asarray(points @ np.array([[cos, sin], [-sin, cos]]))


def _bands(size: float, rng: np.random.Generator) -> Iterator[Outline]:
    """Stripes side by side, bent alike."""
    count, turn = int(rng.integers(2, 9)), rng.uniform(0, np.pi)
    u = np.linspace(-1, 1, 12)
    bow = rng.normal(0, 0.15) * (1 - u * u)
    edges = np.sort(rng.uniform(-1, 1, count + 1)) * rng.uniform(0.4, 1.2)
    for low, high in pairwise(edges):
        there = np.column_stack([u, low + bow])
        back = np.column_stack([u[::-1], (high + bow)[::-1]])
        yield _turned(np.vstack([there, back]) * size, turn)


def _fan(size: float, rng: np.random.Generator) -> Iterator[Outline]:
    """Slices of a disc or of a ring."""
    cuts = np.sort(rng.uniform(0, 2 * np.pi, int(rng.integers(3, 10))))
    hole = float(rng.choice([0.0, rng.uniform(0.2, 0.7)]))
    for low, high in pairwise(cuts):
        angles = np.linspace(low, high, 8)
        rim = np.column_stack([np.cos(angles), np.sin(angles)])
        yield np.vstack([rim, rim[::-1] * hole]) * size


def _scales(size: float, rng: np.random.Generator) -> Iterator[Outline]:
    """Rows of round ends that overlap, the lower ones above."""
    each = size * float(rng.uniform(0.15, 0.5))
    turn, angles = rng.uniform(0, 2 * np.pi), np.linspace(0, 2 * np.pi, 18, endpoint=False)
    disc = np.column_stack([np.cos(angles), np.sin(angles)]) * each * 0.62
    rows = int(rng.integers(2, 6))
    for row in range(rows):
        for column in range(int(rng.integers(2, 6))):
            at = np.array([(column + 0.5 * (row % 2)) * each, (rows - row) * each * 0.55])
            yield _turned(disc + at, turn)


def _pebbles(size: float, rng: np.random.Generator) -> Iterator[Outline]:
    """Round things of many sizes, strewn about."""
    for _ in range(int(rng.integers(4, 16))):
        angles = np.linspace(0, 2 * np.pi, 9, endpoint=False)
        ring = np.column_stack([np.cos(angles), np.sin(angles)]) * rng.uniform(0.7, 1.2, (9, 1))
        reach = np.exp(rng.uniform(np.log(0.06), np.log(0.5)))
        yield curve(ring * size * reach + rng.normal(0, 0.8, 2) * size, closed=True)


def _leaf(size: float, rng: np.random.Generator) -> Iterator[Outline]:
    """A long leaf, cut along its middle, with a collar across it."""
    u = np.linspace(0, np.pi, 14)
    half = np.column_stack([np.linspace(-1, 1, 14), np.sin(u) * rng.uniform(0.15, 0.6)])
    turn, cut = rng.uniform(0, 2 * np.pi), rng.uniform(-0.6, 0.4)
    spine = np.column_stack([half[::-1, 0], np.full(14, rng.normal(0, 0.04))])
    yield _turned(np.vstack([half, spine]) * size, turn)
    yield _turned(np.vstack([half * (1, -1), spine]) * size, turn)
    wide = float(rng.uniform(0.05, 0.2))
    collar = np.array([[cut, -0.3], [cut + wide, -0.3], [cut + wide, 0.3], [cut, 0.3]])
    yield _turned(collar * size, turn)


KINDS: tuple[Callable[[float, np.random.Generator], Iterator[Outline]], ...] = (
    _bands, _fan, _scales, _pebbles, _leaf,
)  # fmt: skip
