"""The engine against proofs of the tests' own generator, and its parts against what must hold by construction.

Rulings, angles and kinds of fault: common practice, no source. Solids: TR 002 through the press condition.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from bible.colour import press
from bible.colour.charts import CHART_64
from bible.colour.tints import PAPER, Tint, as_array
from guides.imaging.proof.files import ProofFileError, marks_from_json, report_to_json
from guides.imaging.proof.page_press import Run, basis, fit
from guides.imaging.proof.press_shift import films
from guides.imaging.proof.proofing import ProofMark, ProofReport, check
from guides.imaging.proof.registration import NotRegistered, Picture
from guides.imaging.proof.verdicts import PRIOR, Judge, Verdict, decide, hypotheses, step_odds
from tests.guides.imaging.proof.proof_conditions import Conditions, conditions
from tests.guides.imaging.proof.proof_faults import Fault, draw_faults
from tests.guides.imaging.proof.proof_generator import Mark, Page, draw_page, paint_guide
from tests.guides.imaging.proof.proof_printer import Dots, Proof, lay_dots, print_dots, print_proof

SIZE = (720, 1080)


def _luck(seed: int, model: str, **changes: Any) -> Conditions:
    return replace(conditions(seed, model, dpi=150.0), **changes)


@cache
def _page(seed: int, marks: int) -> Page:
    """Drawn once for every case that is about it: nothing writes into a page."""
    page = draw_page(seed, *SIZE, marks)
    for picture in (page.labels, page.lines):
        picture.flags.writeable = False
    return page


@cache
def _guide(seed: int, marks: int) -> Picture:
    guide = paint_guide(_page(seed, marks), seed)
    guide.flags.writeable = False
    return guide


def _read(seed: int, marks: int, proof: Proof) -> tuple[ProofReport, dict[str, Verdict]]:
    report = check(_guide(seed, marks), proof.image, marks_from_json(_page(seed, marks).to_json()))
    return report, {str(mark.id): mark.verdict for mark in report.marks}


def _judged(
    seed: int, marks: int, luck: Conditions, faults: dict[str, Fault]
) -> tuple[ProofReport, dict[str, Verdict]]:
    return _read(seed, marks, print_proof(_page(seed, marks), luck, faults, seed))


@pytest.mark.parametrize("model", ["press", "filters", "letterpress"])
def test_faults_are_found_and_nothing_else(model: str) -> None:
    page = _page(31, 40)
    faults = draw_faults(page, 31, 0.3)
    assert len(faults) >= 4
    report, verdicts = _judged(31, 40, _luck(31, model), faults)
    found = {name for name, verdict in verdicts.items() if verdict.is_fault}
    assert found <= set(faults)
    assert len(found) >= 0.9 * len(faults)
    assert report.registration.error_px < 0.6


def test_a_sound_proof_has_no_faults() -> None:
    report, verdicts = _judged(32, 40, _luck(32, "press"), {})
    assert not report.faults
    assert sum(verdict is Verdict.AS_CALLED for verdict in verdicts.values()) >= 0.9 * len(verdicts)


SHIFT_MISS, SHIFT_PLAIN = 0.08, 0.15
"""How far a shift that is read may lie from the density the page was printed with; from which on it is put into words."""


@pytest.fixture(scope="module")
def shifted() -> Dots:
    """One page's dots, a few plates of it wrong: prints of other densities differ in the inks alone."""
    page = _page(33, 40)
    return lay_dots(page, _luck(33, "press"), draw_faults(page, 33, 0.08), 33).kept()


@pytest.mark.parametrize("ink", range(3))
@pytest.mark.parametrize(("amount", "word"), [(0.78, "light"), (0.88, "light"), (1.15, "heavy"), (1.25, "heavy")])
def test_a_press_wide_shift_is_told_from_faults_and_read_as_large_as_it_is(
    ink: int, amount: float, word: str, shifted: Dots
) -> None:
    """Cyan, magenta and yellow against the density they were printed with; key is line art, and no tint shows it."""
    density = np.ones(3)
    density[ink] = amount
    faults = shifted.faults
    report, verdicts = _read(33, 40, print_dots(shifted, _luck(33, "press", density=density)))
    shift = np.array([report.shift[letter].share for letter in "cmy"])
    assert shift == pytest.approx(density - 1, abs=SHIFT_MISS)
    if abs(amount - 1) >= SHIFT_PLAIN:
        assert f"{('cyan', 'magenta', 'yellow')[ink]} prints {word}" in report.shift_said
    found = {name for name, verdict in verdicts.items() if verdict.is_fault}
    assert len(found - set(faults)) <= 1
    assert len(found & set(faults)) >= 0.9 * len(faults)


