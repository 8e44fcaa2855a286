"""The model of a hand against independent mathematics, and the engine's promises on simulated pages.

References: SciPy's ``multivariate_normal`` and ``dirichlet_multinomial``, colour-science's sRGB transfer function and
CIELAB.
"""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pytest

from bible.colour.charts import CHART_64
from bible.colour.press import UnknownPress
from bible.colour.tints import Tint
from guides.imaging.page import marks as page_marks
from guides.imaging.page.marks import KeptReadings
from guides.imaging.page.paper import linear
from guides.imaging.page.strokes import opponent
from guides.imaging.paint import model as paint_model
from guides.imaging.paint.model import HandModel, log_normal
from guides.imaging.paint.odds import TINTS, chance_of_wrong, code_prior, code_prior_without, posterior
from guides.imaging.paint.prior import Component, PaintPrior, density, load_prior, printed_density
from guides.imaging.paint.reading import PaintMark, PaintSamples, read_paint, samples_of
from tests.guides.imaging.paint.guide_generator import EASY_PAGE, GuidePage, PageStyle, make_page
from tests.guides.imaging.paint.paint_hands import EASY, FAMILIES, make_hand

NOISE = np.tile(np.diag([0.01, 0.02, 0.03]), (TINTS, 1, 1))


def toy_prior(seed: int = 1) -> PaintPrior:
    rng = np.random.default_rng(seed)
    kinds = []
    for name in "ab":
        root = rng.normal(0, 0.3, (192, 20))
        kinds.append(Component(name, np.log(0.5), rng.normal(1, 0.5, 192), root @ root.T + 0.01 * np.eye(192)))
    return PaintPrior(tuple(kinds), NOISE)


def looks(count: int, seed: int = 2) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    return rng.normal(1, 0.5, (count, 3)), rng.integers(0, TINTS, count), np.tile(0.004 * np.eye(3), (count, 1, 1))


def test_normal_density_is_scipys() -> None:
    from scipy.stats import multivariate_normal

    rng = np.random.default_rng(0)
    root = rng.normal(size=(3, 3))
    cov = root @ root.T + np.eye(3)
    point = rng.normal(size=3)
    assert log_normal(point, cov) == pytest.approx(multivariate_normal(np.zeros(3), cov).logpdf(point))


def test_prediction_is_the_ratio_of_joint_densities(monkeypatch: pytest.MonkeyPatch) -> None:
    """p(new | seen) = p(new, seen) / p(seen), both by SciPy from the prior alone, mixture and noise included."""
    from scipy.special import logsumexp
    from scipy.stats import multivariate_normal

    monkeypatch.setattr(paint_model, "STRAY", 1e-300)
    monkeypatch.setattr(paint_model, "KEPT_WEIGHT", 1e-300)
    prior, (y, tints, extra) = toy_prior(), looks(6)

    def joint(rows: list[int], codes: np.ndarray) -> float:
        places = (codes[:, None] * 3 + np.arange(3)).ravel()
        members = []
        for kind in prior.components:
            for scale in paint_model.NOISE_SCALES:
                cov = kind.cov[np.ix_(places, places)].copy()
                for at, (row, code) in enumerate(zip(rows, codes, strict=True)):
                    cov[at * 3 : at * 3 + 3, at * 3 : at * 3 + 3] += NOISE[code] * scale**2 + extra[row]
                members.append(multivariate_normal(kind.mean[places], cov).logpdf(y[rows].ravel()))
        return float(logsumexp(members))

    model = HandModel.learn(prior, y[:5], tints[:5], extra[:5])
    found = model.log_likelihood(y[5:], extra[5:])[0]
    for code in (0, 17, int(tints[0]), 63):
        expected = joint([0, 1, 2, 3, 4, 5], np.append(tints[:5], code)) - joint([0, 1, 2, 3, 4], tints[:5])
        assert found[code] == pytest.approx(expected, abs=1e-6)


def test_leaving_one_out_is_learning_from_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(paint_model, "STRAY", 1e-300)
    monkeypatch.setattr(paint_model, "KEPT_WEIGHT", 1e-300)
    prior, (y, tints, extra) = toy_prior(), looks(9)
    tints[3] = tints[4]  # two marks of one tint
    fast = HandModel.learn(prior, y, tints, extra).log_likelihood_without(np.arange(9))
    for mark in range(9):
        others = np.delete(np.arange(9), mark)
        model = HandModel.learn(prior, y[others], tints[others], extra[others])
        slow = model.log_likelihood(y[mark : mark + 1], extra[mark : mark + 1])[0]
        np.testing.assert_allclose(fast[mark], slow, atol=1e-6)


