"""Notes beside locks, marks and their flags."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.locks.notes import note_on_lock
from bible.models import LockNote, Series
from guides.core.notes import note_on_mark
from guides.models import Mark, MarkNote
from tests.factories import make_guide, make_issue, make_issues, make_lock, make_mark, make_part, make_series
from tests.pages import HTMX, client_of, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def mark(series: Series, lead: Any) -> Mark:
    """A flag: the bible says Y, the page YR."""
    part = make_part(series)
    make_lock(part, "Y", by=lead, reason="as drawn")
    made = make_mark(make_guide(make_issue(series), by=lead), "YR", part=part, by=lead)
    made.refresh_from_db()
    return made


def note_url(thing: Any) -> str:
    name = "note-mark" if isinstance(thing, Mark) else "note-lock"
    return reverse(name, args=[thing.series.slug, thing.pk])


@pytest.mark.parametrize("role", ["lead", "fill-in", "editor", "guest"])
def test_everybody_who_works_here_may_note_and_a_guest_neither_writes_nor_reads(
    series: Series, lead: Any, mark: Mark, role: str
) -> None:
    note_on_mark(mark=mark, text="ask the writer", by=lead)
    note_on_lock(lock=mark.lock, text="checked on proof", by=lead)  # type: ignore[arg-type]
    client = member_client(series, role)
    for thing in (mark, mark.lock):
        assert thing
        response = client.post(note_url(thing), {"text": "mine"})
        assert response.status_code == (403 if role == "guest" else 302)
        if role == "guest":
            assert (
                "Only a lead colourist or a fill-in colourist or an editor may do this" in response.content.decode()
            )
        else:
            assert response.headers["Location"] == thing.get_absolute_url()
    subject = mark.part.costume.subject  # type: ignore[union-attr]
    pages = {
        "panel": mark.get_absolute_url(),
        "flags": reverse("flags", args=[series.slug]),
        "issue": mark.guide.issue.get_absolute_url(),
        "desk": reverse("series", args=[series.slug]),
        "subject": subject.get_absolute_url(),
    }
    if role == "fill-in":  # whose first page begins with the flags on their own pages
        pages.pop("desk")
    for name, url in pages.items():
        page = client.get(url).content.decode()
        said = "checked on proof" if name == "subject" else "ask the writer"
        assert (said in page) == (role != "guest"), name
    panel = client.get(mark.get_absolute_url()).content.decode()
    assert ("checked on proof" in panel) == (role != "guest"), "the lock's note stands beside the mark it judges"


def test_htmx_answers_with_the_notes_alone(series: Series, fill_in_client: Client, mark: Mark) -> None:
    for thing in (mark, mark.lock):
        response = fill_in_client.post(note_url(thing), {"text": "a <b>thought</b>"}, headers=HTMX)
        page = response.content.decode()
        assert response.status_code == 200
        assert "a &lt;b&gt;thought&lt;/b&gt;" in page
        assert "<html" not in page
        assert "</textarea>" in page
        assert ">a &lt;b&gt;thought&lt;/b&gt;</textarea>" not in page


@pytest.mark.parametrize("headers", [{}, HTMX])
def test_an_empty_or_endless_note_is_refused_and_kept(
    series: Series, fill_in_client: Client, mark: Mark, headers: dict[str, str]
) -> None:
    for thing in (mark, mark.lock):
        for text in ("  ", "y" * 2001):
            response = fill_in_client.post(note_url(thing), {"text": text}, headers=headers)
            assert response.status_code == 422
            assert 'role="alert"' in response.content.decode()
            assert text.strip() in response.content.decode()
    assert not MarkNote.objects.exists()
    assert not LockNote.objects.exists()


def test_a_note_stays_with_its_decision_when_a_later_one_cuts_it(series: Series, lead: Any) -> None:
    first, second, third = make_issues(series, 3)
    part = make_part(series)
    lock = make_lock(part, "Y", by=lead)
    note_on_lock(lock=lock, text="checked on proof", by=lead)
    make_lock(part, "B", from_position=second.position, to_position=third.position, by=lead)
    mark = make_mark(make_guide(first, by=lead), "YR", part=part, by=lead)
    mark.refresh_from_db()
    assert mark.lock_id not in (None, lock.pk), "what is left of the lock is a row of its own"
    assert "checked on proof" in client_of(lead).get(mark.get_absolute_url()).content.decode()
    cut = make_mark(make_guide(second, by=lead), "YR", part=part, by=lead)
    assert "checked on proof" not in client_of(lead).get(cut.get_absolute_url()).content.decode()


def test_notes_of_another_series_are_neither_read_nor_written(
    series: Series, lead_client: Client, mark: Mark
) -> None:
    other = make_lock(make_part(make_series()))
    response = lead_client.post(reverse("note-lock", args=[series.slug, other.pk]), {"text": "mine"})
    assert response.status_code == 404


def test_the_notes_of_a_subjects_marks_stand_on_its_page(
    series: Series, lead: Any, fill_in_client: Client, mark: Mark
) -> None:
    note_on_mark(mark=mark, text="ask the writer", by=lead)
    subject = mark.part.costume.subject  # type: ignore[union-attr]
    url = reverse("subject-notes", args=[series.slug, subject.pk])
    assert f'hx-get="{url}"' in fill_in_client.get(subject.get_absolute_url()).content.decode()
    for headers in ({}, HTMX):
        page = fill_in_client.get(url, headers=headers).content.decode()
        assert "ask the writer" in page
        assert mark.get_absolute_url().replace("&", "&amp;") in page
    methods_are_refused(fill_in_client, url, "post")


def test_lists_with_notes_need_no_query_a_row(series: Series, lead: Any, lead_client: Client, mark: Mark) -> None:
    subject = mark.part.costume.subject  # type: ignore[union-attr]
    urls = [
        reverse("flags", args=[series.slug]),
        subject.get_absolute_url(),
        reverse("subject-notes", args=[series.slug, subject.pk]),
    ]
    counts: list[list[int]] = []
    for n in (1, 5):
        for _ in range(n):
            flag = make_mark(mark.guide, "YR", part=mark.part, by=lead)
            note_on_mark(mark=flag, text="so", by=lead)
            note_on_lock(lock=make_lock(make_part(costume=mark.part.costume), by=lead), text="so", by=lead)  # type: ignore[union-attr]
        asked = []
        for url in urls:
            with CaptureQueriesContext(connection) as caught:
                assert lead_client.get(url).status_code == 200
            asked.append(len(caught))
        counts.append(asked)
    assert counts[0] == counts[1]
