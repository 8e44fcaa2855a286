"""Writes of exceptions: scenes on pages, waivers of flags, and notes. Keyword-only and atomic."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from bible.models import Scene
from bible.services import Refused
from guides import continuity
from guides.models import Guide, Mark, MarkNote, SceneArea, Waiver

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@dataclass(frozen=True, slots=True)
class Region:
    """Part of a page; edges are fractions of its width and height from top left."""

    left: float = 0.0
    top: float = 0.0
    right: float = 1.0
    bottom: float = 1.0


WHOLE_PAGE = Region()


@transaction.atomic
def apply_scene(*, guide: Guide, scene: Scene, region: Region = WHOLE_PAGE, by: User) -> SceneArea:
    """Let a scene hold on a page or a panel; its marks are resolved anew."""
    area = SceneArea.objects.create(
        series_id=guide.series_id,
        guide=guide,
        scene=scene,
        left=region.left,
        top=region.top,
        right=region.right,
        bottom=region.bottom,
        applied_by=by,
    )
    continuity.place(Mark.objects.filter(guide=guide))
    return area


@transaction.atomic
def remove_scene(*, area: SceneArea, by: User) -> None:
    """Let a scene hold no longer on a page or panel."""
    area = SceneArea.objects.select_for_update().get(pk=area.pk)
    if area.removed_at:
        raise Refused("Somebody has taken this scene away already.")
    area.removed_by, area.removed_at = by, timezone.now()
    area.save(update_fields=["removed_by", "removed_at"])
    continuity.place(Mark.objects.filter(guide_id=area.guide_id))


@transaction.atomic
def waive(*, marks: Iterable[Mark], reason: str, by: User) -> list[Waiver]:
    """Allow the flags of some marks to stand, with one reason for all. Marks without an open flag are passed over.

    Raises:
        Refused: no reason, or none of the marks has an open flag (any more).
    """
    if not reason.strip():
        raise Refused("A waiver needs a reason: it is read years later.")
    asked = [mark.pk for mark in marks]
    held = Mark.objects.select_for_update().filter(pk__in=asked).open().order_by("pk")
    now = timezone.now()
    waivers = Waiver.objects.bulk_create(
        Waiver(
            series_id=mark.series_id,
            mark=mark,
            part_id=mark.part_id,  # type: ignore[misc]
            role=mark.role,
            tint=mark.tint,
            expected=mark.expected,
            reason=reason,
            waived_by=by,
            waived_at=now,
        )
        for mark in held
    )
    if not waivers:
        raise Refused("No flag is open here any more: there is nothing to waive.")
    Mark.objects.filter(pk__in=[waiver.mark_id for waiver in waivers]).update(waived=True)
    return waivers


@transaction.atomic
def take_waiver_back(*, waiver: Waiver, by: User) -> None:
    """Let a waived flag be open again."""
    waiver = Waiver.objects.select_for_update().get(pk=waiver.pk)
    if waiver.died_at:
        raise Refused("This waiver does not hold any more.")
    waiver.died_at, waiver.died_by = timezone.now(), by
    waiver.save(update_fields=["died_at", "died_by"])
    Mark.objects.filter(pk=waiver.mark_id).update(waived=False)


@transaction.atomic
def note_on_mark(*, mark: Mark, text: str, by: User) -> MarkNote:
    return MarkNote.objects.create(series_id=mark.series_id, mark=mark, text=text, written_by=by)
