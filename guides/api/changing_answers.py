"""Rows of the lists that grow, made into the shapes that are answered."""

from __future__ import annotations

from typing import Any

from bible.models import Activity, Edition, Lock, Proposal, Series
from bible.models.naming import name_of
from bible.series.running_order import RunningOrder
from guides.api.answers import asked_shape, stretch_shape, tint_shape
from guides.api.changing_shapes import (
    AskedShape,
    DecidedShape,
    EditionShape,
    HappenedShape,
    ProofRead,
    ProofShape,
    ReadingShape,
    ScanShape,
    SignedMark,
    StepContent,
    StepShape,
)
from guides.core.kept import rows_of
from guides.models import IssueStep, Proof, ProofReading


def name_or_none(person: Any) -> str | None:
    return name_of(person) if person else None


def decided_shape(series: Series, order: RunningOrder, lock: Lock) -> DecidedShape:
    subject, costume, part = lock.part.names
    return DecidedShape(
        **asked_shape(series, lock),
        id=lock.pk,
        part=lock.part_id,
        subject=subject,
        costume=costume,
        part_name=part,
        edition=lock.edition.name if lock.edition else None,
        holds=stretch_shape(order, lock),
        reason=lock.reason,
        decided_by=name_of(lock.decided_by),
        decided_at=lock.decided_at,
        follows=lock.follows_id,
        withdrawn_at=lock.withdrawn_at,
        withdrawn_by=name_or_none(lock.withdrawn_by),
        withdrawn_reason=lock.withdrawn_reason,
    )


def proposal_shape(series: Series, order: RunningOrder, proposal: Proposal) -> AskedShape:
    return AskedShape(
        **asked_shape(series, proposal),
        id=proposal.pk,
        part=proposal.part_id,
        asked_for=stretch_shape(order, proposal),
        note=proposal.note,
        state=proposal.state,
        proposed_by=name_of(proposal.proposed_by),
        proposed_at=proposal.proposed_at,
        answer=proposal.answer,
        answered_by=name_or_none(proposal.answered_by),
        answered_at=proposal.answered_at,
        decided=proposal.lock_id,
    )


def happened_shape(series: Series, deed: Activity) -> HappenedShape:
    asked = deed.lock or deed.proposal
    subject = deed.subject or (asked.part.costume.subject if asked else None)
    return HappenedShape(
        id=deed.pk,
        at=deed.at,
        by=name_or_none(deed.by),
        about=deed.room,
        deed=deed.kind,
        count=deed.count,
        subject=subject.name if subject else None,
        part=asked.part.full_name if asked else None,
        role=asked.role if asked else None,
        code=series.write(asked.locked) if asked else None,
        scene=deed.scene.name if deed.scene else None,
        issue=deed.issue.number if deed.issue else None,
        page=deed.page or None,
        mark=deed.mark_number,
        concerning=name_or_none(deed.person),
        words=deed.words,
    )


def proof_shape(proof: Any) -> ProofShape:
    """Of a proof ``with_names`` and ``with_counts``."""
    return ProofShape(**_of_proof(proof))


def _of_proof(proof: Any) -> dict[str, Any]:
    names = ("number", "state", "press", "filename", "sha256", "width", "height")
    return {name: getattr(proof, name) for name in names} | {
        "id": proof.pk,
        "issue": proof.guide.issue.number,
        "page": proof.guide.page,
        "revision": proof.guide.revision,
        "refusal": proof.refusal_said,
        "current": proof.is_current,
        "shift": proof.shift_said,
        "sent_by": name_of(proof.uploaded_by),
        "sent_at": proof.uploaded_at,
        "changed_at": proof.changed_at or proof.uploaded_at,
        "marks": proof.mark_count,
        "undecided": proof.undecided_count,
        "faults": proof.fault_count,
        "cannot_tell": proof.unsure_count,
    }


def proof_read(series: Series, proof: Proof) -> ProofRead:
    readings = proof.readings.with_names().worst_first()
    return ProofRead(**_of_proof(proof), readings=[_reading_shape(series, reading) for reading in readings])


def _reading_shape(series: Series, reading: ProofReading) -> ReadingShape:
    names = ("x", "y", "verdict", "ink", "amount", "delta_e", "why", "decision", "note", "decided_at")
    return ReadingShape(
        **{name: getattr(reading, name) for name in names},
        mark=reading.mark_id,
        number=reading.mark.number,
        part=reading.mark.part.full_name if reading.mark.part else None,
        called=tint_shape(series, reading.called),
        called_to=tint_shape(series, reading.called_to),
        printed=tint_shape(series, reading.printed),
        probability=reading.p,
        decided_by=name_or_none(reading.decided_by),
    )


def edition_shape(edition: Edition, press: str) -> EditionShape:
    return EditionShape(
        name=edition.name,
        press=press,
        published=edition.published,
        note=edition.note,
        archived=edition.archived_at is not None,
        issues=[issue.number for issue in edition.issues],
    )


def step_shape(step: IssueStep) -> StepShape:
    return StepShape(**_of_step(step))


def _of_step(step: IssueStep) -> dict[str, Any]:
    names = ("at", "words", "facts")
    return {name: getattr(step, name) for name in names} | {
        "id": step.pk,
        "issue": step.issue.number,
        "step": step.kind,
        "by": name_or_none(step.by),
        "kept": getattr(step, "state", None) is not None,
    }


def step_content(step: IssueStep) -> StepContent:
    """Of a step whose state was kept."""
    wanted = SignedMark.model_fields
    kept = rows_of(step.state).values()
    marks = [SignedMark.model_validate({name: row.get(name) for name in wanted}) for row in kept]
    guides = [ScanShape(page=page, revision=revision, sha256=sha256) for page, revision, sha256 in step.state.guides]
    return StepContent(**_of_step(step), guides=guides, marks=marks)
