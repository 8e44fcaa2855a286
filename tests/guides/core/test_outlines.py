"""Which points lie in an outline, against OpenCV and by hand."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from guides.core import outlines
from guides.core.outlines import NoOutline, as_outline

L_SHAPE = [(0.1, 0.1), (0.9, 0.1), (0.9, 0.4), (0.4, 0.4), (0.4, 0.9), (0.1, 0.9)]


@pytest.mark.parametrize(
    ("x", "y", "within"),
    [(0.2, 0.2, True), (0.8, 0.3, True), (0.2, 0.8, True), (0.8, 0.8, False), (0.05, 0.5, False)],
)
def test_an_l_holds_its_two_arms_and_not_its_corner(x: float, y: float, within: bool) -> None:
    assert outlines.holds([L_SHAPE], x, y) is within


def test_a_ring_within_a_ring_is_a_hole() -> None:
    ring = [(0.2, 0.2), (0.8, 0.2), (0.8, 0.8), (0.2, 0.8)]
    hole = [(0.4, 0.4), (0.6, 0.4), (0.6, 0.6), (0.4, 0.6)]
    assert outlines.holds([ring], 0.5, 0.5)
    assert not outlines.holds([ring, hole], 0.5, 0.5)
    assert outlines.holds([ring, hole], 0.3, 0.3)
    assert outlines.size_of([ring, hole]) == pytest.approx(0.36 - 0.04)


@given(st.integers(0, 10**6))
def test_it_agrees_with_opencv(seed: int) -> None:
    """``cv2.pointPolygonTest`` on star-shaped outlines, points on an edge aside."""
    rng = np.random.default_rng(seed)
    angles = np.sort(rng.uniform(0, 2 * np.pi, 11))
    reach = rng.uniform(0.1, 0.45, 11)
    ring = np.stack([0.5 + reach * np.cos(angles), 0.5 + reach * np.sin(angles)], axis=1).astype(np.float32)
    points = rng.uniform(0, 1, (60, 2)).astype(np.float32)
    far = [cv2.pointPolygonTest(ring.reshape(-1, 1, 2), (float(x), float(y)), True) for x, y in points]
    ours = outlines.inside([ring.tolist()], points[:, 0], points[:, 1])
    clear = np.abs(far) > 1e-5
    assert (ours[clear] == (np.array(far) > 0)[clear]).all()
    assert outlines.size_of([ring.tolist()]) == pytest.approx(cv2.contourArea(ring), abs=1e-5)


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 20)), min_size=40, max_size=40))
def test_two_outlines_that_share_an_edge_leave_no_point_out_and_none_twice(places: list[tuple[int, int]]) -> None:
    """On a grid, so that points fall on edges and corners."""
    x, y = np.array(places).T / 20
    left = outlines.inside([[(0, 0), (0.5, 0), (0.5, 1), (0, 1)]], x, y)
    right = outlines.inside([[(0.5, 0), (1, 0), (1, 1), (0.5, 1)]], x, y)
    whole = outlines.inside([[(0, 0), (1, 0), (1, 1), (0, 1)]], x, y)
    assert (left ^ right == whole).all()
    assert not (left & right).any()


@pytest.mark.parametrize(
    ("told", "why"),
    [
        ([], "three corners"),
        ([[(0, 0), (1, 1)]], "three corners"),
        ([[(0, 0), (1.2, 0), (1, 1)]], "on the page"),
        ([[(0.1, 0.1), (0.9, 0.9), (0.9, 0.1), (0.1, 0.9)]], "crosses itself"),
        ([[(0.1, 0.1), (0.101, 0.1), (0.1, 0.101)]], "next to nothing"),
        ([[(0.1, 0.1), (0.1, float("nan")), (0.9, 0.1)]], "on the page"),
        ([[("a", 0), (1, 0), (1, 1)]], "points"),
        (7, "points"),
        ([[(i / 1000, (i * i) / 10**6) for i in range(700)]], "at most"),
    ],
)
def test_what_is_no_outline_is_refused_with_the_reason(told: object, why: str) -> None:
    with pytest.raises(NoOutline, match=why):
        as_outline(told)


def test_text_there_and_back() -> None:
    told = outlines.to_text([L_SHAPE])
    assert told.startswith("10.00,10.00 90.00,10.00")
    assert outlines.from_text(told) == [L_SHAPE]
    with pytest.raises(NoOutline, match="left,top"):
        outlines.from_text("10,10 20")
