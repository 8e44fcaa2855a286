"""Look-alikes as people read them: pairs with the parts that carry them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bible.chart.queries import NamedLock, named_locks, tints_against_others
from bible.colour.chart_neighbours import ranked_pairs, seen_hexes
from bible.colour.lookalikes import LookAlike, look_alikes
from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array
from bible.models import Edition, Series, Subject
from bible.models.roles import BASE_ROLE

PAIRS_SHOWN = 30
"""A ranking beyond this is no longer read; the page says how many pairs there are."""

PARTS_SHOWN = 3
"""Parts named beside a tint of a pair; of more it is said how many."""


@dataclass(frozen=True, slots=True)
class Side:
    """One tint of a pair, as the chosen eyes see it, and the parts that carry it."""

    tint: Tint
    fill: str
    parts: tuple[str, ...]
    more: int


@dataclass(frozen=True, slots=True)
class PairRow:
    rank: int
    first: Side
    second: Side
    difference: float
    word: str
    doubt: float | None = None
    """CIEDE2000 that the difference may be off, where the press condition knows."""


@dataclass(frozen=True, slots=True)
class Ranking:
    """The rows shown, of how many pairs, counted by their words; ``shared`` are codes both sides carry."""

    rows: tuple[PairRow, ...]
    total: int
    words: tuple[tuple[str, int], ...]
    shared: tuple[tuple[Side, Side], ...] = ()


def chart_ranking(
    series: Series,
    press: PressCondition,
    vision: str,
    shown: int | None = PAIRS_SHOWN,
    *,
    edition: Edition | None = None,
) -> Ranking:
    """Pairs of chart tints, most easily mistaken first."""
    pairs = ranked_pairs(press, series.chart.tints, vision)
    carried = _by_tint(named_locks(series, _tints(pairs[:shown]), edition))
    return _ranking(press, pairs, carried, carried, vision, shown)


def subject_ranking(
    series: Series,
    subject: Subject,
    press: PressCondition,
    vision: str,
    shown: int | None = PAIRS_SHOWN,
    *,
    edition: Edition | None = None,
) -> Ranking:
    """A subject's tints against those of all the others, as locked now."""
    ours, theirs = tints_against_others(series, subject, edition)
    if not ours or not theirs:
        return Ranking((), 0, ())
    pairs = look_alikes(press, ours, theirs, vision)
    shared = tuple(tint for tint in ours if tint in set(theirs))
    locks = list(named_locks(series, [*shared, *_tints(pairs[:shown])], edition))
    own = _by_tint((lock for lock in locks if lock[1] == subject.pk), with_subject=False)
    others = _by_tint(lock for lock in locks if lock[1] != subject.pk)
    fills = dict(zip(shared, seen_hexes(press, shared, vision), strict=True)) if shared else {}
    both = tuple((_side(tint, fills[tint], own), _side(tint, fills[tint], others)) for tint in shared)
    return replace(_ranking(press, pairs, own, others, vision, shown), shared=both)


def _tints(pairs: Iterable[LookAlike]) -> list[Tint]:
    return list(dict.fromkeys(tint for pair in pairs for tint in (pair.first, pair.second)))


def _by_tint(locks: Iterable[NamedLock], *, with_subject: bool = True) -> dict[Tint, list[str]]:
    carried: dict[Tint, list[str]] = defaultdict(list)
    for tint, _, subject, part, role in locks:
        name = f"{subject}: {part}" if with_subject else part
        carried[tint].append(name if role == BASE_ROLE else f"{name} ({role})")
    return dict(carried)


def _side(tint: Tint, fill: str, carried: dict[Tint, list[str]]) -> Side:
    parts = list(dict.fromkeys(carried.get(tint, ())))
    return Side(tint, fill, tuple(parts[:PARTS_SHOWN]), max(len(parts) - PARTS_SHOWN, 0))


def _doubts(press: PressCondition, pairs: Sequence[LookAlike]) -> list[float | None]:
    """How far each pair's difference may be off: both tints', as if they went astray each for itself."""
    if press.doubt is None or not pairs:
        return [None] * len(pairs)
    each = [
        press.doubt.at(as_array(side)) for side in ([pair.first for pair in pairs], [pair.second for pair in pairs])
    ]
    return [float(both) for both in np.hypot(each[0], each[1])]


def _ranking(
    press: PressCondition,
    pairs: Sequence[LookAlike],
    ours: dict[Tint, list[str]],
    theirs: dict[Tint, list[str]],
    vision: str,
    at_most: int | None,
) -> Ranking:
    shown = pairs[:at_most]
    tints = _tints(shown)
    fills = dict(zip(tints, seen_hexes(press, tints, vision), strict=True)) if tints else {}
    rows = tuple(
        PairRow(
            rank,
            _side(pair.first, fills[pair.first], ours),
            _side(pair.second, fills[pair.second], theirs),
            pair.difference,
            pair.word,
            doubt,
        )
        for (rank, pair), doubt in zip(enumerate(shown, 1), _doubts(press, shown), strict=True)
    )
    counts: dict[str, int] = {}
    for pair in pairs:
        counts[pair.word] = counts.get(pair.word, 0) + 1
    return Ranking(rows, len(pairs), tuple(counts.items()))
