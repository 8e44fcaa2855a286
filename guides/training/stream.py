"""Many processes making tiles into memory that the learner reads: no tile is pickled, none is waited for."""

from __future__ import annotations

import mmap
import os
import time
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.process import BaseProcess
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.writing.crops import HEIGHT, WIDEST
from guides.imaging.writing.lexicon import SIGNS
from guides.training.fonts import KEPT_OUT, TAUGHT, WATCHED, family_of
from guides.training.grounds import ground, worn
from guides.training.hands import WritingHand, font_hands, stroke_hand
from guides.training.making import SIDE, STRIDE, crop_of, lesson
from guides.training.media import Picture
from guides.training.quilts import quilt
from guides.training.tiles import CODE

MOST_WORDS = 96
LONGEST = 20
"""Signs of the longest text the reader is taught."""

STROKE_HANDS = {
    "taught": (*range(900), *range(3000, 8100)),
    "watched": tuple(range(1000, 1024)),
    "kept out": tuple(range(2000, 2024)),
}
"""Numbers of our own hands: learnt from, for fitting odds, for judging."""

TAUGHT_HANDS_AT_ONCE = 60
"""Hands a worker has ready; it takes others now and then."""


CROWDED = 0.4
"""Share of the grounds that are full of small areas, so that writing runs over their lines."""

SLASHED = 0.2
"""Chance that a taught font's noughts are struck through: some of our own hands write them so as well."""


def shared(shape: tuple[int, ...], kind: npt.DTypeLike) -> npt.NDArray[np.generic]:
    """Zeros that forked processes share."""
    size = int(np.prod(shape)) * np.dtype(kind).itemsize
    return np.frombuffer(mmap.mmap(-1, size), dtype=kind).reshape(shape)


@dataclass(frozen=True)
class Store:
    """The last tiles and crops made. ``ready`` and ``drawn`` count how often the place of a tile and of a crop was
    filled, 0 while it is written."""

    pictures: npt.NDArray[np.generic]
    kinds: npt.NDArray[np.generic]
    owner: npt.NDArray[np.generic]
    places: npt.NDArray[np.generic]
    ready: npt.NDArray[np.generic]
    crops: npt.NDArray[np.generic]
    widths: npt.NDArray[np.generic]
    drawn: npt.NDArray[np.generic]
    texts: npt.NDArray[np.generic]

    @classmethod
    def of(cls, tiles: int, crops: int) -> Store:
        """Room for so many tiles and crops."""
        small = SIDE // STRIDE
        return cls(
            shared((tiles, SIDE, SIDE, 3), np.uint8),
            shared((tiles, small, small), np.uint8),
            shared((tiles, small, small), np.uint8),
            shared((tiles, MOST_WORDS + 1, 5), np.float32),
            shared((tiles,), np.int32),
            shared((crops, HEIGHT, WIDEST, 3), np.uint8),
            shared((crops,), np.int32),
            shared((crops,), np.int32),
            shared((crops, LONGEST), np.uint8),
        )


def fonts_of(folder: Path, families: Sequence[str]) -> list[Path]:
    """The files of some families."""
    return sorted(path for path in folder.glob("*.ttf") if family_of(path) in families)


