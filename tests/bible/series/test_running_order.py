"""Stretches of positions in words, and “as of issue N”."""

from __future__ import annotations

from itertools import pairwise

import pytest
from django.utils import timezone

from bible.models import Issue, Series
from bible.models.stretches import Stretch
from bible.series import models
from bible.series.running_order import LATEST, AsOf, RunningOrder
from tests.factories import make_issue, make_issues

ORDER = RunningOrder(tuple(Issue(number=number, position=n * 100) for n, number in enumerate(["1", "2", "3"], 1)))


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [
        (0, None, "always"),
        (100, None, "always"),
        (101, None, "from issue 2 on"),
        (200, None, "from issue 2 on"),
        (301, None, "from the next issue on"),
        (0, 300, "up to issue 2"),
        (0, 50, "no issue yet"),
        (200, 300, "issue 2"),
        (200, 301, "issues 2 to 3"),
        (101, 999, "issues 2 to 3"),
        (210, 290, "no issue yet"),
        (400, 500, "no issue yet"),
    ],
)
def test_a_stretch_in_words(start: int, end: int | None, said: str) -> None:
    stretch = Stretch(start, end)
    assert ORDER.span(stretch) == said
    covered = [issue for issue in ORDER.issues if stretch.holds_at(issue.position)]
    assert (said in ("no issue yet", "from the next issue on")) == (not covered)
    if covered and said.startswith("issue"):
        assert covered[0].number in said
        assert covered[-1].number in said


def test_a_series_without_issues_can_be_spoken_of() -> None:
    empty = RunningOrder(())
    assert empty.span(Stretch(0)) == "always"
    assert empty.span(Stretch(5)) == "from the next issue on"


def test_neighbours_at_every_position() -> None:
    for position in range(0, 420, 10):
        first, last = ORDER.first_from(position), ORDER.last_before(position)
        assert first == next((issue for issue in ORDER.issues if issue.position >= position), None)
        assert last == next((issue for issue in reversed(ORDER.issues) if issue.position < position), None)


@pytest.mark.django_db
class TestAsOf:
    @pytest.mark.parametrize("asked", ["Annual 2", " annual 2 ", "ANNUAL  2", "Ａｎｎｕａｌ ２"])
    def test_by_the_number_as_printed(self, series: Series, asked: str) -> None:
        issue = make_issue(series, number="Annual 2")
        as_of = AsOf.of(series, asked)
        assert (as_of.issue, as_of.position, as_of.unknown) == (issue, issue.position, "")
        assert str(as_of) == "as of issue Annual 2"

    @pytest.mark.parametrize("asked", ["", "  ", "\0"])
    def test_without_a_number_it_is_the_latest(self, series: Series, asked: str) -> None:
        as_of = AsOf.of(series, asked)
        assert (as_of.issue, as_of.position, as_of.unknown) == (None, LATEST, "")

    @pytest.mark.parametrize("asked", ["99", "x\0y", "'" * 400])
    def test_an_unknown_number_is_kept_to_be_told(self, series: Series, asked: str) -> None:
        as_of = AsOf.of(series, asked)
        assert as_of.position == LATEST
        assert as_of.unknown == asked.replace("\0", "")

    def test_issues_are_loaded_in_order(self, series: Series) -> None:
        make_issues(series, 4)
        for before, after in pairwise(RunningOrder.of(series).issues):
            assert before.position < after.position


def test_a_form_suggests_the_newest_issues_at_work_in_order(series: Series, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(models, "SUGGESTED_ISSUES", 3)
    issues = make_issues(series, 5)
    Issue.objects.filter(pk=issues[3].pk).update(archived_at=timezone.now())
    assert [one["number"] for one in series.issues.suggested()] == ["2", "3", "5"]
