"""Signing and changing at the same moment: what is signed is what is there."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction

from bible.models import Series
from guides.core.fingerprint import broken
from guides.core.services import place_mark
from guides.signoff.services import sign_off
from tests.factories import make_guide, make_issues, make_member, make_series

HELD = 0.4
"""Seconds that the first deed keeps its transaction open, so that the second one meets it."""


def _in_thread(deed: Callable[[], object]) -> threading.Thread:
    def run() -> None:
        try:
            deed()
        finally:
            connection.close()

    thread = threading.Thread(target=run)
    thread.start()
    return thread


@pytest.mark.backend("postgresql")  # SQLite lets one transaction write at a time
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("marking_first", [True, False])
def test_a_mark_and_a_signature_at_once(marking_first: bool) -> None:
    series: Series = make_series()
    lead, editor = make_member(series, "lead"), make_member(series, "editor")
    issue = make_issues(series, 1)[0]
    guide = make_guide(issue, page="1", by=lead)

    def slowly(deed: Callable[[], Any]) -> None:
        with transaction.atomic():
            deed()
            time.sleep(HELD)

    def mark() -> Any:
        return place_mark(guide=guide, x=0.5, y=0.5, written="Y", part=None, role="base", by=lead)

    def sign() -> Any:
        return sign_off(issue=issue, by=editor, words="so")

    first, second = (mark, sign) if marking_first else (sign, mark)
    threads = [_in_thread(lambda: slowly(first))]
    time.sleep(HELD / 4)
    threads.append(_in_thread(second))
    for thread in threads:
        thread.join(20)
    issue.refresh_from_db()
    if marking_first:
        assert issue.signed_off_at
        assert issue.steps.get(kind="signed-off").facts["marks"] == 1, "it waited for the mark"
    else:
        assert issue.signed_off_at is None
        assert list(issue.steps.values_list("kind", flat=True)) == ["signed-off", "reopened"]
    assert broken(series) == []
