"""The house's own chart, from the sheet that is printed to the press that the series is shown on, and back again.

The print and the scanner between them are simulated (``tests/guides/imaging/chart/printed_sheets.py``).
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
import pytest
from pypdf import PdfReader

from bible.colour import press
from bible.models import Lock, PressUpload, Series
from guides.imaging.chart.sheet import SheetLayout
from guides.models import ChartScan
from tests.browser.moves import fits
from tests.factories import make_lock, make_part
from tests.guides.imaging.chart import scanners
from tests.guides.imaging.chart.printed_sheets import printed, scan_of
from tests.guides.imaging.chart.test_chart_reading import wall

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]
READ = re.compile(r"90 of 100 predictions")


def as_file(pixels: np.ndarray) -> dict[str, Any]:
    data = cv2.imencode(".png", pixels[..., ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 1])[1].tobytes()
    return {"name": "scan.png", "mimeType": "image/png", "buffer": data}


def to_printed_charts(page: Any) -> None:
    page.get_by_role("link", name="Chart", exact=True).click()
    page.get_by_role("link", name="Printed charts").click()


def sheet_to_print(page: Any) -> SheetLayout:
    """Made, fetched as the PDF that goes to the printer, and its layout."""
    page.get_by_role("button", name="Make a sheet of the chart as it is now").click()
    page.locator(".messages", has_text="is ready to print").wait_for()
    with page.expect_download() as asked:
        page.get_by_role("link", name=re.compile(r"\(PDF\)")).click()
    assert len(PdfReader(io.BytesIO(asked.value.path().read_bytes())).pages) == 1
    told = page.request.get(page.get_by_role("link", name="as JSON").get_attribute("href"))
    return SheetLayout.from_dict(json.loads(told.text()))


def send(page: Any, pixels: np.ndarray, run: str, *, on_wall: bool = False) -> None:
    page.get_by_role("link", name="Upload a scan").click()
    page.get_by_label("Scan of the chart", exact=True).set_input_files(as_file(pixels))
    page.get_by_label("Run").fill(run)
    if on_wall:
        page.get_by_label("It is a chart without our corner marks").check()
    page.get_by_role("button", name="Upload and read").click()


def test_from_the_sheet_to_the_press_and_back(visit: Visit, lead: Any, series: Series) -> None:
    for code in ("YR3B2", "YR3B3", "Y2", "Y3"):
        make_lock(make_part(series), code, by=lead)
    before = list(Lock.objects.values())
    page = visit(lead)
    to_printed_charts(page)
    sheet = sheet_to_print(page)
    as_printed = printed(sheet, press.load("newsprint"))
    send(page, scan_of(as_printed, scanners.judging(2, dpi=150.0), with_target=False), "Issue 1, web press")

    page.get_by_text(READ).wait_for()
    page.get_by_text("Every patch prints as its label says.").wait_for()
    page.get_by_text(re.compile(r"All \d+ patches, as scanned")).click()
    page.get_by_role("region", name="All patches").get_by_role("row", name=re.compile("^YR3B2 ")).wait_for()
    page.get_by_label("Title").fill("House press")
    page.get_by_label("Short name").fill("house")
    page.keyboard.press("Enter")

    page.locator(".messages", has_text="House press is one of the series’ press conditions").wait_for()
    page.get_by_role("button", name=re.compile("^Print the series on this.*House press")).click()
    page.locator(".messages", has_text="now shown as printed on House press").wait_for()
    page.get_by_role("link", name="Bible", exact=True).click()
    page.locator(".press-note", has_text="House press").wait_for()
    page.go_back()
    page.get_by_role("button", name=re.compile("^Undo: print on Coldset newsprint")).click()
    page.locator(".messages", has_text="now shown as printed on Coldset newsprint").wait_for()
    series.refresh_from_db()
    assert series.press == "newsprint"
    assert list(Lock.objects.values()) == before
    assert PressUpload.objects.get(series=series).name == "house"


def test_the_corners_of_a_chart_on_the_wall_are_pointed_at(visit: Visit, lead: Any, series: Series) -> None:
    pixels = wall()[2]
    page = visit(lead)
    to_printed_charts(page)
    send(page, pixels, "the old one", on_wall=True)
    picture = page.locator(".points-window img")
    picture.wait_for()
    page.wait_for_function("() => document.querySelector('.points-window img').naturalWidth > 0")
    box = picture.bounding_box()
    height, width = pixels.shape[:2]
    for x, y in ((32, 32), (672, 32), (672, 672), (32, 672)):
        picture.click(position={"x": x / width * box["width"], "y": y / height * box["height"]})
    page.get_by_role("button", name="Keep and read from there").click()
    page.get_by_text(READ).wait_for()
    assert len(ChartScan.objects.get(series=series).patches) == 64


def test_a_scan_that_is_no_chart_is_told_and_leads_on(visit: Visit, lead: Any, series: Series) -> None:
    page = visit(lead, viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True)
    to_printed_charts(page)
    send(page, np.random.default_rng(3).integers(0, 255, (700, 500, 3), dtype=np.uint8), "Issue 1")
    page.locator(".refusal", has_text="No corner marks of a chart sheet").wait_for()
    fits(page, 360)
    page.get_by_role("link", name="Send another scan").tap()
    page.get_by_role("heading", name="Upload a scan of the chart").wait_for()
