"""The pages on which marks are carried to a new scan: what they show, what they ask, what they refuse."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse

from bible.models import Series
from guides.core.services import move_mark
from guides.models import Guide
from guides.uploads.carrying import carry_marks, foresee
from guides.uploads.services import append, start
from tests.factories import make_guide, make_mark, make_revision, picture_bytes
from tests.guides.uploads.rescanned import FRACTIONS, carried, make_old, outside

pytestmark = pytest.mark.django_db


@pytest.fixture
def old(series: Series, lead: User) -> Guide:
    return make_old(series, lead)


def ask(client: Client, guide: Guide, **query: str) -> Any:
    return client.get(reverse("carry", args=[guide.series.slug, guide.pk]), query)


def answer(client: Client, guide: Guide, **said: str) -> Any:
    return client.post(reverse("carry", args=[guide.series.slug, guide.pk]), said)


def test_a_failed_registration_is_said_and_the_person_decides(old: Guide, fill_in_client: Client, lead: User) -> None:
    """The factories' pictures are blank and small: nothing to lay over each other."""
    make_mark(old, "YR", by=lead)
    guide = make_revision(old)
    shown = ask(fill_in_client, guide)
    text = shown.content.decode()
    assert "The scans do not fit each other" in text
    assert "too small" in text
    assert 'value="registered"' not in text
    assert 'value="empty"' in text
    shown = ask(fill_in_client, guide, way="fractions")
    assert "not compared" in shown.content.decode()
    done = answer(fill_in_client, guide, way="fractions", plan=shown.context["plan"].sealed())
    assert done["Location"] == guide.get_absolute_url()
    assert guide.marks.live().get().written == "YR"


def test_what_is_posted_must_be_what_was_shown(old: Guide, fill_in_client: Client, lead: User) -> None:
    make_mark(old, "YR", by=lead)
    guide, other = make_revision(old), make_guide(old.issue, by=lead)
    for plan, word in (("", "cannot be read"), ("nonsense", "cannot be read"), (
        replace(foresee(guide, old, FRACTIONS), guide=other.pk).sealed(), "another page",
    )):  # fmt: skip
        refused = answer(fill_in_client, guide, way="fractions", plan=plan)
        assert refused.status_code == 422
        assert word in refused.content.decode()
    assert not guide.marks.exists()


def test_on_to_the_next_page_that_waits(old: Guide, fill_in_client: Client, lead: User) -> None:
    make_mark(old, "YR", by=lead)
    other = make_guide(old.issue, page="9", by=lead)
    make_mark(other, "Y", by=lead)
    guide, later = make_revision(old), make_revision(other)
    issue_page = fill_in_client.get(old.issue.get_absolute_url()).content.decode()
    for one in (guide, later):
        assert reverse("carry", args=[old.series.slug, one.pk]) in issue_page
    done = answer(fill_in_client, guide, way="empty", next="on")
    assert done["Location"] == reverse("carry", args=[old.series.slug, later.pk])
    done = answer(fill_in_client, later, way="empty", next="on")
    assert done["Location"] == later.get_absolute_url()


def test_the_guide_page_says_what_waits_and_what_to_look_at(old: Guide, fill_in_client: Client, lead: User) -> None:
    for x in (0.9, 0.5, 0.1):
        make_mark(old, "YR", x=x, by=lead)
    guide = make_revision(old)
    assert "not on this scan yet" in fill_in_client.get(guide.get_absolute_url()).content.decode()
    plan = foresee(guide, old, FRACTIONS)
    carry = carry_marks(guide=guide, plan=replace(plan, moved=outside(plan)), by=lead)
    text = fill_in_client.get(guide.get_absolute_url()).content.decode()
    assert "Look at mark</strong>" in text
    assert f"?mark={guide.marks.get(number=2).pk}" in text
    assert "Stayed behind" in text
    back = fill_in_client.post(reverse("undo-carry", args=[old.series.slug, carry.pk]))
    assert back["Location"] == reverse("carry", args=[old.series.slug, guide.pk])
    assert not guide.marks.live().exists()


def test_taking_back_is_refused_in_words(old: Guide, fill_in_client: Client, lead: User) -> None:
    make_mark(old, "YR", by=lead)
    guide, carry = carried(old, lead)
    move_mark(mark=guide.marks.get(), x=0.1, y=0.1, by=lead)
    back = fill_in_client.post(reverse("undo-carry", args=[old.series.slug, carry.pk]), follow=True)
    assert "Changed since they were carried over: 1" in back.content.decode()
    assert guide.marks.live().exists()


def test_a_page_without_older_marks_has_nothing_to_carry(old: Guide, fill_in_client: Client) -> None:
    assert ask(fill_in_client, old)["Location"] == old.get_absolute_url()
    assert answer(fill_in_client, old, way="fractions")["Location"] == old.get_absolute_url()


def test_a_missing_picture_is_said(old: Guide, fill_in_client: Client, lead: User) -> None:
    make_mark(old, "YR", by=lead)
    guide = make_revision(old)
    old.screen.storage.delete(str(old.screen.name))
    assert "file is missing" in ask(fill_in_client, guide).content.decode()


def test_both_ways_in_lead_to_the_marks(old: Guide, fill_in_client: Client, fill_in: User) -> None:
    make_mark(old, "YR", by=fill_in)
    slug, data = old.series.slug, picture_bytes(120, 180)
    sent = fill_in_client.post(
        reverse("upload", args=[slug, old.issue_id]), {"scans": ContentFile(data, "p07.jpg"), "page": ""}
    )
    new = Guide.objects.get(issue=old.issue, page="7", is_current=True)
    assert sent["Location"] == reverse("carry", args=[slug, new.pk])
    data = picture_bytes(130, 190)
    coming = start(issue=old.issue, page="7", revision=3, filename="7.jpg", byte_size=len(data), by=fill_in)
    append(arrival=coming, at=0, stream=ContentFile(data))
    told = fill_in_client.post(coming.get_absolute_url()).json()
    newest = Guide.objects.get(issue=old.issue, page="7", is_current=True)
    assert told["carry"] == reverse("carry", args=[slug, newest.pk])