def some_hands(folder: Path, rng: np.random.Generator) -> list[WritingHand]:
    """Taught hands, half from fonts and half our own."""
    fonts: list[WritingHand] = list(font_hands(fonts_of(folder, TAUGHT), SLASHED))
    own: list[WritingHand] = [
        stroke_hand(int(seed)) for seed in rng.choice(STROKE_HANDS["taught"], TAUGHT_HANDS_AT_ONCE // 2)
    ]
    return fonts + own + own[: max(0, len(fonts) - len(own))]


def make_grounds(count: int, seed: int, workers: int) -> list[Picture]:
    """Grounds, made side by side."""
    with get_context("fork").Pool(workers) as pool:
        return pool.map(_ground, range(seed, seed + count), chunksize=1)


def _ground(seed: int) -> Picture:
    cv2.setNumThreads(1)
    rng = np.random.default_rng(seed)
    return worn(quilt(rng), rng) if rng.random() < CROWDED else ground(rng)


def watched_crops(folder: Path, grounds: list[Picture], tiles: int, workers: int) -> list[tuple[Picture, str]]:
    """Crops of codes in hands that nothing is learnt from, to look at while the reader learns."""
    with get_context("fork").Pool(workers) as pool:
        by_tile = pool.starmap(_watched, [(folder, grounds, seed) for seed in range(tiles)], chunksize=4)
    return [crop for crops in by_tile for crop in crops]


def _watched(folder: Path, grounds: list[Picture], seed: int) -> list[tuple[Picture, str]]:
    cv2.setNumThreads(1)
    rng = np.random.default_rng(50_000 + seed)
    hands = hands_of(folder, "watched")
    made = lesson(grounds, hands, rng)
    crops = [crop_of(made, word, rng) for word in made.words if word.kind == CODE and word.text]
    return [crop for crop in crops if crop is not None]


def hands_of(folder: Path, family: str) -> list[WritingHand]:
    """The hands "watched" (for fitting odds) or "kept out" (for judging): fonts, and our own as often."""
    fonts: list[WritingHand] = list(font_hands(fonts_of(folder, WATCHED if family == "watched" else KEPT_OUT)))
    own: list[WritingHand] = [stroke_hand(seed) for seed in STROKE_HANDS[family]]
    return fonts * max(1, len(own) // max(len(fonts), 1)) + own


def start(store: Store, grounds: list[Picture], folder: Path, workers: int, seed: int) -> list[BaseProcess]:
    """Start makers; each fills its own share of the store over and over until it is ended."""
    context = get_context("fork")
    makers = [
        context.Process(target=_fill, args=(store, grounds, folder, k, workers, seed), daemon=True)
        for k in range(workers)
    ]
    for maker in makers:
        maker.start()
    return list(makers)


def _fill(store: Store, grounds: list[Picture], folder: Path, which: int, workers: int, seed: int) -> None:
    cv2.setNumThreads(1)
    os.nice(5)
    rng = np.random.default_rng((seed, which))
    tiles, crops = np.arange(which, len(store.ready), workers), np.arange(which, len(store.widths), workers)
    crop = turn = 0
    hands = some_hands(folder, rng)
    renewed = time.monotonic()
    while True:
        if time.monotonic() - renewed > 40:
            hands, renewed = some_hands(folder, rng), time.monotonic()
        made = lesson(grounds, hands, rng)
        slot = int(tiles[turn % len(tiles)])
        store.ready[slot] = 0
        store.pictures[slot], store.kinds[slot] = made.picture, made.kinds
        store.owner[slot] = np.where(made.owner > MOST_WORDS, 0, made.owner)
        store.kinds[slot][made.owner > MOST_WORDS] = 255
        for number, word in enumerate(made.words[:MOST_WORDS], 1):
            place = word.place
            store.places[slot, number] = (place.x, place.y, place.wide, place.high, place.turn)
            taught = crop_of(made, word, rng) if word.text else None
            if taught is not None and len(taught[1]) <= LONGEST:
                crop += 1
                put_crop(store, int(crops[crop % len(crops)]), crop, *taught)
        turn += 1
        store.ready[slot] = turn


def put_crop(store: Store, slot: int, turn: int, picture: Picture, text: str) -> None:
    """Write one crop into its place."""
    store.drawn[slot] = 0
    store.crops[slot, :, : picture.shape[1]] = picture
    store.texts[slot] = 0
    store.texts[slot, : len(text)] = [SIGNS.index(sign) + 1 for sign in text]
    store.widths[slot], store.drawn[slot] = picture.shape[1], turn
