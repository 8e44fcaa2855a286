"""The chart, a tint, look-alikes and gradients as members of a series see them."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from bible.chart.sheets import lay_out
from bible.colour import press as presses
from bible.colour.charts import CHART_64, CHART_125_75, Chart
from bible.colour.tints import Tint
from tests.factories import make_costume, make_lock, make_member, make_part, make_series, make_subject

PAGES = ("chart", "look-alikes", "gradient", "presses", "notation", "chart-audit")
TINT = Tint(25, 50, 100, 0)
"""YR3B2: the trade's brown, solid yellow, half red, a quarter blue."""


def address(name: str, *more: object) -> str:
    return reverse(name, args=["slow-river", *more])


def every_address() -> list[str]:
    tint_pages = [address(name, TINT) for name in ("tint", "tint-dots", "tint-marks")]
    return [*map(address, PAGES), *tint_pages, address("find-tint") + "?code=YR3B2"]


@pytest.mark.parametrize("role", ["lead", "fill-in", "editor", "guest"])
def test_everybody_of_the_series_may_look(series: Any, client: Client, role: str) -> None:
    client.force_login(make_member(series, role))
    for url in every_address():
        assert client.get(url).status_code == (302 if "find" in url else 200), url


def test_nobody_looks_without_signing_in(series: Any, client: Client) -> None:
    for url in every_address():
        answer = client.get(url)
        assert answer.status_code == 302, url
        assert "/sign-in/" in answer["Location"]


def test_another_series_is_as_if_it_were_not_there(series: Any, client: Client) -> None:
    client.force_login(make_member(make_series()))
    for url in every_address():
        assert client.get(url).status_code == 404, url


def test_pages_that_only_show_take_no_post(series: Any, lead_client: Client) -> None:
    for url in every_address():
        if "audit" not in url:
            assert lead_client.post(url).status_code == 405, url


def test_every_page_names_its_press_and_carries_the_caution(series: Any, lead_client: Client) -> None:
    for url in [*map(address, PAGES), address("tint", TINT), address("tint-marks", TINT)]:
        page = lead_client.get(url).content.decode()
        assert "Coldset newsprint (TR 002)" in page, url
        assert "A screen is not a proof: judge print on the house’s own proof." in page, url


def test_the_chart_has_every_tint_once_with_its_code(series: Any, lead_client: Client) -> None:
    page = lead_client.get(address("chart")).content.decode()
    for tint in CHART_64.tints:
        assert page.count(f'href="{"-".join(map(str, tint.percentages))}/"') == 1
        assert f'<span class="code">{series.write(tint)}</span>' in page


def test_the_chart_follows_the_chosen_press(series: Any, lead_client: Client) -> None:
    solid_yellow = Tint(y=100)
    for name in ("newsprint", "sheet-coated-tr006"):
        page = lead_client.get(address("chart"), {"press": name}).content.decode()
        assert presses.load(name).hex(solid_yellow) in page
        assert presses.load(name).source in page


def test_htmx_gets_the_sheets_alone_by_the_same_address(series: Any, lead_client: Client) -> None:
    headers = {"HX-Request": "true", "HX-Target": "chart"}
    part = lead_client.get(address("chart"), headers=headers).content.decode()
    assert "<html" not in part
    assert "Yellow 50 %" in part
    assert "A screen is not a proof" in part


@pytest.mark.parametrize(
    "query", [{"press": "nowhere"}, {"vision": "x-ray"}, {"press": "'; drop table"}, {"press": "../newsprint"}]
)
@pytest.mark.parametrize("name", ["chart", "look-alikes"])
def test_an_unknown_press_or_vision_is_refused_in_words(
    series: Any, lead_client: Client, name: str, query: dict[str, str]
) -> None:
    answer = lead_client.get(address(name), query)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.content.decode()


