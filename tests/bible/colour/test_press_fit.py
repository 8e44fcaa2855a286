"""Fitting: which nodes are found, what the data must hold, and what is made of too little."""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import pytest

from bible.colour.cgats import CharacterizationData
from bible.colour.pressfile import dumps, loads
from bible.colour.pressfit import FitError, fit, fit_model

WORDS: dict[str, Any] = {"name": "house-stock", "title": "House stock", "source": "our own measurement"}


def thinned(data: CharacterizationData, keep: np.ndarray) -> CharacterizationData:
    return CharacterizationData(data.tints[keep], data.xyz[keep])


def only(data: CharacterizationData, ink: int) -> np.ndarray:
    return np.delete(data.tints, ink, axis=1).sum(axis=1) == 0


def test_finds_the_grids_of_the_standard_charts(newsprint_data: CharacterizationData) -> None:
    """IT8.7/3 holds complete grids at 0, 20, 40, 70, 100 % of C, M, Y for 0-60 % of key, coarser ones above."""
    levels = fit(newsprint_data, **WORDS).model.levels
    assert levels == ((0, 20, 40, 70, 100),) * 3 + ((0, 20, 40, 60, 80, 100),)


def test_says_how_well_it_predicts_what_it_did_not_see(newsprint_data: CharacterizationData) -> None:
    notes = fit(newsprint_data, **WORDS).notes
    assert notes[0] == "fitted to 611 of 836 distinct patches"
    assert "95 other patches without key: CIEDE2000 0.2" in notes[1]
    assert "130 other patches with key" in notes[2]


def test_a_condition_of_ones_own_survives_its_file(coated_data: CharacterizationData) -> None:
    condition = fit(
        coated_data, **WORDS, paper="our stock", ruling_lpi=100, angles={"c": 15, "m": 75, "y": 0, "k": 45}
    )
    again = loads(dumps(condition))
    tints = np.random.default_rng(0).uniform(0, 100, (500, 4))
    np.testing.assert_allclose(again.xyz(tints), condition.xyz(tints), rtol=1e-6)
    assert (again.name, again.title, again.source) == ("house-stock", "House stock", "our own measurement")
    assert again.angles["y"] == 0
    assert again.ruling_lpi == 100


def test_eight_bit_percentages_are_taken_for_the_whole_ones_they_mean(coated_data: CharacterizationData) -> None:
    """A chart sent as 8-bit values prints 20 % as 51/255 and 70 % as 179/255 = 70.196 %."""
    rounded = CharacterizationData(np.rint(coated_data.tints * 2.55) / 2.55, coated_data.xyz)
    assert fit(rounded, **WORDS).model.levels == fit(coated_data, **WORDS).model.levels


def test_overprints_that_were_not_measured_are_filled_in(coated_data: CharacterizationData) -> None:
    """Charts with an ink limit stop short of 400 %. The other predictions stay; the deep ones are dark, not odd."""
    whole = fit(coated_data, **WORDS)
    limited = fit(thinned(coated_data, coated_data.tints.sum(axis=1) <= 300), **WORDS)
    rng = np.random.default_rng(0)
    tints = rng.integers(0, 101, (4000, 4)).astype(float)
    light = tints[tints.sum(axis=1) <= 200]
    assert np.abs(limited.lab(light) - whole.lab(light)).max() < 6
    assert np.abs(limited.lab(light) - whole.lab(light)).mean() < 0.4
    deep = tints[tints.sum(axis=1) > 300]
    assert limited.lab(deep)[:, 0].max() < 30


def test_one_step_an_ink_and_the_solids_are_enough(coated_data: CharacterizationData) -> None:
    wanted = {tuple(step if at == ink else 0 for at in range(4)) for ink in range(4) for step in (0, 40, 100)}
    keep = np.array([tuple(tint) in wanted for tint in coated_data.tints.tolist()])
    condition = fit(thinned(coated_data, keep), **WORDS)
    assert condition.model.levels == ((0, 100),) * 4
    tints, xyz = thinned(coated_data, keep).averaged()
    np.testing.assert_allclose(condition.xyz(tints), xyz, atol=0.02)
    assert len(condition.notes) == 1  # nothing was left to test with


