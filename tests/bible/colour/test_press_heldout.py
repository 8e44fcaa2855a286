"""Predictions against measured patches that the fit did not see.

Data: tests/data/press (sources and licence in the README there). The nodes of every fit are declared here.
"""

from __future__ import annotations

import numpy as np

from bible.colour import press
from bible.colour.cgats import CharacterizationData
from bible.colour.charts import CHART_64
from bible.colour.colorimetry import xyz_to_lab
from bible.colour.difference import delta_e_2000
from bible.colour.neugebauer import CellularModel
from bible.colour.pressfit import fit_model
from bible.colour.tints import as_array

CMY_NODES = (0, 20, 40, 70, 100)
KEY_NODES = (0, 20, 40, 60, 80, 100)
"""What the shipped conditions were fitted to, besides the ramps of single inks."""

SPARSE_NODES = (0, 40, 100)
"""A small chart: ramps and 81 overprints. Predictions must stay good on what people can print and measure."""


def seen(tints: np.ndarray, cmy: tuple[int, ...], key: tuple[int, ...]) -> np.ndarray:
    grid = np.isin(tints[:, :3], cmy).all(axis=1) & np.isin(tints[:, 3], key)
    return grid | (np.count_nonzero(tints, axis=1) <= 1)


def held_out(model: CellularModel, data: CharacterizationData, used: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """CIEDE2000 of the patches not used, without key and with key."""
    tints, xyz = data.averaged()
    difference = delta_e_2000(xyz_to_lab(model.xyz(tints)), xyz_to_lab(xyz))
    return difference[~used & (tints[:, 3] == 0)], difference[~used & (tints[:, 3] > 0)]


def test_shipped_conditions_predict_patches_they_never_saw(shipped: tuple[str, CharacterizationData]) -> None:
    name, data = shipped
    tints, xyz = data.averaged()
    used = seen(tints, CMY_NODES, KEY_NODES)
    model = fit_model(tints[used], xyz[used], (CMY_NODES, KEY_NODES))  # from the nodes alone
    shipped_model = press.load(name).model
    np.testing.assert_allclose(shipped_model.nodes, model.nodes, atol=1e-9)
    np.testing.assert_allclose(shipped_model.tones, model.tones, atol=1e-9)

    plain, with_key = held_out(shipped_model, data, used)
    assert len(plain) >= 90
    assert len(with_key) >= 120
    mean, p95 = (0.45, 1.0) if name == "newsprint" else (0.40, 0.9)
    assert plain.mean() <= mean
    assert np.percentile(plain, 95) <= p95
    assert with_key.mean() <= 0.55
    # What it comes to today, so that a loss is noticed long before a bar is.
    assert plain.mean() <= (0.25 if name == "newsprint" else 0.15)
    assert with_key.mean() <= (0.30 if name == "newsprint" else 0.15)


def test_what_lies_under_solid_key_shows_on_newsprint(newsprint_data: CharacterizationData) -> None:
    """Why a chart with key keeps colours beneath it: TR 002's own patches, and what is predicted of the chart's."""
    tints, xyz = newsprint_data.averaged()
    black = tints[:, 3] == 100
    bare = np.flatnonzero(black & (tints[:, :3].sum(axis=1) == 0))
    apart = delta_e_2000(xyz_to_lab(xyz[black]), xyz_to_lab(xyz[bare]))
    chart = as_array(CHART_64.with_key([100]).tints[64:])
    lab = press.load("newsprint").lab(chart)
    predicted = delta_e_2000(lab, lab[:1])
    assert 12 <= apart.max() <= 15
    assert predicted.max() <= apart.max() + 1
    assert 6 <= np.median(predicted) <= 9


def test_a_small_chart_predicts_the_rest(shipped: tuple[str, CharacterizationData]) -> None:
    name, data = shipped
    tints, xyz = data.averaged()
    used = seen(tints, SPARSE_NODES, SPARSE_NODES)
    model = fit_model(tints[used], xyz[used])
    assert model.levels == (SPARSE_NODES,) * 4  # found by itself
    plain, with_key = held_out(model, data, used)
    mean, p95 = (0.45, 1.0) if name == "newsprint" else (0.40, 0.9)
    assert plain.mean() <= mean
    assert np.percentile(plain, 95) <= p95
    assert with_key.mean() <= 0.55


def test_predictions_are_as_good_as_measuring_twice(newsprint_data: CharacterizationData) -> None:
    """TR 002 measured 92 patches twice: the two differ by about as much as predictions do from measurements."""
    lab = newsprint_data.lab
    assert lab is not None
    groups: dict[tuple[float, ...], list[int]] = {}
    for row, tint in enumerate(map(tuple, newsprint_data.tints.tolist())):
        groups.setdefault(tint, []).append(row)
    pairs = np.array([rows[:2] for rows in groups.values() if len(rows) > 1])
    noise = delta_e_2000(lab[pairs[:, 0]], lab[pairs[:, 1]]).mean()
    tints, _ = newsprint_data.averaged()
    plain, _ = held_out(press.load("newsprint").model, newsprint_data, seen(tints, CMY_NODES, KEY_NODES))
    assert plain.mean() < noise
