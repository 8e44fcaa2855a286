"""From patches to a press condition: the measured sets stand in for houses, another set is what is corrected.

Data: tests/data/press (sources and licence in the README there). Patches are read without a scanner here, with noise
of the size that one leaves: what a scanner does to them is in ``test_chart_reading.py``. All of it is simulation.
"""

from __future__ import annotations

import numpy as np
import pytest

from bible.colour import press
from bible.colour.charts import CHART_64
from bible.colour.colorimetry import lab_to_xyz, xyz_to_lab
from bible.colour.difference import delta_e_2000
from bible.colour.notation import LETTERS_64
from bible.colour.pressfile import dumps, loads
from bible.colour.tints import Tint
from guides.imaging.chart.auditing import AmissKind, audit_patches
from guides.imaging.chart.correcting import Correction, Measured, correct, nearest_shipped
from guides.imaging.chart.drifting import drift
from guides.imaging.chart.sheet import lay_out
from guides.imaging.chart.tone_moves import moved, tone_moves
from tests.bible.colour.conftest import measured

SHEET = lay_out(CHART_64.tints, LETTERS_64.write, title="chart")
TINTS = [patch.tint for patch in SHEET.patches]
NOISE = 0.35


def make_patches(house: str, seed: int = 1, held: dict[int, Tint] | None = None) -> Measured:
    """The sheet as a house prints it, read with noise; ``held``: what is in a patch instead of its tint."""
    rng = np.random.default_rng(seed)
    real = np.array([(held or {}).get(at, tint).percentages for at, tint in enumerate(TINTS)], dtype=np.float64)
    lab = press.load(house).lab(real) + rng.normal(0, NOISE, (len(TINTS), 3))
    return Measured(SHEET.tints, lab, np.full(len(TINTS), 0.1), rng.uniform(-1, 1, (len(TINTS), 2)))


@pytest.fixture(scope="module")
def house() -> Correction:
    return correct(press.load("sheet-coated-tr006"), make_patches("coated-fogra39"), 0.3)


