"""The list of fades that turn their hue: which they are, what would hold it, and who may see it."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.colour.printed_gradients import gradient
from bible.models import Series
from bible.series.presses import condition
from guides.core.gradients import turning
from guides.core.services import delete_mark
from guides.models import Guide, Mark
from tests.factories import make_guide, make_issue, make_mark, make_part, make_revision, make_series
from tests.pages import member_client, methods_are_refused
from tests.taken import FORMULA, as_json, both_files_say_the_same, shown, the_page_leads_to_its_files

pytestmark = pytest.mark.django_db

ROW = "//li[@class='flag']"


@pytest.fixture
def guide(series: Series) -> Guide:
    return make_guide(make_issue(series))


def fade(guide: Guide, written: str, to: str, **overrides: Any) -> Mark:
    return make_mark(guide, written, to=(0.5, 0.7), to_written=to, **overrides)


def address(series: Series, query: str = "") -> str:
    return reverse("fades", args=[series.slug]) + query


def numbers(client: Client, series: Series) -> list[int]:
    return [row["mark"] for row in as_json(client, address(series))["rows"]]


def test_only_fades_that_turn_are_there(series: Series, guide: Guide, lead: Any, lead_client: Client) -> None:
    turns = fade(guide, "YR", "Y")
    fade(guide, "B", "B2")
    make_mark(guide, "YR")
    fade(guide, "YR", "no code")
    delete_mark(mark=fade(guide, "YR", "Y"), by=lead)
    old = make_guide(guide.issue)
    fade(old, "YR", "Y")
    make_revision(old)
    fade(make_guide(make_issue(make_series())), "YR", "Y")
    assert numbers(lead_client, series) == [turns.number]
    page = lead_client.get(address(series)).content.decode()
    assert "turns towards" in page
    assert "1 fade on current guides" in page


def test_the_many_and_the_single_fade_agree(series: Series, guide: Guide) -> None:
    """What filters in the list is worked out for all pairs at once; the panel asks about one."""
    codes = ("YR", "Y", "R", "B", "YB", "RB2", "W", "Y2R2", "YRB")
    for first in codes:
        for second in codes:
            if first != second:
                fade(guide, first, second)
    press = condition(series)
    one_by_one = {
        mark.pk
        for mark in Mark.objects.filter(guide=guide)
        if not gradient(press, mark.tint, mark.to_tint).holds_hue  # type: ignore[arg-type]
    }
    assert set(turning(series.marks.fades(), press).values_list("pk", flat=True)) == one_by_one
    assert 0 < len(one_by_one) < len(codes) * (len(codes) - 1)


def test_better_ends_are_named(series: Series, guide: Guide, lead_client: Client) -> None:
    part = make_part(series, name=FORMULA)
    fade(guide, "YR", "Y", part=part)
    [row] = as_json(lead_client, address(series))["rows"]
    assert (row["written"], row["part"], row["code"], row["fades_to_code"]) == ("YR > Y", FORMULA, "YR", "Y")
    assert row["turns_towards"]
    assert row["ciede2000_hue_part"] > 4
    for code in row["better_ends"].split("; "):
        end = gradient(condition(series), series.read("YR"), series.read(code))
        assert end.holds_hue or end.turn <= row["ciede2000_hue_part"] / 2
    [[_, _, what, _]] = shown(lead_client, address(series), ROW, "./*")
    assert row["better_ends"].split("; ")[0] in what


def test_long_lists_go_on_and_files_are_whole(
    series: Series, guide: Guide, lead_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("guides.flags.views.FADES_A_PAGE", 2)
    for _ in range(5):
        fade(guide, "YR", "Y")
    seen, here = [], address(series)
    while here:
        seen += [row[0] for row in shown(lead_client, here, ROW, "./a")]
        more = lead_client.get(here).context["more"]
        here = address(series, f"?after={more}") if more else ""
    assert [words.rsplit(" ", 1)[1] for words in seen] == ["1", "2", "3", "4", "5"]
    both_files_say_the_same(lead_client, address(series), 5)
    the_page_leads_to_its_files(lead_client, address(series))


@pytest.mark.parametrize("query", ["?after=x", "?after=1-2", "?after=1-2-3-4", "?after=%00"])
def test_an_address_that_no_page_gave_begins_at_the_beginning(
    series: Series, guide: Guide, lead_client: Client, query: str
) -> None:
    fade(guide, "YR", "Y")
    assert len(shown(lead_client, address(series, query), ROW)) == 1


def test_more_fades_ask_no_more(series: Series, guide: Guide, lead_client: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            lead_client.get(address(series))
        return len(caught)

    fade(guide, "YR", "Y", part=make_part(series))
    before = queries()
    for first in ("YR", "RB", "YB"):
        fade(make_guide(make_issue(series)), first, first[0], part=make_part(series))
    assert queries() == before


def test_who_may_see_it(series: Series, guide: Guide, lead_client: Client) -> None:
    fade(guide, "YR", "Y")
    assert len(numbers(member_client(series, "guest"), series)) == 1
    assert Client().get(address(series)).status_code == 302
    assert lead_client.get(address(make_series())).status_code == 404
    methods_are_refused(lead_client, address(series), "post", "put", "delete")


def test_none_is_said(series: Series, lead_client: Client) -> None:
    assert "Every fade on a current guide holds its hue." in lead_client.get(address(series)).content.decode()
