"""The palette room in the browser's eyes: filters, links, files, refusals."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from lxml import html

from bible.colour.tints import Tint
from bible.models import Series
from guides.models import Mark
from guides.palettes.formats import PALETTE_FORMATS
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_part
from tests.pages import methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def story(series: Series, lead: Any, fill_in: Any) -> Any:
    """Three issues: a coat that turns from YR to B in issue 3 (one old one left), background, a fade, a scrawl."""
    issues = make_issues(series, 3)
    coat = make_part(series, name="coat")
    make_lock(coat, "YR", by=lead)
    make_lock(coat, "B", from_position=issues[2].position, by=lead)
    guides = [
        make_guide(issue, by=lead, colourist=who) for issue, who in zip(issues, (lead, fill_in, lead), strict=True)
    ]
    for guide in guides:
        make_mark(guide, "YR", part=coat)
        make_mark(guide, "Y2")
    make_mark(guides[1], "Y", to_written="Y2")
    make_mark(guides[2], "B", part=coat)
    make_mark(guides[2], "scrawl")
    return coat


def page(client: Client, series: Series, name: str = "palette", **asked: Any) -> Any:
    return client.get(reverse(name, args=[series.slug]), asked)


def cells(response: Any) -> dict[str, list[str]]:
    (table,) = html.fromstring(response.content).xpath("//table[@data-matrix]")
    return {
        row.xpath("./th")[0].text_content(): [cell.text_content() for cell in row.xpath("./td")[5:-1]]
        for row in table.xpath("./tbody/tr")
    }


def test_the_matrix_counts_and_filters(series: Series, story: Any, lead_client: Client, fill_in: Any) -> None:
    every = {"Y2": ["1", "2", "1"], "YR": ["1", "1", "1"], "B": ["", "", "1"], "Y": ["", "1", ""]}
    assert cells(page(lead_client, series)) == every
    subject = story.costume.subject_id
    assert cells(page(lead_client, series, issues="2-")) == {
        "Y2": ["2", "1"],
        "YR": ["1", "1"],
        "B": ["", "1"],
        "Y": ["1", ""],
    }
    assert cells(page(lead_client, series, use="background")) == {"Y2": ["1", "2", "1"], "Y": ["", "1", ""]}
    assert cells(page(lead_client, series, subject=subject)) == {"YR": ["1", "1", "1"], "B": ["", "", "1"]}
    assert cells(page(lead_client, series, colourist=fill_in.pk)) == {
        "Y2": ["", "2", ""],
        "YR": ["", "1", ""],
        "Y": ["", "1", ""],
    }
    assert cells(page(lead_client, series, subject=subject, colourist=fill_in.pk)) == {"YR": ["", "1", ""]}
    assert cells(page(lead_client, series, columns="10"))["YR"] == ["3"]
    assert "1 more cannot be read" in page(lead_client, series).content.decode()


def test_a_number_leads_to_just_its_marks(series: Series, story: Any, lead_client: Client) -> None:
    response = page(lead_client, series, use="background")
    root = html.fromstring(response.content, base_url=reverse("palette", args=[series.slug]))
    root.make_links_absolute()
    (row,) = [row for row in root.xpath("//tbody/tr") if row.xpath("./th")[0].text_content() == "Y2"]
    address = row.xpath("./td[7]/a/@href")[0]
    found = lead_client.get(address)
    assert found.context["total"] == 2
    assert {mark.guide.issue.number for mark in found.context["marks"]} == {"2"}


@pytest.mark.parametrize("limit", [1, 2, 3, 4])
def test_the_first_marks_of_a_tint_end_where_the_page_does(
    series: Series, story: Any, lead_client: Client, monkeypatch: pytest.MonkeyPatch, limit: int
) -> None:
    """Four marks use Y2, one of them as the end of a fade; they are asked of no more issues than are shown."""
    monkeypatch.setattr("guides.palettes.views.MARKS_A_PAGE", limit)
    tint = Mark.objects.filter(written="Y2")[0].tint
    found = page_of_tint(lead_client, series, tint)
    carrying = [
        mark for mark in Mark.objects.order_by("position", "page_order", "pk") if tint in (mark.tint, mark.to_tint)
    ]
    assert list(found["marks"]) == carrying[:limit]
    assert (found["total"], found["more"]) == (4, limit < 4)
    assert [(issue.number, uses) for issue, uses in found["rows"]] == [("1", 1), ("2", 2), ("3", 1)]


def page_of_tint(client: Client, series: Series, tint: Any) -> Any:
    return client.get(reverse("palette-tint", args=[series.slug, tint])).context


@pytest.mark.parametrize("typed", ["9", "3-1", "-", "1-9", "x", "\0"])
def test_a_run_that_cannot_be_read_keeps_what_was_typed(
    series: Series, story: Any, lead_client: Client, typed: str
) -> None:
    response = page(lead_client, series, issues=typed)
    assert response.status_code == 422
    assert response.context["form"].errors["issues"]
    assert page(lead_client, series, issues=typed, **{"as": "csv"})["Content-Type"].startswith("text/html")


def test_two_runs_compared(series: Series, story: Any, lead_client: Client) -> None:
    response = page(lead_client, series, "palette-compare", before="1-2", after="3")
    compared = response.context["compared"]
    assert [series.write(c.tint) for c in compared.went] == ["Y"]
    assert [series.write(c.tint) for c in compared.came] == ["B"]
    assert response.context["distance"] > 0
    told = page(lead_client, series, "palette-compare", before="1-2", after="3", **{"as": "json"})
    told = json.loads(told.getvalue())
    assert told["before"] == "issues 1 to 2"
    assert told["caution"].startswith("A screen is not a proof")
    assert {row["change"] for row in told["rows"]} == {"went", "came", "both"}
    assert page(lead_client, series, "palette-compare", before="1").status_code == 422


def test_the_nearest_leaves_itself_out(series: Series, story: Any, lead_client: Client) -> None:
    rows = page(lead_client, series, "palette-near", issues="1").context["rows"]
    assert [issue.number for issue, _, _ in rows] == ["2", "3"]
    assert page(lead_client, series, "palette-near").status_code == 200


def test_who_still_wears_the_old_coat(series: Series, story: Any, lead_client: Client) -> None:
    response = page(lead_client, series, "palette-old", part=story.full_name)
    new, old = response.context["looks"]
    assert (series.write(new.tint), new.is_newest, new.outside) == ("B", True, ())
    assert series.write(old.tint) == "YR"
    assert [(issue.number, n) for issue, n in old.outside] == [("3", 1)]
    assert [(issue.number, n) for issue, n in old.within] == [("1", 1), ("2", 1)]
    told = json.loads(page(lead_client, series, "palette-old", part=story.full_name, **{"as": "json"}).getvalue())
    assert [row["issue"] for row in told["rows"] if row["where"] == "outside its time"] == ["3"]
    assert page(lead_client, series, "palette-old", part="no such part").status_code == 422


@pytest.mark.parametrize("ending", PALETTE_FORMATS)
def test_the_palette_leaves_for_other_programs(series: Series, story: Any, lead_client: Client, ending: str) -> None:
    address = reverse("palette-file", args=[series.slug, ending])
    assert address in page(lead_client, series).content.decode()
    response = lead_client.get(address, {"use": "background"})
    assert response.headers["Content-Disposition"] == f'attachment; filename="slow-river-palette.{ending}"'
    assert response.headers["Content-Type"] == PALETTE_FORMATS[ending].content_type
    if ending not in ("ase", "png"):
        assert b"Y2" in response.content
        assert b"YR" not in response.content
    assert lead_client.get(address, {"issues": "9"}).status_code == 302


def test_a_form_nobody_has_is_no_address(series: Series, lead_client: Client) -> None:
    assert (
        lead_client.get(reverse("palette-file", args=[series.slug, "gpl"]).replace(".gpl", ".exe")).status_code == 404
    )


def test_a_series_without_marks_has_an_empty_room(series: Series, lead_client: Client) -> None:
    for name in ("palette", "palette-near", "palette-compare", "palette-old"):
        assert page(lead_client, series, name).status_code == 200
    assert page(lead_client, series, **{"as": "csv"}).status_code == 200


def test_reading_only_and_no_impossible_tint(series: Series, lead_client: Client) -> None:
    methods_are_refused(lead_client, reverse("palette", args=[series.slug]), "post", "put", "delete")
    none = reverse("palette-tint", args=[series.slug, Tint()]).replace("0-0-0-0", "101-0-0-0")
    assert lead_client.get(none).status_code == 404


def test_as_many_queries_for_many_marks_as_for_few(series: Series, story: Any, lead_client: Client) -> None:
    def queries(**asked: Any) -> int:
        with CaptureQueriesContext(connection) as found:
            page(lead_client, series, **asked)
        return len(found)

    subject = story.costume.subject_id
    few = queries(), queries(subject=subject)
    for issue in make_issues(series, 3):
        for code in ("B2", "R", "YB"):
            make_mark(make_guide(issue), code, part=story)
    assert (queries(), queries(subject=subject)) == few


@pytest.mark.parametrize("subject", ["9" * 30, "²", "-1", "none"])
def test_a_subject_that_no_key_can_be_is_refused_in_words(lead_client: Client, series: Series, subject: str) -> None:
    answer = lead_client.get(reverse("palette", args=[series.slug]), {"subject": [subject, "1"]})
    assert answer.status_code in (200, 422)
    assert "is not one of the available choices" in answer.content.decode()
