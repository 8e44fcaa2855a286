"""Press conditions: who chooses one, and how a series brings its own."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.colour.difference import delta_e_2000
from bible.colour.press import UnknownPress
from bible.models import PressUpload
from bible.series import presses
from bible.series.presses import condition
from tests.factories import make_member, make_series
from tests.forms import form_of

PRESS_DATA = Path(__file__).parents[2] / "data" / "press"
TR003 = (PRESS_DATA / "TR003.ti3").read_bytes()
"""ANSI/CGATS/SWOP TR 003-2007, as Debian's icc-profiles-free has it."""


@pytest.fixture(autouse=True)
def forget_uploads() -> Iterator[None]:
    """Rows of one test are gone in the next, and their keys come back."""
    presses._uploaded.cache_clear()
    yield
    presses._uploaded.cache_clear()


def address(name: str) -> str:
    return reverse(name, args=["slow-river"])


def upload(client: Client, content: bytes = TR003, filename: str = "TR003.ti3", **overrides: Any) -> Any:
    data = {
        "title": "House press 2",
        "name": "house-2",
        "source": "ANSI/CGATS/SWOP TR 003-2007",
        "paper": "grade 3",
        "ruling_lpi": "120",
        "angles": "105, 75, 90, 45",
        "data_file": SimpleUploadedFile(filename, content),
    }
    return client.post(address("new-press"), data | overrides)


@pytest.mark.parametrize("role", ["fill-in", "editor", "guest"])
def test_only_leads_choose_and_bring_conditions(series: Any, client: Client, role: str) -> None:
    client.force_login(make_member(series, role))
    assert client.get(address("presses")).status_code == 200
    assert client.post(address("choose-press"), {"press": "coated-fogra39"}).status_code == 403
    assert client.get(address("new-press")).status_code == 403
    assert upload(client).status_code == 403
    series.refresh_from_db()
    assert series.press == "newsprint"
    assert not PressUpload.objects.exists()


def test_people_of_other_series_and_nobody_at_all_get_nowhere(series: Any, client: Client) -> None:
    for status in (302, 404):
        assert client.post(address("choose-press"), {"press": "coated-fogra39"}).status_code == status
        assert upload(client).status_code == status
        client.force_login(make_member(make_series()))
    assert not PressUpload.objects.exists()


def test_choosing_is_not_done_by_looking(series: Any, lead_client: Client) -> None:
    assert lead_client.get(address("choose-press"), {"press": "coated-fogra39"}).status_code == 405


def test_swatches_everywhere_follow_the_chosen_condition(series: Any, lead_client: Client) -> None:
    lead_client.post(address("choose-press"), {"press": "coated-fogra39"})
    series.refresh_from_db()
    assert series.press == "coated-fogra39"
    for name in ("chart", "notation", "bible"):
        assert "FOGRA39" in lead_client.get(address(name)).content.decode()


def test_a_choice_is_undone_from_where_it_was_made(series: Any, lead_client: Client) -> None:
    form = form_of(
        lead_client.get(address("presses")), says="Print the series on this: Offset, coated art paper (FOGRA39)"
    )
    done = form.press(lead_client)
    page = lead_client.get(done["Location"])
    answer = form_of(page, says="Undo: print on Coldset newsprint (TR 002) again").press(lead_client)
    assert answer.status_code == 302
    series.refresh_from_db()
    assert series.press == "newsprint"


@pytest.mark.parametrize("was", ["newsprint", "nowhere", "%00", ""])
def test_there_is_nothing_to_undo_where_nothing_was_chosen(series: Any, lead_client: Client, was: str) -> None:
    assert "Undo" not in lead_client.get(f"{address('presses')}?was={was}").content.decode()


@pytest.mark.parametrize("press", ["nowhere", "", "../secret", "x" * 4000])
def test_an_unknown_condition_is_refused(series: Any, lead_client: Client, press: str) -> None:
    answer = lead_client.post(address("choose-press"), {"press": press})
    assert answer.status_code == 422
    series.refresh_from_db()
    assert series.press == "newsprint"


def test_the_page_tells_sources_solids_and_dot_gain(series: Any, lead_client: Client) -> None:
    """Solids of TR 002: cyan L* 56.6 a* -23.4 b* -26.5, magenta 52.7, 44.1, -1.1, yellow 76.6, -4.1, 54.7."""
    answer = lead_client.get(address("presses"))
    newsprint = next(row for row in answer.context["rows"] if row.condition.name == "newsprint")
    measured = [[56.6, -23.4, -26.5], [52.7, 44.1, -1.1], [76.6, -4.1, 54.7]]
    told = [solid.lab for solid in newsprint.solids[1:4]]
    assert delta_e_2000(np.array(told), np.array(measured)).max() < 1
    page = answer.content.decode()
    for words in ("TR 002-2007", "TR 003-2007", "TR 005-2007", "TR 006-2007", "FOGRA29", "FOGRA39L"):
        assert words in page


def test_an_uploaded_file_becomes_a_condition_of_the_series(series: Any, lead: Any, lead_client: Client) -> None:
    assert upload(lead_client).status_code == 302
    row = PressUpload.objects.get()
    assert (row.name, row.title, row.uploaded_by) == ("house-2", "House press 2", lead)
    brought = condition(series, "house-2")
    assert brought.ruling_lpi == 120
    # The same data as the shipped TR 003, so the same prediction.
    tints = np.random.default_rng(0).integers(0, 101, (50, 4)).astype(float)
    shipped = condition(series, "web-coated-tr003")
    assert delta_e_2000(brought.lab(tints), shipped.lab(tints)).max() < 0.05
    page = lead_client.get(address("chart"), {"press": "house-2"}).content.decode()
    assert "House press 2" in page
    lead_client.post(address("choose-press"), {"press": "house-2"})
    assert "House press 2" in lead_client.get(address("bible")).content.decode()