def _graded() -> list[Mark]:
    page = _page(34, 25)
    return [mark for mark in page.marks if page.areas[mark.label].fade]


STEPS = (0.06, 0.3, 0.5, 0.75, 0.94)


@pytest.mark.parametrize("first", [0, 2])
def test_a_step_is_found_wherever_it_lies(first: int) -> None:
    """Each fade of the page steps somewhere else, and in the second proof at another place than in the first."""
    page, graded, faults = _page(34, 25), _graded(), {}
    assert len(graded) >= len(STEPS)
    for k, mark in enumerate(graded):
        area, step = page.areas[mark.label], STEPS[(k + first) % len(STEPS)]
        assert area.fade is not None
        faults[mark.id] = Fault("gradient_step", area.tint, step=step, to=area.fade.to)
    _, stepped = _judged(34, 25, _luck(34, "press"), faults)
    assert {mark.id: stepped[mark.id] for mark in graded} == dict.fromkeys(faults, Verdict.GRADIENT_STEP)


def test_the_same_fades_without_a_step_are_as_called() -> None:
    """What steps are told from: one proof for all of them, which differ in nothing else."""
    _, faded = _judged(34, 25, _luck(34, "press"), {})
    assert [faded[mark.id] for mark in _graded()] == [Verdict.AS_CALLED] * len(_graded())


def test_the_kinds_are_named_with_their_ink() -> None:
    page = _page(35, 40)
    flat = [mark for mark in page.marks if not page.areas[mark.label].fade]
    wanted: dict[str, Fault] = {}
    kinds = iter(("colour_missing", "ink_missing", "wrong_strength"))
    kind = next(kinds)
    for mark in flat:
        tint = page.areas[mark.label].tint
        if kind == "colour_missing" and tint.total_ink >= 100:
            wanted[mark.id] = Fault(kind, PAPER)
        elif kind == "ink_missing" and tint.m >= 50 and tint.y >= 50:
            wanted[mark.id] = Fault(kind, replace(tint, m=0), "m")
        elif kind == "wrong_strength" and tint.m == 100:
            wanted[mark.id] = Fault(kind, replace(tint, m=25), "m")
        else:
            continue
        kind = next(kinds, "")
    assert len(wanted) == 3
    report, _ = _judged(35, 40, _luck(35, "press"), wanted)
    by_id = {str(mark.id): mark for mark in report.marks}
    for name, fault in wanted.items():
        said = by_id[name]
        assert said.verdict == fault.kind
        assert said.p > 0.8
        assert said.nearest[0] == fault.tint
        assert said.delta_e is not None
        assert said.delta_e > 5
        if fault.kind != "colour_missing":
            assert said.ink == fault.ink


@pytest.fixture(scope="module")
def sound() -> Proof:
    return print_proof(_page(36, 20), _luck(36, "press"), {}, 36)


def test_unreadable_codes_and_places_off_the_page_are_said(sound: Proof) -> None:
    data = _page(36, 20).to_json()
    data += [
        {"id": "odd", "x": data[0]["x"], "y": data[0]["y"], "code": "Q9", "gradient": None},
        {"id": "off", "x": 5000, "y": 20, "code": "Y", "gradient": None},
        {"id": "flat", "x": 300, "y": 300, "code": "Y"},
        {"id": "short", "x": 300, "y": 300, "code": "Y"},
    ]  # fmt: skip
    data[-2]["gradient"] = {"to": "Y", "from_xy": [300, 200], "to_xy": [300, 500]}
    data[-1]["gradient"] = {"to": "W", "from_xy": [300, 300], "to_xy": [300, 300]}
    report = report_to_json(check(_guide(36, 20), sound.image, marks_from_json(data)))
    json.dumps(report, allow_nan=False)
    last = {mark["id"]: mark for mark in report["marks"][-4:]}
    assert {mark["verdict"] for mark in last.values()} == {"cannot_tell"}
    assert "Q9" in last["odd"]["why"]
    assert "outside" in last["off"]["why"]
    assert "short" in last["short"]["why"]


def test_no_marks_at_all_is_no_error(sound: Proof) -> None:
    guide = _guide(36, 20)
    assert check(guide, sound.image, []).marks == ()
    only = check(guide, sound.image, [ProofMark("a", 10, 10, None, why="no code")])
    assert only.marks[0].verdict is Verdict.CANNOT_TELL


