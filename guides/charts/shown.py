"""Patches as the page draws them over their scan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from bible.colour.colorimetry import lab_to_xyz, xyz_to_srgb
from bible.colour.tints import Tint
from bible.models import Series
from guides.imaging.chart.auditing import AmissKind
from guides.models import ChartScan

CROP = 1.0
"""How much of a patch's own size is shown around it in its crop."""


@dataclass(frozen=True, slots=True)
class DrawnPatch:
    """``points`` and ``crop`` are in the scan's pixels, as SVG takes them; ``fill`` is the measured colour."""

    number: int
    code: str
    tint: Tint
    lab: tuple[float, float, float]
    doubt: float
    fill: str
    points: str
    crop: str
    said: str


def _said(series: Series, wrong: dict[str, Any] | None) -> str:
    """What is amiss with a patch, with the other tint as this series writes it."""
    if wrong is None or wrong.get("looks_like") is None:
        return wrong["said"] if wrong else ""
    code = series.write(Tint(*wrong["looks_like"]))
    if wrong["kind"] == AmissKind.SWAPPED:
        return f"its label and the one of {code} are swapped"
    return f"prints like {code}" if wrong["kind"] == AmissKind.OTHER else f"{wrong['said']}: like {code}"


def drawn_patches(scan: ChartScan) -> list[DrawnPatch]:
    """The patches of a scan, those amiss first and the surest of them on top."""
    if not scan.patches:
        return []
    rgb, _ = xyz_to_srgb(lab_to_xyz(np.array([patch["lab"] for patch in scan.patches], dtype=np.float64)))
    drawn = []
    for number, (patch, colour) in enumerate(zip(scan.patches, rgb.tolist(), strict=True), start=1):
        quad = np.array(patch["quad"]) * [scan.width, scan.height]
        low, size = quad.min(axis=0), np.ptp(quad, axis=0)
        window = (*(low - CROP * size), *(size * (1 + 2 * CROP)))
        drawn.append(
            DrawnPatch(
                number,
                patch["code"],
                Tint(*patch["tint"]),
                tuple(patch["lab"]),
                patch["doubt"],
                "#{:02x}{:02x}{:02x}".format(*colour),
                " ".join(f"{x:.1f},{y:.1f}" for x, y in quad),
                " ".join(f"{value:.1f}" for value in window),
                _said(scan.series, patch["amiss"]),
            )
        )
    weights = [-(patch["amiss"] or {"weight": 0.0})["weight"] for patch in scan.patches]
    return [drawn[at] for at in np.argsort(weights, kind="stable")]
