"""Where a sheet's places lie on a scan of it: turned, on its head, a little bent.

The marks are OpenCV's own square ones (``cv2.aruco``), so that finding them is the library's work. Ten of them carry
a sheet's number; forty corners then lead from millimetres to pixels by a perspective view, and what is left of them,
the bend of the paper, by a smooth surface through them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from guides.imaging.chart.refusals import ChartFault, ChartRefused
from guides.imaging.chart.sheet import CHECKS, MARK_PLACES, MARKS_PER_SHEET, SheetLayout

FloatArray = npt.NDArray[np.float64]
Picture = npt.NDArray[np.uint8]

FINDING_SIDES = (1800, 2600, 1200)
"""Long sides in pixels at which marks are looked for in turn: fine scans show dots within the black of a mark."""

FEWEST_MARKS = 6
"""Of ten: with fewer, the bend of the paper is a guess."""

SMOOTH = 1e-6
"""How far the surface may pass by the marks' corners, relative: they are found to some 0.05 mm."""

Placing = Callable[[FloatArray], FloatArray]
"""From millimetres on the sheet (n, 2) to pixels of the scan (n, 2)."""


@dataclass(frozen=True)
class FoundSheet:
    """Where a sheet lies. ``to_scan`` leads from its millimetres to the scan's pixels."""

    to_scan: Placing
    check: int | None
    pixels_per_mm: float


def dictionary() -> Any:
    """The marks that sheets carry: 5 × 5 modules, a thousand numbers."""
    import cv2

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)


def mark_modules(number: int) -> npt.NDArray[np.bool_]:
    """Which of a mark's (7, 7) modules are black."""
    import cv2

    return np.asarray(cv2.aruco.generateImageMarker(dictionary(), number, 7)) < 128


def marks_on(scan: Picture) -> dict[int, FloatArray]:
    """Numbers of the marks seen on a scan (h, w, 3) with their corners (4, 2) in its pixels."""
    import cv2

    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(dictionary(), settings)
    best: dict[int, FloatArray] = {}
    height, width = scan.shape[:2]
    for side in FINDING_SIDES:
        scale = min(1.0, side / max(height, width))
        # Green: cyan, magenta and key all show in it, so that no patch is lost in the white beside a mark.
        small = cv2.resize(scan[..., 1], None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        corners, numbers, _ = detector.detectMarkers(small)
        if numbers is None:
            continue
        seen = {
            int(number): (np.asarray(at, dtype=np.float64).reshape(4, 2) + 0.5) / scale - 0.5
            for number, at in zip(numbers.ravel(), corners, strict=True)
        }
        if len(seen) > len(best):
            best = seen
        if len(best) >= MARKS_PER_SHEET:
            break
    return best


def check_of(marks: dict[int, FloatArray]) -> int | None:
    """The number of the sheet that most of the marks belong to; None where no two of them agree."""
    counts = np.bincount([number // MARKS_PER_SHEET for number in marks], minlength=CHECKS) if marks else np.zeros(1)
    return int(counts.argmax()) if counts.max() >= 2 else None


def find_sheet(scan: Picture, sheet: SheetLayout, marks: dict[int, FloatArray] | None = None) -> FoundSheet:
    """Find a sheet by its marks.

    Raises:
        ChartRefused: there are no marks, another sheet's, or too few.
    """
    seen = marks_on(scan) if marks is None else marks
    check = check_of(seen)
    if check is None:
        raise ChartRefused(
            ChartFault.NOT_A_CHART,
            "No corner marks of a chart sheet are on this picture. Scan the whole printed sheet, or point at the "
            "four corners of a chart that carries none.",
        )
    if check != sheet.check:
        raise ChartRefused(
            ChartFault.OTHER_CHART,
            f"The marks on this picture are those of sheet {check:02d}, not of sheet {sheet.check:02d}: it is "
            "another chart, or another printing of this one with other tints.",
        )
    known = dict(sheet.marks())
    present = [number for number in known if number in seen]
    lost = [place for at, place in enumerate(MARK_PLACES) if sheet.check * MARKS_PER_SHEET + at not in present]
    if len(lost) > 1 or len(present) < FEWEST_MARKS:
        where = " and ".join(lost) or "edge"
        raise ChartRefused(
            ChartFault.CUT_OFF,
            f"Only {len(present)} of the sheet’s {MARKS_PER_SHEET} marks are on the picture; {where} is missing. "
            "Part of the sheet is cut off or covered: scan all of it.",
        )
    on_sheet = np.concatenate([known[number] for number in present])
    on_scan = np.concatenate([seen[number] for number in present])
    return FoundSheet(_placing(on_sheet, on_scan, bent=True), check, _scale(on_sheet, on_scan))


def place_by_corners(sheet: SheetLayout, corners: Sequence[tuple[float, float]]) -> FoundSheet:
    """Where a chart lies whose four corners were pointed at: clockwise from top left, pixels of the scan.

    Raises:
        ChartRefused: the four places are no quadrilateral that one could look at.
    """
    on_scan = np.array(corners, dtype=np.float64).reshape(-1, 2)
    if on_scan.shape != (4, 2) or not _convex(on_scan):
        raise ChartRefused(
            ChartFault.NOT_A_CHART,
            "The four corners must be pointed at in turn: top left, top right, bottom right, bottom left.",
        )
    on_sheet = np.array([[0, 0], [sheet.width, 0], [sheet.width, sheet.height], [0, sheet.height]], dtype=np.float64)
    return FoundSheet(_placing(on_sheet, on_scan, bent=False), None, _scale(on_sheet, on_scan))


def _convex(quad: FloatArray) -> bool:
    edges = np.roll(quad, -1, axis=0) - quad
    following = np.roll(edges, -1, axis=0)
    turns = edges[:, 0] * following[:, 1] - edges[:, 1] * following[:, 0]
    return bool((turns > 1.0).all())


def _scale(on_sheet: FloatArray, on_scan: FloatArray) -> float:
    """Pixels a millimetre, over all distances between corners."""
    spread = np.sqrt(((on_sheet - on_sheet.mean(axis=0)) ** 2).sum())
    return float(np.sqrt(((on_scan - on_scan.mean(axis=0)) ** 2).sum()) / spread)


def _placing(on_sheet: FloatArray, on_scan: FloatArray, *, bent: bool) -> Placing:
    import cv2

    matrix = np.asarray(cv2.findHomography(on_sheet, on_scan, 0)[0], dtype=np.float64)

    def flat(places: FloatArray) -> FloatArray:
        lifted = np.c_[places, np.ones(len(places))] @ matrix.T
        return np.asarray(lifted[:, :2] / lifted[:, 2:])

    if not bent:
        return flat
    from scipy.interpolate import RBFInterpolator

    # One place a mark: its four corners lie too near to each other to say more about a bend.
    centres = on_sheet.reshape(-1, 4, 2).mean(axis=1)
    rest = (on_scan - flat(on_sheet)).reshape(-1, 4, 2).mean(axis=1)
    surface = RBFInterpolator(centres / 100.0, rest, kernel="thin_plate_spline", smoothing=SMOOTH, degree=1)

    def to_scan(places: FloatArray) -> FloatArray:
        return np.asarray(flat(places) + surface(places / 100.0))

    return to_scan