def test_a_proof_of_another_page_decides_nothing() -> None:
    page, other = draw_page(37, *SIZE, 10), draw_page(38, *SIZE, 10)
    proof = print_proof(other, _luck(38, "press"), {}, 38)
    with pytest.raises(NotRegistered):
        check(paint_guide(page, 37), proof.image, marks_from_json(page.to_json()))


@pytest.mark.parametrize(
    "data",
    [
        {},
        [3],
        [{"id": 1, "x": "a", "y": 2, "code": "Y"}],
        [{"id": 1, "x": float("nan"), "y": 2, "code": "Y"}],
        [{"id": 1, "x": 1, "y": True, "code": "Y"}],
        [{"id": 1, "x": 1, "y": 2, "code": "Y", "gradient": [1]}],
        [{"id": 1, "x": 1, "y": 2, "code": "Y", "gradient": {"to": "W", "from_xy": [1], "to_xy": [2, 3]}}],
    ],
)
def test_marks_that_are_no_marks_are_refused(data: object) -> None:
    with pytest.raises(ProofFileError):
        marks_from_json(data)


def test_codes_may_be_in_letters_or_percentages() -> None:
    codes = ["YR3B2", "C25 M50 Y100", "y r3 b2"]
    marks = marks_from_json([{"id": n, "x": 1, "y": 2, "code": code} for n, code in enumerate(codes)])
    assert {mark.tint for mark in marks} == {Tint(c=25, m=50, y=100)}


# --- the parts --------------------------------------------------------------------------------------------


def test_priors_are_shares_of_one_and_every_tint_is_asked_once() -> None:
    assert sum(PRIOR.values()) == pytest.approx(1.0, abs=1e-9)
    for called in (Tint(y=100), Tint(c=25, m=50, y=100), PAPER, Tint(m=75)):
        asked = hypotheses(called, CHART_64.tints, (0, 25, 50, 75, 100))
        tints = [one.tint for one in asked]
        assert len(tints) == len(set(tints))
        assert tints[0] == called
        assert set(CHART_64.tints) <= set(tints)
        missing = [one for one in asked if one.verdict is Verdict.COLOUR_MISSING]
        assert [one.tint for one in missing] == ([] if called.is_paper else [PAPER])
    dark = hypotheses(Tint(m=100, k=50), CHART_64.tints, (0, 25, 50, 100))
    said = {(one.verdict, one.ink): one.tint for one in dark if one.verdict is not Verdict.WRONG_STRENGTH}
    assert said[Verdict.COLOUR_MISSING, None] == Tint(k=50), "key prints the lines too: it is not gone as a whole"
    assert said[Verdict.INK_MISSING, "k"] == Tint(m=100)


def test_a_flat_likelihood_leaves_the_prior() -> None:
    asked = hypotheses(Tint(m=50, y=100), CHART_64.tints, (0, 25, 50, 100))
    decision = decide(asked, np.full(len(asked), 10.0))
    assert decision.verdict is Verdict.AS_CALLED
    assert decision.p == pytest.approx(PRIOR[Verdict.AS_CALLED] / sum(one.prior for one in asked), abs=1e-3)


def test_the_fit_finds_a_gain_it_was_given_and_leaves_outliers_out() -> None:
    """Tones made by the condition itself with 8 points more magenta at 50 %, and three marks printed otherwise."""
    condition = press.load("newsprint")
    rng = np.random.default_rng(5)
    tints = [CHART_64.tints[i] for i in rng.permutation(64)[:40]]
    at = rng.random((40, 2))
    gain = np.array([0.0, 0.08, 0.0])
    printed = list(tints)
    wrong = [place for place, tint in enumerate(tints) if tint.m == 100][:3]
    for place in wrong:
        printed[place] = replace(tints[place], m=0)
    tones = basis(condition, as_array(printed), Run(gain)).tone + rng.normal(0, 0.005, (40, 3))
    page = fit(condition, tones, np.full((40, 3), 0.005), as_array(tints), at, np.ones(40))
    assert page.trust[wrong].max() < 0.1
    assert np.median(page.trust) > 0.8
    assert page.run.gain[1] == pytest.approx(0.08, abs=0.035)