def test_codes_come_back_as_a_dirichlet_multinomial_says(monkeypatch: pytest.MonkeyPatch) -> None:
    from scipy.stats import dirichlet_multinomial

    from guides.imaging.paint import odds as paint_odds

    monkeypatch.setattr(paint_odds, "REUSE", (24.0,))
    seen = np.array([3, 3, 3, 8, 40])
    counts = np.bincount(seen, minlength=TINTS)
    alpha = np.full(TINTS, 24.0 / TINTS)
    for nxt in (3, 8, 5):
        more = counts + (np.arange(TINTS) == nxt)
        # SciPy counts unordered draws: its coefficient n! / prod(x!) is taken out to leave the next draw's chance.
        ratio = dirichlet_multinomial(alpha, np.array(6)).logpmf(more) - dirichlet_multinomial(
            alpha, np.array(5)
        ).logpmf(counts)
        expected = np.exp(ratio) * more[nxt] / 6
        assert code_prior(seen)[nxt] == pytest.approx(expected)
    np.testing.assert_allclose(code_prior_without(seen, np.array([8]))[0], code_prior(np.array([3, 3, 3, 40])))


def test_chances_sum_to_one_and_survive_impossible_readings() -> None:
    log = np.full((2, TINTS), -5000.0)
    log[1, 4] = -4000.0
    chances = posterior(log, code_prior(np.zeros(0, dtype=np.int_)))
    np.testing.assert_allclose(chances.sum(axis=1), 1.0)
    assert chances[1, 4] > 0.999
    codes = np.full((2, TINTS), 1 / TINTS)
    wrong = chance_of_wrong(log, log[[0, 1], [4, 4]], np.array([4, 4]), codes)
    assert wrong[0] == pytest.approx(0.05)  # a reading that tells nothing leaves the share of slips as it was
    assert wrong[1] < 1e-6


def test_transfer_function_and_opponent_axes_follow_colour_science() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it complains that no plotting library is there
        import colour

    rng = np.random.default_rng(5)
    rgb = rng.integers(0, 256, (500, 3)).astype(np.uint8)
    np.testing.assert_allclose(linear(rgb / 255.0), colour.models.eotf_sRGB(rgb / 255.0), atol=1e-12)
    lab = colour.XYZ_to_Lab(
        colour.sRGB_to_XYZ(rgb / 255.0), colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    )
    for axis in range(3):  # a stand-in for CIELAB: only its order and size matter
        assert np.corrcoef(opponent(rgb)[:, axis], lab[:, axis])[0, 1] > 0.93


def test_the_shipped_prior_knows_paper_and_every_press() -> None:
    prior = load_prior()
    for kind in prior.components:
        assert np.abs(kind.mean.reshape(TINTS, 3)[0]).max() < 0.05
        assert np.linalg.eigvalsh(kind.cov).min() > 0
        assert np.sqrt(np.diag(kind.cov)).max() < 1.5
    assert np.linalg.eigvalsh(prior.noise).min() > 0
    np.testing.assert_allclose(
        load_prior("coated-fogra39").components[-1].mean[3:],
        1.3 * printed_density("coated-fogra39").ravel()[3:],
        atol=0.02,
    )
    with pytest.raises(UnknownPress, match="newsprint"):
        load_prior("no such press")


@pytest.mark.parametrize("family", FAMILIES)
def test_twenty_looks_at_a_hand_tell_its_other_tints(family: str) -> None:
    """Without any page: 20 painted areas, then 200 more of the same hand."""
    right = []
    for seed in range(3):
        rng = np.random.default_rng(500 + seed)
        hand = make_hand(family, rng)
        tints = rng.integers(0, TINTS, 220)
        y = density(hand.paint(tints, rng, EASY))
        extra = np.tile(1e-4 * np.eye(3), (220, 1, 1))
        model = HandModel.learn(load_prior(), y[:20], tints[:20], extra[:20])
        right.append(np.mean(model.log_likelihood(y[20:], extra[20:]).argmax(axis=1) == tints[20:]))
    assert np.mean(right) >= 0.9


@pytest.fixture(scope="module")
def page() -> GuidePage:
    return make_page("glazes", 21, PageStyle(width=1000, marks=60, gradients=0.1))


def marks_of(page: GuidePage, codes: np.ndarray) -> list[PaintMark]:
    return [
        PaintMark(m["id"], m["x"], m["y"], CHART_64.tints[c] if c >= 0 else None, m["gradient"])
        for m, c in zip(page.marks, codes, strict=True)
    ]


