"""What people say in the demo hangs on its open flags, and is said once."""

from __future__ import annotations

from typing import Any

import pytest

from bible.models import LockNote, Proposal, Scene, Series
from guides.core.continuity import discrepancies
from guides.demo.talk import load_talk
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
