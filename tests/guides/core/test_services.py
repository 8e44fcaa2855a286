"""Writes to guides and marks: whole or not at all, and never over somebody else's head."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import IntegrityError, connection, transaction

from bible.chart.services import change_reading
from bible.colour.tints import Tint
from bible.models import Series
from bible.models.fields import NoTint
from bible.series.refusals import Refused
from guides.core.rules import StaleMark
from guides.core.services import (
    add_guide,
    delete_mark,
    move_mark,
    place_mark,
    place_marks,
    restore_mark,
    rewrite_mark,
)
from guides.imaging.intake.take_in import take_in
from guides.models import Guide, Mark
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_part, make_revision, picture_bytes

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series) -> Guide:
    return make_guide(make_issue(series))


def bring(issue: Any, by: Any, page: str = "7", **more: Any) -> Guide:
    data = io.BytesIO(picture_bytes(120, 180))
    values = {"picture": take_in(data, "p.jpg"), "original": data, "filename": "p.jpg", "by": by} | more
    return add_guide(issue=issue, page=page, **values)


def test_several_marks_are_numbered_in_order_and_resolved_together(guide: Guide, lead: Any, series: Series) -> None:
    part = make_part(series)
    lock = make_lock(part, "YR3B2")
    rows = [(0.1, 0.2, "YR3B2", part, "base"), (0.3, 0.4, "??", None, "base"), (0.5, 0.6, "W", part, "base")]
    place_marks(guide=guide, by=lead, rows=rows)
    first, second, third = Mark.objects.order_by("number")
    assert [first.number, second.number, third.number] == [1, 2, 3]
    assert (first.lock, third.lock, second.lock) == (lock, lock, None)
    assert set(Mark.objects.flagged()) == {third}
    place_mark(guide=guide, x=0, y=1, written="W", part=None, role="base", by=lead)
    assert Mark.objects.latest("pk").number == 4


@pytest.mark.parametrize("place", [(1.01, 0.5), (0.5, -0.01)])
def test_off_the_page_the_database_refuses_a_mark(guide: Guide, lead: Any, place: tuple[float, float]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        place_mark(guide=guide, x=place[0], y=place[1], written="W", part=None, role="base", by=lead)


def test_one_bad_row_takes_all_of_them_along(guide: Guide, lead: Any) -> None:
    rows = [(0.1, 0.2, "W", None, "base"), (7.0, 0.2, "W", None, "base")]
    with pytest.raises(IntegrityError), transaction.atomic():
        place_marks(guide=guide, by=lead, rows=rows)
    assert Mark.objects.count() == 0


@pytest.mark.parametrize(
    "deed",
    [
        lambda mark, by: move_mark(mark=mark, x=0.1, y=0.1, by=by, seen=1),
        lambda mark, by: rewrite_mark(mark=mark, written="W", part=None, role="base", by=by, seen=1),
        lambda mark, by: delete_mark(mark=mark, by=by, seen=1),
    ],
)
def test_whoever_looked_before_a_change_is_told_of_it(guide: Guide, lead: Any, fill_in: Any, deed: Any) -> None:
    mark = make_mark(guide, "Y")
    rewrite_mark(mark=mark, written="YR", part=None, role="base", by=lead, seen=1)
    with pytest.raises(StaleMark, match="lead changed this mark meanwhile") as stale:
        deed(mark, fill_in)
    assert stale.value.mark.written == "YR"
    delete_mark(mark=mark, by=lead)
    with pytest.raises(Refused, match="deleted"):
        deed(mark, fill_in)
    mark.refresh_from_db()
    assert (mark.written, mark.version, mark.changed_by) == ("YR", 3, lead)


def test_every_change_counts_its_version_and_names_who(guide: Guide, lead: Any, fill_in: Any) -> None:
    mark = make_mark(guide, by=fill_in)
    mark = move_mark(mark=mark, x=0.2, y=0.2, by=lead)
    assert (mark.version, mark.changed_by, mark.created_by) == (2, lead, fill_in)
    assert restore_mark(mark=delete_mark(mark=mark, by=lead), by=fill_in).version == 4


def test_a_revision_keeps_the_old_one_and_its_marks(series: Series, lead: Any) -> None:
    issue, part = make_issue(series), make_part(series)
    first = bring(issue, lead)
    mark = make_mark(first, "Y", part=part)
    second = bring(issue, lead, page="Page 07")
    first.refresh_from_db()
    mark.refresh_from_db()
    assert (first.is_current, second.is_current, second.revision) == (False, True, 2)
    assert (mark.live, mark.guide) == (False, first)
    third = bring(issue, lead)
    assert list(Guide.objects.filter(issue=issue).order_by("revision")) == [first, second, third]
    assert Guide.objects.current().get() == third


def test_a_mark_brought_back_on_an_old_revision_does_not_stand(series: Series, lead: Any) -> None:
    issue = make_issue(series)
    mark = make_mark(bring(issue, lead), "Y", part=make_part(series))
    delete_mark(mark=mark, by=lead)
    bring(issue, lead)
    assert restore_mark(mark=mark, by=lead).live is False
    assert Mark.objects.flagged().count() == 0


@pytest.mark.parametrize("page", ["", "   ", "x" * 31])
def test_a_page_without_a_usable_label_is_refused_and_nothing_is_stored(series: Series, lead: Any, page: str) -> None:
    with pytest.raises(Refused, match="say which page"):
        bring(make_issue(series), lead, page=page)
    assert Guide.objects.count() == 0
    assert not [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]


def test_the_database_allows_one_current_revision_of_a_page(guide: Guide) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        make_guide(guide.issue, page=guide.page, revision=2)
    with pytest.raises(IntegrityError), transaction.atomic():
        make_guide(guide.issue, page=guide.page, revision=1, is_current=False)


@pytest.mark.backend("postgresql")
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("deed", ["placed", "rewritten"])
def test_a_mark_written_while_the_notation_changes_is_read_by_the_new_one(
    series: Series, lead: Any, deed: str
) -> None:
    """A mark from another connection waits for the change; it is not stored with a reading that holds no longer."""
    import time
    from concurrent.futures import ThreadPoolExecutor
    from dataclasses import replace

    guide = make_guide(make_issue(series), by=lead)
    written = "R7"
    first = make_mark(guide, written, by=lead)
    assert first.tint is NoTint.UNREADABLE
    other = make_mark(guide, "Y", by=lead)
    notation = replace(series.notation, aliases=(*series.notation.aliases, (written, 100)))

    def write() -> None:
        try:
            if deed == "placed":
                place_mark(guide=guide, x=0.1, y=0.1, written=written, part=None, role="base", by=lead)
            else:
                rewrite_mark(mark=other, written=written, part=None, role="base", by=lead)
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            change_reading(series=series, notation=notation, chart_kind=series.chart_kind, by=lead)
            writing = pool.submit(write)
            time.sleep(0.5)
            assert not writing.done()
        writing.result(timeout=20)
    marks = guide.marks.filter(written=written)
    assert len(marks) == 2
    assert {mark.tint for mark in marks} == {Tint(m=100)}


@pytest.mark.backend("postgresql")
@pytest.mark.django_db(transaction=True)
def test_two_people_mark_at_the_same_time_without_waiting_for_each_other(series: Series, lead: Any) -> None:
    from concurrent.futures import ThreadPoolExecutor

    issue = make_issue(series)
    one, two = make_guide(issue, by=lead), make_guide(issue, by=lead)

    def place() -> None:
        try:
            place_mark(guide=two, x=0.1, y=0.1, written="Y", part=None, role="base", by=lead)
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool, transaction.atomic():
        place_mark(guide=one, x=0.1, y=0.1, written="Y", part=None, role="base", by=lead)
        pool.submit(place).result(timeout=10)  # done while the first transaction is still open
    assert (one.marks.count(), two.marks.count()) == (1, 1)


@pytest.mark.parametrize(
    "deed",
    [
        lambda mark, by: place_mark(guide=mark.guide, x=0.1, y=0.1, written="W", part=None, role="base", by=by),
        lambda mark, by: move_mark(mark=mark, x=0.1, y=0.1, by=by),
        lambda mark, by: rewrite_mark(mark=mark, written="W", part=None, role="base", by=by),
        lambda mark, by: delete_mark(mark=mark, by=by),
    ],
)
def test_an_older_revision_stays_as_it_is(guide: Guide, lead: Any, deed: Any) -> None:
    mark = make_mark(guide, "Y")
    make_revision(guide)
    with pytest.raises(Refused, match="A newer revision of this page has come in"):
        deed(mark, lead)
    assert list(Mark.objects.values_list("written", "x", "version", "deleted_at")) == [("Y", 0.5, 1, None)]