def test_who_carries_a_tint_stands_on_the_chart_and_on_its_page(series: Any, lead: Any, lead_client: Client) -> None:
    boat = make_subject(series, name="The Otter", kind="prop")
    costume = make_costume(boat, name="as drawn")
    for name in ("hull", "deck"):
        make_lock(make_part(costume=costume, name=name), "YR3B2", by=lead)
    gone = make_part(series, name="ghost")
    make_lock(gone, "YR3", by=lead)
    gone.costume.subject.archived_at = "2026-01-01T00:00:00Z"
    gone.costume.subject.save()
    page = lead_client.get(address("chart")).content.decode()
    assert "The Otter: deck <b>+1</b>" in page
    assert "ghost" not in page
    tint = lead_client.get(address("tint", TINT)).content.decode()
    assert "as drawn: hull" in tint
    assert "as drawn: deck" in tint


def test_pages_ask_no_more_of_the_database_as_locks_grow(series: Any, lead: Any, lead_client: Client) -> None:
    def queries(url: str) -> int:
        with CaptureQueriesContext(connection) as caught:
            assert lead_client.get(url).status_code == 200
        return len(caught)

    urls = [address("chart"), address("look-alikes"), address("tint", TINT), address("presses")]
    make_lock(make_part(series), "YR3B2", by=lead)
    before = [queries(url) for url in urls]
    for code in ("YR3B2", "YR3B2", "Y", "R2", "B3", "YB"):
        make_lock(make_part(series), code, by=lead)
    assert [queries(url) for url in urls] == before


def test_one_step_of_an_ink_leads_to_that_tint(series: Any, lead_client: Client) -> None:
    """The classic chart's strengths are 0, 25, 50 and 100 (common practice, no source): around YR3B2."""
    page = lead_client.get(address("tint", TINT)).content.decode()
    for step in ("0-50-100-0", "50-50-100-0", "25-25-100-0", "25-100-100-0", "25-50-50-0"):
        assert f'href="{address("chart")}{step}/"' in page


def test_a_tint_tells_its_figures(series: Any, lead_client: Client) -> None:
    """Figures of solid cyan on newsprint as TR 002 has them (CGATS/SNAP TR 002-2007: L* 56.6 a* -23.4 b* -26.5),
    within the model's own error."""
    page = lead_client.get(address("tint", Tint(100, 0, 0, 0)))
    lightness, a, b = page.context["facts"].absolute.lab
    assert lightness == pytest.approx(56.6, abs=0.8)
    assert a == pytest.approx(-23.4, abs=0.8)
    assert b == pytest.approx(-26.5, abs=0.8)
    text = page.content.decode()
    assert "Total ink <strong>100 %</strong>" in text
    assert f"{lightness:.1f}" in text


def test_dot_gain_of_half_cyan_on_newsprint_is_told(series: Any, lead_client: Client) -> None:
    """A nominal 50 % prints as about 73 % on newsprint (TR 002, Murray-Davies)."""
    [ink] = lead_client.get(address("tint", Tint(50, 0, 0, 0))).context["facts"].inks
    assert ink.effective == pytest.approx(73, abs=2.5)
    assert ink.gain == pytest.approx(ink.effective - 50)


def test_a_colour_the_screen_cannot_show_is_said(series: Any, lead_client: Client) -> None:
    """Solid cyan on coated stock lies outside sRGB (its red component is negative)."""
    page = lead_client.get(address("tint", Tint(100, 0, 0, 0)), {"press": "sheet-coated-tr006"}).content.decode()
    assert "outside what this screen shows" in page
    page = lead_client.get(address("tint", Tint(0, 25, 25, 0))).content.decode()
    assert "outside what this screen shows" not in page


def test_a_tint_beside_the_chart_is_shown_and_said(series: Any, lead_client: Client) -> None:
    page = lead_client.get(address("tint", Tint(37, 12, 80, 5))).content.decode()
    assert "is not on the chart" in page
    assert "C37 M12 Y80 K5" in page


@pytest.mark.parametrize("name", ["tint", "tint-dots", "tint-marks"])
def test_percentages_beyond_100_are_no_tint(series: Any, lead_client: Client, name: str) -> None:
    there = address(name, TINT)
    assert lead_client.get(there).status_code == 200
    for beyond in ("101-0-0-0", "0-0-0-99999999999999999999", "25-50-100", "25-50-100-0-0", "-25-50-100-0"):
        assert lead_client.get(there.replace("25-50-100-0", beyond)).status_code == 404, beyond


