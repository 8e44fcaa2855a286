"""The printing model: what it does between nodes, and that it is the model it says it is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bible.colour import press
from bible.colour.cgats import CharacterizationData
from bible.colour.neugebauer import CellularModel, modified_akima
from bible.colour.press import murray_davies, yule_nielsen
from bible.colour.pressfit import fit, is_node

PAPER = np.array([80.0, 83.0, 66.0])
SOLIDS = np.array([[20.0, 26.0, 50.0], [36.0, 20.0, 22.0], [60.0, 64.0, 9.0], [4.0, 4.0, 3.5]])


def ideal_press(tints: np.ndarray, n: float, gain: float = 0.8) -> np.ndarray:
    """XYZ of a press that obeys Yule, Nielsen and Neugebauer exactly, with inks that multiply like filters."""
    coverage = (tints / 100.0) ** gain
    paper = PAPER ** (1 / n)
    roots = np.repeat(paper[None], len(tints), axis=0)
    for ink in range(4):
        filtered = (SOLIDS[ink] / PAPER) ** (1 / n)
        roots = roots * (1 - coverage[:, ink, None] + coverage[:, ink, None] * filtered)
    return roots**n


def chart(levels: tuple[int, ...], ramp: int = 10) -> np.ndarray:
    grid = np.stack(np.meshgrid(*[levels] * 4, indexing="ij"), axis=-1).reshape(-1, 4)
    ramps = [np.eye(4)[ink] * step for ink in range(4) for step in range(0, 101, ramp)]
    return np.unique(np.concatenate([grid, ramps]), axis=0).astype(float)


def test_recovers_a_press_that_obeys_the_model() -> None:
    """From paper, ramps and the 16 solids alone (Yule and Nielsen's n = 2, Neugebauer's mixing)."""
    tints = chart((0, 100), ramp=1)
    condition = fit(
        CharacterizationData(tints, ideal_press(tints, n=2.0)), name="ideal", title="Ideal", source="computed"
    )
    anywhere = np.random.default_rng(1).integers(0, 101, (500, 4)).astype(float)
    np.testing.assert_allclose(
        condition.xyz(anywhere), ideal_press(anywhere, n=2.0), atol=0.01
    )  # the last digit of measured data


def test_a_press_of_another_n_is_learnt_from_its_nodes() -> None:
    """Cells take up what the exponent gets wrong (n = 1 here): five times closer than the 16 solids alone."""
    anywhere = np.random.default_rng(2).integers(0, 101, (500, 4)).astype(float)
    wanted = ideal_press(anywhere, n=1.0)
    errors = []
    for levels in ((0, 100), (0, 20, 40, 70, 100)):
        tints = chart(levels, ramp=1)
        data = CharacterizationData(tints, ideal_press(tints, n=1.0))
        condition = fit(data, name="another", title="Another", source="computed")
        errors.append(np.abs(condition.xyz(anywhere) - wanted).mean())
    assert errors[1] < errors[0] / 5


def test_tone_curve_is_the_coverage_that_yule_and_nielsen_solve_for() -> None:
    """Identity: on an ideal press the fitted curve is the coverage, and equation and model agree."""
    tints = chart((0, 100))
    data = CharacterizationData(tints, ideal_press(tints, n=2.0))
    condition = fit(data, name="ideal", title="Ideal", source="computed")
    for ink, channel in ((0, 0), (1, 1), (2, 2), (3, 1)):
        ramp = np.arange(0, 101, 10)
        alone = np.zeros((len(ramp), 4))
        alone[:, ink] = ramp
        solved = yule_nielsen(condition.xyz(alone)[:, channel], PAPER[channel], SOLIDS[ink, channel], n=2.0)
        np.testing.assert_allclose(solved, (ramp / 100) ** 0.8, atol=1e-4)
        np.testing.assert_allclose(condition.model.tones[ink, ramp, channel], solved, atol=1e-4)


@given(
    coverage=st.floats(0, 1),
    paper=st.floats(50, 95),
    solid=st.floats(1, 45),
    n=st.floats(1, 3),
)
def test_murray_davies_and_yule_nielsen_invert_their_mixing(
    coverage: float, paper: float, solid: float, n: float
) -> None:
    """Murray 1936: R = a Rs + (1 - a) Rp. Yule and Nielsen 1951: the same of n-th roots; n = 1 is Murray-Davies."""
    mixed = coverage * solid + (1 - coverage) * paper
    assert murray_davies(mixed, paper, solid) == pytest.approx(coverage, abs=1e-9)
    assert yule_nielsen(mixed, paper, solid, 1.0) == pytest.approx(coverage, abs=1e-9)
    spread = (coverage * solid ** (1 / n) + (1 - coverage) * paper ** (1 / n)) ** n
    assert yule_nielsen(spread, paper, solid, n) == pytest.approx(coverage, abs=1e-7)
    assert murray_davies(spread, paper, solid) >= coverage - 1e-9  # light spread only ever adds gain


def test_modified_akima_is_scipys() -> None:
    from scipy.interpolate import Akima1DInterpolator

    rng = np.random.default_rng(3)
    for count in (3, 4, 7):
        x = np.sort(rng.random(count))
        y = rng.random((count, 5, 3))
        at = np.linspace(x[0], x[-1], 50)
        wanted = Akima1DInterpolator(x, y, method="makima")(at)
        np.testing.assert_allclose(modified_akima(x, y, at), wanted, atol=1e-12)


def test_two_points_are_a_straight_line() -> None:
    """As NumPy has it: SciPy 1.14.0, the lowest that is named, takes slopes from memory that nobody has written."""
    at = np.linspace(0.2, 0.7, 9)
    wanted = np.interp(at, [0.2, 0.7], [1.0, 3.0])
    np.testing.assert_allclose(modified_akima(np.array([0.2, 0.7]), np.array([[1.0], [3.0]]), at)[:, 0], wanted)


def test_a_flat_stretch_stays_flat() -> None:
    x, y = np.arange(5.0), np.array([0.0, 1, 1, 1, 1])[:, None]
    np.testing.assert_allclose(modified_akima(x, y, np.linspace(1, 4, 31)), 1.0)


@pytest.fixture(scope="module")
def newsprint() -> press.PressCondition:
    return press.load("newsprint")


def test_nodes_are_met(newsprint: press.PressCondition) -> None:
    model = newsprint.model
    for place in ((0, 0, 0, 0), (4, 4, 4, 0), (1, 2, 3, 4), (4, 0, 2, 5), (0, 0, 0, 5)):
        tint = [[model.levels[ink][at] for ink, at in enumerate(place)]]
        np.testing.assert_allclose(newsprint.xyz(tint)[0], model.nodes[place], rtol=2e-6)


def test_the_many_and_the_single_agree(newsprint: press.PressCondition) -> None:
    """With and without key, whole and broken percentages, all sizes of batch: one prediction for one tint."""
    rng = np.random.default_rng(4)
    tints = np.concatenate([rng.uniform(0, 100, (3000, 4)), rng.integers(0, 101, (3000, 4))])
    tints[::3, 3] = 0
    together = newsprint.xyz(tints)
    alone = np.concatenate([newsprint.xyz(tints[row : row + 1]) for row in range(0, 6000, 50)])
    np.testing.assert_allclose(together[::50], alone, rtol=1e-6)
    assert newsprint.xyz(np.empty((0, 4))).shape == (0, 3)


def test_predictions_have_no_steps(newsprint: press.PressCondition) -> None:
    """Across every cell border and every whole percentage, with each ink: no jump."""
    rng = np.random.default_rng(5)
    for ink in range(4):
        around = np.repeat(rng.integers(0, 101, (20, 1, 4)).astype(float), 401, axis=1)
        around[:, :, ink] = np.linspace(0, 100, 401)
        lab = newsprint.lab(around.reshape(-1, 4)).reshape(20, 401, 3)
        assert np.linalg.norm(np.diff(lab, axis=1), axis=2).max() < 1.6


def test_more_ink_is_never_lighter_by_more_than_the_measurements_have_it() -> None:
    """Common sense of the trade; data hold small reversals where a strong ink covers everything."""
    for info in press.available():
        condition = press.load(info.name)
        rng = np.random.default_rng(6)
        less = rng.uniform(0, 90, (2000, 4))
        for ink in range(4):
            more = less.copy()
            more[:, ink] += 10
            rise = condition.xyz(more)[:, 1] - condition.xyz(less)[:, 1]
            assert rise.max() < 0.35


def test_a_cell_keeps_to_its_corners_when_tones_are_flat() -> None:
    """Two levels and flat tone curves: the shares are the nominal ones, so the middle is the mean of the roots."""
    nodes = np.empty((2, 2, 2, 2, 3))
    nodes[...] = np.arange(1, 17).reshape(2, 2, 2, 2, 1)
    tones = np.repeat(np.linspace(0, 1, 101)[None, :, None], 4, axis=0).repeat(3, axis=2)
    model = CellularModel(((0, 100),) * 4, nodes, tones)
    middle = np.sqrt(np.arange(1, 17)).mean() ** 2
    np.testing.assert_allclose(model.xyz(np.full((1, 4), 50.0)), middle, rtol=1e-6)
    quarter = model.xyz(np.array([[25.0, 0, 0, 0]]))
    np.testing.assert_allclose(quarter, (0.75 * 1 + 0.25 * 3) ** 2, rtol=1e-6)


def test_is_node_counts_ramps_and_grid() -> None:
    tints = np.array([[0, 0, 0, 0], [37, 0, 0, 0], [20, 40, 0, 0], [20, 30, 0, 0], [20, 40, 0, 50.0]])
    levels = ((0, 20, 100), (0, 40, 100), (0, 100), (0, 100))
    assert is_node(tints, levels).tolist() == [True, True, True, False, False]
