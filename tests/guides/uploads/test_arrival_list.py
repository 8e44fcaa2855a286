"""The list of scans before anything is sent: labels, clashes, revisions, what is here already."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Issue, Series
from guides.models import Arrival, Guide
from guides.uploads.queries import MOST_FILES
from tests.factories import make_guide, make_issue, make_mark
from tests.guides.uploads.pieces import PAGE, begin, piece, sha
from tests.pages import HTMX

pytestmark = pytest.mark.django_db


@pytest.fixture
def issue(series: Series) -> Issue:
    return make_issue(series)


def foresee(client: Client, issue: Issue, *files: dict[str, Any], again: tuple[int, ...] = ()) -> Any:
    rows = [{"name": "p01.png", "size": 500, "sha256": "", "page": "", "typed": "0"} | file for file in files]
    data = {name: [row[name] for row in rows] for name in ("name", "size", "sha256", "page", "typed")} if rows else {}
    url = reverse("foresee-arrivals", args=[issue.series.slug, issue.pk])
    return client.post(url, data | {"again": list(again)}, headers=HTMX)


def rows_of(answer: Any) -> dict[str, Any]:
    return {row.file.name: row for row in answer.context["arrival_rows"]}


def test_the_list_reads_labels_and_marks_clashes(fill_in_client: Client, issue: Issue) -> None:
    answer = foresee(
        fill_in_client, issue, {"name": "p02.png"}, {"name": "page 2.tif"}, {"name": "IFC.jpg"}, {"name": "a.exe"}
    )
    rows = rows_of(answer)
    assert [row.file.name for row in answer.context["arrival_rows"]] == ["IFC.jpg", "p02.png", "page 2.tif", "a.exe"]
    assert rows["p02.png"].trouble == "Also page 2: page 2.tif. Say which page each one is."
    assert rows["page 2.tif"].trouble == "Also page 2: p02.png. Say which page each one is."
    assert rows["IFC.jpg"].is_ready
    assert "A .exe file is not taken in" in rows["a.exe"].trouble
    assert "4 files, 1 ready to come in" in answer.content.decode()
    assert Guide.objects.count() == Arrival.objects.count() == 0


def test_a_label_that_was_typed_goes_before_the_name(fill_in_client: Client, issue: Issue) -> None:
    typed = {"name": "page 2.tif", "page": " Page 03", "typed": "1"}
    rows = rows_of(foresee(fill_in_client, issue, {"name": "p02.png"}, typed))
    assert (rows["page 2.tif"].page, rows["page 2.tif"].is_ready, rows["p02.png"].is_ready) == ("3", True, True)
    rows = rows_of(foresee(fill_in_client, issue, typed | {"page": ""}))
    assert rows["page 2.tif"].trouble == "Say which page it is."


def test_the_list_tells_revisions_duplicates_and_what_is_half_sent(
    fill_in_client: Client, issue: Issue, series: Series
) -> None:
    here = make_guide(issue, page="2")
    make_mark(here)
    make_guide(make_issue(series), page="9", sha256="a" * 64)
    url = begin(fill_in_client, issue, PAGE, page="4").json()["url"]
    piece(fill_in_client, url, PAGE, 0, 100)
    files = (
        {"name": "p02.png"},
        {"name": "p03.png", "sha256": "a" * 64},
        {"name": "p04.png", "sha256": sha(PAGE)},
        {"name": "p05.png", "sha256": "b" * 64},
        {"name": "p06.png", "sha256": "b" * 64},
        {"name": "pp2-3.png"},
    )
    rows = rows_of(foresee(fill_in_client, issue, *files))
    assert (rows["p02.png"].revision, rows["p02.png"].marks, rows["p02.png"].is_ready) == (2, 1, True)
    assert (rows["p03.png"].duplicate, rows["p03.png"].is_ready) == ("already here: issue 2, page 9", False)
    assert rows["p04.png"].remarks[0] == "100\xa0bytes of it are here already; it goes on from there."
    assert (rows["p05.png"].duplicate, rows["p06.png"].duplicate) == ("", "the same file as p05.png")
    assert rows["pp2-3.png"].remarks == ("“2” is here: is it the same page?",)
    assert rows_of(foresee(fill_in_client, issue, *files, again=(1,)))["p03.png"].is_ready


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"name": ["a.png"], "size": ["1"], "sha256": [], "page": [""], "typed": ["0"]},
        {"name": ["a.png"], "size": ["-1"], "sha256": [""], "page": [""], "typed": ["0"]},
        {"name": ["a.png"] * (MOST_FILES + 1)},
    ],
)
def test_a_list_that_cannot_be_read_is_said(fill_in_client: Client, issue: Issue, data: dict[str, Any]) -> None:
    url = reverse("foresee-arrivals", args=[issue.series.slug, issue.pk])
    for headers in ({}, HTMX):
        answer = fill_in_client.post(url, data, headers=headers)
        assert answer.status_code == 422
        assert 'class="refusal"' in answer.content.decode()


def test_a_longer_list_asks_the_database_no_more(
    fill_in_client: Client, issue: Issue, django_assert_max_num_queries: Any
) -> None:
    for page in range(12):
        make_guide(issue, page=str(page))
    files = [{"name": f"p{page}.png", "sha256": f"{page:064x}"} for page in range(60)]
    with django_assert_max_num_queries(8):
        foresee(fill_in_client, issue, *files[:2])
    with django_assert_max_num_queries(8):
        foresee(fill_in_client, issue, *files)
