"""The chart's room, from the sheet to print to the condition that is kept; and every refusal.

Scans are simulated (``tests/guides/imaging/chart/printed_sheets.py``); what reading them comes to is tested there.
"""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import cv2
import numpy as np
import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from bible.colour import press
from bible.colour.tints import Tint
from bible.models import Job, Lock, PressUpload
from bible.tasks.worker import work_off
from guides.charts.queries import changes, drift_between
from guides.charts.shown import drawn_patches
from guides.imaging.chart.sheet import SheetLayout
from guides.models import ChartScan, PrintedSheet
from tests.factories import (
    damaged_picture,
    make_chart_scan,
    make_chart_sheet,
    make_lock,
    make_member,
    make_part,
    make_series,
)
from tests.forms import form_of, text_of
from tests.guides.imaging.chart import scanners
from tests.guides.imaging.chart.printed_sheets import printed, reference_text, scan_of, target_reference
from tests.guides.imaging.chart.test_chart_reading import scanned, wall
from tests.pages import client_of, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


def at(name: str, thing: Any, *more: Any) -> str:
    return reverse(name, args=[thing.series.slug, thing.pk, *more])


def upload(pixels: np.ndarray, name: str = "chart.png") -> io.BytesIO:
    file = io.BytesIO(cv2.imencode(".png", pixels[..., ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 1])[1].tobytes())
    file.name = name
    return file


def sent(client: Client, series: Any, pixels: np.ndarray, **more: Any) -> ChartScan:
    """A scan sent by the page's own form, and read."""
    page = reverse("new-chart-scan", args=[series.slug])
    answer = client.post(page, {"scan": upload(pixels), "run": "Issue 57", **more})
    assert answer.status_code == 302, answer.content.decode()
    work_off()
    return ChartScan.objects.get(series=series)


def test_a_sheet_is_made_once_and_printed_in_ink(lead_client: Client, series: Any) -> None:
    for _ in range(2):
        lead_client.post(reverse("new-chart-sheet", args=[series.slug]), {"page": "a4"})
    sheet = PrintedSheet.objects.get(series=series)
    page = lead_client.get(reverse("charts", args=[series.slug]))
    assert at("chart-sheet", sheet) in page.content.decode()
    pdf = lead_client.get(at("chart-sheet", sheet))
    assert len(PdfReader(io.BytesIO(b"".join(pdf))).pages) == 1
    layout = SheetLayout.from_dict(lead_client.get(at("chart-sheet-layout", sheet)).json())
    assert layout.check == sheet.check_number


def test_a_scan_is_read_shown_and_kept_as_a_press_condition(lead_client: Client, series: Any, lead: Any) -> None:
    make_lock(make_part(series), "YR3B2", by=lead)
    reference = io.BytesIO(reference_text(target_reference()).encode())
    reference.name = "target.txt"
    make_chart_sheet(series, lead)
    scan = sent(lead_client, series, scanned()[1], target=reference, base="coated-fogra39", paper="offset")
    assert scan.state == ChartScan.State.READ, scan.refusal_said
    page = lead_client.get(scan.get_absolute_url()).content.decode()
    assert "yellow prints like 100 %, not 50 %" in page
    assert "Learned from" in scan.notes[0]
    before = list(Lock.objects.values())

    form = form_of(lead_client.get(scan.get_absolute_url()), says="Keep it as a press condition")
    answer = form.fill(title="House press", name="house-press").press(lead_client, "Keep it as a press condition")
    assert answer.status_code == 302
    kept = PressUpload.objects.get(series=series)
    assert (kept.name, kept.title) == ("house-press", "House press")
    assert "not measured" in kept.source
    assert list(Lock.objects.values()) == before
    series.refresh_from_db()
    assert series.press != "house-press"
    assert "House press" in lead_client.get(reverse("presses", args=[series.slug])).content.decode()
    doubted = lead_client.get(reverse("look-alikes", args=[series.slug]) + "?press=house-press").content.decode()
    assert "±" in doubted


def test_what_is_no_chart_is_refused_and_nothing_is_made(lead_client: Client, series: Any) -> None:
    noise = np.random.default_rng(3).integers(0, 255, (700, 500, 3), dtype=np.uint8)
    scan = sent(lead_client, series, noise)
    assert scan.state == ChartScan.State.REFUSED
    assert scan.patches == []
    assert scan.condition is None
    page = lead_client.get(scan.get_absolute_url()).content.decode()
    assert "No corner marks" in page
    assert "Keep it as a press condition" not in page
    answer = lead_client.post(at("keep-chart-press", scan), {"title": "x", "name": "x"})
    assert answer.status_code == 422
    assert "has not been read" in answer.content.decode()
    assert "It is in line to be read" in text_of(lead_client.post(at("read-chart-scan", scan), follow=True))


