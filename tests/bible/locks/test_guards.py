"""The database itself refuses overlapping locks, whoever writes and however."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from bible.locks import guards
from bible.models import Lock, Part
from tests.factories import make_lock, make_member, make_part, make_series

pytestmark = pytest.mark.django_db


@pytest.fixture
def part() -> Part:
    series = make_series()
    make_member(series)
    return make_part(series)


def raw_insert(part: Part, start: int, end: int | None, *, role: str = "base", withdrawn: bool = False) -> None:
    """A row straight into the table, past every model and service."""
    series = part.costume.subject.series
    lead = series.memberships.get().user
    now = timezone.now()
    values: dict[str, Any] = {
        "series_id": series.pk,
        "part_id": part.pk,
        "role": role,
        "tint": 0,
        "written": "W",
        "rule_data": "[]",
        "from_position": start,
        "to_position": end,
        "reason": "",
        "decided_by_id": lead.pk,
        "decided_at": now,
        "withdrawn_at": now if withdrawn else None,
        "withdrawn_reason": "",
    }
    with connection.cursor() as cursor:
        there = {column.name for column in connection.introspection.get_table_description(cursor, "bible_lock")}
        kept = {name: value for name, value in values.items() if name in there}
        places = ", ".join(["%s"] * len(kept))
        cursor.execute(f"INSERT INTO bible_lock ({', '.join(kept)}) VALUES ({places})", list(kept.values()))


@pytest.mark.parametrize(
    ("start", "end"),
    [(10, 20), (0, 11), (19, 30), (12, 13), (0, None), (19, None), (0, 2**31 - 1), (15, 20), (10, 15)],
)
def test_a_raw_insert_that_overlaps_is_refused(part: Part, start: int, end: int | None) -> None:
    raw_insert(part, 10, 20)
    with pytest.raises(IntegrityError, match=guards.OVERLAP_CONSTRAINT), transaction.atomic():
        raw_insert(part, start, end)
    assert Lock.objects.count() == 1


@pytest.mark.parametrize(("start", "end"), [(0, 10), (20, 30), (20, None)])
def test_what_only_touches_is_taken_for_times_are_half_open(part: Part, start: int, end: int | None) -> None:
    raw_insert(part, 10, 20)
    raw_insert(part, start, end)
    assert Lock.objects.count() == 2


def test_other_roles_other_parts_and_withdrawn_locks_are_no_rivals(part: Part) -> None:
    raw_insert(part, 10, None)
    raw_insert(part, 10, None, role="shade")
    raw_insert(part, 10, None, withdrawn=True)
    raw_insert(make_part(costume=part.costume), 10, None)
    assert Lock.objects.count() == 4


@pytest.mark.parametrize(
    "change",
    [
        "to_position = NULL",
        "to_position = 21",
        "from_position = 25, to_position = 30",
        "role = 'shade', from_position = 5, to_position = 6",
        "withdrawn_at = NULL",
    ],
)
def test_a_raw_update_into_an_overlap_is_refused(part: Part, change: str) -> None:
    raw_insert(part, 20, None)
    raw_insert(part, 0, None, role="shade")
    raw_insert(part, 10, None if "withdrawn" in change else 20, withdrawn="withdrawn" in change)
    last = Lock.objects.latest("pk").pk
    with (
        pytest.raises(IntegrityError, match=guards.OVERLAP_CONSTRAINT),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(f"UPDATE bible_lock SET {change} WHERE id = %s", [last])


def test_an_update_that_overlaps_nothing_but_itself_is_taken(part: Part) -> None:
    raw_insert(part, 10, 20)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE bible_lock SET from_position = 12, to_position = 18")
    assert Lock.objects.get().from_position == 12


def test_the_orm_is_refused_too(part: Part) -> None:
    lock = make_lock(part)
    lock.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        lock.save(force_insert=True)


@pytest.mark.parametrize(("start", "end"), [(10, 10), (10, 9)])
def test_a_lock_that_ends_before_it_begins_is_refused(part: Part, start: int, end: int) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        raw_insert(part, start, end)


def test_a_lock_without_a_tint_is_refused(part: Part) -> None:
    raw_insert(part, 10, 20)
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE bible_lock SET tint = -1")


def test_the_guards_are_there() -> None:
    assert guards.missing(connection) == []


@pytest.mark.backend("sqlite")  # only SQLite has triggers to lose
class TestTriggers:
    def test_a_missing_trigger_is_noticed_and_put_back_by_migrate(self, part: Part) -> None:
        with connection.cursor() as cursor:
            cursor.execute(f"DROP TRIGGER {guards.OVERLAP_CONSTRAINT}_UPDATE")
        assert guards.missing(connection) == [f"{guards.OVERLAP_CONSTRAINT}_UPDATE"]
        call_command("migrate", verbosity=0)
        assert guards.missing(connection) == []

    @pytest.mark.django_db(transaction=True)
    def test_a_table_that_a_migration_rebuilt_is_guarded_again(self, part: Part) -> None:
        """Django makes an altered SQLite table anew and copies the rows; triggers do not come along."""
        raw_insert(part, 10, 20)
        before = Lock._meta.get_field("reason")
        after = before.clone()
        after.max_length = 301
        after.set_attributes_from_name("reason")
        after.model = Lock
        with connection.schema_editor() as editor:
            editor._remake_table(Lock, alter_fields=[(before, after)])  # type: ignore[attr-defined]
        assert len(guards.missing(connection)) == 2, "if the rebuild kept them, the reinstalling may go"
        call_command("migrate", verbosity=0)
        assert guards.missing(connection) == []
        with pytest.raises(IntegrityError, match=guards.OVERLAP_CONSTRAINT), transaction.atomic():
            raw_insert(part, 15, None)

    def test_installing_twice_changes_nothing(self) -> None:
        guards.install_triggers(connection)
        guards.install_triggers(connection)
        assert guards.missing(connection) == []
