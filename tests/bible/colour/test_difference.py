"""CIEDE2000, the words for a difference, and the nearest tint."""

from __future__ import annotations

from itertools import product
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bible.colour import press
from bible.colour.difference import (
    SEVERITY_BANDS,
    delta_e_2000,
    difference_matrix,
    hue_part,
    local_geometry,
    nearest,
    neighbours,
    severity,
)
from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array

SHARMA_PAIRS = np.array(
    [
        [50.0000, 2.6772, -79.7751, 50.0000, 0.0000, -82.7485, 2.0425],
        [50.0000, 3.1571, -77.2803, 50.0000, 0.0000, -82.7485, 2.8615],
        [50.0000, 2.8361, -74.0200, 50.0000, 0.0000, -82.7485, 3.4412],
        [50.0000, -1.3802, -84.2814, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -1.1848, -84.8006, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -0.9009, -85.5211, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, 0.0000, 0.0000, 50.0000, -1.0000, 2.0000, 2.3669],
        [50.0000, -1.0000, 2.0000, 50.0000, 0.0000, 0.0000, 2.3669],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0009, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0010, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0011, 7.2195],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0012, 7.2195],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0009, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0010, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0011, -2.4900, 4.7461],
        [50.0000, 2.5000, 0.0000, 50.0000, 0.0000, -2.5000, 4.3065],
        [50.0000, 2.5000, 0.0000, 73.0000, 25.0000, -18.0000, 27.1492],
        [50.0000, 2.5000, 0.0000, 61.0000, -5.0000, 29.0000, 22.8977],
        [50.0000, 2.5000, 0.0000, 56.0000, -27.0000, -3.0000, 31.9030],
        [50.0000, 2.5000, 0.0000, 58.0000, 24.0000, 15.0000, 19.4535],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.1736, 0.5854, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2972, 0.0000, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 1.8634, 0.5757, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2592, 0.3350, 1.0000],
        [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
        [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ]
)
"""Pairs of Lab and their CIEDE2000: G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 Color-Difference Formula:
Implementation Notes, Supplementary Test Data, and Mathematical Observations", 2005, table 1 (from memory; the test
against colour-science would show a slip)."""

CHART = [Tint(c=c, m=m, y=y) for c, m, y in product((0, 25, 50, 100), repeat=3)]


@pytest.fixture(scope="module")
def newsprint() -> PressCondition:
    return press.load("newsprint")


def test_the_published_pairs() -> None:
    found = delta_e_2000(SHARMA_PAIRS[:, :3], SHARMA_PAIRS[:, 3:6])
    np.testing.assert_allclose(found, SHARMA_PAIRS[:, 6], atol=5.1e-5)
    np.testing.assert_allclose(delta_e_2000(SHARMA_PAIRS[:, 3:6], SHARMA_PAIRS[:, :3]), found, atol=1e-12)


def test_is_colour_sciences(colour_science: ModuleType) -> None:
    rng = np.random.default_rng(0)
    one = rng.uniform([0, -110, -110], [100, 110, 110], (20_000, 3))
    other = one + rng.normal(0, rng.choice([0.1, 3, 40], (20_000, 1)), (20_000, 3))
    wanted = colour_science.delta_E(one, other, method="CIE 2000")
    np.testing.assert_allclose(delta_e_2000(one, other), wanted, atol=1e-9)
    published = colour_science.delta_E(SHARMA_PAIRS[:, :3], SHARMA_PAIRS[:, 3:6], method="CIE 2000")
    np.testing.assert_allclose(published, SHARMA_PAIRS[:, 6], atol=5.1e-5)


lab = st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120))


@given(lab, lab)
def test_a_difference_is_symmetric_and_nothing_to_itself(one: tuple, other: tuple) -> None:
    assert delta_e_2000(one, one) == 0
    assert delta_e_2000(one, other) >= 0
    assert delta_e_2000(one, other) == pytest.approx(delta_e_2000(other, one), abs=1e-9)


def test_shapes_broadcast() -> None:
    many = np.random.default_rng(0).uniform(0, 90, (7, 5, 3))
    assert delta_e_2000(many, [50, 0, 0]).shape == (7, 5)
    assert delta_e_2000([50, 0, 0], [50, 0, 1]).shape == ()


def test_hue_part_is_the_whole_difference_of_colours_that_differ_in_hue_alone() -> None:
    start = np.array([60.0, 40.0, 0.0])
    angle = np.radians([10.0, -10.0])
    # Equal chroma as CIEDE2000 sees it (a* stretched) has to be undone to differ in nothing else.
    stretch = 1.5 - 0.5 * np.sqrt(40.0**7 / (40.0**7 + 25.0**7))
    turned = np.stack([60 + 0 * angle, 40 * np.cos(angle), 40 * stretch * np.sin(angle)], axis=1)
    part = hue_part(start, turned)
    np.testing.assert_allclose(np.abs(part), delta_e_2000(start, turned), rtol=0.01)
    assert part[0] > 0 > part[1]


