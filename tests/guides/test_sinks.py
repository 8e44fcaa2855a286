"""What sinks into its neighbour through an issue: kept with the prints, and only while they are of the marks as they are."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from bible.models import Issue, Part, Series
from guides import sinks
from guides.models import Guide
from guides.services import rewrite_mark
from guides.sinks import look_at_pages, neighbours_of
from tests.factories import make_guide, make_issue, make_mark, make_member, make_part, make_series
from tests.pages import client_of, member_client, methods_are_refused
from tests.taken import both_files_say_the_same, the_page_leads_to_its_files

pytestmark = pytest.mark.django_db


def two_halves() -> ContentFile[bytes]:
    """A page of two paints side by side."""
    picture = Image.new("RGB", (400, 600), "#f6f6f6")
    picture.paste("#d63c32", (40, 60, 200, 540))
    picture.paste("#4678c8", (200, 60, 360, 540))
    out = io.BytesIO()
    picture.save(out, "PNG")
    return ContentFile(out.getvalue(), "halves.png")


def make_page(issue: Issue, left: str, right: str, part: Part | None = None) -> Guide:
    """A page with a mark on either paint; ``part`` is what the left one is of."""
    guide = make_guide(issue)
    guide.screen.save(f"tests/halves-{guide.pk}.png", two_halves())
    make_mark(guide, left, x=0.3, part=part)
    make_mark(guide, right, x=0.7)
    return guide


def address(issue: Issue, name: str = "neighbours") -> str:
    return reverse(name, args=[issue.series.slug, issue.pk])


@pytest.fixture
def issue(series: Series) -> Issue:
    return make_issue(series)


def test_pages_wait_until_they_are_looked_at(issue: Issue) -> None:
    alike, apart = make_page(issue, "Y", "Y3"), make_page(issue, "R", "B")
    found = neighbours_of(issue)
    assert (found.pairs, found.waiting) == ((), (alike, apart))
    assert look_at_pages(found.waiting) == (2, 0)
    found = neighbours_of(issue)
    assert found.waiting == ()
    (pair,) = found.pairs
    assert (pair.first.guide, pair.first.number, pair.second.number) == (alike, 1, 2)
    assert pair.found.risk > 0


def test_a_page_waits_again_once_a_mark_has_changed(issue: Issue, lead: Any) -> None:
    guide = make_page(issue, "Y", "Y3")
    other = make_page(issue, "Y", "Y3")
    look_at_pages([guide, other])
    rewrite_mark(mark=guide.marks.get(number=2), written="B", part=None, role="base", by=lead)
    found = neighbours_of(issue)
    assert found.waiting == (guide,)
    assert [pair.first.guide for pair in found.pairs] == [other]


def test_another_press_is_another_question(issue: Issue) -> None:
    look_at_pages([make_page(issue, "Y", "Y3")])
    Series.objects.filter(pk=issue.series_id).update(press="uncoated-fogra29")
    assert len(neighbours_of(Issue.objects.get(pk=issue.pk)).waiting) == 1


def test_time_that_is_used_up_leaves_pages_for_the_next_time(issue: Issue) -> None:
    pages = [make_page(issue, "Y", "Y3") for _ in range(3)]
    assert look_at_pages(pages, seconds=0) == (1, 2)
    assert look_at_pages([], seconds=0) == (0, 0)


def test_an_older_scan_is_passed_over(issue: Issue) -> None:
    guide = make_page(issue, "Y", "Y3")
    look_at_pages([guide])
    Guide.objects.filter(pk=guide.pk).update(is_current=False)
    assert neighbours_of(issue) == sinks.Neighbours(0, (), ())


def test_the_page_tells_of_pairs_and_offers_to_look(issue: Issue, fill_in_client: Client) -> None:
    coat = make_part(issue.series, name="coat")
    make_page(issue, "Y", "Y3", part=coat)
    text = fill_in_client.get(address(issue)).content.decode()
    assert "1 page not looked at" in text
    assert "0 pairs" in text
    answer = fill_in_client.post(address(issue, "look-at-neighbours"), follow=True)
    text = answer.content.decode()
    assert "1 page looked at." in text
    assert "not looked at" not in text
    assert f"{coat.full_name} beside background" in text
    assert "mark 2" in text


def test_its_files_say_the_same(issue: Issue, lead_client: Client) -> None:
    look_at_pages([make_page(issue, "Y", "Y3"), make_page(issue, "B", "B")])
    both_files_say_the_same(lead_client, address(issue), 2)
    the_page_leads_to_its_files(lead_client, address(issue))


def test_the_list_asks_no_more_as_it_grows(issue: Issue, lead_client: Client) -> None:
    costs = []
    for pages in (1, 4):
        look_at_pages([make_page(issue, "Y", "Y3") for _ in range(pages)])
        lead_client.get(address(issue))
        with CaptureQueriesContext(connection) as queries:
            lead_client.get(address(issue))
        costs.append(len(queries))
    assert costs[0] == costs[1]


class TestRefusals:
    def test_whoever_is_not_signed_in_or_not_of_the_series(self, issue: Issue, client: Client) -> None:
        for name in ("neighbours", "look-at-neighbours"):
            assert client.get(address(issue, name)).status_code == 302
        stranger = client_of(make_member(make_series()))
        assert stranger.get(address(issue)).status_code == 404
        assert stranger.post(address(issue, "look-at-neighbours")).status_code == 404

    def test_a_guest_reads_and_asks_for_no_work(self, issue: Issue) -> None:
        make_page(issue, "Y", "Y3")
        guest = member_client(issue.series, "guest")
        page = guest.get(address(issue))
        assert page.status_code == 200
        assert "look" not in [
            form.split('"')[0].rsplit("/", 1)[-1] for form in page.content.decode().split('action="')
        ]
        assert guest.post(address(issue, "look-at-neighbours")).status_code == 403

    def test_an_issue_of_another_series(self, issue: Issue, lead_client: Client) -> None:
        other = make_issue(make_series())
        for name, method in (("neighbours", "get"), ("look-at-neighbours", "post")):
            url = reverse(name, args=[issue.series.slug, other.pk])
            assert getattr(lead_client, method)(url).status_code == 404

    def test_wrong_methods(self, issue: Issue, lead_client: Client) -> None:
        methods_are_refused(lead_client, address(issue), "post", "put", "delete", "patch")
        methods_are_refused(lead_client, address(issue, "look-at-neighbours"), "get", "put", "delete", "patch")
