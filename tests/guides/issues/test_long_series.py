"""What a page shows of a series of decades: the newest first, counted no further than anybody reads; what is exported
is whole. The limits are made small here."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Series
from bible.series import models as series_models
from guides.core.models import marks as mark_queries
from guides.core.models.conditions import FlagKind
from guides.issues import views
from guides.models import Mark
from guides.templatetags import marks as mark_tags
from tests.factories import make_guide, make_issue, make_issues, make_lock, make_mark, make_part
from tests.taken import as_json, shown

pytestmark = pytest.mark.django_db

FIELDS_OF_ISSUES = ("lookup", "flags", "continuity-report", "palette")


@pytest.fixture
def flagged(series: Series) -> list[Mark]:
    """Four flags in two issues: the older one's parts are locked otherwise, the newer one's have no lock."""
    locked, free = make_part(series, name="coat"), make_part(series, name="hat")
    make_lock(locked, "B2")
    older, newer = (make_guide(make_issue(series, number=number)) for number in ("1", "2"))
    first = [make_mark(older, "Y", part=locked) for _ in range(3)]
    return [*first, make_mark(newer, "Y", part=free)]


@pytest.fixture
def _counted_to_two(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (mark_queries, mark_tags, views):
        monkeypatch.setattr(module, "MOST_COUNTED", 2)


def words_of(client: Client, page: str, series: Series) -> str:
    html = client.get(reverse(page, args=[series.slug])).content.decode()
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


@pytest.mark.usefixtures("flagged")
def test_fewer_flags_than_the_limit_are_all_counted(lead_client: Client, series: Series) -> None:
    assert "4 open flags" in words_of(lead_client, "series", series)
    assert "4 flags" in words_of(lead_client, "flags", series)
    open_flags = Mark.objects.filter(series=series).open()
    assert open_flags.newest_kind_counts() == open_flags.kind_counts()


@pytest.mark.usefixtures("_counted_to_two")
def test_more_flags_are_called_more_and_their_kinds_are_the_newest_ones(
    lead_client: Client, series: Series, flagged: list[Mark]
) -> None:
    front = words_of(lead_client, "series", series)
    assert "more than 2 open flags" in front
    assert "By kind, the newest 2:" in front
    assert "more than 2 flags" in words_of(lead_client, "flags", series)
    counted = Mark.objects.filter(series=series).open().newest_kind_counts()
    newest = flagged[-1].flag_kind
    assert newest
    assert counted[newest] == 1
    assert counted[FlagKind.DIFFERS] == 2
    assert len(as_json(lead_client, reverse("flags", args=[series.slug]))["rows"]) == 4


def test_the_newest_issues_are_listed_and_all_on_demand(
    lead_client: Client, series: Series, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, *_, last = make_issues(series, 5)
    make_mark(make_guide(first), "YR", part=make_part(series))
    make_guide(last)
    monkeypatch.setattr(views, "ISSUES_A_PAGE", 2)
    address = reverse("issues", args=[series.slug])
    newest = [row[0] for row in shown(lead_client, address, "//tbody/tr")]
    every = [row[0] for row in shown(lead_client, f"{address}?all=1", "//tbody/tr")]
    assert newest == every[:2]
    assert every == [issue.number for issue in reversed(series.issues.in_order())]
    assert "These are the newest 2. All 5 issues" in words_of(lead_client, "issues", series)
    assert "These are" not in lead_client.get(f"{address}?all=1").content.decode()
    told = as_json(lead_client, address)["rows"]
    assert [(row["guides"], row["open_flags"]) for row in (told[0], told[-1])] == [(1, 0), (1, 1)]


@pytest.mark.parametrize("page", FIELDS_OF_ISSUES)
def test_a_field_suggests_the_newest_issues_alone(
    page: str, lead_client: Client, series: Series, monkeypatch: pytest.MonkeyPatch
) -> None:
    numbers = [issue.number for issue in make_issues(series, 4)]
    monkeypatch.setattr(series_models, "SUGGESTED_ISSUES", 2)
    html = lead_client.get(reverse(page, args=[series.slug])).content.decode()
    listed = re.search(r'<datalist id="issue-numbers">(.*?)</datalist>', html, re.DOTALL)
    assert listed
    assert re.findall(r'value="([^"]*)"', listed[1]) == numbers[-2:]
