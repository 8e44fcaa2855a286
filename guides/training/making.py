"""One tile to learn from: a piece of a ground, written upon, scanned; with the crops its words give the reader."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.writing.crops import Place, upright
from guides.imaging.writing.lexicon import SIGNS
from guides.training import clutter, texts
from guides.training.hands import WritingHand
from guides.training.media import Picture
from guides.training.tiles import CODE, CROSSED, IGNORED, OTHER, Tile, Word, codes, habit

SIDE = 640
STRIDE = 4
"""The finder says something for every square of so many pixels."""

KERNEL = 0.3
"""How far the heart of a word's box lies from its long edges, in heights: neighbours' hearts never touch."""

LOOSE = 0.25
"""Share of the crops whose box is a good deal wider than the word: the finder's is where lines run through one."""

THINNEST = 2.6
"""Half the height of the smallest heart, in pixels: it has to fill a square of the finder."""


@dataclass(frozen=True)
class Lesson:
    """``kinds`` and ``owner`` (h/4, w/4): what each square is the heart of (0 nothing), and of which word."""

    picture: Picture
    words: tuple[Word, ...]
    kinds: npt.NDArray[np.uint8]
    owner: npt.NDArray[np.uint8]


def lesson(
    grounds: Sequence[Picture], hands: Sequence[WritingHand], rng: np.random.Generator, side: int = SIDE
) -> Lesson:
    """A tile of ``side`` pixels, written on and scanned."""
    tile = Tile(_piece(grounds[int(rng.integers(len(grounds)))], side, rng), rng)
    who = habit(hands, rng)
    for _ in range(int(rng.choice([0, 0, 1, 1, 2]))):
        clutter.balloon(tile, hands)
    area = (side / 640) ** 2
    room = float(np.clip(26 / who.tall, 0.5, 2.2)) * area
    if rng.random() > 0.08:
        codes(tile, who, int(rng.integers(4, 15) * room))
    clutter.notes(tile, who, hands, int(rng.integers(0, 5) * room))
    clutter.strokes(tile, int(rng.integers(0, 10) * area))
    picture, words = clutter.scanned(tile.picture, rng), tile.words
    if rng.random() < 0.03:
        picture, words = _turned(picture, words)
    return Lesson(picture, tuple(words), *hearts(words, picture.shape[:2]))


def _piece(ground: Picture, side: int, rng: np.random.Generator) -> Picture:
    """A square out of a ground, smaller or larger than drawn, its paints changed."""
    scale = float(np.exp(rng.uniform(np.log(0.7), np.log(1.7))))
    cut = min(int(side / scale), *ground.shape[:2])
    y, x = int(rng.integers(0, ground.shape[0] - cut + 1)), int(rng.integers(0, ground.shape[1] - cut + 1))
    way = cv2.INTER_AREA if cut > side else cv2.INTER_LINEAR
    piece = cv2.resize(ground[y : y + cut, x : x + cut], (side, side), interpolation=way)
    piece = piece[..., rng.permutation(3)] if rng.random() < 0.4 else piece
    if rng.random() < 0.4:
        lift = float(rng.uniform(0, 0.5))
        piece = np.asarray(piece * (1 - lift) + 250 * lift, np.uint8)
    return np.ascontiguousarray(piece)


def _turned(picture: Picture, words: list[Word]) -> tuple[Picture, list[Word]]:
    """Upside down: the boxes turn along, the reader is not asked."""
    height, width = picture.shape[:2]
    moved = [
        Word("", w.kind, Place(width - w.place.x, height - w.place.y, w.place.wide, w.place.high, w.place.turn))
        for w in words
    ]
    return np.ascontiguousarray(picture[::-1, ::-1]), moved


def hearts(words: Sequence[Word], shape: tuple[int, ...]) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
    """``Lesson.kinds`` and ``Lesson.owner`` for words on a picture of this shape."""
    size = (shape[0] // STRIDE, shape[1] // STRIDE)
    kinds, owner = np.zeros(size, np.uint8), np.zeros(size, np.uint8)
    for number, word in enumerate(words[:254], 1):
        place = word.place
        if word.kind == IGNORED:
            _raster(kinds, place, IGNORED)
            continue
        half = max(place.high * (0.5 - KERNEL), THINNEST)
        wide = max(place.wide - 2 * KERNEL * place.high, 2 * THINNEST, 0.5 * place.wide)
        heart = Place(place.x, place.y, wide, 2 * half, place.turn)
        _raster(kinds, heart, word.kind)
        _raster(owner, heart, number)
    return kinds, owner


def _raster(plane: npt.NDArray[np.uint8], place: Place, value: int) -> None:
    corners = np.round((place.corners() / STRIDE - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(plane, [corners], int(value), cv2.LINE_8, 4)


def crop_of(made: Lesson, word: Word, rng: np.random.Generator) -> tuple[Picture, str] | None:
    """A word as the reader will see it, its box a little off; None for what the reader is not taught."""
    text = texts.folded(word.text)
    if word.kind not in (CODE, OTHER, CROSSED) or not word.legible or not text or not set(text) <= set(SIGNS):
        return None
    if word.kind == OTHER and rng.random() < 0.6:
        return None
    place, high = word.place, word.place.high
    grown = rng.normal(0.06, 0.09, 4) * high
    if rng.random() < LOOSE:
        grown[:2] += rng.uniform(0.0, 0.8, 2) * high
        grown[2:] += rng.uniform(0.0, 0.15, 2) * high
    moved = Place(
        place.x + (grown[0] - grown[1]) / 2,
        place.y + (grown[2] - grown[3]) / 2,
        max(place.wide + grown[0] + grown[1], 4),
        max(high + grown[2] + grown[3], 4),
        place.turn + float(rng.normal(0, np.radians(2.2))),
    )
    return upright(made.picture, moved), text
