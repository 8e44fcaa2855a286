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
