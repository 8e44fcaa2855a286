"""The reading of paint, against areas whose colour is known because the test painted them."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from guides.imaging.page.marks import Readings
from guides.imaging.page.marks import read_marks as read_through
from guides.imaging.page.paper import linear
from guides.imaging.page.reading import read_page_map
from guides.imaging.paint.prior import density

PAPER = np.array([244, 240, 228], np.uint8)
PAINT = np.array([205, 120, 90], np.uint8)
TRUE = density(linear(PAINT / 255.0) / linear(PAPER / 255.0))
MARK = np.array([[620.0, 500.0]])
STEADY = np.array([False])


def read_marks(image: np.ndarray, points: np.ndarray, gradient: np.ndarray) -> Readings:
    return read_through(read_page_map(image), image, points, gradient)


def page() -> np.ndarray:
    image = np.empty((1754, 1240, 3), np.uint8)
    image[:] = PAPER
    image[440:560, 540:700] = PAINT
    cv2.rectangle(image, (540, 440), (700, 560), (12, 12, 12), 3)
    return image


def error(image: np.ndarray, mark: np.ndarray = MARK, scale: float = 1.0) -> float:
    reading = read_marks(image, mark * scale, STEADY)
    return float(np.abs(reading.density[0] - TRUE).max())


def test_flat_paint_is_read_to_the_scanners_own_steps() -> None:
    assert error(page()) < 0.02


def test_handwriting_across_the_mark_changes_nothing() -> None:
    image = page()
    for dx in (-40, -20, 0, 20):
        cv2.putText(image, "Y3R", (610 + dx, 515), cv2.FONT_HERSHEY_SCRIPT_SIMPLEX, 0.9, (40, 40, 60), 2, cv2.LINE_AA)
    assert abs(image[500, 620].astype(int) - PAINT).max() > 20 or (image[480:520, 580:660] != PAINT).any()
    assert error(image) < 0.03


def test_white_pencil_changes_nothing() -> None:
    image = page()
    for y in range(470, 540, 12):
        cv2.line(image, (560, y), (680, y + 4), (250, 250, 250), 2, cv2.LINE_AA)
    assert error(image) < 0.05


def test_line_art_through_the_mark_changes_nothing() -> None:
    image = page()
    cv2.line(image, (560, 500), (690, 500), (8, 8, 8), 4, cv2.LINE_AA)
    assert error(image) < 0.02


def test_brush_streaks_average_out() -> None:
    rng = np.random.default_rng(3)
    image = page()
    streaks = np.exp(rng.normal(0.0, 0.12, (40, 1, 1)).repeat(3, axis=0))
    patch = linear(PAINT / 255.0) * streaks
    coded = 1.055 * patch ** (1 / 2.4) - 0.055
    image[440:560, 540:700] = np.clip(coded * 255, 0, 255).repeat(160, axis=1)
    assert error(image) < 0.07


@pytest.mark.parametrize("paint", [(250, 205, 60), (205, 120, 90), (120, 60, 140)])
@pytest.mark.parametrize("pitch", [8, 10, 12])
def test_hatching_over_a_small_area_leaves_it_its_colour(paint: tuple[int, int, int], pitch: int) -> None:
    """A pen's lines as a scanner blurs them, on a figure that stands in a large area of another paint."""
    image = page()
    image[200:900, 200:1040] = (130, 160, 130)
    corners = np.array([(595, 485), (622, 470), (647, 492), (628, 532), (604, 526)], np.int32)
    cv2.fillPoly(image, [corners], paint)
    lines = np.zeros(image.shape[:2], np.uint8)
    cv2.polylines(lines, [corners], True, 255, 3, cv2.LINE_AA)
    for offset in range(-40, 41, pitch):
        cv2.line(lines, (585, 505 + offset), (660, 485 + offset), 255, 2, cv2.LINE_AA)
    cover = 0.97 * cv2.GaussianBlur(lines, (0, 0), 0.8)[..., None] / 255.0
    image = (image * (1 - cover)).astype(np.uint8)
    true = density(linear(np.array(paint) / 255.0) / linear(PAPER / 255.0))
    reading = read_marks(image, np.array([[620.0, 500.0]]), STEADY)
    assert np.abs(reading.density[0] - true).max() < 0.2  # blur darkens the strips between the lines a little


@pytest.mark.parametrize("streak", [0.1, 0.2])
def test_streaks_are_in_the_uncertainty(streak: float) -> None:
    """Long brush streaks over twenty areas: the readings err by no more than they say themselves."""
    rng = np.random.default_rng(11)
    image = np.empty((1754, 1240, 3), np.uint8)
    image[:] = PAPER
    bare = linear(PAPER / 255.0)
    marks = np.array([(x, y) for y in range(220, 1700, 340) for x in range(200, 1200, 270)], dtype=np.float64)
    for x, y in marks.astype(int):
        field = cv2.GaussianBlur(rng.normal(size=(600, 600)), (0, 0), sigmaX=60, sigmaY=2.5)[200:400, 200:400]
        amount = 1.0 + streak * field / field.std()
        paint = bare * (linear(PAINT / 255.0) / bare) ** np.clip(amount, 0, None)[..., None]
        coded = 1.055 * np.maximum(paint, 1e-4) ** (1 / 2.4) - 0.055
        image[y - 100 : y + 100, x - 100 : x + 100] = np.clip(coded * 255, 0, 255)
        cv2.rectangle(image, (x - 100, y - 100), (x + 100, y + 100), (12, 12, 12), 3)
    readings = read_marks(image, marks, np.zeros(len(marks), bool))
    away = readings.density - TRUE
    surprise = np.einsum("ni,nij,nj->n", away, np.linalg.inv(readings.cov), away).mean() / 3
    assert surprise < 1.0


