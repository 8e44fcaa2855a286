"""The demo's chart as its house prints and scans it: our own simulation, to try the room of charts out with.

A sheet of the shipped newsprint on which dots grow a little more, one patch cut as another tint; scanned a little
askew, with some grain. It judges nothing: the tests' simulated houses share nothing with it.
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Mapping
from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image

from bible.colour import press as presses
from bible.colour.colorimetry import xyz_to_srgb
from bible.colour.press import DEFAULT_PRESS
from bible.colour.tints import INKS, Tint, as_array
from guides.imaging.chart.finding import mark_modules
from guides.imaging.chart.sheet import MARK_SIDE, SheetLayout

DPI = 150
"""Dots an inch: dots of a newsprint screen are averaged away by the scanner."""

GRAIN, TURN = 2.0, 0.6
"""Coded values of noise, and degrees that the sheet lies askew."""


@dataclass(frozen=True, slots=True)
class ChartRun:
    """A printing that the chart went along with: points of dot gain at 50 % beyond the shipped newsprint by ink, and
    the tints that were cut otherwise than their labels say."""

    issue: str
    run: str
    printed_on: dt.date
    gains: Mapping[str, float]
    wrong: Mapping[Tint, Tint] = field(default_factory=dict)


RUNS = (
    ChartRun("24", "Issue 24, web press", dt.date(1976, 11, 8), {"m": 1}, {Tint(0, 50, 50): Tint(0, 50, 100)}),
    ChartRun("25", "Issue 25, web press", dt.date(1977, 1, 10), {"m": 6}, {Tint(0, 50, 50): Tint(0, 50, 100)}),
)
"""Two runs: magenta prints heavier in the second; 50 % yellow with 50 % red was cut with solid yellow on both, a
misprint that charts of the trade have had (common practice, no source)."""


def chart_png(sheet: SheetLayout, run: ChartRun, rng: np.random.Generator) -> bytes:
    """The scan of the sheet as that run printed it."""
    out = io.BytesIO()
    Image.fromarray(_on_the_glass(_sheet(sheet, run), rng)).save(out, "PNG", compress_level=1)
    return out.getvalue()


def _sheet(sheet: SheetLayout, run: ChartRun) -> npt.NDArray[np.uint8]:
    """The printed page (h, w, 3), sRGB."""
    dots = DPI / 25.4
    held = as_array([run.wrong.get(patch.tint, patch.tint) for patch in sheet.patches])
    for ink, points in run.gains.items():
        share = held[:, INKS.index(ink)] / 100
        held[:, INKS.index(ink)] += 4 * points * share * (1 - share)
    ends = np.array([[0, 0, 0, 0], [0, 0, 0, 100]], dtype=np.float64)
    colours, _ = xyz_to_srgb(presses.load(DEFAULT_PRESS).xyz(np.concatenate([ends, held])))
    paper, black = colours[:2]
    page = np.empty((round(sheet.height * dots), round(sheet.width * dots), 3), np.uint8)
    page[:] = paper
    for patch, colour in zip(sheet.patches, colours[2:], strict=True):
        (x0, y0), (x1, y1) = (np.rint(patch.corners[corner] * dots).astype(int) for corner in (0, 2))
        page[y0:y1, x0:x1] = colour
        place = int(x0), int(y1) + 13
        cv2.putText(page, patch.code, place, cv2.FONT_HERSHEY_PLAIN, 0.75, black.tolist(), 1, cv2.LINE_AA)
    for number, corners in sheet.marks():
        side, (x, y) = round(MARK_SIDE * dots), np.rint(corners[0] * dots).astype(int)
        modules = cv2.resize(mark_modules(number).astype(np.uint8), (side, side), interpolation=cv2.INTER_NEAREST)
        page[y : y + side, x : x + side][modules > 0] = black
    return page


def _on_the_glass(page: npt.NDArray[np.uint8], rng: np.random.Generator) -> npt.NDArray[np.uint8]:
    height, width = page.shape[:2]
    pad = round(0.03 * height)
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), float(rng.uniform(-TURN, TURN)), 1.0)
    turn[:, 2] += pad
    laid = cv2.warpAffine(page, turn, (width + 2 * pad, height + 2 * pad), borderValue=(238, 236, 233))
    soft = cv2.GaussianBlur(laid, (0, 0), 0.7).astype(np.float32)
    soft += rng.standard_normal(soft.shape, dtype=np.float32) * np.float32(GRAIN)
    return np.asarray(np.clip(np.rint(soft), 0, 255), np.uint8)
