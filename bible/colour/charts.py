"""Charts: the ordered sets of tints a series may use, and moving a tint along the steps of its chart.

The classic chart has four levels an ink (nothing, 25 %, 50 %, solid), 4 x 4 x 4 = 64 tints with bare paper;
later ones add a fourth strength of 70 or 75 %, 5 x 5 x 5 = 125 (common practice, no source). The key plate
carries the line art, so the standard charts hold no key. A house that gives a black coat or a darkened tint a code
of its own has key steps in its notation, and each of them beside each tint (``Chart.with_key``). What lies under
solid key is kept too: on newsprint (TR 002) it prints up to CIEDE2000 14 away from key alone, the median 7.5.

The fourth step of the 125-tint charts is written 7 (ours, no source).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product
from typing import Any

import numpy as np
import numpy.typing as npt

from bible.colour.tints import INKS, Tint, as_array

MAX_TINTS = 5_000
"""A chart of four inks with eight levels each has 4,096 tints; more than this is no chart but a mistake."""


@dataclass(frozen=True)
class Chart:
    """An ordered set of tints.

    ``name`` is the short key, ``title`` what people read.

    Raises:
        ValueError: no tints, too many, or one of them twice.
    """

    name: str
    title: str
    tints: tuple[Tint, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "tints", tuple(self.tints))
        if not self.tints:
            raise ValueError("a chart needs at least one tint")
        if len(self.tints) > MAX_TINTS:
            raise ValueError(f"a chart holds at most {MAX_TINTS:,} tints, not {len(self.tints):,}")
        if len(self._positions) != len(self.tints):
            twice = next(tint for place, tint in enumerate(self.tints) if self._positions[tint] != place)
            raise ValueError(f"{twice} is on the chart twice")

    @classmethod
    def grid(cls, name: str, title: str, levels: Iterable[int]) -> Chart:
        """Every combination of ``levels`` (percentages; 0 is added) of the three inks, yellow outermost."""
        steps = sorted({0, *levels})
        return cls(name, title, tuple(Tint(c=c, m=m, y=y) for y, m, c in product(steps, repeat=3)))

    @classmethod
    def of(cls, name: str, title: str, tints: Iterable[Tint]) -> Chart:
        """A house chart: the tints in the order given, each once."""
        return cls(name, title, tuple(dict.fromkeys(tints)))

    def with_key(self, levels: Iterable[int]) -> Chart:
        """These tints, and behind them all of them again with each of ``levels`` (percentages) of key, the lightest
        first; the chart itself where there are none. A chart of its name, whose title says so."""
        steps = sorted({*levels} - {0})
        if not steps:
            return self
        strengths = ", ".join("solid" if level == 100 else f"{level} %" for level in steps)
        tints = (replace(tint, k=level) for level in steps for tint in self.tints)
        return Chart.of(self.name, f"{self.title} with key ({strengths})", (*self.tints, *tints))

    def to_dict(self) -> dict[str, Any]:
        """As JSON stores it; the tints as [c, m, y, k] percentages."""
        return {
            "name": self.name,
            "title": self.title,
            "tints": [list(tint.percentages) for tint in self.tints],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Chart:
        """The inverse of ``to_dict``; ValueError for anything that is not such a dictionary."""
        try:
            tints = tuple(Tint(*row) for row in data["tints"])
            return cls(str(data["name"]), str(data["title"]), tints)
        except (KeyError, TypeError) as error:
            raise ValueError(f"this is not a stored chart: {error}") from error

    @cached_property
    def _positions(self) -> dict[Tint, int]:
        places: dict[Tint, int] = {}
        for place, tint in enumerate(self.tints):
            places.setdefault(tint, place)
        return places

    @cached_property
    def array(self) -> npt.NDArray[np.float64]:
        """The tints as a read-only array of shape (n, 4), order of ``INKS``, percentages 0-100."""
        values = as_array(self.tints)
        values.setflags(write=False)
        return values

    @cached_property
    def _levels(self) -> dict[str, tuple[int, ...]]:
        return {ink: tuple(int(level) for level in np.unique(self.array[:, place])) for place, ink in enumerate(INKS)}

    def levels(self, ink: str) -> tuple[int, ...]:
        """The percentages of ``ink`` ("c", "m", "y" or "k") that occur on the chart, rising."""
        try:
            return self._levels[ink]
        except KeyError:
            raise ValueError(f"{ink!r} is not an ink; the inks are {', '.join(INKS)}") from None

    def __contains__(self, tint: object) -> bool:
        return tint in self._positions

    def __len__(self) -> int:
        return len(self.tints)

    def index(self, tint: Tint) -> int:
        """The place of ``tint`` on the chart, from 0; ValueError when it is not there."""
        try:
            return self._positions[tint]
        except KeyError:
            raise ValueError(f"{tint} is not on the chart “{self.title}”") from None

    def nearest(self, tint: Tint, count: int = 1) -> tuple[Tint, ...]:
        """The ``count`` chart tints nearest by ink: Euclidean distance in percentage points.

        Ties fall to the tint that comes first on the chart. This compares what the plates carry, not what the
        eye sees: for that, measure the printed colours.
        """
        order = np.argsort(self._distances(tint), kind="stable")[:count]
        return tuple(self.tints[place] for place in order)

    def snap(self, tint: Tint) -> Tint:
        """``tint`` itself when it is on the chart, else the nearest chart tint by ink."""
        return tint if tint in self else self.nearest(tint)[0]

    def step_up(self, tint: Tint, ink: str, steps: int = 1) -> Tint:
        """The chart tint with ``ink`` ``steps`` levels stronger; at the top it stays.

        A tint between two levels goes to the next one above it first.
        """
        above = [level for level in self.levels(ink) if level > getattr(tint, ink)]
        return self._land(tint, ink, above[: max(steps, 0)][-1:], upwards=True)

    def step_down(self, tint: Tint, ink: str, steps: int = 1) -> Tint:
        """The chart tint with ``ink`` ``steps`` levels weaker; at the bottom it stays."""
        below = [level for level in reversed(self.levels(ink)) if level < getattr(tint, ink)]
        return self._land(tint, ink, below[: max(steps, 0)][-1:], upwards=False)

    def at_least(self, tint: Tint, ink: str, percent: int) -> Tint:
        """The chart tint with at least ``percent`` of ``ink``: the lowest level reaching it, else the top."""
        _check_percent(percent, lowest=0)
        if getattr(tint, ink) >= percent:
            return self.snap(tint)
        levels = self.levels(ink)
        reached = [level for level in levels if level >= percent]
        return self._land(tint, ink, reached[:1] or list(levels[-1:]), upwards=True)

    def at_most(self, tint: Tint, ink: str, percent: int) -> Tint:
        """The chart tint with at most ``percent`` of ``ink``: the highest level allowed, else the lowest."""
        _check_percent(percent, lowest=0)
        if getattr(tint, ink) <= percent:
            return self.snap(tint)
        levels = self.levels(ink)
        allowed = [level for level in levels if level <= percent]
        return self._land(tint, ink, allowed[-1:] or list(levels[:1]), upwards=False)

    def add(self, tint: Tint, ink: str, percent: int) -> Tint:
        """The chart tint with ``percent`` points of ``ink`` more (fewer when negative), held within 0-100 %.

        Lands on the level nearest to the sum; a tie goes the way of the change, so that "+ 25 %" on 50 %
        gives solid on a 64-tint chart instead of a shade no darker than its base.
        """
        _check_percent(percent, lowest=-100)
        if percent == 0:
            return self.snap(tint)
        wanted = min(max(getattr(tint, ink) + percent, 0), 100)
        sign = 1 if percent > 0 else -1
        level = min(self.levels(ink), key=lambda level: (abs(level - wanted), -sign * level))
        return self._land(tint, ink, [level], upwards=percent > 0)

    def _distances(self, tint: Tint) -> npt.NDArray[np.float64]:
        return np.sqrt(((self.array - np.array(tint.percentages, dtype=np.float64)) ** 2).sum(axis=1))

    def _land(self, tint: Tint, ink: str, target: Sequence[int], *, upwards: bool) -> Tint:
        """``tint`` with ``ink`` at the target level, if any; on an irregular chart the nearest beyond it."""
        if not target:
            return self.snap(tint)
        moved = replace(tint, **{ink: target[0]})
        if moved in self:
            return moved
        column = self.array[:, INKS.index(ink)]
        beyond = column >= target[0] if upwards else column <= target[0]
        distances = np.where(beyond, self._distances(moved), np.inf)
        return self.tints[int(distances.argmin())]


def _check_percent(percent: int, *, lowest: int) -> None:
    if not lowest <= percent <= 100:
        raise ValueError(f"a percentage here lies between {lowest} and 100, not {percent}")


CHART_64 = Chart.grid("64", "64 tints (25, 50 %, solid)", (25, 50, 100))
CHART_125_70 = Chart.grid("125-70", "125 tints (25, 50, 70 %, solid)", (25, 50, 70, 100))
CHART_125_75 = Chart.grid("125-75", "125 tints (25, 50, 75 %, solid)", (25, 50, 75, 100))

STANDARD_CHARTS: dict[str, Chart] = {chart.name: chart for chart in (CHART_64, CHART_125_70, CHART_125_75)}
"""The charts at hand without typing one in, by name."""
