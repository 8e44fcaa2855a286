"""What of an area is read for its mark: known masks and samples, no picture."""

from __future__ import annotations

import numpy as np
import pytest

from guides.imaging.proof.pieces import nearer, nearest_pieces, other_paint, own_piece, split


def _two_rooms(neck: int) -> np.ndarray:
    """Two squares of 20 px with a way of ``neck`` px between them."""
    mask = np.zeros((40, 60), bool)
    mask[10:30, 5:25] = mask[10:30, 35:55] = True
    mask[20 - neck // 2 : 20 - neck // 2 + neck, 25:35] = True
    return mask


@pytest.mark.parametrize("neck", [1, 4])
def test_what_lies_beyond_a_neck_is_another_piece(neck: int) -> None:
    mask = _two_rooms(neck)
    own = own_piece(mask, mask.astype(np.uint8), np.zeros_like(mask), (15, 20), 30)
    assert own[10:30, 5:25].mean() > 0.9
    assert not own[:, 35:].any()


def test_a_wide_way_is_no_neck_and_too_small_a_piece_is_read_with_the_rest() -> None:
    wide = _two_rooms(18)
    assert own_piece(wide, wide.astype(np.uint8), np.zeros_like(wide), (15, 20), 30)[10:30, 35:55].mean() > 0.9
    narrow = _two_rooms(2)
    assert (own_piece(narrow, narrow.astype(np.uint8), np.zeros_like(narrow), (15, 20), 1000) == narrow).all()


def test_an_outline_through_an_area_parts_it_however_wide() -> None:
    mask = np.ones((40, 60), bool)
    ink = np.zeros_like(mask)
    ink[:, 30] = True
    own = own_piece(mask, mask.astype(np.uint8), ink, (15, 20), 30)
    assert own[:, :28].mean() > 0.85
    assert not own[:, 33:].any()


def test_the_nearest_pieces_are_taken_until_there_is_enough() -> None:
    mask = np.zeros((20, 60), bool)
    mask[5:9, 5:9] = mask[5:9, 15:19] = mask[5:9, 45:49] = True
    assert nearest_pieces(mask, (6, 6), 10).sum() == 16
    assert nearest_pieces(mask, (6, 6), 20).sum() == 32
    assert nearest_pieces(mask, (6, 6), 99).sum() == 48


def test_what_is_nearer_to_another_code_is_its_own() -> None:
    mask = np.ones((20, 40), bool)
    own = nearer(mask, (10, 10), [(30, 10)], 50)
    assert own[:, :20].all()
    assert not own[:, 21:].any()
    assert nearer(mask, (10, 10), [(11, 10)], 500).all(), "too little is left of it"


@pytest.mark.parametrize(("painted", "told"), [(12.0, True), (1.0, False)])
def test_two_colours_of_print_are_two_areas_where_the_paint_is_two(painted: float, told: bool) -> None:
    rng = np.random.default_rng(1)
    first = np.arange(200) < 80
    tones = np.where(first[:, None], 0.0, [-0.5, -0.1, 0.0]) + rng.normal(0, 0.02, (200, 3))
    high = split(tones, np.ones(200))
    assert high is not None
    assert (high == first).all() or (high == ~first).all()
    paint = np.where(first[:, None], 60.0, 60.0 + painted) + rng.normal(0, 1.0, (200, 3))
    own = other_paint(paint.astype(np.float32), high, np.where(first, 1.0, 20.0) + rng.random(200))
    assert (own is not None) == told
    if own is not None:
        assert (own == first).all(), "the part that the mark lies in"


def test_one_colour_is_not_split() -> None:
    assert split(np.random.default_rng(2).normal(0, 0.05, (300, 3)), np.ones(300)) is None
