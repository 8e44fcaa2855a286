"""The flag list: every flag once, whatever the filter, at the same cost."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.chart.services import change_reading
from bible.colour.difference import SEVERITY_BANDS
from bible.colour.notation import percent_code
from bible.colour.tints import Tint
from bible.models import Series
from bible.series.presses import condition
from guides.core.flags import flags_of
from guides.core.services import place_marks
from guides.models import FlagKind, Mark
from tests.factories import (
    make_costume,
    make_guide,
    make_issues,
    make_lock,
    make_mark,
    make_part,
    make_series,
    make_subject,
)
from tests.pages import htmx, methods_are_refused

pytestmark = pytest.mark.django_db

CODES = ("YRB2", "YR3B3", "Y3R3B2", "YR3", "W", "B", "YR2B2", "??")


def address(series: Series) -> str:
    return reverse("flags", args=[series.slug])


def fill(series: Series, each: int = 21) -> list[int]:
    """Marks on three issues that differ from little to much, some unreadable, some without a lock."""
    part, loose, red = make_part(series), make_part(series), make_part(series)
    make_lock(part, "YR3B2")
    make_lock(red, "YR")
    for issue in make_issues(series, 3):
        for page in ("2", "10"):
            rows = [(0.5, 0.5, CODES[n % len(CODES)], loose if n % 5 == 0 else part, "base") for n in range(each)]
            rows.append((0.5, 0.5, "Y3R", red, "base"))
            guide = make_guide(issue, page=page)
            place_marks(guide=guide, by=guide.uploaded_by, rows=rows)
    return list(Mark.objects.flagged().in_order().values_list("pk", flat=True))


def add_near_codes(series: Series) -> None:
    """Two marks nearer to their lock than any two tints of the 64 are: a house chart may hold such tints."""
    near = [Tint(25, 50, 99), Tint(25, 54, 100)]
    change_reading(
        series=series, notation=series.notation, chart_kind="house", house_tints=[*series.chart.tints, *near]
    )
    mark = Mark.objects.filter(expected=Tint(25, 50, 100)).select_related("part", "guide").earliest("pk")
    for tint in near:
        make_mark(mark.guide, percent_code(tint), part=mark.part)


def marks_on(answer: Any) -> list[int]:
    """Marks in the order they are listed in; those that disagree as an earlier one does stand beside it."""
    return [int(pk) for pk in re.findall(r'href="/s/[^"]*\?mark=(\d+)"', answer.content.decode())]


def first_of_each(answer: Any) -> list[int]:
    return [int(pk) for pk in re.findall(r'class="flag-where" href="[^"]*\?mark=(\d+)"', answer.content.decode())]


def walk(client: Client, series: Series, query: str = "") -> tuple[list[int], int]:
    """All marks listed, following “more flags” to the end, and how many pages that took."""
    found: list[int] = []
    pages = 0
    while True:
        answer = client.get(address(series) + query)
        assert answer.status_code == 200
        found += marks_on(answer)
        pages += 1
        following = re.search(r'<a class="button" href="(\?[^"]*after=[^"]*)"', answer.content.decode())
        if not following:
            return found, pages
        query = following[1].replace("&amp;", "&")


def test_paging_by_keys_walks_every_flag_once_and_in_order(fill_in_client: Client, series: Series) -> None:
    wanted = fill(series)
    assert len(wanted) > 100
    found, pages = walk(fill_in_client, series)
    assert sorted(found) == sorted(wanted)
    assert set(found[:50]) == set(wanted[:50])
    assert pages == -(-len(wanted) // 50)


@pytest.mark.parametrize("band", SEVERITY_BANDS, ids=lambda band: band.word)
def test_severity_narrows_to_what_looking_at_each_flag_gives(
    fill_in_client: Client, series: Series, band: Any
) -> None:
    fill(series)
    add_near_codes(series)
    every = flags_of(Mark.objects.flagged().in_order().select_related("series"), condition(series))
    wanted = [flag.mark.pk for flag in every if flag.severity == band]
    assert 0 < len(wanted) < len(every)
    found, _ = walk(fill_in_client, series, f"?severity={band.word}")
    assert sorted(found) == wanted


@pytest.mark.parametrize("kind", [FlagKind.DIFFERS, FlagKind.UNREADABLE, FlagKind.NO_LOCK])
def test_a_kind_narrows_to_its_own(fill_in_client: Client, series: Series, kind: FlagKind) -> None:
    fill(series)
    wanted = [mark.pk for mark in Mark.objects.flagged().in_order() if mark.flag_kind is kind]
    assert wanted
    found, _ = walk(fill_in_client, series, f"?kind={kind.value}")
    assert sorted(found) == wanted


def test_issue_and_subject_narrow_together(fill_in_client: Client, series: Series) -> None:
    fill(series)
    subject = make_subject(series, name="Ada")
    mark = make_mark(
        make_guide(series.issues.get(number="2"), page="99"), "Y", part=make_part(costume=make_costume(subject))
    )
    assert walk(fill_in_client, series, f"?issue=2&subject={subject.pk}") == ([mark.pk], 1)
    assert walk(fill_in_client, series, f"?issue=1&subject={subject.pk}") == ([], 1)


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("?issue=no+such", "There is no issue no such in The Slow River."),
        ("?kind=odd", "odd is not one of the available choices"),
        ("?severity=dreadful", "dreadful is not one of the available choices"),
        ("?subject=x", "Select a valid choice"),
        ("?subject=999999", "Select a valid choice"),
    ],
)
@pytest.mark.parametrize("headers", [{}, htmx("flags")])
def test_a_filter_that_says_nothing_is_told_and_stays(
    fill_in_client: Client, series: Series, query: str, said: str, headers: dict[str, str]
) -> None:
    fill(series, 1)
    answer = fill_in_client.get(address(series) + query, headers=headers)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert said in text
    assert marks_on(answer) == []
    if "no+such" in query and not headers:
        assert 'value="no such"' in text


def test_a_subject_of_another_series_is_no_choice(fill_in_client: Client, series: Series) -> None:
    stranger = make_subject(make_series(), name="Zeno of elsewhere")
    answer = fill_in_client.get(address(series) + f"?subject={stranger.pk}")
    assert answer.status_code == 422
    assert "Zeno" not in answer.content.decode()


@pytest.mark.parametrize("after", ["x", "1-2", "1-2-²", "-1-2-3", "1-2-" + "9" * 40, "\x00", "1-2-3-4", "٣-1-1"])
def test_a_key_that_is_none_begins_at_the_beginning(fill_in_client: Client, series: Series, after: str) -> None:
    wanted = fill(series, 3)
    answer = fill_in_client.get(address(series), {"after": after})
    assert answer.status_code == 200
    assert sorted(marks_on(answer)) == wanted


def test_with_htmx_only_the_list_comes(fill_in_client: Client, series: Series) -> None:
    fill(series, 3)
    whole = fill_in_client.get(address(series))
    part = fill_in_client.get(address(series), headers=htmx("flags"))
    assert "<html" in whole.content.decode()
    assert "<html" not in part.content.decode()
    assert marks_on(part) == marks_on(whole) != []
    assert "A screen is not a proof" in whole.content.decode()


def test_each_flag_says_what_is_wrong_in_words(fill_in_client: Client, series: Series) -> None:
    fill(series)
    text = fill_in_client.get(address(series)).content.decode()
    for words in ("differs", "not on the chart or unreadable", "no lock", "bible says", "YR3B2", "ΔE₀₀", "severe"):
        assert words in text


def test_what_is_wrong_in_the_same_way_stands_in_one_line(fill_in_client: Client, series: Series) -> None:
    part, other = make_part(series), make_part(series)
    for each in (part, other):
        make_lock(each, "YR3B2")
    [issue] = make_issues(series, 1)
    guide = make_guide(issue)
    first, alien, second = (make_mark(guide, "YRB2", part=each) for each in (part, other, part))
    else_wrong = make_mark(guide, "B2", part=part)
    answer = fill_in_client.get(address(series))
    assert first_of_each(answer) == [first.pk, alien.pk, else_wrong.pk]
    assert marks_on(answer) == [first.pk, second.pk, alien.pk, else_wrong.pk]


def test_three_flags_or_thirty_cost_as_many_queries(fill_in_client: Client, series: Series) -> None:
    def queries(query: str = "") -> int:
        with CaptureQueriesContext(connection) as asked:
            fill_in_client.get(address(series) + query)
        return len(asked)

    part = make_part(series)
    make_lock(part, "YR3B2")
    [issue] = make_issues(series, 1)
    counts = []
    for more in (3, 27):
        for _ in range(more):
            make_mark(make_guide(issue), "YRB2", part=make_part(costume=make_costume(make_subject(series))))
        counts.append((queries(), queries("?severity=obvious"), queries("?kind=no-lock")))
    assert counts[0] == counts[1]


def test_wrong_methods(fill_in_client: Client, series: Series) -> None:
    methods_are_refused(fill_in_client, address(series), "post", "put", "delete")


def test_where_nothing_is_marked_nothing_is_said_to_agree(lead_client: Client, series: Series) -> None:
    for name in ("flags", "series"):
        assert "every mark" not in lead_client.get(reverse(name, args=[series.slug])).content.decode().lower()
