"""Rows made into the shapes that are answered."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch, prefetch_related_objects

from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array
from bible.locks.queries import FoundPart
from bible.models import Issue, Lock, Ownership, Proposal, SceneTarget, Series
from bible.models.naming import name_of
from bible.models.stretches import HasStretch
from bible.scenes.queries import Light
from bible.series.running_order import RunningOrder
from guides.api.shapes import (
    AssignmentShape,
    IssueShape,
    LitShape,
    LockShape,
    MarkShape,
    OwnerShape,
    PartShape,
    PrintedTint,
    SceneShape,
    StretchShape,
    TintShape,
    WornShape,
)
from guides.assignments.queries import GivenPage
from guides.core.in_editions import Ends
from guides.models import Mark


def tint_shape(series: Series, tint: object) -> TintShape | None:
    """None where there is no tint (unreadable, nothing locked)."""
    if not isinstance(tint, Tint):
        return None
    cyan, magenta, yellow, key = tint.percentages
    return TintShape(code=series.write(tint), cyan=cyan, magenta=magenta, yellow=yellow, key=key)


def chart_shapes(series: Series, press: PressCondition) -> list[PrintedTint]:
    tints = series.chart.tints
    grid = as_array(tints)
    shapes = []
    for tint, lab, srgb in zip(tints, press.lab(grid), press.hexes(tints), strict=True):
        shape = tint_shape(series, tint)
        assert shape is not None
        printed = [round(float(value), 3) for value in lab]
        shapes.append(PrintedTint(**shape.dict(), lab=printed, srgb=srgb))
    return shapes


def issue_shape(issue: Issue) -> IssueShape:
    return IssueShape(
        number=issue.number,
        title=issue.title,
        cover_date=issue.published,
        position=issue.position,
        signed_off=issue.signed_off_at is not None,
    )


def lock_shape(series: Series, lock: Lock, order: RunningOrder) -> LockShape:
    decision: dict[str, Any] = {
        "decided_by": name_of(lock.decided_by),
        "decided_at": lock.decided_at,
        "reason": lock.reason,
    }
    return LockShape(**asked_shape(series, lock), holds=stretch_shape(order, lock), **decision)


def asked_shape(series: Series, lock: Lock | Proposal) -> dict[str, Any]:
    ends = {"tint": tint_shape(series, lock.tint), "fades_to": tint_shape(series, lock.to_tint)}
    return {"role": lock.role, "written": lock.written, "direction": lock.direction or None} | ends


def worn_shape(series: Series, lock: Lock, order: RunningOrder) -> WornShape:
    return WornShape(**asked_shape(series, lock), when=order.span(lock))


def stretch_shape(order: RunningOrder, stretch: HasStretch) -> StretchShape:
    first, last = order.ends(stretch)
    return StretchShape(first=first or None, last=last or None)


def part_shapes(series: Series, found_parts: list[FoundPart], order: RunningOrder) -> list[PartShape]:
    """Parts with whose their subjects are: two queries more, however many."""
    owners = Ownership.objects.standing().select_related("owner")
    prefetch_related_objects(
        [found_part.part for found_part in found_parts], Prefetch("costume__subject__ownerships", owners)
    )
    return [_part_shape(series, found_part, order) for found_part in found_parts]


def _part_shape(series: Series, found_part: FoundPart, order: RunningOrder) -> PartShape:
    costume = found_part.part.costume
    return PartShape(
        id=found_part.part.pk,
        part=found_part.part.name,
        costume=costume.name,
        subject=costume.subject.name,
        in_use=found_part.in_use,
        worn=[stretch_shape(order, stretch) for stretch in costume.worn],
        belongs_to=[
            OwnerShape(**stretch_shape(order, ownership).dict(), owner=ownership.owner.name)
            for ownership in costume.subject.ownerships.all()
        ],
        locks=[lock_shape(series, lock, order) for lock in found_part.locks],
        wore=[worn_shape(series, lock, order) for lock in found_part.wore],
    )


def mark_shape(series: Series, mark: Mark, printed: Ends | None = None) -> MarkShape:
    """``printed``: what an edition prints it in instead of what is written."""
    part, kind = mark.part, mark.flag_kind
    first, second = printed or (None, None)
    return MarkShape(
        id=mark.pk,
        issue=mark.guide.issue.number,
        page=mark.guide.page,
        number=mark.number,
        x=mark.x,
        y=mark.y,
        written=mark.written,
        tint=tint_shape(series, mark.tint),
        fades_to=tint_shape(series, mark.to_tint),
        subject=part.costume.subject.name if part else None,
        costume=part.costume.name if part else None,
        part=part.name if part else None,
        role=mark.role,
        scene=mark.scene.name if mark.scene else None,
        expected=tint_shape(series, mark.expected) if part else None,
        expected_to=tint_shape(series, mark.expected_to) if part else None,
        printed=tint_shape(series, first),
        printed_to=tint_shape(series, second),
        flag=kind.value if kind else None,
        allowed=mark.waived,
        let_in=mark.let_in,
        made_by=name_of(mark.created_by),
        made_at=mark.created_at,
        changed_by=name_of(mark.changed_by),
        changed_at=mark.deleted_at or mark.changed_at,
        gone=gone(mark),
    )


def gone(mark: Mark) -> str | None:
    if mark.deleted_at:
        return "taken-off"
    if not mark.guide.is_current:
        return "newer-scan"
    return "issue-archived" if mark.guide.issue.archived_at else None


def scene_shape(light: Light) -> SceneShape:
    scene = light.scene
    lit = [_lit_shape(target) for target in light.targets]
    return SceneShape(name=scene.name, note=scene.note, rule=str(scene.rule), falls_on=lit)


def _lit_shape(target: SceneTarget) -> LitShape:
    part, subject = target.part, target.subject
    return LitShape(
        subject=part.costume.subject.name if part else subject.name if subject else None,
        costume=part.costume.name if part else None,
        part=part.name if part else None,
        role=target.role or None,
    )


def assignment_shape(given: GivenPage) -> AssignmentShape:
    row = given.assignment
    return AssignmentShape(
        issue=row.issue.number,
        page=row.page,
        given_to=name_of(row.colourist) if given.is_held else None,
        to_be_in_by=row.due,
        state=given.state,
        is_in=given.guide is not None,
        late=given.is_late,
        marks=given.marks,
        open_flags=given.flags,
        note=row.note,
        given_at=row.given_at,
    )