def test_local_geometry_measures_what_ciede2000_does() -> None:
    rng = np.random.default_rng(1)
    one = rng.uniform([10, -80, -80], [95, 80, 80], (5000, 3))
    other = one + rng.normal(0, 10, one.shape)
    apart, _ = local_geometry(one, other)
    np.testing.assert_allclose(np.linalg.norm(apart, axis=1), delta_e_2000(one, other), atol=1e-9)
    near = one + rng.normal(0, 1e-4, one.shape)
    _, axes = local_geometry(one, near)
    moved = np.einsum("nij,nj->ni", axes, near - one)
    np.testing.assert_allclose(np.linalg.norm(moved, axis=1), delta_e_2000(one, near), rtol=1e-5)


def test_severity_bands_rise_and_match_the_trades_words() -> None:
    """Yellows 5.3 apart "print almost the same"; paper beside 25 % cyan, 14.6, is "a harsh jump" (trade's notes)."""
    starts = [band.start for band in SEVERITY_BANDS]
    assert starts == sorted(starts)
    assert starts[0] == 0
    assert [severity(value).word for value in (0, 0.99, 1, 5.3, 6, 11.5, 12, 14.6, 80)] == [
        "unseen",
        "unseen",
        "slight",
        "moderate",
        "obvious",
        "obvious",
        "severe",
        "severe",
        "severe",
    ]
    for bad in (-0.1, float("nan")):
        with pytest.raises(ValueError, match="not"):
            severity(bad)


def test_matrix_and_neighbours(newsprint: PressCondition) -> None:
    colours = newsprint.lab(as_array(CHART))
    matrix = difference_matrix(colours)
    np.testing.assert_allclose(matrix, delta_e_2000(colours[:, None], colours[None]), atol=1e-12)
    order, differences = neighbours(colours, 3)
    for row in range(len(CHART)):
        others = np.delete(matrix[row], row)
        np.testing.assert_allclose(differences[row], np.sort(others)[:3])
        assert row not in order[row]
    assert neighbours(colours[:2], 5)[0].tolist() == [[1], [0]]


def test_nearest_ranks_the_chart(newsprint: PressCondition) -> None:
    wanted = newsprint.lab([[22, 30, 95, 0]])[0]
    found = nearest(CHART, wanted, newsprint, count=64)
    differences = delta_e_2000(newsprint.lab(as_array(CHART)), wanted)
    assert [match.tint for match in found.matches] == [CHART[at] for at in np.argsort(differences)]
    np.testing.assert_allclose([match.difference for match in found.matches], np.sort(differences))
    assert found.matches[0].severity == severity(found.matches[0].difference).word
    assert found.matches[0].tint == Tint(c=25, m=25, y=100)


@pytest.mark.parametrize("name", ["newsprint", "coated-fogra39"])
def test_what_the_press_can_print_is_found(name: str) -> None:
    """A colour made of any percentages is printable: the search comes back to it within the eye's reach."""
    condition = press.load(name)
    tints = np.random.default_rng(2).uniform(0, 100, (25, 4))
    tints[:15, 3] = 0
    for wanted in condition.lab(tints):
        found = nearest(CHART, wanted, condition, count=1)
        assert found.printable < 0.15
        again = condition.lab([found.recipe])[0]
        assert delta_e_2000(again, wanted) == pytest.approx(found.printable, abs=1e-9)


def test_what_the_press_cannot_print_is_as_far_as_a_fine_search_says(newsprint: PressCondition) -> None:
    steps = np.arange(0, 101, 4.0)
    grid = np.stack(np.meshgrid(steps, steps, steps, [0.0, 8, 40, 100], indexing="ij"), axis=-1).reshape(-1, 4)
    everything = newsprint.lab(grid)
    for wanted in ([60.0, 90.0, 60.0], [95.0, 0.0, 0.0], [5.0, 0.0, 0.0], [60.0, -70.0, 40.0], [40.0, 10.0, -70.0]):
        found = nearest(CHART, wanted, newsprint)
        finest = delta_e_2000(everything, wanted).min()
        assert finest - 0.5 < found.printable <= finest + 1e-9
        assert found.matches[0].difference >= found.printable


def test_relative_asks_with_the_paper_as_white(newsprint: PressCondition) -> None:
    white = nearest(CHART, [100, 0, 0], newsprint, relative=True)
    assert white.matches[0].tint == Tint()
    assert white.printable < 0.05
    assert nearest(CHART, [100, 0, 0], newsprint).printable > 10  # newsprint is not white


@pytest.mark.parametrize("bad", [[1, 2], [[1, 2, 3]], [50, float("nan"), 0]])
def test_what_is_no_colour_is_refused(newsprint: PressCondition, bad: list) -> None:
    with pytest.raises(ValueError, match="three finite numbers"):
        nearest(CHART, bad, newsprint)


def test_an_empty_chart_is_refused(newsprint: PressCondition) -> None:
    with pytest.raises(ValueError, match="no tint on the chart"):
        nearest([], [50, 0, 0], newsprint)
