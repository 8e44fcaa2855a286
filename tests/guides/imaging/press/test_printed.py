"""The printed page: areas drawn by this test, so that what must come out is known by construction."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage.metrics import structural_similarity

from bible.colour import press as presses
from bible.colour.tints import Tint
from guides.imaging.page.regions import grow
from guides.imaging.press.neighbours import borders, sinking
from guides.imaging.press.printed import Area, printed_page

NEWSPRINT = presses.load("newsprint")
PAINTS = np.array([[214, 60, 50], [70, 120, 200], [240, 205, 60], [120, 190, 120]], np.uint8)
TINTS = [Tint(0, 100, 100), Tint(100, 25, 0), Tint(0, 0, 100), Tint(50, 0, 50)]


def page(
    seed: int = 1, height: int = 1600, width: int = 1080
) -> tuple[np.ndarray, np.ndarray, list[tuple[float, float]]]:
    """A painted page of four boxes with black outlines: picture, truth (0 paper, 1-4 boxes), marks in fractions."""
    random = np.random.default_rng(seed)
    truth = np.zeros((height, width), np.uint8)
    image = np.full((height, width, 3), 246, np.uint8)
    marks = []
    for index, (column, row) in enumerate([(0, 0), (1, 0), (0, 1), (1, 1)]):
        left, top = 80 + column * width // 2, 100 + row * height // 2
        right, bottom = left + width // 2 - 160, top + height // 2 - 200
        truth[top:bottom, left:right] = index + 1
        image[top:bottom, left:right] = PAINTS[index]
        marks.append(((left + right) / 2 / width, (top + bottom) / 2 / height))
        cv2.rectangle(image, (left, top), (right, bottom), (16, 16, 16), 6)
        at = (int((left + right) / 2) - 30, int((top + bottom) / 2))
        cv2.putText(image, "YR3", at, cv2.FONT_HERSHEY_SIMPLEX, 1.0, (30, 30, 30), 2, cv2.LINE_AA)
    streaks = cv2.GaussianBlur(random.normal(0, 1, (height, width)).astype(np.float32), (61, 3), 0) * 60
    noisy = image + streaks[..., None] * (truth[..., None] > 0) + random.normal(0, 3, image.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8), truth, marks


@pytest.mark.parametrize("seed", range(4))
def test_areas_come_out_as_they_were_drawn(seed: int) -> None:
    image, truth, marks = page(seed)
    height, width = truth.shape
    labels = grow(image, [(x * width, y * height) for x, y in marks], follow=False).labels
    for index in range(1, 5):
        both = ((labels == index) & (truth == index)).sum()
        assert both / ((labels == index) | (truth == index)).sum() > 0.95


def test_an_area_prints_in_its_tints_colour_and_takes_its_share_of_each_ink() -> None:
    image, truth, marks = page()
    areas = [Area(x, y, tint) for (x, y), tint in zip(marks, TINTS, strict=True)]
    printed = printed_page(image, areas, NEWSPRINT)
    for index, tint in enumerate(TINTS, 1):
        inner = cv2.erode((truth == index).astype(np.uint8), np.ones((41, 41), np.uint8)) > 0
        shown = np.median(printed.rgb[inner], axis=0)
        wanted = [int(NEWSPRINT.hex(tint)[at : at + 2], 16) for at in (1, 3, 5)]
        assert np.abs(shown - wanted).max() <= 2
    share = np.bincount(truth.ravel(), minlength=5)[1:] / truth.size
    expected = share @ np.array([tint.percentages for tint in TINTS])
    # An area runs on under its outline, which the truth does not count.
    assert np.array(printed.coverage[:3]) == pytest.approx(expected[:3], rel=0.05)
    assert printed.heaviest == 200
    assert printed.unmarked < 0.01


def test_lines_lie_on_top() -> None:
    image, _, marks = page()
    printed = printed_page(image, [Area(*mark, tint) for mark, tint in zip(marks, TINTS, strict=True)], NEWSPRINT)
    edges = (image.max(axis=2) < 40).astype(np.uint8)
    black = max(int(NEWSPRINT.hex(Tint(0, 0, 0, 100))[at : at + 2], 16) for at in (1, 3, 5))
    assert printed.rgb[edges > 0].max(axis=1).mean() < black + 15  # newsprint's black is far from 0
    grey = [cv2.cvtColor(one, cv2.COLOR_RGB2GRAY) for one in (image, printed.rgb)]
    assert structural_similarity(*grey) > 0.5  # the drawing is still there (scikit-image)


def test_painted_areas_without_a_mark_follow_their_paint_or_are_named() -> None:
    image, truth, marks = page()
    image[truth == 4] = image[truth == 1][: (truth == 4).sum()]
    lonely = printed_page(image, [Area(*marks[0], TINTS[0])], NEWSPRINT)
    assert (lonely.regions.labels[truth == 4] == 1).mean() > 0.9
    assert lonely.unmarked == pytest.approx(np.isin(truth, (2, 3)).mean(), abs=0.03)
    nothing = printed_page(image, [Area(*marks[0], None)], NEWSPRINT)
    assert nothing.unmarked == pytest.approx((truth > 0).mean(), abs=0.03)
    assert nothing.coverage[:3] == (0, 0, 0)


def test_a_gradient_runs_along_its_arrow() -> None:
    image, truth, marks = page()
    (left, right) = np.flatnonzero((truth == 1).any(axis=0))[[0, -1]] / truth.shape[1]
    y = marks[0][1]
    area = Area(float(left), y, Tint(0, 100, 100), Tint(0, 0, 100), (float(right), y))
    printed = printed_page(image, [Area(marks[0][0], y, area.tint, area.to_tint, area.to)], NEWSPRINT)
    row = printed.rgb[int(y * truth.shape[0]) + 150, truth[int(y * truth.shape[0])] == 1].astype(int)
    assert row[-40:, 1].mean() > row[20:60, 1].mean() + 30  # magenta goes, green comes back


@pytest.mark.parametrize("at", [(-0.5, 0.5), (1.7, 0.2), (0.5, 0.0), (1.0, 1.0)])
def test_marks_off_the_page_or_on_its_edge_do_no_harm(at: tuple[float, float]) -> None:
    image, _, _ = page()
    assert printed_page(image, [Area(*at, TINTS[0])], NEWSPRINT).rgb.shape == image.shape


def test_black_and_blank_pages() -> None:
    for value in (0, 255):
        blank = np.full((300, 200, 3), value, np.uint8)
        printed = printed_page(blank, [Area(0.5, 0.5, TINTS[0])], NEWSPRINT)
        assert printed.unmarked == 0
    with pytest.raises(ValueError, match="uint8"):
        grow(np.zeros((4, 4), np.uint8), [])


def touching(first: Tint, second: Tint) -> list[str]:
    image = np.full((800, 600, 3), 246, np.uint8)
    image[100:700, 60:300], image[100:700, 300:540] = PAINTS[0], PAINTS[1]
    areas = [Area(0.3, 0.5, first), Area(0.7, 0.5, second)]
    regions = printed_page(image, areas, NEWSPRINT).regions
    return [found.word for found in sinking(regions, [first, second], [1, 2], NEWSPRINT)]


def test_what_sinks_into_its_neighbour() -> None:
    """Two yellows print almost the same on newsprint, paper beside 25 % cyan does not (measured in TR 002)."""
    assert touching(Tint(0, 0, 100), Tint(0, 0, 50))
    assert touching(Tint(0, 0, 100), Tint(0, 0, 100)) == ["the same tint"]
    assert touching(Tint(), Tint(25, 0, 0)) == []
    assert touching(Tint(0, 100, 100), Tint(100, 0, 0)) == []


def test_base_and_shade_of_one_thing_belong_side_by_side() -> None:
    image = np.full((800, 600, 3), 246, np.uint8)
    image[100:700, 60:300], image[100:700, 300:540] = PAINTS[0], PAINTS[1]
    tints = [Tint(0, 0, 100), Tint(0, 0, 50)]
    regions = grow(image, [(180, 400), (420, 400)])
    assert sinking(regions, tints, [1, 2], NEWSPRINT, ["coat", "hat"])
    assert sinking(regions, tints, [1, 2], NEWSPRINT, [None, None])
    assert sinking(regions, tints, [1, 2], NEWSPRINT, ["coat", "coat"]) == []


def test_areas_that_do_not_touch_are_not_named() -> None:
    image, _, marks = page()
    regions = printed_page(image, [Area(*mark, Tint(0, 0, 100)) for mark in marks], NEWSPRINT).regions
    assert sinking(regions, [Tint(0, 0, 100)] * 4, [1, 2, 3, 4], NEWSPRINT) == []


def test_borders_are_counted_from_both_sides() -> None:
    labels = np.array([[1, 1, 2], [1, 3, 2], [0, 3, 3]], np.int32)
    assert borders(labels, 3).tolist() == [[0, 1, 2], [1, 0, 2], [2, 2, 0]]
