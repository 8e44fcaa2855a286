"""A chart read from its scan: patches with colour and doubt, what is amiss, the press condition made of them.

A scan is no instrument: whatever shows these figures says so, and the printed sheet itself is what counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from bible.colour.cgats import ReferencePatches
from bible.colour.condition import PressCondition
from bible.colour.tints import Tint
from guides.imaging.chart.auditing import Amiss, audit_patches
from guides.imaging.chart.correcting import Correction, Measured, doubt, nearest_shipped
from guides.imaging.chart.finding import FoundSheet, find_sheet, place_by_corners
from guides.imaging.chart.refusals import ChartFault, ChartRefused
from guides.imaging.chart.sampling import PatchSamples, read_patches
from guides.imaging.chart.scanner import BELIEVED, Scanner, learn
from guides.imaging.chart.sheet import SheetLayout
from guides.imaging.chart.target import on_sheet, read_target, target_region

FloatArray = npt.NDArray[np.float64]
Picture = npt.NDArray[np.uint8]
Corners = Sequence[tuple[float, float]]

GREY = 0.012
"""Linear light between a picture's channels below which it holds no colour at all."""

LIKE_ITS_LABELS = 0.55
"""Least correlation between what is seen and what the labels say, in lightness and along the two colour axes. Sheets
of any press came to 0.9 and more; a chart read with another one's labels to 0.3 at most."""

CLIPPED_ERROR, CLIPPED_RISE = 6.0, 2.0
"""CIELAB units by which a colour beyond what the file can hold may be off, reached where half the pixels are at the
end of a channel; what the patches around it say then counts for more."""

FEWEST_TINTS = 24
"""Different tints below which a press condition is not corrected: the four inks' ramps already have more."""

FEWEST_LABELS = 8
"""Patches from which a picture can be held against its labels."""


@dataclass(frozen=True)
class PatchReading:
    """A patch as read: ``lab`` CIELAB (D50, 2°), ``doubt`` CIEDE2000 that 90 of 100 lie within, ``quad`` its corners
    on the scan in pixels."""

    code: str
    tint: Tint
    lab: tuple[float, float, float]
    doubt: float
    quad: tuple[tuple[float, float], ...]
    amiss: Amiss | None = None

    def to_dict(self) -> dict[str, Any]:
        wrong = self.amiss
        fault = None if wrong is None else {"kind": str(wrong.kind), "said": wrong.said}
        lab = [round(value, 2) for value in self.lab]
        return {"code": self.code, "lab": lab, "doubt": round(self.doubt, 2), "amiss": fault}


@dataclass(frozen=True)
class ChartReading:
    """What a scan says. ``notes`` are sentences for the person; ``even`` brightest paper against darkest."""

    patches: tuple[PatchReading, ...]
    correction: Correction
    scanner: Scanner
    even: float
    notes: tuple[str, ...] = field(default=())

    @property
    def mean_doubt(self) -> float:
        return self.correction.mean_doubt

    @property
    def amiss(self) -> list[PatchReading]:
        """The patches that are amiss, the surest first."""
        patches = [patch for patch in self.patches if patch.amiss]
        return sorted(patches, key=lambda patch: -patch.amiss.weight if patch.amiss else 0.0)


@dataclass(frozen=True)
class TargetScan:
    """A colour target: its reference, where its patches were pointed at, and its own picture if it has one."""

    reference: ReferencePatches
    corners: Corners | None = None
    scan: Picture | None = None


def read_chart(
    scan: Picture,
    sheet: SheetLayout,
    *,
    base: PressCondition | None = None,
    corners: Corners | None = None,
    target: TargetScan | None = None,
) -> ChartReading:
    """Read a chart.

    Args:
        scan: (h, w, 3) sRGB.
        sheet: what was printed.
        base: the condition that is corrected; None takes the nearest that ships.
        corners: of a chart without marks, pointed at clockwise from top left, pixels.
        target: the colour target scanned along.

    Raises:
        ChartRefused: it cannot be trusted; the message says why and what to do.
    """
    if _is_grey(scan):
        raise ChartRefused(ChartFault.GREY, "The picture is grey: a chart has to be scanned in colour.")
    if not sheet.marked and corners is None:
        raise ChartRefused(ChartFault.NOT_A_CHART, "This chart carries no marks: point at its four corners.")
    placed = place_by_corners(sheet, corners) if corners is not None else find_sheet(scan, sheet)
    samples = read_patches(scan, sheet, placed)
    scanner = _scanner(scan, sheet, placed, samples, target)
    lab = scanner.lab(samples.rgb)
    near = base or nearest_shipped(sheet.tints, lab)
    _require_likeness(near, sheet, lab)
    measured = Measured(sheet.tints, lab, _errors(scanner, samples), _places(sheet))
    tints = [patch.tint for patch in sheet.patches]
    audit = audit_patches(near, measured, scanner.sd, tints)
    return ChartReading(
        _readings(sheet, samples, measured, scanner, audit.amiss, audit.correction),
        audit.correction,
        scanner,
        samples.even,
        (f"{scanner.said[0].upper()}{scanner.said[1:]}.", f"Corrected from {near.title}."),
    )


