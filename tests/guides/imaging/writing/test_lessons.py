"""What pages to learn from say of words that are faint, small, or written over each other."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from guides.training.hands import _slashed, stroke_hand
from guides.training.making import crop_of, hearts, lesson
from guides.training.media import Medium, pressed
from guides.training.tiles import CODE, IGNORED, Tile, Word, written

PENCIL = Medium("pencil", (0.18, 0.18, 0.2), 0.8, 0.0, 0.09)


def _paper(tone: int = 200) -> Tile:
    return Tile(np.full((200, 400, 3), tone, np.uint8), np.random.default_rng(3))


def _write(tile: Tile, at: tuple[float, float], tall: float = 20.0, pen: Medium = PENCIL) -> Word:
    cover, size = written(stroke_hand(7), "C50 M25", pen, tall, 0.0, tile.rng)
    tile.put("C50 M25", CODE, cover, size, at, 0.0, pen)
    return tile.words[-1]


@pytest.mark.parametrize("tall", [6.5, 8.0, 20.0])
def test_small_letters_are_asked_about(tall: float) -> None:
    """Strokes of small letters are thinner than a pixel; until 2026-11-29 such words were left out for it."""
    word = _write(_paper(), (200, 100), tall)
    assert word.kind == CODE
    assert word.legible


def test_what_cannot_be_seen_is_not_asked_about() -> None:
    assert _write(_paper(), (200, 100), pen=pressed(PENCIL, 0.04)).kind == IGNORED
    assert _write(_paper(tone=40), (200, 100), pen=pressed(PENCIL, 0.4)).kind == IGNORED


def test_a_code_that_runs_onto_dark_paint_is_found_but_not_read() -> None:
    tile = _paper()
    tile.picture[:, 205:] = 14
    word = _write(tile, (200, 100))
    assert (word.kind, word.legible) == (CODE, False)
    made = lesson([np.full((640, 640, 3), 200, np.uint8)], [stroke_hand(7)], np.random.default_rng(1))
    assert crop_of(made, word, np.random.default_rng(2)) is None


def test_words_beneath_others_are_hidden_or_at_least_not_read() -> None:
    tile = _paper()
    wide = _write(tile, (150, 100)).place.wide
    _write(tile, (150 + wide * 0.7, 100))
    assert [(word.kind, word.legible) for word in tile.words] == [(CODE, False), (CODE, True)]
    _write(tile, (150, 100))
    assert tile.words[0].kind == IGNORED
    kinds, owner = hearts(tile.words, tile.picture.shape[:2])
    assert (kinds[25, 37], owner[25, 37]) == (CODE, 3)


def test_a_struck_nought_has_its_stroke_from_right_top_to_left_foot() -> None:
    ring = np.zeros((80, 60), np.uint8)
    cv2.ellipse(ring, (30, 40), (20, 30), 0, 0, 360, 255, 4)
    struck = _slashed(ring, 0.1)
    assert ring[40, 30] == 0
    assert struck[40, 30] == 255
    assert struck[25, 40] > struck[25, 20] == 0
