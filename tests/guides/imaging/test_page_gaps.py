"""What a line closes in stays together: against rings that the test draws."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from guides.imaging.page.filling import spread
from guides.imaging.page.gaps import gaps_of, keep_in, ringed


def ring(radius: int = 10) -> np.ndarray:
    line = np.zeros((60, 60), np.uint8)
    cv2.circle(line, (30, 30), radius, 1, 2)
    return line > 0


def outside() -> np.ndarray:
    """One cell, left of the ring, and none in it."""
    found = np.zeros((60, 60), np.int32)
    found[:, :12] = 1
    return found


def test_what_no_cell_is_in_becomes_one_of_its_own() -> None:
    found, gaps = outside(), gaps_of(ring())
    labels = spread(found)[0]
    assert labels[30, 30] == 1
    fresh = keep_in(labels, found, gaps, 20)
    assert (fresh == (gaps == gaps[30, 30])).all()
    assert set(np.unique(labels[fresh])) == {2}
    assert set(np.unique(labels[~fresh])) == {1}


def test_what_is_too_small_stays_with_the_nearest() -> None:
    found = outside()
    labels = spread(found)[0]
    assert not keep_in(labels, found, gaps_of(ring()), 1000).any()
    assert set(np.unique(labels)) == {1}


def test_a_cell_within_has_all_that_the_line_closes_in() -> None:
    found, gaps = outside(), gaps_of(ring())
    found[:, :21] = 1 * (gaps[:, :21] == gaps[0, 0])
    found[30, 38] = 2
    labels = spread(found)[0]
    inside = gaps == gaps[30, 30]
    assert set(np.unique(labels[inside])) == {1, 2}
    assert not keep_in(labels, found, gaps, 20).any()
    assert set(np.unique(labels[inside])) == {2}


@pytest.mark.parametrize(("high", "goes_round"), [(8, True), (24, False)])
def test_a_button_reaches_out_of_its_word_and_a_letter_does_not(high: int, goes_round: bool) -> None:
    line, written = ring(), np.zeros((60, 60), bool)
    written[30 - high // 2 : 31 + high // 2, 10:50] = True
    pieces = line.astype(np.int32)
    found = ringed(pieces, np.array([False, True]), gaps_of(line), 2.0, written)
    assert found.tolist() == [False, goes_round]
    assert not ringed(pieces, np.array([False, False]), gaps_of(line), 2.0, written).any()


def test_a_broken_ring_goes_round_nothing() -> None:
    line = ring()
    line[28:33, 30:] = False
    pieces, nothing = line.astype(np.int32), np.zeros((60, 60), bool)
    assert not ringed(pieces, np.array([False, True]), gaps_of(line), 2.0, nothing).any()
