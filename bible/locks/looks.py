"""How a code that is being typed prints: beside what holds now, and beside what stands near it on the chart."""

from __future__ import annotations

from dataclasses import dataclass

from bible.colour.chart_neighbours import Neighbour, neighbours_of
from bible.colour.difference import SeverityBand, delta_e_2000, severity
from bible.colour.gradients import TintOrGradient, ends_of
from bible.colour.lookalikes import RISK_BANDS
from bible.colour.notation import NotationError
from bible.colour.press import PressCondition
from bible.colour.tints import as_array
from bible.models import Lock, Series
from bible.series.forms import explain

NEAR_SHOWN = 5
"""A line of chips on a narrow form."""


@dataclass(frozen=True, slots=True)
class CodeLook:
    """What is seen while a code is typed.

    Attributes:
        value: what the code means; None where it cannot be read, or nothing is typed.
        now: the lock that holds where this one would.
        trouble: why the code cannot be read; ``instead`` are codes that it may have meant.
        near: the chart's tints that print nearest to it, nearest first.
        apart: CIEDE2000 in print between now and then, with its band; None where one is missing or a gradient.
    """

    value: TintOrGradient | None = None
    now: Lock | None = None
    trouble: str = ""
    instead: tuple[str, ...] = ()
    near: tuple[Neighbour, ...] = ()
    apart: tuple[float, SeverityBand] | None = None

    @property
    def like(self) -> Neighbour | None:
        """The tint it is most easily mistaken for, where there is one."""
        return self.near[0] if self.near and self.near[0].word != RISK_BANDS[0].word else None


def look_of(series: Series, press: PressCondition, written: str, now: Lock | None) -> CodeLook:
    """Reads the code as every form does; a code that cannot be read shows what holds now all the same."""
    if not written.strip():
        return CodeLook(now=now)
    try:
        value = series.read_locked(written)
    except NotationError as error:
        return CodeLook(now=now, trouble=explain(error), instead=tuple(error.suggestions))
    tint, end = ends_of(value)
    near = () if end else neighbours_of(press, tint, series.chart.tints, count=NEAR_SHOWN)
    before, before_end = ends_of(now.locked) if now else (None, None)
    if before is None or before_end or end:
        return CodeLook(value, now, near=near)
    first, second = (press.lab(as_array([side])) for side in (before, tint))
    difference = float(delta_e_2000(first, second)[0])
    return CodeLook(value, now, near=near, apart=(difference, severity(difference)))