def test_light_that_falls_off_is_followed_by_the_paper() -> None:
    ys, xs = np.mgrid[0:1754, 0:1240]
    lamp = np.exp(-0.3 * ((xs / 1240) ** 2 + (ys / 1754) ** 2) / 2)[..., None]
    dim = linear(page() / 255.0) * lamp
    coded = np.where(dim <= 0.0031308, 12.92 * dim, 1.055 * np.maximum(dim, 1e-6) ** (1 / 2.4) - 0.055)
    assert error(np.round(coded * 255).astype(np.uint8)) < 0.03


def test_a_large_scan_reads_the_same() -> None:
    large = cv2.resize(page(), None, fx=2.5, fy=2.5, interpolation=cv2.INTER_NEAREST)
    assert error(large, scale=2.5) < 0.03


def test_marks_outside_are_said_to_be_outside() -> None:
    points = np.array([[-1.0, 5.0], [1241.0, 5.0], [np.nan, 5.0], [1e12, 1e12], [0.0, 0.0]])
    readings = read_marks(page(), points, np.zeros(5, bool))
    assert readings.inside.tolist() == [False, False, False, False, True]
    assert np.isfinite(readings.density).all()


def test_blank_and_grey_pages_are_known() -> None:
    blank = np.full((900, 600, 3), (240, 236, 220), np.uint8)
    assert read_page_map(blank).blank
    grey = cv2.cvtColor(cv2.cvtColor(page(), cv2.COLOR_RGB2GRAY), cv2.COLOR_GRAY2RGB)
    assert read_page_map(grey).grey
    assert not read_page_map(grey).blank
    assert not read_page_map(page()).grey


@pytest.mark.parametrize("shape", [(1, 1), (2, 900), (900, 2), (40, 40)])
def test_tiny_pages_are_read_without_harm(shape: tuple[int, int]) -> None:
    readings = read_marks(np.full((*shape, 3), 200, np.uint8), np.array([[0.5, 0.5]]), STEADY)
    assert np.isfinite(readings.density).all()


def test_other_arrays_are_refused() -> None:
    with pytest.raises(ValueError, match="uint8"):
        read_page_map(np.zeros((10, 10, 3)))  # type: ignore[arg-type]


OTHER = np.array([96, 40, 120], np.uint8)


def two_areas() -> np.ndarray:
    """The painted area, and one of another paint to the right of it."""
    image = page()
    image[440:560, 702:900] = OTHER
    cv2.rectangle(image, (700, 440), (900, 560), (12, 12, 12), 3)
    return image


def test_a_mark_on_a_word_that_runs_across_a_line_is_read_where_it_stands() -> None:
    image = two_areas()
    cv2.line(image, (560, 500), (880, 500), (236, 236, 236), 10, cv2.LINE_AA)
    readings = read_marks(image, np.array([[690.0, 500.0], [712.0, 500.0]]), np.zeros(2, bool))
    other = density(linear(OTHER / 255.0) / linear(PAPER / 255.0))
    assert np.abs(readings.density[0] - TRUE).max() < 0.05
    assert np.abs(readings.density[1] - other).max() < 0.05


def test_what_may_be_writing_on_an_area_says_so_and_brings_that_area_along() -> None:
    image = page()
    chalk = (0.4 * (PAINT / 255.0) ** 2.2 + 0.6 * 0.85) ** (1 / 2.2) * 255
    image[489:511, 590:650] = np.rint(chalk)
    readings = read_marks(image, np.vstack([MARK, [[560.0, 455.0]]]), np.zeros(2, bool))
    assert readings.perhaps.tolist() == [True, False]
    assert np.abs(readings.around[0, 0] - TRUE).max() < 0.05
    assert np.isnan(readings.around[1]).all()


@pytest.mark.parametrize(("spot", "noted"), [((96, 40, 120), True), ((160, 94, 70), False)])
def test_what_was_taken_for_writing_and_is_of_another_paint_is_noted(spot: tuple[int, int, int], noted: bool) -> None:
    page_map = read_page_map(page())
    written = np.zeros((1754, 1240), np.uint8)
    cv2.circle(written, (620, 500), 12, 1, -1)
    image = page()
    image[written > 0] = spot
    working = cv2.resize(written, page_map.labels.shape[::-1], interpolation=cv2.INTER_NEAREST) > 0
    readings = read_through(replace(page_map, writing=working), image, MARK, STEADY)
    assert np.abs(readings.density[0] - TRUE).max() < 0.05
    assert readings.perhaps.tolist() == [noted]
    assert readings.away[0] == pytest.approx(12 * page_map.scale / page_map.pen, abs=1.0)
    if noted:
        assert np.abs(readings.around[0, 0] - density(linear(OTHER / 255.0) / linear(PAPER / 255.0))).max() < 0.1


def test_a_mark_in_a_brick_full_of_letters_is_not_read_in_the_next_one() -> None:
    image = page()
    image[480:520, 520:600] = OTHER
    for left in (520, 600):
        cv2.rectangle(image, (left, 480), (left + 80, 520), (20, 18, 20), 4)
    bricks, written = read_page_map(image), np.zeros((1754, 1240), np.uint8)
    written[480:520, 602:680] = 1
    working = cv2.resize(written, bricks.labels.shape[::-1], interpolation=cv2.INTER_NEAREST) > 0
    mark = np.array([[608.0, 500.0]])
    read = read_through(replace(bricks, writing=working), image, mark, STEADY)
    assert np.abs(read.density[0] - TRUE).max() < 0.05
