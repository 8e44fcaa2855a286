"""The timeline: what is locked above, what was said below, deviations by shape and in words."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.models import Series
from bible.series.presses import condition
from guides.core.waivers import waive
from guides.models import FlagKind, Mark
from guides.timeline.queries import Lane, timeline
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_part

pytestmark = pytest.mark.django_db


@pytest.fixture
def part(series: Series, lead: Any) -> Any:
    """YR, from issue 4 on Y; issue 2 has one wrong mark of three, issue 5 a waived one, issue 6 an unreadable one."""
    issues = make_issues(series, 6)
    part = make_part(series, name="coat")
    make_lock(part, "YR", by=lead)
    make_lock(part, "Y", from_position=issues[3].position, by=lead, reason="a new coat")
    said = [["YR"], ["YR", "YR", "B"], [], ["Y"], ["YR"], ["scrawl"]]
    for issue, texts in zip(issues, said, strict=True):
        guide = make_guide(issue, by=lead)
        for text in texts:
            make_mark(guide, text, part=part)
    waive(marks=Mark.objects.filter(position=issues[4].position), reason="in disguise", by=lead)
    return part


def lane_of(series: Series, part: Any) -> Lane:
    (lane,) = timeline(series, [part], condition(series)).lanes
    return lane


def test_bands_stand_over_the_issues_they_hold_in(series: Series, part: Any) -> None:
    picture = timeline(series, [part], condition(series))
    first, second = picture.lanes[0].bands
    assert (first.x, first.width) == (0, 3 * picture.column)
    assert (second.x, second.width) == (3 * picture.column, 3 * picture.column)
    assert (first.span, second.span) == ("up to issue 3", "from issue 4 on")
    assert picture.width == 6 * picture.column


def test_what_the_marks_said_and_which_sign_stands_below(series: Series, part: Any) -> None:
    lane = lane_of(series, part)
    signs = {column.issue.number: column.sign for column in lane.columns}
    assert signs == {"1": "", "2": "open", "4": "", "5": "waived", "6": "open"}
    (two,) = [column for column in lane.columns if column.issue.number == "2"]
    agreeing, wrong = two.said
    assert (agreeing.count, agreeing.kind, wrong.count, wrong.kind) == (2, None, 1, FlagKind.DIFFERS)
    assert agreeing.height == pytest.approx(2 * wrong.height)
    assert (lane.mark_count, lane.open_count, lane.waived_count) == (7, 2, 1)


def test_it_takes_as_many_queries_for_one_mark_as_for_many(series: Series, part: Any) -> None:
    with CaptureQueriesContext(
        connection,
    ) as few:
        timeline(series, [part], condition(series))
    guide = make_guide(series.issues.get(number="3"))
    for _ in range(20):
        make_mark(guide, "YR", part=part)
    with CaptureQueriesContext(connection) as many:
        timeline(series, [part], condition(series))
    assert len(few) == len(many) == 3


def test_the_page_says_the_same_in_words(series: Series, part: Any, lead_client: Client) -> None:
    """WCAG 2.2, success criterion 1.1.1: a text alternative serves the equivalent purpose."""
    page = reverse("timeline", args=[series.slug, part.costume.subject_id])
    text = lead_client.get(page).content.decode()
    (label,) = re.findall(r'<svg class="lane" [^>]*aria-label="([^"]*)"', text)
    assert "up to issue 3: YR; from issue 4 on: Y" in label
    assert "7 marks, 2 open flags, 1 waived" in label
    assert text.count('class="sign sign-open" transform') == 2
    assert text.count('class="sign sign-waived" transform') == 1
    table = text[text.index("The same in words") :]
    for word in ("up to issue 3", "1 × ", "differs, waived", "not on the chart or unreadable"):
        assert word in table
    assert "style=" not in text


def test_a_part_of_somebody_elses_is_not_shown(series: Series, part: Any, lead_client: Client) -> None:
    other = make_part(make_part().costume.subject.series)
    page = reverse("timeline", args=[series.slug, part.costume.subject_id])
    response = lead_client.get(page, {"part": other.pk})
    assert response.context["chosen"] is None
