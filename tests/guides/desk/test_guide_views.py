"""The guide page as it comes from the server."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from bible.models import Series
from guides.core.services import delete_mark
from guides.models import Guide
from tests.factories import make_guide, make_issue, make_lock, make_mark, make_part
from tests.pages import member_client, methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series) -> Guide:
    return make_guide(make_issue(series), page="7", width=400, height=600)


def test_marks_stand_where_they_are_with_number_word_and_shape(
    fill_in_client: Client, guide: Guide, series: Series
) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    make_mark(guide, "YR3B2", part=part, x=0.25, y=0.5)
    make_mark(guide, "YRB2", part=part, x=0.5, y=0.5)
    make_mark(guide, "YRB2", x=1.0, y=1.0)
    text = fill_in_client.get(guide.get_absolute_url()).content.decode()
    assert re.findall(r'class="pin pin-(\w+)"', text) == ["agrees", "flagged", "background"]
    assert "translate(100.0 300.0)" in text
    assert "translate(400.0 600.0)" in text
    assert "flag: differs" in text
    assert "3 marks, 1 flag" in text
    assert "A screen is not a proof" in text


@pytest.mark.parametrize("mark", ["²", "x", "-1", "", "0", "9" * 18, "9" * 5000, "\x00"])
@pytest.mark.parametrize("name", ["mark", "deleted"])
def test_an_address_that_names_no_mark_shows_the_page(
    fill_in_client: Client, guide: Guide, mark: str, name: str
) -> None:
    answer = fill_in_client.get(guide.get_absolute_url(), {name: mark})
    assert answer.status_code == 200
    assert "Click on the page where a code stands" in answer.content.decode()


def test_a_mark_of_another_guide_is_not_opened_here(fill_in_client: Client, guide: Guide) -> None:
    other = make_mark(make_guide(guide.issue), "C25 M25")
    text = fill_in_client.get(guide.get_absolute_url(), {"mark": other.pk}).content.decode()
    assert "mark-form" not in text


def test_undo_is_offered_only_for_a_deleted_mark_and_to_whoever_may(
    fill_in_client: Client, guide: Guide, series: Series, lead: Any
) -> None:
    mark = make_mark(guide)
    assert (
        "Undo: bring mark" not in fill_in_client.get(guide.get_absolute_url(), {"deleted": mark.pk}).content.decode()
    )
    delete_mark(mark=mark, by=lead)
    assert "Undo: bring mark" in fill_in_client.get(guide.get_absolute_url(), {"deleted": mark.pk}).content.decode()
    guest = member_client(series, "guest")
    assert "Undo: bring mark" not in guest.get(guide.get_absolute_url(), {"deleted": mark.pk}).content.decode()


@pytest.mark.parametrize("role", ["editor", "guest"])
def test_whoever_may_not_mark_gets_no_tools_for_it(guide: Guide, series: Series, role: str) -> None:
    make_mark(guide)
    text = member_client(series, role).get(guide.get_absolute_url()).content.decode()
    for tool in ("data-new-mark", "data-move", "add one without clicking", "Drag a number"):
        assert tool not in text
    assert "Choose a number to see what it says." in text


def test_every_current_page_of_the_issue_is_one_click_away(fill_in_client: Client, guide: Guide) -> None:
    other = make_guide(guide.issue, page="cover")
    old = make_guide(guide.issue, page="8", is_current=False)
    text = fill_in_client.get(guide.get_absolute_url()).content.decode()
    strip = text[text.index('class="page-strip"') : text.index("</nav>", text.index('class="page-strip"'))]
    assert strip.index(other.get_absolute_url()) < strip.index(guide.get_absolute_url())
    assert old.get_absolute_url() not in strip


def test_three_marks_pages_and_revisions_or_thirty_cost_as_many_queries(
    fill_in_client: Client, guide: Guide, series: Series
) -> None:
    def queries(mark: Any) -> int:
        with CaptureQueriesContext(connection) as asked:
            assert fill_in_client.get(guide.get_absolute_url(), {"mark": mark.pk}).status_code == 200
        return len(asked)

    counts = []
    revision = 1
    for more in (3, 27):
        for _ in range(more):
            part = make_part(series)
            make_lock(part, "YR3B2")
            mark = make_mark(guide, "YRB2", part=part)
            make_guide(guide.issue)
            revision += 1
            make_guide(guide.issue, page="7", revision=revision, is_current=False)
        counts.append(queries(mark))
    assert counts[0] == counts[1]


def test_it_is_only_read(fill_in_client: Client, guide: Guide) -> None:
    methods_are_refused(fill_in_client, guide.get_absolute_url(), "post", "put", "delete")
