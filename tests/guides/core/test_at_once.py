"""Marking and deciding at the same moment, on a database that lets two write at once."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection, transaction

from bible.locks.services import lock_tint
from bible.models import Series
from guides.core import continuity
from guides.core.services import place_mark, rewrite_mark
from guides.models import Mark
from tests.at_once import DECIDING, MARKING, Both
from tests.factories import make_guide, make_issue, make_issues, make_lock, make_mark, make_part


@pytest.mark.backend("postgresql")
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("first", ["placing", "rewriting", "deciding"])
def test_a_mark_and_a_decision_for_its_part_at_once_know_of_each_other(series: Series, lead: Any, first: str) -> None:
    """One is not done yet when the other begins: it waits, and the mark owes what holds once both are there."""
    part, guide = make_part(series), make_guide(make_issue(series), by=lead)
    make_lock(part, "YR3B2", by=lead)
    background = make_mark(guide, by=lead)
    says = {"written": "Y", "part": part, "role": "base", "by": lead}
    marking = {
        "placing": lambda: place_mark(guide=guide, x=0.1, y=0.1, **says),
        "rewriting": lambda: rewrite_mark(mark=background, **says),
    }
    decided = {"part": part, "role": "base", "tint": series.read("Y"), "written": "Y", "by": lead, "reason": "new"}

    def decide() -> None:
        lock_tint(from_position=guide.issue.position, **decided)

    mark = marking.get(first, marking["placing"])
    now, later = (decide, mark) if first == "deciding" else (mark, decide)

    def in_another_connection() -> None:
        try:
            later()
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            now()
            waiting = pool.submit(in_another_connection)
            with pytest.raises(TimeoutError):
                waiting.result(0.5)
        waiting.result(20)
    assert continuity.discrepancies(series) == []
    assert not Mark.objects.filter(series=series).open().exists()


@pytest.mark.backend("postgresql")
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("marking", MARKING)
@pytest.mark.parametrize("deciding", DECIDING)
def test_who_marks_and_who_decides_never_wait_for_each_other_in_a_circle(
    series: Series, lead: Any, fill_in: Any, marking: str, deciding: str
) -> None:
    """Through the pages, with every window between holding rows and what comes next held open."""
    parts = [make_part(series) for _ in range(2)]
    for part in parts:
        make_lock(part, "YR3B2", by=lead)
    for issue in make_issues(series, 3):
        guide = make_guide(issue, by=lead)
        for part in parts:
            make_mark(guide, "Y", part=part, by=lead)
    both = Both(series, fill_in, lead, pause=0.03, seed=7)
    for _ in range(3):
        both.round(marking, deciding)
    assert both.deadlocks == 0, both.outcomes
    assert any(f"{marking}: {status}" in both.outcomes for status in (200, 302)), both.outcomes
    assert f"{deciding}: 302" in both.outcomes, both.outcomes
    assert continuity.discrepancies(series) == []