def test_a_condition_belongs_to_its_series_alone(series: Any, lead_client: Client, client: Client) -> None:
    upload(lead_client)
    other = make_series()
    with pytest.raises(UnknownPress):
        condition(other, "house-2")
    client.force_login(make_member(other))
    assert client.get(reverse("chart", args=[other.slug]), {"press": "house-2"}).status_code == 422


@pytest.mark.parametrize("name", ["newsprint", "coated-fogra39", "House 2", "-x-", "", "a" * 61, "a--b", "ü"])
def test_a_name_that_is_taken_or_malformed_is_refused_beside_its_field(
    series: Any, lead_client: Client, name: str
) -> None:
    answer = upload(lead_client, name=name)
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == ["name"]
    assert 'value="House press 2"' in answer.content.decode()
    assert not PressUpload.objects.exists()


def test_the_same_name_twice_is_refused(series: Any, lead_client: Client) -> None:
    upload(lead_client)
    answer = upload(lead_client)
    assert answer.status_code == 422
    assert "already" in answer.content.decode()
    assert PressUpload.objects.count() == 1


def broken(line: int, text: str) -> bytes:
    lines = TR003.decode().splitlines()
    lines[line - 1] = text
    return "\n".join(lines).encode()


def first_row() -> int:
    return TR003.decode().splitlines().index("BEGIN_DATA") + 2


def test_errors_of_a_file_name_the_line_and_save_nothing(series: Any, lead_client: Client) -> None:
    line = first_row() + 7
    cells = TR003.decode().splitlines()[line - 1].split()
    cells[-1] = "abc"
    answer = upload(lead_client, broken(line, " ".join(cells)))
    assert answer.status_code == 422
    [message] = answer.context["form"].errors["data_file"]
    assert f"line {line}:" in message
    assert "abc" in message
    assert not PressUpload.objects.exists()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\x00\x01\x02binary", "binary"),
        (b"hello\nworld\n", "not a CGATS file"),
        (re.sub(rb"CMYK_K", b"CMYK_Q", TR003), "missing columns: CMYK_K"),
        (re.sub(rb"XYZ_X|LAB_L", b"SOMETHING", TR003), "missing columns"),
        (TR003[: len(TR003) // 2], ""),
        (re.sub(rb"NUMBER_OF_SETS\s+\d+", b"NUMBER_OF_SETS 12", TR003), "NUMBER_OF_SETS"),
        ("ü".encode("latin-1") * 1000, "not a CGATS file"),
    ],
)
def test_other_files_are_refused_in_words(series: Any, lead_client: Client, content: bytes, words: str) -> None:
    answer = upload(lead_client, content)
    assert answer.status_code == 422
    [message] = answer.context["form"].errors["data_file"]
    assert words in message
    assert not PressUpload.objects.exists()


def test_an_empty_and_a_huge_file_are_refused_by_their_size(series: Any, lead_client: Client) -> None:
    assert upload(lead_client, b"").status_code == 422
    answer = upload(lead_client, b"7 " * (5 * 2**20))
    assert answer.status_code == 422
    assert "at most 8 MB" in answer.context["form"].errors["data_file"][0]
    assert not PressUpload.objects.exists()


@pytest.mark.parametrize(
    ("field", "value"),
    [("ruling_lpi", "0"), ("ruling_lpi", "nan"), ("ruling_lpi", "inf"), ("angles", "1 2 3"), ("angles", "a b c d")],
)
def test_figures_that_are_none_are_refused_beside_their_field(
    series: Any, lead_client: Client, field: str, value: str
) -> None:
    more: dict[str, Any] = {field: value}
    answer = upload(lead_client, **more)
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == [field]


def test_lines_in_a_title_do_not_break_the_stored_condition(series: Any, lead_client: Client) -> None:
    assert upload(lead_client, title="House\u2028press", source="a\u2028b\x0bc").status_code in (302, 422)
    for row in PressUpload.objects.all():
        assert condition(series, row.name).title == "House press"


def test_markup_in_a_title_is_text(series: Any, lead_client: Client) -> None:
    upload(lead_client, title="<script>x</script>")
    for name in ("presses", "chart"):
        assert "<script>x" not in lead_client.get(address(name)).content.decode()


def test_the_page_asks_the_same_however_many_conditions(series: Any, lead: Any, lead_client: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert lead_client.get(address("presses")).status_code == 200
        return len(caught)

    upload(lead_client)
    lead_client.get(address("presses"))
    before = queries()
    row = PressUpload.objects.get()
    for number in range(3, 6):
        PressUpload.objects.create(
            series=series,
            name=f"house-{number}",
            title=row.title,
            source=row.source,
            uploaded_by=lead,
            text=row.text.replace("house-2", f"house-{number}"),
        )
    assert queries() == before


def test_conditions_are_bounded_in_number(series: Any, lead: Any, lead_client: Client) -> None:
    PressUpload.objects.bulk_create(
        PressUpload(series=series, name=f"p{n}", title="t", source="s", uploaded_by=lead, text="") for n in range(60)
    )
    answer = upload(lead_client)
    assert answer.status_code == 422
    assert "at most 60" in answer.content.decode()
