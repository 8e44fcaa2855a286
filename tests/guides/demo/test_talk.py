"""What people say in the demo hangs on its open flags, and is said once."""

from __future__ import annotations

from typing import Any

import pytest

from bible.models import LockNote, Proposal, Scene, Series
from guides.assignments.queries import waiting
from guides.core.continuity import discrepancies
from guides.demo.talk import load_talk
from guides.demo.way_out import give_out
from guides.models import Mark, MarkNote, Waiver
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_part

pytestmark = pytest.mark.django_db


def test_every_room_has_something_in_it_once(series: Series, lead: Any, fill_in: Any) -> None:
    issue = make_issue(series)
    for code in ("YR", "Y"):
        part = make_part(series)
        make_lock(part, code, by=lead)
        make_mark(make_guide(issue, by=fill_in), "B", part=part)
    for _ in range(2):
        load_talk(series)
    assert Scene.objects.get(series=series).rule
    assert sorted(Proposal.objects.values_list("state", flat=True)) == ["declined", "waiting"]
    assert (Waiver.objects.count(), MarkNote.objects.count(), LockNote.objects.count()) == (1, 1, 1)
    assert Mark.objects.filter(series=series).open().count() == 1
    assert not discrepancies(series)


def test_nothing_is_said_where_nothing_is_flagged(series: Series, lead: Any, fill_in: Any) -> None:
    load_talk(series)
    assert not series.scenes.exists()


def test_pages_of_the_last_issue_are_given_once(series: Series, lead: Any, fill_in: Any) -> None:
    issue = make_issue(series)
    make_guide(issue, page="cover", by=lead, colourist=lead)
    make_mark(make_guide(issue, page="7", by=fill_in, colourist=fill_in), "YR")
    for _ in range(2):
        give_out(series, lead)
    told = [(one.assignment.page, one.is_late, one.state) for one in waiting(series)]
    assert told == [
        ("7", False, "done"),
        ("8", True, "not in yet"),
        ("9", True, "not in yet"),
        ("10", False, "not in yet"),
        ("11", False, "not in yet"),
    ]
