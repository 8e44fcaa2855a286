"""Writes of exceptions: scenes on pages, waivers of flags, and notes. Keyword-only and atomic."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from bible.digest import digest
from bible.models import Deed, Scene
from bible.services import Refused, record
from guides import continuity
from guides.holding import hold_pages
from guides.models import Guide, Mark, MarkNote, MarkQuerySet, SceneArea, Waiver
from guides.signoff.reopening import reopen

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
    """Let a scene hold on a page or a panel; its marks are resolved anew.

    Raises:
        Refused: the region has no extent or leaves the page, or this scene holds in exactly this region already.
    """
    edges = {"left": region.left, "right": region.right, "top": region.top, "bottom": region.bottom}
    if not (0 <= region.left < region.right <= 1 and 0 <= region.top < region.bottom <= 1):
        raise Refused("A panel must lie on the page, and end behind where it begins.")
    hold_page(guide)
    if SceneArea.objects.filter(guide=guide, scene=scene, **edges).standing().exists():
        raise Refused(f"{scene} holds there already.")
    area = SceneArea.objects.create(
        series_id=guide.series_id,
        guide=guide,
        scene=scene,
        applied_by=by,
        **edges,
    )
    reopen(series_id=guide.series_id, issues=[guide.issue_id], by=by, why=f"scene {scene} applied to {guide}")
    continuity.place(Mark.objects.filter(guide=guide))
    _record_area(Deed.SCENE_APPLIED, area, by)
    return area


def hold_page(guide: Guide) -> None:
    """A page and its marks: none is placed there meanwhile."""
    marks = Mark.objects.filter(guide=guide)
    hold_pages(series_id=guide.series_id, issues=[guide.issue_id], guides=[guide.pk], marks=marks)


def _record_area(deed: Deed, area: SceneArea, by: User) -> None:
    guide, said = area.guide, {"name": area.scene.name, "where": "the page" if area.is_whole_page else "a panel"}
    record(deed, series=area.series_id, by=by, scene=area.scene, issue=guide.issue, page=guide.page, words=said)


@transaction.atomic
def remove_scene(*, area: SceneArea, by: User) -> SceneArea:
    """Let a scene hold no longer on a page or panel."""
    hold_page(area.guide)
    held = SceneArea.objects.select_for_update(of=("self",)).select_related("scene", "guide__issue")
    area = held.get(pk=area.pk)
    if area.removed_at:
        raise Refused("Somebody has taken this scene away already.")
    area.removed_by, area.removed_at = by, timezone.now()
    area.save(update_fields=["removed_by", "removed_at"])
    why = f"scene {area.scene} taken off {area.guide}"
    reopen(series_id=area.series_id, issues=[area.guide.issue_id], by=by, why=why)
    continuity.place(Mark.objects.filter(guide_id=area.guide_id))
    _record_area(Deed.SCENE_REMOVED, area, by)
    return area


class FlagsMoved(Refused):
    """The flags to be waived are not those that were shown."""


def flags_token(marks: Iterable[Mark]) -> str:
    """Stands for exactly these flags as they are: whose they are, what the marks say and what is expected of them."""
    said = [
        (mark.pk, mark.part_id, mark.role, mark.written, mark.tint, mark.expected)
        for mark in sorted(marks, key=lambda mark: mark.pk)
    ]
    return digest(repr(said))


@transaction.atomic
def waive(*, marks: Iterable[Mark], reason: str, by: User, seen: str | None = None) -> list[Waiver]:
    """Allow the flags of some marks to stand, with one reason for all. Marks without an open flag are passed over.

    Args:
        seen: ``flags_token`` of the flags that the person looked at; None does not ask.

    Raises:
        FlagsMoved: a mark, or what is expected of it, is not as it was seen any more.
        Refused: no reason, or none of the marks has an open flag (any more).
    """
    if not reason.strip():
        raise Refused("A waiver needs a reason: it is read years later.")
    asked = {mark.pk: mark for mark in marks}
    _hold_marks(Mark.objects.filter(pk__in=asked))
    held = list(Mark.objects.filter(pk__in=asked).open().order_by("pk"))
    if held and seen is not None and seen != flags_token(held):
        raise FlagsMoved("These flags have moved meanwhile: look at them again, then save.")
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
    waived = Mark.objects.filter(pk__in=[waiver.mark_id for waiver in waivers])
    _reopen_of(waived, by, f"{len(waivers)} flag{'s' if len(waivers) > 1 else ''} waived: {reason}")
    waived.update(waived=True)
    _record_about(Deed.WAIVED, held, by, {"reason": reason})
    return waivers


def _hold_marks(marks: MarkQuerySet) -> None:
    """Some marks of one series, and the signed issues they are in: allowing a flag opens these again."""
    places = list(marks.order_by().values_list("series_id", "guide__issue_id").distinct())
    for series_id in {series for series, _ in places}:
        hold_pages(series_id=series_id, issues=[issue for _, issue in places], marks=marks)


def _record_about(deed: Deed, marks: list[Mark], by: User, words: dict[str, str]) -> None:
    """Of one mark: where it is and whose it is; of a run: the issue or page that all are in, if it is one."""
    guides = Guide.objects.filter(pk__in={mark.guide_id for mark in marks}).select_related("issue")
    issues, one = {guide.issue for guide in guides}, marks[0]
    about: dict[str, Any] = {"issue": issues.pop() if len(issues) == 1 else None}
    if len(guides) == 1:
        about["page"] = guides[0].page
    if len(marks) == 1:
        about |= {"mark_number": one.number, "person": one.created_by}
    record(deed, series=one.series_id, by=by, count=len(marks), words=words, **about)


@transaction.atomic
def take_waiver_back(*, waiver: Waiver, by: User) -> None:
    """Let a waived flag be open again."""
    _hold_marks(Mark.objects.filter(pk=waiver.mark_id))
    waiver = Waiver.objects.select_for_update(of=("self",)).select_related("mark__created_by").get(pk=waiver.pk)
    if waiver.died_at:
        raise Refused("This waiver does not hold any more.")
    waiver.died_at, waiver.died_by = timezone.now(), by
    waiver.save(update_fields=["died_at", "died_by"])
    waived = Mark.objects.filter(pk=waiver.mark_id)
    _reopen_of(waived, by, "a waiver taken back")
    waived.update(waived=False)
    _record_about(Deed.WAIVER_BACK, [waiver.mark], by, {"reason": waiver.reason})


def _reopen_of(marks: MarkQuerySet, by: User, why: str) -> None:
    for series_id, issue_id in set(marks.order_by().values_list("series_id", "guide__issue_id")):
        reopen(series_id=series_id, issues=[issue_id], by=by, why=why)


@transaction.atomic
def note_on_mark(*, mark: Mark, text: str, by: User) -> MarkNote:
    """Write a note beside a mark, and so beside its flag."""
    note = MarkNote.objects.create(series_id=mark.series_id, mark=mark, text=text, written_by=by)
    _record_about(Deed.NOTED, [mark], by, {"text": text})
    return note
