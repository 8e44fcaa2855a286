"""Look-alikes: the risk is the overlap of two printed clouds, and its words fit the craft's cases."""

from __future__ import annotations

from itertools import product
from types import ModuleType

import numpy as np
import pytest

from bible.colour import lookalikes, press
from bible.colour.colorimetry import srgb_to_lab, srgb_to_xyz, xyz_to_lab
from bible.colour.difference import delta_e_2000, local_geometry
from bible.colour.lookalikes import RISK_BANDS, VISIONS, look_alikes, misread_risks, risk_word, simulate
from bible.colour.press import PressCondition
from bible.colour.science import deficiency_matrix
from bible.colour.tints import PAPER, Tint, as_array

CHART = [Tint(c=c, m=m, y=y) for c, m, y in product((0, 25, 50, 100), repeat=3)]
TWO_YELLOWS = ([[0, 0, 100, 0]], [[0, 0, 50, 0]])
PAPER_AND_CYAN = ([[0, 0, 0, 0]], [[25, 0, 0, 0]])


@pytest.fixture(scope="module")
def newsprint() -> PressCondition:
    return press.load("newsprint")


def test_the_craft_s_cases(newsprint: PressCondition) -> None:
    """Yellows that "print almost the same" on newsprint and not on coated stock; paper and 25 % cyan, which jump
    (the trade's notes)."""
    coated = press.load("web-coated-tr003")
    assert risk_word(misread_risks(newsprint, *TWO_YELLOWS).risk[0]) == "easily mistaken"
    assert risk_word(misread_risks(coated, *TWO_YELLOWS).risk[0]) == "distinct"
    for info in press.available():
        assert risk_word(misread_risks(press.load(info.name), *PAPER_AND_CYAN).risk[0]) == "distinct"


def test_risk_runs_from_never_to_even_odds(newsprint: PressCondition) -> None:
    risks = misread_risks(
        newsprint, [[0, 0, 0, 0], [50, 50, 50, 0], [0, 0, 0, 0]], [[0, 0, 0, 0], [50, 50, 50, 0], [100] * 4]
    )
    np.testing.assert_allclose(risks.risk[:2], 0.5)
    np.testing.assert_allclose(risks.difference[:2], 0)
    assert risks.risk[2] < 1e-6


def test_difference_is_ciede2000_and_pairs_are_symmetric(newsprint: PressCondition) -> None:
    rng = np.random.default_rng(0)
    one, other = rng.integers(0, 101, (200, 4)), rng.integers(0, 101, (200, 4))
    there, back = misread_risks(newsprint, one, other), misread_risks(newsprint, other, one)
    np.testing.assert_allclose(there.difference, delta_e_2000(newsprint.lab(one), newsprint.lab(other)), atol=1e-9)
    np.testing.assert_allclose(there.risk, back.risk, atol=1e-12)


def test_risk_is_what_simulated_printing_gives(newsprint: PressCondition) -> None:
    """Monte Carlo: print both tints many times with the stated variation, judge each print with the reader's own
    scatter, and count how often it is taken for the other (the better of two Gaussians, equal weights)."""
    rng = np.random.default_rng(1)
    count = 40_000
    for first, second in (
        ((0, 0, 100, 0), (0, 0, 50, 0)),
        ((0, 100, 25, 0), (0, 100, 50, 0)),
        ((50, 25, 0, 0), (50, 50, 0, 0)),
    ):
        prints = []
        for tint in (first, second):
            nominal = np.array(tint, dtype=float)
            room = 4 * nominal / 100 * (1 - nominal / 100)
            dots = np.clip(nominal + rng.normal(0, lookalikes.TONE_VARIATION, (count, 4)) * room, 0, 100)
            xyz = newsprint.xyz(dots)
            film = rng.normal(0, lookalikes.FILM_VARIATION, (count, 4))
            for ink in range(4):
                gone = dots.copy()
                gone[:, ink] = 0
                xyz *= (newsprint.xyz(dots) / newsprint.xyz(gone)) ** film[:, ink, None]
            prints.append(xyz_to_lab(xyz))
        centres = newsprint.lab([first, second])
        apart, axes = local_geometry(centres[:1], centres[1:])
        points = [
            (lab - centres[0]) @ axes[0].T + rng.normal(0, lookalikes.READER_VARIATION, (count, 3)) for lab in prints
        ]
        spread = (np.cov(points[0].T) + np.cov(points[1].T)) / 2
        means = [cloud.mean(axis=0) for cloud in points]
        line = np.linalg.solve(spread, means[1] - means[0])
        middle = (means[0] + means[1]) @ line / 2
        mistaken = ((points[0] @ line > middle).mean() + (points[1] @ line < middle).mean()) / 2
        assert misread_risks(newsprint, [first], [second]).risk[0] == pytest.approx(mistaken, abs=0.025)
        assert np.linalg.norm(apart) == pytest.approx(delta_e_2000(*centres))


