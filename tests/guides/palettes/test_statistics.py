"""Figures and distances of palettes against numpy, scipy and colour-science."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bible.colour.press import load
from bible.colour.tints import Tint, as_array
from guides.palettes import statistics
from guides.palettes.matrix import build


def colour_science() -> Any:
    """The library warns on import that it finds nothing to plot with; nothing here plots."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


PRESS = load("newsprint")
PAPER, YELLOW, FLESH, BLUE = Tint(), Tint(y=100), Tint(m=25, y=25), Tint(c=100, m=50)


def test_means_are_numpys_over_every_single_use() -> None:
    """numpy.mean over the uses written out one by one; chroma through colour-science's Lab_to_LCHab."""
    colour = colour_science()
    palette = {PAPER: 1, YELLOW: 5, FLESH: 2, BLUE: 3}
    each = as_array(tint for tint, n in palette.items() for _ in range(n))
    lch = colour.models.Lab_to_LCHab(PRESS.lab(each))
    found = statistics.figures(palette, PRESS)
    assert found is not None
    assert (found.uses, found.tints) == (11, 4)
    assert found.lightness == pytest.approx(lch[:, 0].mean())
    assert found.chroma == pytest.approx(lch[:, 1].mean())
    assert found.ink == pytest.approx(each.sum(axis=1).mean())
    assert [mean for _, mean in found.inks] == pytest.approx(each.mean(axis=0).tolist())


def test_nothing_used_has_no_figures() -> None:
    assert statistics.figures({}, PRESS) is None
    assert statistics.figures({YELLOW: 0}, PRESS) is None


def test_what_came_went_and_shifted() -> None:
    compared = statistics.compare({YELLOW: 3, PAPER: 1}, {YELLOW: 1, BLUE: 1})
    assert [c.tint for c in compared.went] == [PAPER]
    assert [c.tint for c in compared.came] == [BLUE]
    (kept,) = compared.kept
    assert (kept.share_before, kept.share_after, kept.points) == (75.0, 50.0, -25.0)


shares = st.lists(st.integers(0, 20), min_size=6, max_size=6).filter(any)


@settings(max_examples=40, deadline=None)
@given(shares, shares)
def test_on_a_line_it_is_scipys_wasserstein_distance(first: list[int], second: list[int]) -> None:
    """scipy.stats.wasserstein_distance, which works in another way (areas between distribution functions)."""
    from scipy.stats import wasserstein_distance

    places = np.arange(6.0) ** 1.5
    ground = np.abs(places[:, None] - places[None])
    p, q = np.array(first) / sum(first), np.array(second) / sum(second)
    found = statistics.movers_distance(p, q, ground)
    assert found == pytest.approx(wasserstein_distance(places, places, p, q), abs=1e-7)
    about = statistics.approximate_distances(p, q[None], ground)[0]
    assert about == pytest.approx(found, abs=1.0)


def test_between_single_tints_it_is_colour_sciences_ciede2000() -> None:
    colour = colour_science()
    lab = PRESS.lab(as_array([YELLOW, FLESH]))
    wanted = colour.difference.delta_E_CIE2000(lab[0], lab[1])
    assert statistics.palette_distance({YELLOW: 9}, {FLESH: 2}, PRESS) == pytest.approx(wanted, abs=1e-4)
    assert statistics.palette_distance({YELLOW: 9}, {YELLOW: 1}, PRESS) == 0
    assert statistics.palette_distance({YELLOW: 9}, {}, PRESS) is None


def test_the_nearest_are_those_that_solving_every_transport_finds() -> None:
    rng = np.random.default_rng(5)
    tints = [Tint(c, m, y) for c in (0, 25, 100) for m in (0, 50) for y in (0, 50, 100)]
    counts = rng.integers(0, 6, (80, len(tints))) * (rng.random((80, len(tints))) < 0.4)
    wanted = {tint: int(n) for tint, n in zip(tints, counts[0], strict=True) if n}
    found = statistics.nearest(wanted, tints, counts[1:], PRESS, 5)
    palettes = [{tint: int(n) for tint, n in zip(tints, row, strict=True) if n} for row in counts[1:]]
    every = [
        (statistics.palette_distance(wanted, palette, PRESS), at) for at, palette in enumerate(palettes) if palette
    ]
    assert [at for at, _ in found] == [at for _, at in sorted(every)[:5]]


def test_entries_of_one_place_add_up_and_unreadable_ones_stand_apart() -> None:
    y, blue = YELLOW.packed, BLUE.packed
    entries = np.array([[0, y, 7, 2], [0, y, 8, 1], [2, y, 7, 1], [2, blue, 7, 9], [1, -2, 7, 4]])
    found = build(["a", "b", "c"], *entries.T)  # type: ignore[list-item]
    assert found.tints == (BLUE, YELLOW)
    assert found.counts.tolist() == [[0, 3], [0, 0], [9, 1]]
    assert found.unreadable.tolist() == [0, 4, 0]
    blue_row, yellow_row = found.rows
    assert (yellow_row.uses, yellow_row.issues, yellow_row.first, yellow_row.last) == (4, 2, "a", "c")
    assert yellow_row.people == ((7, 3), (8, 1))
    assert (blue_row.first, blue_row.last) == ("c", "c")
