"""Look-alikes as people read them: pairs with the parts that carry them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from bible.chart_uses import locks_now
from bible.colour.chart_neighbours import ranked_pairs, seen_hexes
from bible.colour.lookalikes import LookAlike, look_alikes
from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.models import Lock, Series, Subject

PAIRS_SHOWN = 60
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


@dataclass(frozen=True, slots=True)
class Ranking:
    """The rows shown, of how many pairs, counted by their words; ``shared`` are codes both sides carry."""

    rows: tuple[PairRow, ...]
    total: int
    words: tuple[tuple[str, int], ...]
    shared: tuple[tuple[Side, Side], ...] = ()


def chart_ranking(series: Series, press: PressCondition, vision: str) -> Ranking:
    """Pairs of chart tints, most easily mistaken first."""
    carried = _by_tint(locks_now(series).select_related("part__costume__subject"))
    return _ranking(press, ranked_pairs(press, series.chart.tints, vision), carried, carried, vision)


def subject_ranking(series: Series, subject: Subject, press: PressCondition, vision: str) -> Ranking:
    """A subject's tints against those of all the others, as locked now."""
    own: list[Lock] = []
    others: list[Lock] = []
    for lock in locks_now(series).select_related("part__costume__subject"):
        (own if lock.part.costume.subject_id == subject.pk else others).append(lock)
    ours, theirs = _by_tint(own), _by_tint(others)
    if not ours or not theirs:
        return Ranking((), 0, ())
    found = look_alikes(press, list(ours), list(theirs), vision)
    shared = tuple(tint for tint in ours if tint in theirs)
    fills = dict(zip(shared, seen_hexes(press, shared, vision), strict=True)) if shared else {}
    both = tuple((_side(tint, fills[tint], ours), _side(tint, fills[tint], theirs)) for tint in shared)
    ranking = _ranking(press, found, ours, theirs, vision)
    return Ranking(ranking.rows, ranking.total, ranking.words, both)


def _by_tint(locks: Iterable[Lock]) -> dict[Tint, list[str]]:
    carried: dict[Tint, list[str]] = defaultdict(list)
    for lock in locks:
        role = "" if lock.role == "base" else f" ({lock.role})"
        carried[lock.tint].append(f"{lock.part.costume.subject.name}: {lock.part.name}{role}")
    return dict(carried)


def _side(tint: Tint, fill: str, carried: dict[Tint, list[str]]) -> Side:
    parts = list(dict.fromkeys(carried.get(tint, ())))
    return Side(tint, fill, tuple(parts[:PARTS_SHOWN]), max(len(parts) - PARTS_SHOWN, 0))


def _ranking(
    press: PressCondition,
    found: Iterable[LookAlike],
    ours: dict[Tint, list[str]],
    theirs: dict[Tint, list[str]],
    vision: str,
) -> Ranking:
    pairs = list(found)
    shown = pairs[:PAIRS_SHOWN]
    tints = list(dict.fromkeys(tint for pair in shown for tint in (pair.first, pair.second)))
    fills = dict(zip(tints, seen_hexes(press, tints, vision), strict=True)) if tints else {}
    rows = tuple(
        PairRow(
            rank,
            _side(pair.first, fills[pair.first], ours),
            _side(pair.second, fills[pair.second], theirs),
            pair.difference,
            pair.word,
        )
        for rank, pair in enumerate(shown, 1)
    )
    counts: dict[str, int] = {}
    for pair in pairs:
        counts[pair.word] = counts.get(pair.word, 0) + 1
    return Ranking(rows, len(pairs), tuple(counts.items()))