def test_the_dots_average_to_about_the_tint(series: Any, lead_client: Client) -> None:
    """Light adds up linearly (the sRGB transfer function of IEC 61966-2-1), so the mean of the dots is the tint."""
    press = presses.load("newsprint")
    for zoom in "1234":
        answer = lead_client.get(address("tint-dots", Tint(0, 50, 0, 0)), {"zoom": zoom})
        assert answer["Content-Type"] == "image/png"
        pixels = np.asarray(Image.open(io.BytesIO(answer.content)), dtype=np.float64) / 255
        linear = np.where(pixels <= 0.04045, pixels / 12.92, ((pixels + 0.055) / 1.055) ** 2.4).mean(axis=(0, 1))
        wanted = press.srgb(np.array([[0.0, 50, 0, 0]])).rgb[0] / 255
        wanted = np.where(wanted <= 0.04045, wanted / 12.92, ((wanted + 0.055) / 1.055) ** 2.4)
        assert np.abs(linear - wanted).max() < 0.05


@pytest.mark.parametrize("query", [{"zoom": "9"}, {"zoom": ""}, {"press": "nowhere"}])
def test_dots_that_cannot_be_drawn_are_not_there(series: Any, lead_client: Client, query: dict[str, str]) -> None:
    assert lead_client.get(address("tint-dots", TINT), query).status_code == 404


def test_a_typed_code_leads_to_its_tint(series: Any, lead_client: Client) -> None:
    for text in ("YR3B2", "b2 r3 y", "C25 M50 Y100"):
        assert lead_client.get(address("find-tint"), {"code": text})["Location"] == address("tint", TINT)
    for text in ("", "Q9", "R4", "Y" * 500):
        answer = lead_client.get(address("find-tint"), {"code": text})
        assert answer.status_code == 422
        assert 'class="wrong"' in answer.content.decode()


def test_the_two_yellows_are_tied_on_newsprint_and_not_on_coated_stock() -> None:
    """The craft's complaint: solid and half yellow lie CIEDE2000 5.3 apart on newsprint, 11.5 on coated (TR 002, TR
    003)."""
    tied = {}
    for name in ("newsprint", "web-coated-tr003"):
        layout = lay_out(presses.load(name), CHART_64.tints, str, {})
        cells = {cell.tint: cell for sheet in layout.sheets for _, line in sheet.rows for cell in line if cell}
        tied[name] = bool(cells[Tint(y=100)].before)
        assert cells[Tint(y=100)].near
        assert not cells[Tint()].right
    assert tied == {"newsprint": True, "web-coated-tr003": False}


def test_sheets_hold_the_whole_chart_with_one_ink_a_direction() -> None:
    for chart in (CHART_64, CHART_125_75):
        layout = lay_out(presses.load("newsprint"), chart.tints, str, {})
        cells = [cell for sheet in layout.sheets for _, line in sheet.rows for cell in line if cell]
        assert {cell.tint for cell in cells} == set(chart.tints)
        for sheet in layout.sheets:
            for magenta, line in sheet.rows:
                assert [(cell.tint.c, cell.tint.m, cell.tint.y) for cell in line if cell] == [
                    (cyan, magenta, sheet.yellow) for cyan in sheet.columns
                ]


def test_a_free_house_list_is_laid_out_by_hue() -> None:
    chart = Chart.of("house", "House", [Tint(3, 5, 90), Tint(90, 4, 7), Tint(2, 95, 80), Tint(), Tint(12, 8, 10)])
    layout = lay_out(presses.load("sheet-coated-tr006"), chart.tints, str, {})
    assert not layout.sheets
    found = {family.name: [cell.tint for cell in family.cells] for family in layout.families}
    assert found["paper and greys"][0] == Tint()
    assert found["yellows"] == [Tint(3, 5, 90)]
    assert found["cyans"] == [Tint(90, 4, 7)]
    assert found["reds"] == [Tint(2, 95, 80)]