def test_noisy_ramps_give_rising_tone_curves(coated_data: CharacterizationData) -> None:
    rng = np.random.default_rng(0)
    noisy = CharacterizationData(coated_data.tints, np.maximum(coated_data.xyz + rng.normal(0, 1.5, (1617, 3)), 0))
    tones = fit(noisy, **WORDS).model.tones
    assert (np.diff(tones, axis=1) >= 0).all()
    assert (tones[:, 0] == 0).all()
    assert (tones[:, 100] == 1).all()


def test_any_kind_of_house_chart_can_be_fitted(coated_data: CharacterizationData) -> None:
    """The classic chart's 25, 50 and 100 % with some key, as a press room might measure its own stock."""
    reference = fit(coated_data, **WORDS)
    tints = np.array([*product((0, 25, 50, 100), repeat=3)], dtype=float)
    tints = np.concatenate([np.c_[tints, np.full(64, key)] for key in (0, 50, 100)])
    own = CharacterizationData(tints, reference.xyz(tints))
    condition = fit(own, **WORDS)
    assert condition.model.levels == ((0, 25, 50, 100),) * 3 + ((0, 50, 100),)
    anywhere = np.random.default_rng(0).integers(0, 101, (500, 4))
    assert np.abs(condition.lab(anywhere) - reference.lab(anywhere)).mean() < 1.5


def test_declared_nodes_must_be_in_the_data(coated_data: CharacterizationData) -> None:
    tints, xyz = coated_data.averaged()
    with pytest.raises(FitError, match="33"):
        fit_model(tints, xyz, ((0, 33, 100), (0, 100)))
    with pytest.raises(FitError, match="from 0 to 100"):
        fit_model(tints, xyz, ((20, 40), (0, 100)))


@pytest.mark.parametrize(
    ("drop", "words"),
    [
        (lambda d: d.tints.sum(axis=1) == 0, "no patch of bare paper"),
        (lambda d: only(d, 0) & (d.tints[:, 0] == 100), "no patch of solid cyan"),
        (lambda d: only(d, 3) & (d.tints[:, 3] == 100), "no patch of solid key"),
        (lambda d: only(d, 2) & (d.tints[:, 2] > 0) & (d.tints[:, 2] < 100), "yellow between paper and solid"),
    ],
)
def test_what_is_missing_is_said(coated_data: CharacterizationData, drop: object, words: str) -> None:
    with pytest.raises(FitError, match=words):
        fit(thinned(coated_data, ~drop(coated_data)), **WORDS)  # type: ignore[operator]


def test_inverted_percentages_are_noticed(coated_data: CharacterizationData) -> None:
    with pytest.raises(FitError, match="does 0 % mean solid"):
        fit(CharacterizationData(100 - coated_data.tints, coated_data.xyz), **WORDS)


def test_swapped_columns_are_noticed(coated_data: CharacterizationData) -> None:
    """An ink that does not darken is no ink."""
    xyz = coated_data.xyz.copy()
    xyz[only(coated_data, 1) & (coated_data.tints[:, 1] == 100)] = [90, 95, 80]
    with pytest.raises(FitError, match="solid magenta is not darker"):
        fit(CharacterizationData(coated_data.tints, xyz), **WORDS)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"name": "House Stock"}, "is not a name"),
        ({"name": "a" * 61}, "is not a name"),
        ({"name": ""}, "is not a name"),
        ({"title": "  "}, "title must be one line"),
        ({"source": "two\nlines"}, "source must be one line"),
        ({"paper": "x" * 301}, "paper must be one line"),
        ({"ruling_lpi": 0.0}, "ruling"),
        ({"ruling_lpi": float("nan")}, "ruling"),
        ({"angles": {"c": 15}}, "angle"),
    ],
)
def test_words_that_no_file_could_hold_are_refused(
    coated_data: CharacterizationData, change: dict[str, object], words: str
) -> None:
    with pytest.raises(FitError, match=words):
        fit(coated_data, **{**WORDS, **change})