def test_another_series_chart_is_refused_with_its_number(lead_client: Client, series: Any, lead: Any) -> None:
    """A sheet of tints that this series has not."""
    other = make_series()
    other.chart_kind = other.ChartKind.HOUSE
    other.chart_data = [Tint(c, 0, y).packed for c in range(0, 91, 9) for y in (0, 33)]
    other.save()
    sheet = make_chart_sheet(other, lead)
    job = printed(SheetLayout.from_dict(sheet.layout), press.load("newsprint"))
    scan = sent(lead_client, series, scan_of(job, scanners.tuning(1, dpi=110.0)))
    assert scan.refusal == "other_chart"
    assert f"{sheet.check_number:02d}" in scan.refusal_said


def corner_fields(corners: list[tuple[int, int]], width: int, height: int) -> dict[str, str]:
    """The corners as the form asks for them, in percent."""
    told: dict[str, str] = {}
    for number, (x, y) in enumerate(corners):
        told |= {f"sx{number}": f"{100 * x / width:.3f}", f"sy{number}": f"{100 * y / height:.3f}"}
    return told


def test_a_chart_on_the_wall_is_pointed_at_and_what_was_pointed_at_stays(lead_client: Client, series: Any) -> None:
    pixels = wall()[2]
    answer = lead_client.post(
        reverse("new-chart-scan", args=[series.slug]), {"scan": upload(pixels), "run": "old", "on_wall": "on"}
    )
    scan = ChartScan.objects.get(series=series)
    assert answer["Location"] == at("chart-corners", scan)
    height, width = pixels.shape[:2]
    corners = [(32, 32), (672, 32), (672, 672), (32, 672)]
    turned = corner_fields([corners[(at + 1) % 4] for at in range(4)], width, height)
    form = form_of(lead_client.get(at("chart-corners", scan)), says="Keep and read from there")
    form.fill(**turned).press(lead_client)
    work_off()
    scan.refresh_from_db()
    assert scan.refusal == "labels"
    assert scan.pointed
    assert scan.pointed["rows"] == 8
    again = form_of(lead_client.get(at("chart-corners", scan)), says="Keep and read from there")
    right = corner_fields(corners, width, height)
    again.fill(**right).press(lead_client)
    work_off()
    scan.refresh_from_db()
    assert scan.state == ChartScan.State.READ, scan.refusal_said
    assert len(scan.patches) == 64


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"rows": "3"}, "Needed: 3 lines of 8 codes. Written: 8 lines, of 8, "),
        ({"codes": "Y"}, "Needed: 8 lines of 8 codes. Written: 1 line, of 1 code."),
        ({"codes": ""}, "This field is required"),
        ({"sx0": "140"}, "less than or equal to 100"),
    ],
)
def test_corners_that_say_too_little_bring_the_page_back(
    lead_client: Client, series: Any, lead: Any, changed: dict[str, str], says: str
) -> None:
    scan = make_chart_scan(series, lead, on_wall=True, state="waiting", patches=[], press_text="")
    form = form_of(lead_client.get(at("chart-corners", scan)), says="Keep and read from there")
    answer = form.fill(**changed).press(lead_client)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert not Job.objects.exists()


@pytest.mark.parametrize(
    ("sending", "says"),
    [
        ({"run": ""}, "This field is required"),
        ({"scan": io.BytesIO(b"words")}, "picture"),
        ({"base": "moon"}, "Select a valid choice"),
        ({"target": io.BytesIO(b"CGATS.17\nnothing")}, "not a CGATS file"),
    ],
)
def test_what_cannot_be_brought_in_is_said_in_words(
    lead_client: Client, series: Any, sending: dict[str, Any], says: str
) -> None:
    for value in sending.values():
        if isinstance(value, io.BytesIO):
            value.seek(0)
            value.name = "file.txt"
    white = np.full((90, 90, 3), 255, np.uint8)
    answer = lead_client.post(
        reverse("new-chart-scan", args=[series.slug]), {"scan": upload(white), "run": "57"} | sending
    )
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert not ChartScan.objects.exists()


def test_a_damaged_scan_is_asked_about(lead_client: Client, series: Any) -> None:
    page = reverse("new-chart-scan", args=[series.slug])
    asked = lead_client.post(page, {"scan": io.BytesIO(damaged_picture()), "run": "57"})
    assert "The JPEG is damaged: the lower" in asked.content.decode()
    assert not ChartScan.objects.exists()
    form = form_of(asked, has="damaged").attach(scan=io.BytesIO(damaged_picture()))
    assert form.fill(damaged="on").press(lead_client).status_code == 302
    assert ChartScan.objects.count() == 1
    work_off()
    assert "No corner marks" in ChartScan.objects.get().refusal_said, "it is read as far as it goes"


def test_a_chart_that_is_not_printed_yet_was_not_scanned(lead_client: Client, series: Any) -> None:
    day = dt.date.today() + dt.timedelta(days=3)
    white = np.full((90, 90, 3), 255, np.uint8)
    sending = {"scan": upload(white), "run": "57", "printed_on": day.isoformat()}
    answer = lead_client.post(reverse("new-chart-scan", args=[series.slug]), sending)
    assert answer.status_code == 422
    assert "has not come yet" in answer.content.decode()
    assert not ChartScan.objects.exists()


