"""What a lead wants beside a proposal: what holds now, and what prints like it."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from bible.colour.lookalikes import look_alikes
from bible.colour.tints import Tint
from bible.models import Lock, Proposal, Series
from bible.series.presses import condition
from bible.series.running_order import AsOf, RunningOrder

ALIKE_SHOWN = 4


@dataclass(frozen=True, slots=True)
class Alike:
    """Another part's lock whose print is easily mistaken for the proposed colour; the same code has no difference."""

    lock: Lock
    difference: float
    word: str


@dataclass(frozen=True, slots=True)
class Waiting:
    """A proposal with the lock it would replace, what prints like it, and the lock form's query."""

    proposal: Proposal
    current: Lock | None
    alike: tuple[Alike, ...]
    query: str


def with_look_alikes(series: Series, proposals: list[Proposal]) -> list[Waiting]:
    """Look-alikes are sought among what is locked at present on other parts of the series."""
    if not proposals:
        return []
    in_force = Lock.objects.filter(series=series).in_force(AsOf.at(series).position)
    locks = list(in_force.select_related("part__costume__subject").order_by("pk"))
    press = condition(series)
    order = RunningOrder.of(series)
    by_tint: dict[Tint, list[Lock]] = {}
    for lock in locks:
        by_tint.setdefault(lock.tint, []).append(lock)
    waiting = []
    for proposal in proposals:
        pairs = look_alikes(press, [proposal.tint], [tint for tint in by_tint if tint != proposal.tint])
        near = [(pair.second, pair.difference, pair.word) for pair in pairs]
        ranked = [(proposal.tint, 0.0, "the same code"), *near]
        alike = [
            Alike(lock, difference, word)
            for tint, difference, word in ranked
            for lock in by_tint.get(tint, ())
            if lock.part_id != proposal.part_id
        ]
        current = next(
            (lock for lock in locks if (lock.part_id, lock.role) == (proposal.part_id, proposal.role)), None
        )
        waiting.append(Waiting(proposal, current, tuple(alike[:ALIKE_SHOWN]), _query(proposal, order)))
    return waiting


def _query(proposal: Proposal, order: RunningOrder) -> str:
    first = order.first_from(proposal.from_position) if proposal.from_position else None
    last = order.last_before(proposal.to_position) if proposal.to_position else None
    return urlencode(
        {
            "role": proposal.role,
            "code": proposal.written,
            "from_issue": first.number if first else "",
            "to_issue": last.number if last else "",
        }
    )
