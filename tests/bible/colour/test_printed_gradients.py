"""Gradients: the printed path, whether it holds its hue, and what to write instead."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from bible.colour import press
from bible.colour.difference import delta_e_2000, severity
from bible.colour.press import PressCondition
from bible.colour.printed_gradients import BETTER_BY, HOLDS_BELOW, gradient, hue_turns, suggest_ends
from bible.colour.tints import PAPER, Tint

SHIPPED = [info.name for info in press.available()]
CHART = [Tint(c=c, m=m, y=y) for c, m, y in product((0, 25, 50, 100), repeat=3)]
TWO_INKS = [tint for tint in CHART if sum(percent > 0 for percent in tint.percentages) == 2]


@pytest.fixture(scope="module")
def newsprint() -> PressCondition:
    return press.load("newsprint")


@pytest.mark.parametrize("name", SHIPPED)
def test_dropping_both_inks_holds_the_hue_better_than_dropping_one(name: str) -> None:
    """The craft's rule, for every two-ink tint of the classic chart (the trade's notes; 90 % asked for)."""
    condition = press.load(name)
    holds = 0
    one_ink_turns = []
    for tint in TWO_INKS:
        start = np.array([tint.percentages])
        both = hue_turns(condition, start, start * 0)[0]
        singles = []
        for ink in np.flatnonzero(start[0]):
            end = start.copy()
            end[0, ink] = 0
            singles.append(hue_turns(condition, start, end)[0])
        one_ink_turns += singles
        holds += both < min(singles)
    assert len(TWO_INKS) == 27
    assert holds / len(TWO_INKS) >= 0.9
    # The threshold divides: hardly any fade that drops one ink is said to hold its hue.
    assert np.mean(np.array(one_ink_turns) <= HOLDS_BELOW) < 0.05


def test_most_fades_that_drop_both_inks_are_said_to_hold_on_newsprint(newsprint: PressCondition) -> None:
    starts = np.array([tint.percentages for tint in TWO_INKS])
    assert np.mean(hue_turns(newsprint, starts, starts * 0) <= HOLDS_BELOW) > 0.8


def test_the_path_runs_from_end_to_end(newsprint: PressCondition) -> None:
    found = gradient(newsprint, Tint(c=100, y=50), Tint(c=25, y=50), steps=4)
    np.testing.assert_allclose(found.tints, [[100, 0, 50, 0], [75, 0, 50, 0], [50, 0, 50, 0], [25, 0, 50, 0]])
    np.testing.assert_allclose(found.lab, newsprint.lab(found.tints))


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        (Tint(m=50, y=100), Tint(y=100), "turns towards yellow"),
        (Tint(m=50, y=100), Tint(m=50), "turns towards red"),
        (Tint(c=100, y=100), Tint(c=100), "turns towards cyan"),
        (Tint(c=100, y=100), Tint(y=100), "turns towards yellow"),
        (Tint(c=100, m=100), Tint(c=100), "turns towards cyan"),
        (Tint(c=100, m=100), Tint(m=100), "turns towards magenta"),
        (Tint(c=100, m=100), PAPER, "holds its hue"),
        (PAPER, Tint(c=25, m=50), "holds its hue"),
        (PAPER, PAPER, "no hue to hold"),
        (Tint(c=25, m=25, y=25), PAPER, "no hue to hold"),
        (PAPER, Tint(k=100), "no hue to hold"),
    ],
)
def test_words_on_newsprint(newsprint: PressCondition, start: Tint, end: Tint, words: str) -> None:
    """What a colourist would say of each (common practice, no source)."""
    found = gradient(newsprint, start, end)
    assert found.words == words
    assert found.holds_hue == (not words.startswith("turns"))
    assert (found.turn > HOLDS_BELOW) == words.startswith("turns")
    assert 0 <= found.at <= 1


def test_turn_is_the_hue_angle_seen_by_hand(newsprint: PressCondition) -> None:
    """For a fade whose hue turns steadily, the turn is that of the end: 2 C sin(dh / 2) over CIEDE2000's S_H, with
    both colours given the start's chroma."""
    start, end = Tint(c=100, y=100), Tint(c=100)
    found = gradient(newsprint, start, end)
    assert found.at == 1.0
    lab = newsprint.relative_lab([start.percentages, end.percentages])
    alike = lab.copy()
    alike[1, 0] = lab[0, 0]
    alike[1, 1:] *= np.hypot(*lab[0, 1:]) / np.hypot(*lab[1, 1:])
    assert found.turn == pytest.approx(delta_e_2000(*alike), rel=0.05)


def test_hard_step_is_the_two_tints_side_by_side(newsprint: PressCondition) -> None:
    step = gradient(newsprint, PAPER, Tint(c=25)).hard_step
    assert step.difference == pytest.approx(delta_e_2000(*newsprint.lab([[0] * 4, [25, 0, 0, 0]])))
    assert step.severity == severity(step.difference).word == "severe"
    assert "severe" in step.words


@pytest.mark.parametrize("name", SHIPPED)
def test_suggested_ends_hold_the_hue_better(name: str) -> None:
    condition = press.load(name)
    offered = 0
    for start in TWO_INKS:
        for end in (Tint(*(start.c, 0, 0, 0)), Tint(0, start.m), Tint(y=start.y)):
            asked = gradient(condition, start, end)
            found = suggest_ends(condition, start, end, CHART)
            offered += bool(found)
            assert not found or not asked.holds_hue
            kinds = [suggestion.turn > HOLDS_BELOW for suggestion in found]
            assert kinds == sorted(kinds)
            for suggestion in found:
                assert suggestion.tint in CHART
                assert suggestion.tint not in (start, end)
                assert suggestion.turn <= max(HOLDS_BELOW, BETTER_BY * asked.turn)
                assert suggestion.turn == pytest.approx(gradient(condition, start, suggestion.tint).turn)
                assert all(a <= b for a, b in zip(suggestion.tint.percentages, start.percentages, strict=True))
    assert offered > 40


def test_the_suggestion_a_colourist_would_make(newsprint: PressCondition) -> None:
    """Green that should fade, asked for by dropping the yellow: drop both instead (the trade's notes)."""
    first = suggest_ends(newsprint, Tint(c=100, y=100), Tint(c=50), CHART)[0]
    assert first.tint in (Tint(c=25, y=25), Tint(c=50, y=50))


def test_nothing_is_suggested_where_nothing_is_wrong(newsprint: PressCondition) -> None:
    assert suggest_ends(newsprint, Tint(c=100, m=100), PAPER, CHART) == ()
    assert suggest_ends(newsprint, Tint(c=100, y=100), Tint(c=100), []) == ()


def test_a_path_needs_two_ends(newsprint: PressCondition) -> None:
    with pytest.raises(ValueError, match="two ends"):
        gradient(newsprint, PAPER, Tint(c=50), steps=1)
