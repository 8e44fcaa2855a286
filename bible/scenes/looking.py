"""What a scene makes of the colours that are locked: seen while its rule is written, and where scenes are listed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from bible.colour.chart_neighbours import Neighbour, neighbours_of
from bible.colour.difference import SeverityBand, delta_e_2000, severity
from bible.colour.lookalikes import RISK_BANDS
from bible.colour.press import PressCondition
from bible.colour.shifts import Shift
from bible.colour.tints import Tint, as_array
from bible.models import Lock, Scene, SceneTarget, Series
from bible.scenes.queries import Light, lights
from bible.scenes.services import HeldTo
from bible.series.running_order import AsOf

SHOWN = 6
"""Pairs beside a form; a card has room for three of them."""

NEAR_SHOWN = 3
"""Chips under a pair, which is narrow."""

FallsOn = Callable[[int, int, str], bool]
Pair = tuple[Tint, Tint]


@dataclass(frozen=True, slots=True)
class MovedLook:
    """A colour that a rule moves, as it prints before and after; ``near`` are the chart's tints that print nearest to
    what it becomes, nearest first."""

    tint: Tint
    becomes: Tint
    difference: float
    band: SeverityBand
    near: tuple[Neighbour, ...]

    @property
    def like(self) -> Neighbour | None:
        """The tint that what it becomes is most easily mistaken for, where there is one."""
        return self.near[0] if self.near and self.near[0].word != RISK_BANDS[0].word else None


def looks_of(pairs: list[Pair], press: PressCondition, chart: Iterable[Tint]) -> list[MovedLook]:
    """How moved colours print: apart from what they were, and beside what stands near them on the chart."""
    if not pairs:
        return []
    before, after = (press.lab(as_array(list(ends))) for ends in zip(*pairs, strict=True))
    tints, apart = list(chart), map(float, delta_e_2000(before, after))
    return [
        MovedLook(*pair, delta, severity(delta), neighbours_of(press, pair[1], tints, count=NEAR_SHOWN))
        for pair, delta in zip(pairs, apart, strict=True)
    ]


class LockedColours:
    """The colours locked as of the newest issue, with what carries them; one query for however many scenes."""

    def __init__(self, series: Series) -> None:
        self.chart = series.chart
        rows = Lock.objects.filter(series=series).in_force(AsOf.at(series).position).order_by("id")
        self._rows = list(rows.values_list("tint", "part", "part__costume__subject", "role"))

    def under(self, rule: Shift, falls_on: FallsOn, shown: int = SHOWN) -> list[Pair]:
        """Those that a rule moves, each with what it becomes, the most used first."""
        lit = Counter(tint for tint, *target in self._rows if isinstance(tint, Tint) and falls_on(*target))
        moved = ((tint, rule.apply(tint, self.chart)) for tint, _ in lit.most_common())
        return [pair for pair in moved if pair[0] != pair[1]][:shown]


def cards(series: Series, scenes: Iterable[Scene], shown: int = 3) -> list[tuple[Light, list[Pair]]]:
    """Scenes with what they fall on, each with some of the colours it moves."""
    locked = LockedColours(series)
    return [(light, locked.under(light.scene.rule, light.falls_on, shown)) for light in lights(series, scenes)]


def falling_on(targets: Iterable[HeldTo]) -> FallsOn:
    """What would be lit by a scene held to these."""
    held = [SceneTarget(subject_id=target.subject, part_id=target.part, role=target.role) for target in targets]
    return lambda part, subject, role: not held or any(target.holds(part, subject, role) for target in held)
