"""A clock that jumps: what comes later is known by its number, not by the hour the machine believes in."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.colour.tints import Tint
from bible.locks.services import lock_tint
from bible.models import Lock, Series
from guides.core import once as core_once
from guides.core import recounting
from guides.core.continuity import discrepancies
from guides.core.waivers import waive
from guides.models import Guide, Mark
from tests.factories import make_guide, make_issue, make_mark, make_part

pytestmark = pytest.mark.django_db

JUMPS = [
    dt.timedelta(),
    dt.timedelta(days=-400),
    dt.timedelta(days=3650),
    dt.timedelta(hours=-1),
    dt.timedelta(days=-1),
]
"""A battery that is flat, a wrong year typed in, daylight saving done by hand, and back."""


@pytest.fixture
def jump(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Set the clock that many days off."""
    true = timezone.now

    def set_off(by: dt.timedelta) -> None:
        monkeypatch.setattr(timezone, "now", lambda: true() + by)

    return set_off


@pytest.fixture
def guide(series: Series) -> Guide:
    return make_guide(make_issue(series))


def test_the_last_decision_holds_whatever_the_clock_said(series: Series, lead: Any, guide: Guide, jump: Any) -> None:
    part = make_part(series)
    mark = make_mark(guide, "B2", part=part)
    tints = [Tint(c=25 * n, y=25) for n in range(len(JUMPS))]
    for by, tint in zip(JUMPS, tints, strict=True):
        jump(by)
        lock_tint(part=part, role="base", tint=tint, written=series.write(tint), from_position=0, by=lead)
    assert [lock.tint for lock in Lock.objects.filter(part=part).standing()] == [tints[-1]]
    assert [lock.tint for lock in Lock.objects.filter(part=part).order_by("pk")] == tints
    mark.refresh_from_db()
    assert mark.expected == tints[-1]
    assert not list(discrepancies(series))
    assert not recounting.discrepancies(series)


@pytest.mark.parametrize("by", JUMPS[1:], ids=str)
def test_steps_at_the_desk_go_back_in_their_order(
    series: Series, fill_in: Any, fill_in_client: Client, guide: Guide, jump: Any, by: dt.timedelta
) -> None:
    new, undo = (reverse(name, args=[series.slug, guide.pk]) for name in ("new-mark", "undo"))
    said = {"x": 0.5, "y": 0.5, "role": "base"}
    fill_in_client.post(new, said | {"written": "B2", "key": core_once.new_key()})
    jump(by)
    fill_in_client.force_login(fill_in)  # ten years later nobody is signed in any more
    second = said | {"written": "R", "key": core_once.new_key()}
    for _ in range(2):
        fill_in_client.post(new, second)
    assert list(Mark.objects.order_by("pk").values_list("written", flat=True)) == ["B2", "R"], "done once"
    fill_in_client.post(undo)
    assert [mark.written for mark in Mark.objects.filter(deleted_at=None)] == ["B2"]


@pytest.mark.parametrize("by", JUMPS[1:], ids=str)
def test_a_waiver_holds_until_its_mark_changes(
    series: Series, lead: Any, guide: Guide, jump: Any, by: dt.timedelta
) -> None:
    part = make_part(series)
    lock_tint(part=part, role="base", tint=Tint(c=25), written="B", from_position=0, by=lead)
    mark = make_mark(guide, "R", part=part)
    jump(by)
    waive(marks=[mark], by=lead, reason="in disguise")
    mark.refresh_from_db()
    assert mark.waived
    jump(-by)
    lock_tint(part=part, role="base", tint=Tint(c=50), written="B2", from_position=0, by=lead)
    mark.refresh_from_db()
    assert not mark.waived
    assert not list(discrepancies(series))
