"""What is still open before an issue goes out."""

from __future__ import annotations

from typing import Any

import pytest

from bible.models import Proposal, Series
from guides.core.labels import page_numbers
from guides.core.services import delete_mark
from guides.models import FlagKind
from guides.signoff.queries import points, points_of
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_part


@pytest.mark.parametrize(
    ("label", "numbers"),
    [("7", (7,)), ("7a", (7,)), ("2-3", (2, 3)), ("4–5", (4, 5)), ("cover", ()), ("back", ()), ("9-200", (9, 200))],
)
def test_the_numbered_pages_a_label_stands_for(label: str, numbers: tuple[int, ...]) -> None:
    assert page_numbers(label) == numbers


def test_an_issue_with_everything_open(series: Series, lead: Any, fill_in: Any) -> None:
    issues = make_issues(series, 3)
    coat, hat, flag = (make_part(series, name=name) for name in ("coat", "hat", "flag"))
    make_lock(coat, "YR3B2", by=lead)
    earlier = make_guide(issues[1], page="1", by=lead)
    for part in (coat, hat):
        make_mark(earlier, "YR3B2", part=part)
    make_mark(make_guide(issues[0], page="1", by=lead), "YR3B2", part=flag)
    here = make_guide(issues[2], page="2", by=lead)
    make_guide(issues[2], page="cover", by=lead)
    make_guide(issues[2], page="4-5", by=lead)
    make_mark(here, "YR", part=coat)
    make_mark(here, "scrawl", part=coat)
    make_mark(here, "scrawl")
    make_mark(here, "YR", to_written="scrawl")
    gone = make_mark(here, "scrawl")
    delete_mark(mark=gone, by=lead)
    series.usual_pages = 4
    series.save()
    for part, start in ((coat, 0), (hat, 0), (coat, issues[2].position + 1)):
        Proposal.objects.create(
            series=series, part=part, tint=series.read("Y"), written="Y", from_position=start, proposed_by=fill_in
        )
    found = points_of(series, issues[2])
    assert found.flags[FlagKind.DIFFERS] == 1
    assert found.flags[FlagKind.UNREADABLE] == 1
    assert (found.unread, found.unread_elsewhere) == (3, 2)
    assert (found.guides, found.marks) == (3, 4)
    assert found.missing_pages == "1, 3"
    assert found.pages_beyond == "5"
    assert [(one.subject, one.numbers) for one in found.unmarked] == [
        (hat.costume.subject, "2"),
        (flag.costume.subject, "1"),
    ]
    assert [guide.page for guide in found.bare] == ["cover", "4-5"]
    assert [proposal.part for proposal in found.proposals] == [coat], "asked for this issue, and marked in it"
    assert found.open == 2 + 2 + 2 + 1 + 2 + 2 + 1


def test_an_issues_own_number_of_pages_goes_before_the_usual_one(series: Series, lead: Any) -> None:
    issue = make_issues(series, 1)[0]
    make_guide(issue, page="1", by=lead)
    make_guide(issue, page="3", by=lead)
    assert points_of(series, issue).missing == (2,), "nothing said: only gaps are known"
    series.usual_pages, issue.own_pages = 6, 4
    assert points_of(series, issue).missing == (2, 4)


def test_archived_subjects_are_not_expected(series: Series, lead: Any) -> None:
    first, second = make_issues(series, 2)
    part = make_part(series)
    make_mark(make_guide(first, by=lead), part=part)
    assert points_of(series, second).unmarked
    subject = part.costume.subject
    subject.archived_at = subject.series.created_at
    subject.save()
    assert not points_of(series, second).unmarked


def test_many_issues_ask_no_more_than_two(series: Series, lead: Any, django_assert_num_queries: Any) -> None:
    issues = make_issues(series, 6)
    part = make_part(series)
    for issue in issues:
        make_mark(make_guide(issue, page="1", by=lead), "scrawl", part=part)
    Proposal.objects.create(
        series=series, part=part, tint=series.read("Y"), written="Y", from_position=0, proposed_by=lead
    )
    for some in (issues[:2], issues):
        with django_assert_num_queries(10):
            assert [one.unread for one in points(series, some)] == [1] * len(some)
