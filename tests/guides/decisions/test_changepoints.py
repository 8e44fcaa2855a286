"""The history that is found against the history that was, and against trying every history there is."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guides.decisions.changepoints import CHANGE, SLIP, stretches, tabulate

SLIP_RATE = 0.03


def cost_of(table: np.ndarray, path: tuple[int, ...]) -> float:
    wrong = sum(int(row.sum() - row[code]) for row, code in zip(table, path, strict=True))
    changes = sum(one != other for one, other in itertools.pairwise(path))
    return SLIP * wrong + CHANGE * changes


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])  # a busy machine is no fault of the history
@given(st.lists(st.tuples(*[st.integers(0, 3)] * 3), min_size=1, max_size=7))
def test_no_history_of_all_there_are_is_cheaper(rows: list[tuple[int, int, int]]) -> None:
    """Every history of three codes over up to seven issues, tried by brute force."""
    table = np.array(rows)
    found = stretches(table)
    seen = table[table.sum(axis=1) > 0]
    if not len(seen):
        assert found == []
        return
    cheapest = min(cost_of(seen, path) for path in itertools.product(range(3), repeat=len(seen)))
    got = SLIP * sum(one.odd for one in found) + CHANGE * (len(found) - 1)
    assert got == pytest.approx(cheapest)


def history(rng: np.random.Generator, issues: int) -> tuple[list[tuple[int, int]], np.ndarray]:
    """A true history ((first issue, code) of each stretch) and counts with 3 % slips: 2 to 6 marks an issue."""
    starts = [0]
    while starts[-1] + 12 < issues - 12 and rng.random() < 0.8:
        starts.append(int(rng.integers(starts[-1] + 12, issues - 6)))
    codes: list[int] = []
    for _ in starts:
        codes.append(int(rng.choice([code for code in range(64) if not codes or code != codes[-1]])))
    table = np.zeros((issues, 64), dtype=int)
    for issue in range(issues):
        true = codes[np.searchsorted(starts, issue, side="right") - 1]
        for _ in range(rng.integers(2, 7)):
            slipped = rng.random() < SLIP_RATE
            table[issue, rng.integers(0, 64) if slipped else true] += 1
    return list(zip(starts, codes, strict=True)), table


def test_generated_histories_are_found_to_the_issue() -> None:
    """At least 98 of 100 stretches begin at the right issue with the right code."""
    rng = np.random.default_rng(20)
    true_count = right = found_count = 0
    for _ in range(300):
        true, table = history(rng, int(rng.integers(40, 200)))
        found = [(one.first, one.code) for one in stretches(table)]
        true_count += len(true)
        found_count += len(found)
        right += len(set(true) & set(found))
    assert right / true_count >= 0.98
    assert right / found_count >= 0.98


def test_one_slip_is_no_change_and_two_marks_begin_to_be_one() -> None:
    slip = [[3, 0]] * 5 + [[2, 1]] + [[3, 0]] * 5
    assert [(one.first, one.code, one.odd) for one in stretches(slip)] == [(0, 0, 1)]
    lone = [[1, 0]] * 5 + [[0, 1]]
    assert len(stretches(lone)) == 1
    changed = [[3, 0]] * 5 + [[0, 2]] * 2
    assert [(one.first, one.last, one.code) for one in stretches(changed)] == [(0, 4, 0), (5, 6, 1)]


def test_issues_without_marks_belong_to_the_stretch_before() -> None:
    table = [[0, 0], [3, 0], [0, 0], [0, 0], [0, 3], [0, 3], [0, 0]]
    assert [(one.first, one.last) for one in stretches(table)] == [(1, 1), (4, 5)]
    assert stretches(np.zeros((5, 0))) == []


def test_how_firm_a_stretch_is() -> None:
    (weak,) = stretches([[1, 0]])
    (strong,) = stretches([[4, 1]])
    assert not weak.is_firm
    assert strong.is_firm


@pytest.mark.parametrize(("counts", "slip"), [([1, 2], 1.0), ([[-1, 2]], 1.0), ([[1, 2]], 0.0)])
def test_what_is_no_question(counts: list, slip: float) -> None:
    with pytest.raises(ValueError, match=r"counts|cost"):
        stretches(counts, slip)


def test_rows_become_a_table() -> None:
    table, codes = tabulate([(0, 9, 2), (2, 4, 1), (2, 9, 3)], 3)
    assert codes == [4, 9]
    assert table.tolist() == [[0, 2], [0, 0], [1, 3]]
