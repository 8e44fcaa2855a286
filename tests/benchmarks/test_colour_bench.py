"""How fast the press predicts. The figures to beat stand in the names' comments; nothing is asserted about time."""

from __future__ import annotations

from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bible.colour import press
from bible.colour.cgats import read_cgats
from bible.colour.difference import delta_e_2000, nearest, neighbours
from bible.colour.halftone import halftone
from bible.colour.lookalikes import look_alikes
from bible.colour.pressfile import loads
from bible.colour.pressfit import fit
from bible.colour.printed_gradients import gradient, suggest_ends
from bible.colour.science import measured_difference
from bible.colour.tints import Tint, as_array

PRESS_DATA = Path(__file__).parents[1] / "data" / "press"
CHART = [Tint(c=c, m=m, y=y) for c, m, y in product((0, 25, 50, 100), repeat=3)]


@pytest.fixture(scope="module")
def newsprint() -> press.PressCondition:
    return press.load("newsprint")


@pytest.mark.parametrize("name", ["TR002", "TR003", "FOGRA39L"])
def test_fit(benchmark: Any, name: str) -> None:
    """Bar: 50 ms."""
    data = read_cgats((PRESS_DATA / f"{name}.ti3").read_bytes())
    condition = benchmark(fit, data, name="bench", title="Bench", source="a report")
    assert condition.name == "bench"


def test_read_data(benchmark: Any) -> None:
    content = (PRESS_DATA / "TR003.ti3").read_bytes()
    assert len(benchmark(read_cgats, content)) == 1617


def test_load_from_text(benchmark: Any) -> None:
    text = (press.PRESS_DATA / "newsprint.press").read_text(encoding="utf-8")
    assert benchmark(loads.__wrapped__, text).name == "newsprint"


@pytest.mark.parametrize(
    ("count", "kind"), [(64, "chart"), (125, "chart"), (625, "chart"), (625, "with key"), (625, "broken")]
)
def test_predict_a_chart(benchmark: Any, newsprint: press.PressCondition, count: int, kind: str) -> None:
    """Bar: 0.1 ms, for whole percentages without key, with key, and for broken percentages with key."""
    tints = np.random.default_rng(0).uniform(0, 100, (count, 4))
    if kind != "broken":
        tints = np.rint(tints)
    if kind == "chart":
        tints[:, 3] = 0
    assert benchmark(newsprint.xyz, tints).shape == (count, 3)


@pytest.mark.parametrize("kind", ["whole", "broken"])
def test_predict_a_million(benchmark: Any, newsprint: press.PressCondition, kind: str) -> None:
    """Bar: 200 ms."""
    tints = np.random.default_rng(0).uniform(0, 100, (1_000_000, 4))
    if kind == "whole":
        tints = np.rint(tints)
    assert benchmark.pedantic(newsprint.xyz, (tints,), rounds=5, warmup_rounds=1).shape == (1_000_000, 3)


def test_swatches_of_a_chart(benchmark: Any, newsprint: press.PressCondition) -> None:
    assert len(benchmark(newsprint.hexes, CHART)) == 64


def test_differences(benchmark: Any) -> None:
    rng = np.random.default_rng(0)
    one, other = rng.uniform(0, 90, (2, 10_000, 3))
    assert benchmark(delta_e_2000, one, other).shape == (10_000,)


@pytest.mark.parametrize("pairs", [50, 2_000])
@pytest.mark.parametrize("whose", ["ours", "colour-science"])
def test_differences_beside_the_library(benchmark: Any, whose: str, pairs: int) -> None:
    """Why a page's few differences are worked out by own code: 0.06 ms against 0.19 for 50 pairs, and no 1.2 s and
    100 MB for an import."""
    one, other = np.random.default_rng(0).uniform(0, 90, (2, pairs, 3))
    measured_difference(one, other)  # the import is no part of it
    assert benchmark(delta_e_2000 if whose == "ours" else measured_difference, one, other).shape == (pairs,)


def test_neighbours_of_a_chart(benchmark: Any, newsprint: press.PressCondition) -> None:
    assert benchmark(neighbours, newsprint.lab(as_array(CHART)), 4)[0].shape == (64, 4)


def test_nearest_tint(benchmark: Any, newsprint: press.PressCondition) -> None:
    assert benchmark(nearest, CHART, [60, 40, 30], newsprint).matches


@pytest.mark.parametrize("levels", [(0, 25, 50, 100), (0, 25, 50, 70, 100)])
def test_look_alikes_of_a_chart(benchmark: Any, newsprint: press.PressCondition, levels: tuple[int, ...]) -> None:
    chart = [Tint(c=c, m=m, y=y) for c, m, y in product(levels, repeat=3)]
    assert benchmark(look_alikes, newsprint, chart)


def test_gradient_with_suggestions(benchmark: Any, newsprint: press.PressCondition) -> None:
    def both() -> bool:
        start, end = Tint(c=100, y=100), Tint(c=50)
        return gradient(newsprint, start, end).holds_hue or bool(suggest_ends(newsprint, start, end, CHART))

    assert benchmark(both)


def test_halftone_view(benchmark: Any, newsprint: press.PressCondition) -> None:
    assert benchmark(halftone, newsprint, Tint(25, 50, 100), 480, 360).shape == (360, 480, 3)
