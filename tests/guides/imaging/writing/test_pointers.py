"""Pages whose codes are told with what each means."""

from __future__ import annotations

import numpy as np

from guides.training.hands import stroke_hand
from guides.training.pointers import WAYS, pointed_page, quiet_spots
from tests.guides.imaging.writing.written_pages import KEPT_OUT, scene


def test_made_pages_say_what_each_code_means() -> None:
    ground = scene(11)
    rng = np.random.default_rng(1)
    spots = quiet_spots(ground, 24, rng)
    assert len(spots) > 12
    picture, told = pointed_page(ground, [stroke_hand(KEPT_OUT[0])], spots, lambda _: "YR2", 20.0, rng)
    assert picture.shape == ground.shape
    assert len(told) > 8
    assert len({one.way for one in told}) > 1
    for one in told:
        assert one.way in WAYS
        assert len(one.means) == 1 + (one.way == "two lines")
        assert set(one.means) <= set(spots)
        away = np.hypot(one.means[0][0] - one.word.place.x, one.means[0][1] - one.word.place.y)
        assert away < one.word.place.wide or one.way != "inside"


def test_lines_begin_anywhere_along_a_code() -> None:
    """Lines that all led away from the middle of their code taught that any other line belongs to nobody: hands begin
    them at a corner or under the last sign (common practice, no source)."""
    ground = scene(11)
    rng = np.random.default_rng(2)
    spots = quiet_spots(ground, 40, rng)
    _, told = pointed_page(ground, [stroke_hand(KEPT_OUT[0])], spots, lambda _: "YR2B3", 20.0, rng, (0, 1, 0, 0, 0))
    passes, gaps = [], []
    for one in told:
        place = one.word.place
        axes = np.array([[np.cos(place.turn), np.sin(place.turn)], [-np.sin(place.turn), np.cos(place.turn)]])
        for path in one.paths:
            ahead = (path[-1] - path[0]) / np.hypot(*(path[-1] - path[0]))
            passes.append(abs(float(np.linalg.det([ahead, (place.x, place.y) - path[0]]))) / place.high)
            away = np.abs(axes @ (path[0] - (place.x, place.y))) - (place.wide / 2, place.high / 2)
            gaps.append(float(away.max()) / place.high)
    assert len(passes) > 8
    assert np.mean(np.array(passes) > 0.2) > 0.3
    assert max(gaps) < 0.8
    assert min(gaps) > -0.1
