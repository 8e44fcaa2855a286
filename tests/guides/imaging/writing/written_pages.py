"""Pages with codes in hands that nothing was learnt from, on grounds of a family that nothing was learnt from."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from guides.imaging.writing import Lexicon
from guides.imaging.writing.crops import Place
from guides.training.hands import stroke_hand
from guides.training.judging import NOTATIONS, chart_code, written_page
from guides.training.media import Medium
from guides.training.stream import STROKE_HANDS
from guides.training.texts import Style
from guides.training.tiles import OTHER, PageHabit, Tile, Word, codes, written
from tests.guides.imaging.strange_scenes import draw_scene, paint_scene

Picture = npt.NDArray[np.uint8]

KEPT_OUT = tuple(STROKE_HANDS["kept out"])
LETTERS, PERCENT = (Lexicon.of(NOTATIONS[form]) for form in ("letters", "percent"))
PENCIL = Medium("pencil", (0.16, 0.16, 0.2), 0.85, 0.3, 0.09)


def scene(seed: int, height: int = 1500) -> Picture:
    """A painted page without a word on it."""
    drawn = draw_scene(seed, round(height * 0.66), height, 40)
    drawn.spots = {}
    return paint_scene(drawn, seed)


def paper(height: int = 1300, width: int = 900) -> Picture:
    return np.full((height, width, 3), (244, 240, 230), np.uint8)


def page_of(form: str, seed: int, most: int = 40) -> tuple[Picture, list[Word]]:
    """A scanned page with codes, balloons, notes and pen marks."""
    hands = [stroke_hand(number) for number in KEPT_OUT]
    return written_page(scene(seed), hands, form, np.random.default_rng(seed), most)


def plain_page(form: str, seed: int, count: int = 24, tall: float = 24.0) -> tuple[Picture, list[Word]]:
    """Codes alone in pencil on paper, level within a few degrees."""
    rng = np.random.default_rng(seed)
    tile = Tile(paper(), rng)
    way = Style(form, "BRYK", "W", (2, 1, 0), ("", "3", "2"), 0.0, False, False)
    hand = stroke_hand(KEPT_OUT[seed % len(KEPT_OUT)])
    codes(tile, PageHabit(hand, way, tall, 0.0, 0.0, chart_code(form)), count)
    return tile.picture, tile.words


def write_line(picture: Picture, words: list[str], x: float, y: float, tall: float, seed: int) -> list[Place]:
    """Words of one line in a kept-out hand, middle of the first at (x, y)."""
    rng = np.random.default_rng(seed)
    tile = Tile(picture, rng)
    places = []
    for word in words:
        cover, size = written(stroke_hand(KEPT_OUT[0]), word, PENCIL, tall, 0.0, rng)
        tile.put(word, OTHER, cover, size, (x + size[0] / 2, y), 0.0, PENCIL)
        places.append(tile.words[-1].place)
        x += size[0] + tall * 0.6
    return places
