"""What is said of the press over a page, on tones that a condition makes with films and dot gain that are known."""

from __future__ import annotations

import numpy as np
import pytest

from bible.colour import press
from bible.colour.charts import CHART_64
from bible.colour.tints import as_array
from guides.imaging.proof.page_press import MAIN_CHANNEL, PagePress, Run, basis, fit
from guides.imaging.proof.press_said import ink_shift, plausible
from guides.imaging.proof.reading import FLARE

NAMES = ("cyan", "magenta", "yellow")
OTHERS = ("uncoated-fogra29", "coated-fogra39", "web-coated-tr003")


def _page(printed: str, run: Run, count: int = 45, assumed: str = "newsprint") -> PagePress:
    rng = np.random.default_rng(12)
    tints = as_array([CHART_64.tints[i] for i in rng.permutation(64)[:count]])
    tones = basis(press.load(printed), tints, run).tone + rng.normal(0, 0.01, (count, 3))
    at, noise = rng.random((count, 2)), np.full((count, 3), 0.01)
    return fit(press.load(assumed), tones, noise, tints, at, np.ones(count))


@pytest.mark.parametrize("printed", OTHERS)
def test_another_paper_is_no_heavy_ink(printed: str) -> None:
    """Sheets without any film of their own, judged against newsprint: no figure is said of any ink."""
    _, said = ink_shift(_page(printed, Run()))
    assert said.startswith("the sheet looks more like")
    assert "Coldset newsprint" in said
    assert "heavy" not in said
    assert "light" not in said


@pytest.mark.parametrize("ink", range(3))
@pytest.mark.parametrize("printed", ["newsprint", "uncoated-fogra29"])
def test_a_heavy_ink_is_told_as_large_as_it_is_on_whichever_paper(printed: str, ink: int) -> None:
    film = np.where(np.arange(3) == ink, 0.25, 0.0)
    shift, said = ink_shift(_page(printed, Run(film=film)))
    assert [shift[letter].share for letter in "cmy"] == pytest.approx(film, abs=0.06)
    assert f"{NAMES[ink]} prints heavy (+" in said
    assert said.count("prints heavy") == 1
    assert ("looks more like" in said) == (printed != "newsprint")


@pytest.mark.parametrize("ink", range(3))
def test_dot_gain_is_no_heavier_solid(ink: int) -> None:
    """More gain of one ink through the condition's own model; by the formula of Murray and Davies (A. Murray, J.
    Franklin Inst. 221, 1936), a = (1 - T) / (1 - T of the solid), half tones are indeed that much broader."""
    gain = np.where(np.arange(3) == ink, 0.08, 0.0)
    half, solid = np.zeros((2, 1, 4))
    half[0, ink], solid[0, ink] = 50.0, 100.0
    paper = np.zeros((1, 4))

    def area(run: Run) -> float:
        condition, channel = press.load("newsprint"), MAIN_CHANNEL[ink]
        light = [np.exp(basis(condition, tint, run).tone[0, channel]) - FLARE for tint in (paper, half, solid)]
        return float((light[0] - light[1]) / (light[0] - light[2]))

    assert area(Run(gain)) - area(Run()) > 0.04
    shift, said = ink_shift(_page("newsprint", Run(gain)))
    assert max(abs(one.share) for one in shift.values()) < 0.07
    assert said == "no ink runs clearly light or heavy over the whole page"


def test_a_page_with_few_marks_keeps_to_the_condition_it_was_told() -> None:
    page = _page("coated-fogra39", Run(), count=10)
    assert plausible(page) == [page]
