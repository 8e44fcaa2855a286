"""What a press condition from a scan would change, and what two runs differ by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from bible.colour.difference import delta_e_2000, severity
from bible.colour.lookalikes import RISK_BANDS, misread_risks, risk_word
from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array
from bible.models import Lock, Series
from guides.core.flags import differences_of
from guides.imaging.chart.drifting import InkDrift, drift
from guides.models import ChartScan, Mark

MOST_TINTS = 300
"""Tints compared with each other: 44,850 pairs take half a second."""

PAIRS_SHOWN = 40
FEWEST_SHARED = 24
"""Tints that two scans must have in common before anything is said of drift."""

_RANK = {band.word: at for at, band in enumerate(RISK_BANDS)}


@dataclass(frozen=True, slots=True)
class PairChange:
    """Two tints and the words for how easily they are mistaken, before and after; differences in CIEDE2000."""

    first: Tint
    second: Tint
    before: str
    after: str
    difference_before: float
    difference_after: float

    @property
    def worse(self) -> bool:
        return _RANK[self.after] > _RANK[self.before]


@dataclass(frozen=True, slots=True)
class Changes:
    """What moves when a series is shown on another condition: no lock, no flag; how bad they look."""

    pairs: tuple[PairChange, ...]
    pair_count: int
    compared: int
    severities: tuple[tuple[str, str, int], ...]


@dataclass(frozen=True, slots=True)
class RunDrift:
    inks: tuple[InkDrift, ...]
    shared: int
    pairs: tuple[PairChange, ...]
    mean: float

    @property
    def said(self) -> list[str]:
        return [ink.said for ink in self.inks if ink.said]


def locked_tints(series: Series) -> list[Tint]:
    """The tints that locks of the series carry, each once."""
    tints = Lock.objects.filter(series=series).standing().order_by("tint").values_list("tint", flat=True).distinct()
    return [tint for tint in tints[:MOST_TINTS] if isinstance(tint, Tint)]


def pair_changes(before: PressCondition, after: PressCondition, tints: Sequence[Tint]) -> list[PairChange]:
    """Pairs whose words differ on two conditions, those that got worse first."""
    pairs = list(combinations(range(len(tints)), 2))
    if not pairs:
        return []
    array = as_array(tints)
    first, second = (array[[pair[side] for pair in pairs]] for side in (0, 1))
    was, now = misread_risks(before, first, second), misread_risks(after, first, second)
    changed = []
    for at, (left, right) in enumerate(pairs):
        words = risk_word(float(was.risk[at])), risk_word(float(now.risk[at]))
        if words[0] != words[1]:
            apart = float(was.difference[at]), float(now.difference[at])
            changed.append(PairChange(tints[left], tints[right], *words, *apart))
    return sorted(changed, key=lambda change: (not change.worse, change.difference_after))


def changes(series: Series, before: PressCondition, after: PressCondition) -> Changes:
    """What showing a series on another condition would move."""
    tints = locked_tints(series)
    pairs = pair_changes(before, after, tints)
    return Changes(tuple(pairs[:PAIRS_SHOWN]), len(pairs), len(tints), _severities(series, before, after))


def _severities(series: Series, before: PressCondition, after: PressCondition) -> tuple[tuple[str, str, int], ...]:
    """Pairs of codes that open flags are about whose severity has another word: from, to, how many."""
    pairs = Mark.objects.filter(series=series).open().pairs()
    moved: dict[tuple[str, str], int] = {}
    for was, now in zip(differences_of(pairs, before), differences_of(pairs, after), strict=True):
        words = severity(was).word, severity(now).word
        if words[0] != words[1]:
            moved[words] = moved.get(words, 0) + 1
    return tuple((was, now, count) for (was, now), count in sorted(moved.items()))


def drift_between(first: ChartScan, second: ChartScan) -> RunDrift | None:
    """What the second run does otherwise; None where the two have too few tints in common."""
    was, now = first.labs(), second.labs()
    shared = [tint for tint in was if tint in now]
    before, after = first.condition, second.condition
    if len(shared) < FEWEST_SHARED or before is None or after is None:
        return None
    lab = [np.array([labs[tint] for tint in shared]) for labs in (was, now)]
    inks = drift(before, as_array(shared), lab[0], lab[1])
    pairs = pair_changes(before, after, locked_tints(first.series))[:PAIRS_SHOWN]
    return RunDrift(inks, len(shared), tuple(pairs), float(delta_e_2000(lab[0], lab[1]).mean()))