def unseen(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Measured patches of a set that are not on the sheet: tints and CIELAB."""
    tints, xyz = measured(name).averaged()
    rows = [row for row, tint in enumerate(tints.tolist()) if tuple(tint) not in {one.percentages for one in TINTS}]
    return tints[rows], xyz_to_lab(xyz[rows])


def test_tints_that_were_not_on_the_sheet_come_out_right(house: Correction) -> None:
    tints, lab = unseen("coated-fogra39")
    assert len(tints) > 200
    corrected = house.condition(name="house", title="House", source="a scan")
    before = delta_e_2000(press.load("sheet-coated-tr006").lab(tints), lab).mean()
    after = delta_e_2000(corrected.lab(tints), lab)
    assert after.mean() < 0.45 * before
    assert after.mean() <= 1.0


def test_the_doubt_is_honest(house: Correction) -> None:
    tints, lab = unseen("coated-fogra39")
    off = delta_e_2000(house.predict(tints)[0], lab)
    assert (off <= house.doubts(tints)).mean() >= 0.85
    assert house.doubts(tints).mean() < 4 * off.mean()


def test_what_nobody_printed_is_doubted_more(house: Correction) -> None:
    told, guessed = house.doubts(np.array([[0.0, 50, 50, 0], [60.0, 0, 60, 85]]))
    assert guessed > told


def test_the_condition_is_a_press_file_like_any_other(house: Correction) -> None:
    made = house.condition(name="house", title="House", source="a scan")
    again = loads(dumps(made))
    np.testing.assert_allclose(again.lab(SHEET.tints), made.lab(SHEET.tints), atol=0.02)
    doubts = again.doubts(SHEET.tints)
    assert doubts is not None
    assert doubts.min() > 0
    assert press.load("newsprint").doubts(SHEET.tints) is None
    assert "not measured with an instrument" in " ".join(again.notes)


@pytest.mark.parametrize("house_name", ["newsprint", "uncoated-fogra29", "coated-fogra39"])
def test_the_nearest_condition_is_the_house_itself(house_name: str) -> None:
    assert nearest_shipped(SHEET.tints, make_patches(house_name).lab).name == house_name


def test_dots_that_grew_are_moved_back() -> None:
    base = press.load("web-coated-tr003")
    grown = np.linspace(0, 100, 101)
    grown = grown + 4 * 6 * grown / 100 * (1 - grown / 100)
    tints = SHEET.tints
    lab = base.lab(np.stack([np.interp(tints[:, ink], np.arange(101), grown) for ink in range(4)], axis=1))
    moves = tone_moves(base, tints, lab_to_xyz(lab), np.zeros(len(tints)))
    asked = moved(moves, np.array([[50.0, 50, 50, 50]]))
    np.testing.assert_allclose(asked, 56, atol=1.0)


def test_misprints_are_found_and_nothing_else_is() -> None:
    wrong = {20: Tint(y=100, m=50), 21: Tint(c=100, y=25)}
    at = {"step": TINTS.index(Tint(m=50, y=50)), "gone": TINTS.index(Tint(c=100, m=50, y=50))}
    one, other = TINTS.index(Tint(c=50, y=100)), TINTS.index(Tint(m=100, y=25))
    wrong = {at["step"]: Tint(m=50, y=100), at["gone"]: Tint(c=100, y=50), one: TINTS[other], other: TINTS[one]}
    found = audit_patches(
        press.load("web-coated-tr005"), make_patches("web-coated-tr003", held=wrong), 0.3, TINTS
    ).amiss
    assert set(found) == set(wrong)
    assert found[at["step"]].kind is AmissKind.STEP
    assert found[at["step"]].said == "yellow prints like 100 %, not 50 %"
    assert found[at["gone"]].said == "magenta is missing"
    assert found[one].kind is AmissKind.SWAPPED
    assert found[one].swapped_with == other


@pytest.mark.parametrize("name", ["newsprint", "sheet-coated-tr006"])
def test_a_sound_chart_has_nothing_amiss(name: str) -> None:
    base = {"newsprint": "uncoated-fogra29", "sheet-coated-tr006": "web-coated-tr003"}[name]
    found = audit_patches(press.load(base), make_patches(name, seed=4), 0.3, TINTS).amiss
    assert len(found) <= 1


def runs(gain: float = 0.0, ink: int = 0, film: float = 0.0, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """CIELAB of two runs on FOGRA39 paper; the second with points of dot gain, and an ink's film thicker."""
    rng, house_press = np.random.default_rng(seed), press.load("coated-fogra39")
    tints = SHEET.tints.copy()
    share = tints[:, ink] / 100
    tints[:, ink] = np.clip(tints[:, ink] + 4 * gain * share * (1 - share), 0, 100)
    xyz, without = house_press.xyz(tints), tints.copy()
    without[:, ink] = 0
    xyz = xyz * (xyz / house_press.xyz(without)) ** film
    noise = rng.normal(0, 0.4, (2, len(tints), 3)) + rng.normal(0, 0.3, (2, 1, 3))
    return house_press.lab(SHEET.tints) + noise[0], xyz_to_lab(xyz) + noise[1]


def test_three_points_of_dot_gain_in_one_ink_are_found_and_no_others() -> None:
    """The condition is another set's: the house's own is never known better."""
    found, others = 0, 0
    for seed in range(20):
        ink = seed % 4
        drifts = drift(press.load("sheet-coated-tr006"), SHEET.tints, *runs(3.0 * (-1) ** seed, ink, seed=seed))
        found += drifts[ink].gain_sure and not drifts[ink].film_sure
        others += sum(one.gain_sure or one.film_sure for one in drifts if one.ink != "cmyk"[ink])
    assert found >= 19
    assert others == 0


def test_a_thicker_film_is_told_from_a_larger_dot() -> None:
    drifts = drift(press.load("sheet-coated-tr006"), SHEET.tints, *runs(0.0, 1, film=0.12, seed=3))
    assert drifts[1].film_sure
    assert drifts[1].film == pytest.approx(0.12, abs=0.04)
    assert not drifts[1].gain_sure
    assert "magenta prints" in drifts[1].said


def test_two_runs_alike_claim_nothing() -> None:
    for seed in range(20):
        drifts = drift(press.load("sheet-coated-tr006"), SHEET.tints, *runs(seed=seed))
        assert [one.said for one in drifts if one.said] == []
