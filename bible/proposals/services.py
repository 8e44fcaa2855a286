"""Proposals and their answers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from bible.models import ActivityKind, Lock, Proposal, columns_of, record
from bible.models.naming import name_of
from bible.series.holding import How, hold, hold_reading, part_rows, refuse_archived_parts, series_rows
from bible.series.refusals import Refused

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def propose(*, by: User, **asked: Any) -> Proposal:
    """Ask for a lock. The arguments are the fields of ``Proposal``; ``tint`` may be a gradient. ``Refused`` where the
    part is archived."""
    return propose_once(by=by, **asked)[0]


@transaction.atomic
def propose_once(*, by: User, **asked: Any) -> tuple[Proposal, bool]:
    """``propose``, unless the same waits already of this person; and whether it is new. One proposes for a part at a
    time, so that what is sent twice at one instant is asked once."""
    part = asked["part"]
    hold(series_rows(part.costume.subject.series_id, How.KEPT), part_rows([part.pk], How.TO_CHANGE))
    if waiting := Proposal.objects.waiting().same(by=by.pk, **asked).first():
        return waiting, False
    refuse_archived_parts([part.pk])
    proposal = Proposal.objects.create(
        series_id=part.costume.subject.series_id, proposed_by=by, **asked | columns_of(asked["tint"])
    )
    _record(ActivityKind.PROPOSED, proposal, by, proposal.note)
    return proposal, True


@transaction.atomic
def accept_proposal(*, proposal: Proposal, lock: Lock, by: User, answer: str = "") -> Proposal:
    """Answer a proposal with a lock: accepted where it is what was asked for, else accepted with a change."""
    proposal = _waiting(proposal)
    same = (lock.part_id, lock.role, lock.locked, lock.from_position) == (
        proposal.part_id,
        proposal.role,
        proposal.locked,
        proposal.from_position,
    )
    proposal.state = Proposal.State.ACCEPTED if same else Proposal.State.CHANGED
    proposal.lock = lock
    return _answer(proposal, answer, by)


@transaction.atomic
def decline_proposal(*, proposal: Proposal, by: User, answer: str) -> Proposal:
    if not answer.strip():
        raise Refused("Say why: the proposer reads it.")
    proposal = _waiting(proposal)
    proposal.state = Proposal.State.DECLINED
    return _answer(proposal, answer, by)


@transaction.atomic
def withdraw_proposal(*, proposal: Proposal, by: User) -> Proposal:
    """Take one's own proposal back."""
    proposal = _waiting(proposal)
    if proposal.proposed_by_id != by.pk:
        raise Refused("Only the person who proposed it can take it back; a lead colourist can decline it.")
    proposal.state = Proposal.State.WITHDRAWN
    return _answer(proposal, "", by)


def _waiting(proposal: Proposal) -> Proposal:
    hold_reading(proposal.series_id)
    proposal = (
        Proposal.objects.select_for_update(of=("self",))
        .select_related("part__costume__subject", "answered_by", "proposed_by")
        .get(pk=proposal.pk)
    )
    if proposal.state != Proposal.State.WAITING:
        raise Refused(f"{name_of(proposal.answered_by)} answered this meanwhile: {proposal.get_state_display()}.")
    return proposal


def _answer(proposal: Proposal, answer: str, by: User) -> Proposal:
    proposal.answer, proposal.answered_by, proposal.answered_at = answer, by, timezone.now()
    proposal.save(update_fields=["state", "answer", "answered_by", "answered_at", "lock"])
    _record(_DEEDS[Proposal.State(proposal.state)], proposal, by, answer)
    return proposal


_DEEDS = {
    Proposal.State.ACCEPTED: ActivityKind.ACCEPTED,
    Proposal.State.CHANGED: ActivityKind.ACCEPTED,
    Proposal.State.DECLINED: ActivityKind.DECLINED,
    Proposal.State.WITHDRAWN: ActivityKind.TOOK_BACK,
}


def _record(deed: ActivityKind, proposal: Proposal, by: User, reason: str) -> None:
    record(
        deed,
        series=proposal.series_id,
        by=by,
        person=proposal.proposed_by,
        proposal=proposal,
        subject=proposal.part.costume.subject,
        words={"reason": reason},
    )