def test_ranking_is_by_risk_and_stops_at_the_word(newsprint: PressCondition) -> None:
    pairs = look_alikes(newsprint, CHART)
    risks = [pair.risk for pair in pairs]
    assert risks == sorted(risks, reverse=True)
    assert {pair.word for pair in pairs} <= {band.word for band in RISK_BANDS[1:]}
    every = look_alikes(newsprint, CHART, at_least="distinct")
    assert len(every) == 64 * 63 // 2
    assert every[: len(pairs)] == pairs
    one, other = np.triu_indices(64, 1)
    tints = as_array(CHART)
    np.testing.assert_allclose(
        sorted(risk.risk for risk in every), np.sort(misread_risks(newsprint, tints[one], tints[other]).risk)
    )


def test_newsprint_has_more_look_alikes_than_coated_stock(newsprint: PressCondition) -> None:
    """Common sense of the trade: ink on newsprint spans fewer colours."""
    assert len(look_alikes(newsprint, CHART)) > 1.5 * len(look_alikes(press.load("coated-fogra39"), CHART))


def test_one_subject_against_others(newsprint: PressCondition) -> None:
    coat, lamp = Tint(y=100), Tint(c=100, m=50)
    found = look_alikes(newsprint, [coat, lamp], [Tint(y=50), PAPER, coat])
    assert [(pair.first, pair.second) for pair in found] == [(coat, Tint(y=50))]
    assert look_alikes(newsprint, [coat], []) == []


def test_too_many_pairs_are_refused(newsprint: PressCondition) -> None:
    many = [Tint(c=c, m=m, y=y) for c, m, y in product(range(0, 100, 8), repeat=3)]
    with pytest.raises(ValueError, match="too many"):
        look_alikes(newsprint, many)


MACHADO_2009 = {
    "protanopia": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritanopia": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}
"""The matrices at severity 1.0 as the authors publish them beside their paper (see ``deficiency_matrix``)."""


@pytest.mark.parametrize("name", list(MACHADO_2009))
def test_deficiencies_are_machados(name: str, colour_science: ModuleType) -> None:
    """Matrices of Machado, Oliveira and Fernandes 2009 at full strength, and what becomes of colours under them."""
    wanted = np.array(MACHADO_2009[name])
    np.testing.assert_allclose(deficiency_matrix(name), wanted, atol=1e-6)
    rgb = np.random.default_rng(0).uniform(0.2, 0.6, (50, 3))
    shown = np.rint(rgb * 255).astype(np.uint8)
    linear = colour_science.models.eotf_sRGB(shown / 255)
    seen = np.clip(linear @ wanted.T, 0, None)
    again = colour_science.models.eotf_inverse_sRGB(np.clip(seen, 0, 1))
    simulated = xyz_to_lab(simulate(srgb_to_xyz(shown), name))
    assert np.abs(srgb_to_lab(np.rint(again * 255).astype(np.uint8)) - simulated).max() < 1.0


def test_greys_look_the_same_to_everybody() -> None:
    grey = srgb_to_xyz(np.full((5, 3), [[20], [60], [120], [200], [255]], dtype=np.uint8))
    for vision in VISIONS:
        np.testing.assert_allclose(simulate(grey, vision), grey, rtol=2e-3)


def test_red_and_green_come_closer_without_red_or_green_sight(newsprint: PressCondition) -> None:
    """What the words mean: red-green deficiencies confuse reds with greens, blue-yellow ones spare them."""
    red, green = [[0, 50, 50, 0]], [[50, 0, 100, 0]]
    normal = misread_risks(newsprint, red, green).difference[0]
    for vision in ("protanopia", "deuteranopia"):
        assert misread_risks(newsprint, red, green, vision).difference[0] < normal / 2
    assert misread_risks(newsprint, red, green, "tritanopia").difference[0] > normal / 2
    assert len(look_alikes(newsprint, CHART, vision="deuteranopia")) > len(look_alikes(newsprint, CHART))


def test_unknown_words_are_refused(newsprint: PressCondition) -> None:
    with pytest.raises(ValueError, match=r"unknown vision 'x-ray'; known are normal, protanopia"):
        look_alikes(newsprint, CHART, vision="x-ray")
    with pytest.raises(ValueError, match="no risk is called"):
        look_alikes(newsprint, CHART, at_least="awful")
    with pytest.raises(ValueError, match="as many first as second"):
        misread_risks(newsprint, [[0, 0, 0, 0]], [[0, 0, 0, 0]] * 2)
    with pytest.raises(ValueError, match="yellow of tint 1"):
        misread_risks(newsprint, [[0, 0, 0, 0]], [[0, 0, 101, 0]])
    for bad in (-0.01, 0.51, float("nan")):
        with pytest.raises(ValueError, match=r"from 0 to 0\.5"):
            risk_word(bad)
