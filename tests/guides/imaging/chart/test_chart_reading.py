"""A sheet printed, scanned and read, all simulated (``printed_sheets.py``): the judging family, which nothing tuned.

Few scans here, to notice a loss; twenty a row are ``python -m tests.benchmarks.bench_chart``.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from bible.colour import press
from bible.colour.cgats import ReferencePatches, read_reference
from bible.colour.charts import CHART_64
from bible.colour.difference import delta_e_2000
from bible.colour.notation import LETTERS_64
from bible.colour.tints import Tint
from guides.imaging.chart.files import load_scan
from guides.imaging.chart.reading import ChartReading, TargetScan, read_chart
from guides.imaging.chart.refusals import ChartFault, ChartRefused
from guides.imaging.chart.sheet import SheetLayout, lay_out, wall_chart
from tests.guides.imaging.chart import scanners
from tests.guides.imaging.chart.printed_sheets import (
    Picture,
    Printed,
    printed,
    reference_text,
    scan_of,
    target_picture,
    target_reference,
)

SHEET = lay_out(CHART_64.tints, LETTERS_64.write, title="chart")
TINTS = [patch.tint for patch in SHEET.patches]
WRONG = {TINTS.index(Tint(m=50, y=50)): Tint(m=50, y=100), TINTS.index(Tint(c=100, y=100)): Tint(y=100)}


@lru_cache(maxsize=1)
def scanned() -> tuple[Printed, Picture]:
    """Two misprints on it, a target beside it, lying turned; 150 dots an inch."""
    job = printed(SHEET, press.load("uncoated-fogra29"), WRONG)
    return job, scan_of(job, scanners.judging(2, turn=4.0, dpi=150.0))


@lru_cache(maxsize=1)
def read() -> ChartReading:
    return read_chart(scanned()[1], SHEET, target=TargetScan(read_reference(reference_text(target_reference()))))


def test_patches_and_condition_come_near_the_truth() -> None:
    job, reading = scanned()[0], read()
    off = delta_e_2000(np.array([one.lab for one in reading.patches]), job.lab)
    doubts = np.array([one.doubt for one in reading.patches])
    assert off.mean() <= 2.6
    assert (off <= doubts).mean() >= 0.85
    made = reading.correction.condition(name="house", title="House", source="a scan")
    tints = CHART_64.array
    assert delta_e_2000(made.lab(tints), job.press.lab(tints)).mean() <= 2.0


def test_planted_misprints_are_found_with_their_place() -> None:
    reading = read()
    found = {at for at, one in enumerate(reading.patches) if one.amiss}
    assert set(WRONG) <= found
    assert len(found) <= len(WRONG) + 1
    told = reading.patches[min(WRONG)].to_dict()
    assert set(told) == {"code", "lab", "doubt", "amiss"}
    assert told["amiss"]["said"] == "yellow prints like 100 %, not 50 %"


def test_a_scan_on_its_head_is_read_as_well() -> None:
    reading = read_chart(np.ascontiguousarray(scanned()[1][::-1, ::-1]), SHEET)
    off = delta_e_2000(np.array([one.lab for one in reading.patches]), np.array([one.lab for one in read().patches]))
    assert np.median(off) < 4.0
    assert "No target" in reading.notes[0]
    assert reading.mean_doubt > 2.0


def refused(scan: Picture, sheet: SheetLayout = SHEET, **more: object) -> ChartRefused:
    with pytest.raises(ChartRefused) as told:
        read_chart(scan, sheet, **more)  # type: ignore[arg-type]
    assert str(told.value).endswith((".", "?"))
    return told.value


def test_what_is_no_chart_is_refused() -> None:
    noise = np.random.default_rng(1).integers(0, 256, (900, 700, 3), dtype=np.uint8)
    assert refused(noise).fault is ChartFault.NOT_A_CHART


def test_another_sheet_is_refused_with_both_numbers() -> None:
    other = lay_out(CHART_64.tints, LETTERS_64.write, title="chart", page="letter")
    fault = refused(scanned()[1], other)
    assert fault.fault is ChartFault.OTHER_CHART
    assert f"{SHEET.check:02d}" in fault.message
    assert f"{other.check:02d}" in fault.message


def test_a_sheet_cut_off_is_refused() -> None:
    scan = scanned()[1]
    fault = refused(scan[: int(0.7 * len(scan))])
    assert fault.fault is ChartFault.CUT_OFF
    assert "bottom" in fault.message


def test_half_in_shadow_is_refused() -> None:
    scan = scanned()[1].copy()
    half = scan.shape[1] // 2
    scan[:, half:] = (scan[:, half:] * 0.6).astype(np.uint8)
    assert refused(scan).fault is ChartFault.SHADOW


def test_a_grey_scan_is_refused() -> None:
    grey = np.repeat(scanned()[1].mean(axis=2, keepdims=True), 3, axis=2).astype(np.uint8)
    assert refused(grey).fault is ChartFault.GREY


def test_a_coarse_scan_is_refused() -> None:
    small = cv2.resize(scanned()[1], None, fx=0.3, fy=0.3, interpolation=cv2.INTER_AREA)
    assert refused(small).fault in (ChartFault.TOO_COARSE, ChartFault.NOT_A_CHART, ChartFault.CUT_OFF)


def test_the_wrong_reference_is_refused() -> None:
    right = target_reference()
    order = np.random.default_rng(2).permutation(24)
    wrong = ReferencePatches(right.names, right.xyz[order])
    assert refused(scanned()[1], target=TargetScan(wrong)).fault is ChartFault.WRONG_REFERENCE
    unplaced = ReferencePatches(tuple(f"dye {at}" for at in range(24)), right.xyz)
    assert "row and column" in refused(scanned()[1], target=TargetScan(unplaced)).message


def test_heavy_compression_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "scan.jpg"
    cv2.imwrite(str(path), scanned()[1][..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 12])
    with pytest.raises(ChartRefused) as told:
        load_scan(path)
    assert told.value.fault is ChartFault.COMPRESSED
    cv2.imwrite(str(path), scanned()[1][..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
    assert load_scan(path).shape == scanned()[1].shape


def wall() -> tuple[SheetLayout, Printed, Picture]:
    """An old chart of 8 rows and 8 columns, without marks of ours, hung a little askew."""
    sheet = wall_chart([LETTERS_64.write(one) for one in CHART_64.tints], CHART_64.tints, 8, 8)
    job = printed(sheet, press.load("newsprint"))
    # Its cells are one unit wide; twenty dots to the unit's twenty-fifth make cells of some 80 pixels.
    return (
        sheet,
        job,
        scan_of(job, scanners.judging(0, dpi=80 * 25.4, turn=0.0, bend=0.0, through=0.0), with_target=False),
    )


def test_a_chart_on_the_wall_is_read_from_its_corners() -> None:
    sheet, job, scan = wall()
    pad, side = round(0.05 * 640), 640
    corners = [(pad, pad), (pad + side, pad), (pad + side, pad + side), (pad, pad + side)]
    reading = read_chart(scan, sheet, corners=corners)
    off = delta_e_2000(np.array([one.lab for one in reading.patches]), job.lab)
    assert np.median(off) <= 4.0
    turned = corners[1:] + corners[:1]
    assert refused(scan, sheet, corners=turned).fault is ChartFault.LABELS
    assert refused(scan, sheet, corners=corners[::-1]).fault is ChartFault.NOT_A_CHART
    assert refused(scan, sheet).fault is ChartFault.NOT_A_CHART


def test_a_target_scanned_by_itself_serves_as_well() -> None:
    scan = scanners.judging(2, turn=4.0, dpi=150.0)
    board = np.full((700, 900, 3), 0.8)
    picture = target_picture(scan, 6.0)
    board[100 : 100 + picture.shape[0], 120 : 120 + picture.shape[1]] = picture
    from bible.colour.colorimetry import encode_srgb

    alone = (encode_srgb(np.clip(board, 0, 1)) * 255).astype(np.uint8)
    reading = read_chart(scanned()[1], SHEET, target=TargetScan(target_reference(), scan=alone))
    assert len(reading.scanner.left_out) >= 18
    assert reading.scanner.left_out.mean() < 3.0