def _is_grey(scan: Picture) -> bool:
    few = scan[:: max(1, scan.shape[0] // 300), :: max(1, scan.shape[1] // 300)].reshape(-1, 3).astype(np.float64)
    return bool(np.percentile(np.ptp(few / 255.0, axis=1), 99) < 3 * GREY)


def _scanner(
    scan: Picture, sheet: SheetLayout, placed: FoundSheet, samples: PatchSamples, target: TargetScan | None
) -> Scanner:
    if target is None:
        return BELIEVED
    region = None
    if target.scan is None and target.corners is None:
        if sheet.target is None:
            raise ChartRefused(
                ChartFault.NO_TARGET,
                "This sheet keeps no place for a target: scan the target by itself, or point at it.",
            )
        region = target_region(placed, sheet.target)
    seen = scan if target.scan is None else target.scan
    read = read_target(seen, target.reference, corners=target.corners, region=region)
    if region is None or sheet.target is None:
        return learn(read.rgb, read.xyz)
    # It lies under the same lamp as the patches, at the sheet's edge: evened as they are, or it would teach a colour
    # of light that is only its place.
    return learn(read.rgb / samples.lamp(on_sheet(read.quads.mean(axis=1), region, sheet.target))[:, None], read.xyz)


def _require_likeness(base: PressCondition, sheet: SheetLayout, lab: FloatArray) -> None:
    if len(np.unique(sheet.tints, axis=0)) < FEWEST_TINTS:
        raise ChartRefused(
            ChartFault.LABELS, f"A chart of fewer than {FEWEST_TINTS} different tints says too little of a press."
        )
    predicted = base.lab(sheet.tints)
    alike = min(float(np.corrcoef(predicted[:, axis], lab[:, axis])[0, 1]) for axis in range(3))
    if not alike >= LIKE_ITS_LABELS:
        raise ChartRefused(
            ChartFault.LABELS,
            "What the patches show does not go with their labels: it is another chart, it lies the other way up, or "
            "rows and columns are not as said.",
        )


def _errors(scanner: Scanner, samples: PatchSamples) -> FloatArray:
    """Standard error (n,) of the patches' CIELAB from the spread within them, and from what the file cannot hold."""
    up, down = scanner.lab(samples.rgb + samples.spread), scanner.lab(np.maximum(samples.rgb - samples.spread, 0.0))
    spread = np.linalg.norm((up - down) / 2, axis=1) / np.sqrt(3.0)
    return np.asarray(np.hypot(spread, CLIPPED_ERROR * np.minimum(1.0, CLIPPED_RISE * samples.clipped)))


def _places(sheet: SheetLayout) -> FloatArray:
    centres = np.array([patch.corners.mean(axis=0) for patch in sheet.patches])
    return 2 * centres / [sheet.width, sheet.height] - 1


def _readings(
    sheet: SheetLayout,
    samples: PatchSamples,
    measured: Measured,
    scanner: Scanner,
    amiss: dict[int, Amiss],
    correction: Correction,
) -> tuple[PatchReading, ...]:
    """Each patch as read by itself: its doubt is the scanner's, its own spread and that between duplicates."""
    variance = correction.noise**2 + measured.error[:, None] ** 2
    doubts = doubt(measured.lab, variance, scanner.sd)
    return tuple(
        PatchReading(
            patch.code,
            patch.tint,
            (float(lab[0]), float(lab[1]), float(lab[2])),
            float(doubts[at]),
            tuple((float(x), float(y)) for x, y in samples.quads[at]),
            amiss.get(at),
        )
        for at, (patch, lab) in enumerate(zip(sheet.patches, measured.lab, strict=True))
    )