@pytest.mark.parametrize("ink", range(3))
@pytest.mark.parametrize("amount", [-0.25, -0.12, 0.12, 0.25])
def test_films_are_those_the_tones_were_made_with(ink: int, amount: float) -> None:
    """Tones made by the condition itself with a film of known strength: within two fifths of 0.1 of it."""
    condition = press.load("newsprint")
    rng = np.random.default_rng(8)
    tints = as_array([CHART_64.tints[i] for i in rng.permutation(64)[:40]])
    film = np.zeros(3)
    film[ink] = amount
    tones = basis(condition, tints, Run(film=film)).tone + rng.normal(0, 0.01, (40, 3))
    page = fit(condition, tones, np.full((40, 3), 0.01), tints, rng.random((40, 2)), np.ones(40))
    found, error = films(page)
    assert found == pytest.approx(film, abs=0.04)
    assert (error > 0.002).all()


@pytest.mark.parametrize(("spread", "least", "most"), [(0.01, 1.0, 1.3), (0.15, 1.8, 4.0)])
def test_a_page_whose_marks_scatter_is_believed_less(spread: float, least: float, most: float) -> None:
    """Tones off by chance, each channel by itself: what codes that only come near leave (a painting in halftone)."""
    condition = press.load("newsprint")
    rng = np.random.default_rng(9)
    tints = as_array([CHART_64.tints[i] for i in rng.permutation(64)[:50]])
    tones = basis(condition, tints).tone + rng.normal(0, spread, (50, 3))
    page = fit(condition, tones, np.full((50, 3), 0.01), tints, rng.random((50, 2)), np.ones(50))
    assert least <= page.scatter <= most
    asked = hypotheses(Tint(m=50), CHART_64.tints, (0, 25, 50, 100))
    bench = Judge.of(page, [one.tint for one in asked])
    at, names = np.array([0.5, 0.5]), [one.tint for one in asked]
    tone = bench.expected(Tint(m=50, y=50), at, None)
    told = decide(asked, bench.likelihoods(tone, np.full(3, 0.01), at, names, None))
    assert told.p_as_called < (0.01 if spread < 0.1 else 0.9)
    page.scatter = 1.0
    sure = decide(asked, bench.likelihoods(tone, np.full(3, 0.01), at, names, None))
    assert told.p_as_called >= sure.p_as_called


def test_steps_are_rarer_where_a_fade_begins_and_ends() -> None:
    odds = step_odds(np.array([-0.01, 0.05, 0.5, 0.6, 1.01]))
    assert odds.sum() == pytest.approx(1.0)
    assert odds[2] == pytest.approx(odds[3])
    assert odds[0] == pytest.approx(odds[4])
    assert odds[2] > 5 * odds[1]


def test_a_page_without_an_ink_or_without_any_mark_says_nothing_of_it() -> None:
    condition = press.load("newsprint")
    tints = as_array([Tint(y=25), Tint(y=50), Tint(y=100), PAPER])
    tones = basis(condition, tints).tone
    page = fit(condition, tones, np.full((4, 3), 0.01), tints, np.full((4, 2), 0.5), np.ones(4))
    found, error = films(page)
    assert found == pytest.approx(np.zeros(3), abs=0.02)
    assert error[0] > 1.5 * error[2]
    none = fit(condition, np.zeros((0, 3)), np.zeros((0, 3)), np.zeros((0, 4)), np.zeros((0, 2)), np.zeros(0))
    assert films(none)[0] == pytest.approx(np.zeros(3))


def test_left_out_predictions_are_those_of_a_fit_without_the_mark() -> None:
    """The closed form against leaving the mark out in fact."""
    condition = press.load("newsprint")
    rng = np.random.default_rng(6)
    tints = as_array([CHART_64.tints[i] for i in rng.permutation(64)[:15]])
    at, noise = rng.random((15, 2)), np.full((15, 3), 0.01)
    tones = basis(condition, tints).tone + rng.normal(0, 0.02, (15, 3))
    whole = fit(condition, tones, noise, tints, at, np.ones(15))
    rest = [n for n in range(15) if n != 4]
    part = fit(condition, tones[rest], noise[rest], tints[rest], at[rest], np.ones(14))
    part.run, part.trust = whole.run, whole.trust[rest]
    part.solve()
    asked = as_array([Tint(m=50), Tint(c=100, y=25)])
    mean, spread = whole.left_out_blocks(whole.prepare(asked), np.arange(2), np.array([0.3, 0.6]), 4)
    other, joint, _ = part.predict(asked, np.array([[0.3, 0.6], [0.3, 0.6]]))
    assert mean == pytest.approx(other, abs=1e-8)
    assert spread[1] == pytest.approx(joint[3:, 3:], abs=1e-8)