def test_wrong_codes_among_the_confirmed_do_not_poison_the_hand(page: GuidePage) -> None:
    codes = np.where(np.arange(60) < 24, page.tints, -1)
    codes[[2, 9, 15]] = (codes[[2, 9, 15]] + 21) % TINTS
    answer = read_paint(page.image, marks_of(page, codes))
    steady = [i for i in range(24, 60) if not page.marks[i]["gradient"]]
    assert np.mean([answer[i].suggestions[0].tint == CHART_64.tints[page.tints[i]] for i in steady]) >= 0.9
    assert all(answer[i].odd for i in (2, 9, 15) if not page.marks[i]["gradient"])


def test_gradients_are_not_odd_for_being_gradients(page: GuidePage) -> None:
    answer = read_paint(page.image, marks_of(page, page.tints))
    graded = [opinion.odd for opinion, mark in zip(answer, page.marks, strict=True) if mark["gradient"]]
    assert graded
    assert not any(graded)


def test_a_locked_code_weighs_in_but_does_not_decide(page: GuidePage) -> None:
    codes = np.where(np.arange(60) < 20, page.tints, -1)
    plain = read_paint(page.image, marks_of(page, codes))
    place = 30
    second = plain[place].suggestions[1].tint
    marks = marks_of(page, codes)
    marks[place] = PaintMark("x", marks[place].x, marks[place].y, None, marks[place].gradient, expected=second)
    locked = read_paint(page.image, marks)

    def chance(opinion: object, tint: Tint) -> float:
        return next(s.p for s in opinion.suggestions if s.tint == tint)  # type: ignore[attr-defined]

    assert chance(locked[place], second) >= chance(plain[place], second)
    best = plain[place].suggestions[0]
    if best.p > 0.999:
        assert locked[place].suggestions[0].tint == best.tint


def test_places_looked_at_before_say_the_same_again_with_other_codes(
    page: GuidePage, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept: KeptReadings = {}
    read_paint(page.image, marks_of(page, np.full(60, -1))[:40], kept=kept)
    codes = np.where(np.arange(60) < 20, page.tints, -1)
    fresh = read_paint(page.image, marks_of(page, codes))
    looked: list[int] = []
    look = page_marks._read

    def noted(*given: Any) -> None:
        looked.append(given[-1])
        look(*given)

    monkeypatch.setattr(page_marks, "_read", noted)
    assert read_paint(page.image, marks_of(page, codes), kept=kept) == fresh
    assert looked == list(range(40, 60))


def test_a_mark_that_hides_what_it_stands_on_is_not_called_odd(page: GuidePage) -> None:
    codes = page.tints.copy()
    codes[9] = (codes[9] + 21) % TINTS
    marks = marks_of(page, codes)
    kept: KeptReadings = {}
    seen = read_paint(page.image, marks, kept=kept)[9]
    assert seen.odd
    assert seen.confidence > 0.8
    readings, row = kept[marks[9].x, marks[9].y, marks[9].gradient]
    readings.away[row] = 2.0
    assert read_paint(page.image, marks, kept=kept)[9].odd, "little of it is written over"
    readings.away[row] = 3.0
    hidden = read_paint(page.image, marks, kept=kept)[9]
    assert not hidden.odd
    assert hidden.score > 0.1
    assert hidden.suggestions[0].tint == seen.suggestions[0].tint
    assert 0.5 < hidden.confidence < 0.8


def test_another_page_of_the_same_hand_teaches(page: GuidePage) -> None:
    other = make_page("glazes", 22, EASY_PAGE, hand=page.hand)
    known = samples_of(page.image, marks_of(page, page.tints))
    assert len(known.tints) == sum(not mark["gradient"] for mark in page.marks)
    none = marks_of(other, np.full(len(other.marks), -1))
    alone, taught = read_paint(other.image, none), read_paint(other.image, none, known=known)

    def share(answer: list) -> float:
        return float(
            np.mean([o.suggestions[0].tint == CHART_64.tints[t] for o, t in zip(answer, other.tints, strict=True)])
        )

    assert all("no confirmed marks" in opinion.problem for opinion in alone)
    assert not any(opinion.problem for opinion in taught)
    assert share(taught) >= 0.85
    assert share(taught) > share(alone)


def test_nothing_known_claims_little(page: GuidePage) -> None:
    answer = read_paint(page.image, marks_of(page, np.full(60, -1)))
    claimed = np.mean([opinion.suggestions[0].p for opinion in answer])
    right = np.mean([o.suggestions[0].tint == CHART_64.tints[t] for o, t in zip(answer, page.tints, strict=True)])
    assert claimed <= right + 0.2


def test_no_marks_no_opinions(page: GuidePage) -> None:
    assert read_paint(page.image, []) == []
    assert len(PaintSamples.none().tints) == 0
