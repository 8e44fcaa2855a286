"""What a tint's own page says about it, gathered from the press."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bible.chart.forms import VISION_WORDS
from bible.colour.chart_neighbours import Neighbour, neighbours_of, seen_hexes
from bible.colour.charts import Chart
from bible.colour.colorimetry import xyz_to_lab
from bible.colour.lookalikes import NORMAL, VISIONS
from bible.colour.press import PressCondition
from bible.colour.tints import INK_NAMES, INKS, Tint, as_array

NEIGHBOURS_SHOWN = 6
NEIGHBOURS_BY_VISION = 3


@dataclass(frozen=True, slots=True)
class ShownTint:
    """A tint's colour in figures, absolute or relative to the paper."""

    xyz: tuple[float, ...]
    lab: tuple[float, ...]
    fill: str
    out_of_gamut: bool


@dataclass(frozen=True, slots=True)
class InkFact:
    """One ink of a tint: percentages as ordered and as they print, and its screen."""

    name: str
    nominal: int
    effective: float
    gain: float
    angle: float


@dataclass(frozen=True, slots=True)
class Facts:
    absolute: ShownTint
    relative: ShownTint
    inks: tuple[InkFact, ...]
    total_ink: int


@dataclass(frozen=True, slots=True)
class ChartStep:
    """The chart tint one step of one ink away."""

    ink: str
    weaker: Neighbour | None
    stronger: Neighbour | None


@dataclass(frozen=True, slots=True)
class VisionView:
    """How a tint looks to somebody, and the chart tints nearest to it for them."""

    name: str
    words: str
    fill: str
    neighbours: tuple[tuple[Neighbour, str], ...]


def facts(press: PressCondition, tint: Tint) -> Facts:
    row = as_array([tint])
    gain = press.effective_coverage(row)
    inks = tuple(
        InkFact(INK_NAMES[ink], nominal, float(gain.coverage[0, at]), float(gain.gain[0, at]), press.angles[ink])
        for at, (ink, nominal) in enumerate(zip(INKS, tint.percentages, strict=True))
        if nominal
    )
    return Facts(_shown(press, row, relative=False), _shown(press, row, relative=True), inks, tint.total_ink)


def _shown(press: PressCondition, row: np.ndarray, *, relative: bool) -> ShownTint:
    xyz = (press.relative_xyz if relative else press.xyz)(row)
    screen = press.srgb(row, relative)
    return ShownTint(
        tuple(xyz[0].tolist()),
        tuple(xyz_to_lab(xyz)[0].tolist()),
        "#" + bytes(screen.rgb[0]).hex(),
        bool(screen.out_of_gamut[0]),
    )


def steps_away(press: PressCondition, tint: Tint, chart: Chart) -> list[ChartStep]:
    """One step less and one step more of each ink the chart has, with how much it shows in print."""
    if tint not in chart:
        return []
    inks = [ink for ink in INKS if len(chart.levels(ink)) > 1]
    moved = [(chart.step_down(tint, ink), chart.step_up(tint, ink)) for ink in inks]
    near = {
        neighbour.tint: neighbour
        for neighbour in neighbours_of(press, tint, [other for pair in moved for other in pair], count=2 * len(inks))
    }
    return [
        ChartStep(INK_NAMES[ink], near.get(down), near.get(up)) for ink, (down, up) in zip(inks, moved, strict=True)
    ]


def views_by_vision(press: PressCondition, tint: Tint, chart: Sequence[Tint]) -> list[VisionView]:
    """The tint and its neighbours, first to normal sight, then to each colour-vision deficiency."""
    views = []
    for vision in VISIONS:
        count = NEIGHBOURS_SHOWN if vision == NORMAL else NEIGHBOURS_BY_VISION
        near = neighbours_of(press, tint, chart, vision, count)
        fill, *fills = seen_hexes(press, [tint, *(neighbour.tint for neighbour in near)], vision)
        views.append(VisionView(vision, VISION_WORDS[vision], fill, tuple(zip(near, fills, strict=True))))
    return views