def test_a_chart_of_one_tint_and_a_very_large_one_have_pages(series: Any, lead_client: Client) -> None:
    rng = np.random.default_rng(5)
    for tints in ([Tint(y=100)], sorted({Tint(*map(int, row)) for row in rng.integers(0, 101, (1800, 4))})):
        series.chart_kind, series.chart_data = "house", [tint.packed for tint in tints]
        series.save()
        for name in ("chart", "look-alikes"):
            assert lead_client.get(address(name)).status_code == 200


def test_look_alikes_lead_with_words_and_give_no_probability(series: Any, lead_client: Client) -> None:
    page = lead_client.get(address("look-alikes"))
    rows = page.context["ranking"].rows
    assert rows[0].word in ("easily mistaken", "hardly told apart")
    assert [row.rank for row in rows] == list(range(1, len(rows) + 1))
    text = page.content.decode()
    assert "A ranking, not a forecast" in text
    assert "probab" not in text


def test_colour_vision_changes_the_ranking(series: Any, lead_client: Client) -> None:
    normal = lead_client.get(address("look-alikes")).context["ranking"]
    for vision in ("protanopia", "deuteranopia", "tritanopia"):
        seen = lead_client.get(address("look-alikes"), {"vision": vision}).context["ranking"]
        assert seen.total > normal.total
        assert seen.rows[0].first.fill != presses.load("newsprint").hex(seen.rows[0].first.tint)


def test_a_subject_is_held_against_the_others(series: Any, lead: Any, lead_client: Client) -> None:
    anna, wall = make_subject(series, name="Anna"), make_subject(series, name="Wall")
    make_lock(make_part(costume=make_costume(anna), name="scarf"), "Y", by=lead)
    make_lock(make_part(costume=make_costume(anna), name="coat"), "B", by=lead)
    make_lock(make_part(costume=make_costume(wall), name="plaster"), "Y3", by=lead)
    make_lock(make_part(costume=make_costume(wall), name="door"), "B", by=lead)
    ranking = lead_client.get(address("look-alikes"), {"subject": anna.pk}).context["ranking"]
    [pair] = ranking.rows
    assert (pair.first.tint, pair.second.tint) == (Tint(y=100), Tint(y=50))
    assert pair.first.parts == ("scarf",)
    assert pair.second.parts == ("Wall: plaster",)
    [(ours, theirs)] = ranking.shared
    assert ours.tint == Tint(c=100)
    assert theirs.parts == ("Wall: door",)


def test_a_subject_of_another_series_is_refused(series: Any, lead_client: Client) -> None:
    other = make_subject(make_series(), name="Elsewhere")
    for pk in (other.pk, "x", 10**30):
        answer = lead_client.get(address("look-alikes"), {"subject": pk})
        assert answer.status_code == 422
        assert "Elsewhere" not in answer.content.decode()


def test_a_gradient_gets_its_verdict_strip_and_step(series: Any, lead_client: Client) -> None:
    """Dropping one of two inks turns the hue (the craft's rule; common practice, no source)."""
    page = lead_client.get(address("gradient"), {"start": "YR3", "end": "Y"})
    text = page.content.decode()
    assert "turns towards yellow" in text
    assert len(page.context["fade"]["strip"]) == 61
    assert page.context["fade"]["ends"] == (
        presses.load("newsprint").hex(Tint(m=50, y=100)),
        presses.load("newsprint").hex(Tint(y=100)),
    )
    assert "As a hard step" in text


def test_solid_inks_that_stay_can_fade_with_another(series: Any, lead_client: Client) -> None:
    for start, end in (("RB", "B"), ("YRB", "YB"), ("W", "W"), ("C37 M12 Y80 K5", "K")):
        assert lead_client.get(address("gradient"), {"start": start, "end": end}).status_code == 200


@pytest.mark.parametrize(("start", "end", "wrong"), [("Q", "W", "start"), ("YR", "R4", "end"), ("", "W", "start")])
def test_a_gradient_that_cannot_be_read_says_so_beside_its_field(
    series: Any, lead_client: Client, start: str, end: str, wrong: str
) -> None:
    answer = lead_client.get(address("gradient"), {"start": start, "end": end})
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == [wrong]
    assert 'class="wrong"' in answer.content.decode()
    assert f'value="{start or end}"' in answer.content.decode()
