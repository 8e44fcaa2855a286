"""Writing many rows at once: all of them, and never all of them in memory."""

from __future__ import annotations

import weakref
from collections.abc import Iterator

import pytest
from django.contrib.auth.models import Group

from bible.models import bulk

pytestmark = pytest.mark.django_db

BATCH = 10
MANY = 20 * BATCH


class Row(list[object]):
    """A row that can be watched."""

    __hash__ = object.__hash__  # type: ignore[assignment]


def test_rows_are_written_without_being_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bulk, "BATCH", BATCH)
    alive: weakref.WeakSet[Row] = weakref.WeakSet()
    most = 0

    def rows() -> Iterator[Row]:
        nonlocal most
        for number in range(MANY):
            row = Row([f"group {number}"])
            alive.add(row)
            most = max(most, len(alive))
            yield row

    bulk.write_rows(Group, ["name"], rows())
    assert Group.objects.count() == MANY
    assert most <= 2 * BATCH


def test_no_rows_are_no_trouble() -> None:
    bulk.write_rows(Group, ["name"], [])
    assert not Group.objects.exists()
