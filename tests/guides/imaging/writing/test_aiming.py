"""What the network that follows lines is shown, and what is made of its answer."""

import numpy as np

from guides.imaging.page.reading import read_page_map
from guides.imaging.writing.aiming import aim, filled
from guides.imaging.writing.sights import CELLS, CHANNELS, FAR, SIDE, batch_of, view_of
from tests.guides.imaging.writing.coded_page import make_coded_page

BOX = np.array([(100, 50), (160, 50), (160, 70), (100, 70)], float)


def make_page(width: int = 400, height: int = 300) -> np.ndarray:
    """A level ramp: red grows with x, green with y, each by half a level a pixel."""
    y, x = np.mgrid[0:height, 0:width]
    return np.stack([x / 2, y / 2, np.full(x.shape, 9)], axis=2).astype(np.uint8)


def test_a_view_shows_the_page_around_a_code_brought_to_one_height() -> None:
    view = view_of(make_page(), [BOX, BOX + 30], 0)
    assert view.picture.shape == (CHANNELS, SIDE, SIDE)
    assert view.step == 2.0  # a code 20 pixels high is shown 10 high
    x, y = view.cells()
    assert len(x) == len(y) == CELLS
    middle = int(np.abs(x - 130).argmin())
    red = view.picture[0, SIDE // 2, middle * SIDE // CELLS]
    assert abs(float(red) - x[middle] / 2) <= 2
    own, others = view.picture[3] > 0, view.picture[4] > 0
    assert 0.8 < own.sum() / (30 * 10) < 1.4
    assert others.any()
    assert not (own & others).all()


def test_a_wider_view_shows_more_and_pages_end_somewhere() -> None:
    near, far = view_of(make_page(), [BOX], 0), view_of(make_page(), [BOX], 0, FAR)
    assert far.step == 2 * near.step
    assert near.left < 0  # drawn out beyond the edge
    assert (near.picture[0, :, 0] <= 1).all()
    batch = batch_of([near, far])
    assert batch.shape == (2, CHANNELS, SIDE, SIDE)
    assert float(np.abs(batch).max()) <= 2.0


def test_every_pixel_is_given_to_the_nearest_area() -> None:
    labels = np.zeros((5, 9), np.int32)
    labels[:, 0], labels[:, 8] = 3, 7
    assert filled(labels)[2].tolist() == [3, 3, 3, 3, *filled(labels)[2, 4:5].tolist(), 7, 7, 7, 7]
    assert not filled(np.zeros((4, 4), np.int32)).any()


class Fixed:
    """A network that says the same cell for every view, or that what is meant lies beyond it."""

    def __init__(self, row: int, column: int, beyond: float = -9.0) -> None:
        self.said = np.full((1, 3, CELLS, CELLS), -9.0, np.float32)
        self.said[0, 0, row, column] = 9.0
        self.said[0, 1] = beyond

    def setInput(self, batch: np.ndarray) -> None:
        self.count = len(batch)

    def forward(self) -> np.ndarray:
        return np.repeat(self.said, self.count, axis=0)


def test_the_chance_of_a_place_is_that_of_its_area() -> None:
    page = make_coded_page()
    page_map = read_page_map(page.image)
    box = page.codes[0].place.corners()
    view = view_of(page.image, [box], 0)
    x, y = view.cells()
    row, column = 52, 30
    (told,) = aim(Fixed(row, column), page_map, page.image, [box])
    area = page_map.area_at(float(x[column]), float(y[row]))
    assert area is not None
    assert max(told.chances, key=lambda one: told.chances[one]) == area.id
    assert told.chances[area.id] > 0.98
    assert np.hypot(told.places[area.id][0] - x[column], told.places[area.id][1] - y[row]) < 1
    assert told.beyond < 0.01


def test_what_lies_beyond_is_looked_for_once_more_farther_away() -> None:
    page = make_coded_page()
    page_map = read_page_map(page.image)
    box = page.codes[0].place.corners()
    (told,) = aim(Fixed(20, 20, beyond=12.0), page_map, page.image, [box])
    far = view_of(page.image, [box], 0, FAR)
    assert told.beyond > 0.8  # the wider view says "beyond" again
    (seen,) = aim(Fixed(4, 40, beyond=8.0), page_map, page.image, [box])
    x, y = far.cells()
    area = page_map.area_at(float(x[40]), float(y[4]))
    assert area is None or area.id in seen.chances
    assert sum(seen.chances.values()) + seen.beyond < 1.01


def test_no_codes_are_no_answers() -> None:
    page = make_coded_page()
    assert aim(Fixed(1, 1), read_page_map(page.image), page.image, []) == []