def test_what_a_patch_prints_like_is_said_as_the_series_writes_it(series: Any, lead: Any) -> None:
    other = {"kind": "other", "said": "prints like M100 Y100", "looks_like": [0, 100, 100, 0]}
    swapped = {"kind": "swapped", "said": "its label and the one of M100 are swapped", "looks_like": [0, 100, 0, 0]}
    scan = make_chart_scan(series, lead)
    for at, wrong in enumerate((other, swapped)):
        scan.patches[at]["amiss"] = wrong | {"difference": 20.0, "weight": 90.0 - at}
    told = [patch.said for patch in drawn_patches(scan)][:4]
    assert told == ["prints like YR", "its label and the one of R are swapped", "cyan is missing: like W", ""]


def test_a_page_size_that_is_none_is_refused(lead_client: Client, series: Any) -> None:
    answer = lead_client.post(reverse("new-chart-sheet", args=[series.slug]), {"page": "a0"})
    assert answer.status_code == 422
    assert not PrintedSheet.objects.exists()


def test_a_name_that_is_taken_is_refused(lead_client: Client, series: Any, lead: Any) -> None:
    scan = make_chart_scan(series, lead)
    for name, says in (("newsprint", "everybody has"), ("House", "Lower-case")):
        answer = lead_client.post(at("keep-chart-press", scan), {"title": "x", "name": name})
        assert answer.status_code == 422
        assert says in answer.content.decode()
    assert lead_client.post(at("keep-chart-press", scan), {"title": "x", "name": "house"}).status_code == 302
    twice = lead_client.post(at("keep-chart-press", scan), {"title": "x", "name": "house-2"})
    assert "meanwhile" in twice.content.decode()


def test_only_the_lead_sets_up_and_members_look(series: Any, lead: Any) -> None:
    scan = make_chart_scan(series, lead, on_wall=True)
    guest = member_client(series, "guest")
    for name in ("chart-scan", "chart-picture"):
        more = ["thumb"] if name == "chart-picture" else []
        assert guest.get(at(name, scan, *more)).status_code == 200
    assert guest.get(at("chart-corners", scan)).status_code == 403
    for name in ("read-chart-scan", "keep-chart-press"):
        assert guest.post(at(name, scan)).status_code == 403
    stranger = client_of(make_member(make_series()))
    assert stranger.get(at("chart-scan", scan)).status_code == 404
    assert Client().get(at("chart-scan", scan)).status_code == 302


def test_another_series_scan_is_not_found_here(lead_client: Client, series: Any, lead: Any) -> None:
    elsewhere = make_chart_scan(make_series(), lead, on_wall=True)
    for name in ("chart-scan", "chart-corners"):
        assert lead_client.get(reverse(name, args=[series.slug, elsewhere.pk])).status_code == 404


def test_methods(lead_client: Client, series: Any, lead: Any) -> None:
    scan = make_chart_scan(series, lead)
    for name in ("read-chart-scan", "keep-chart-press"):
        assert lead_client.get(at(name, scan)).status_code == 405
    assert lead_client.post(at("chart-scan", scan)).status_code == 405


def grown(scan: ChartScan, points: float) -> None:
    """The same run with so many points of dot gain more in magenta."""
    house = press.load("uncoated-fogra29")
    patches = scan.patches
    for one in patches:
        values = np.array([one["tint"]], dtype=np.float64)
        share = values[0, 1] / 100
        values[0, 1] = min(100, values[0, 1] + 4 * points * share * (1 - share))
        one["lab"] = house.lab(values)[0].round(2).tolist()
    ChartScan.objects.filter(pk=scan.pk).update(patches=patches)


def test_two_runs_say_which_ink_prints_heavier(lead_client: Client, series: Any, lead: Any) -> None:
    first, second = make_chart_scan(series, lead), make_chart_scan(series, lead, run="Issue 2")
    grown(second, 5)
    page = form_of(lead_client.get(reverse("charts", args=[series.slug])), says="Compare")
    answer = page.fill(first=str(first.pk), second=str(second.pk)).press(lead_client)
    said = answer.content.decode()
    assert "magenta prints" in said
    assert "cyan prints" not in said
    same = drift_between(first, first)
    assert same is not None
    assert same.said == []
    wrong = lead_client.get(reverse("chart-drift", args=[series.slug]), {"first": first.pk, "second": first.pk})
    assert wrong.status_code == 422


def test_what_would_change_is_counted_on_locked_codes(series: Any, lead: Any) -> None:
    for code in ("Y", "Y3", "R", "B2"):
        make_lock(make_part(series), code, by=lead)
    found = changes(series, press.load("newsprint"), press.load("coated-fogra39"))
    assert found.compared == 4
    assert found.pair_count == len(found.pairs) > 0
    pair = next(one for one in found.pairs if {one.first, one.second} == {Tint(y=100), Tint(y=50)})
    assert pair.difference_before < pair.difference_after
    assert not pair.worse


def test_methods_are_refused_where_nothing_is_sent(lead_client: Client, series: Any) -> None:
    methods_are_refused(lead_client, reverse("charts", args=[series.slug]), "post")
