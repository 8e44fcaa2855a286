"""Writes of waivers: a flag that may stand, and one that may no longer. Keyword-only and atomic.

A waiver is for one disagreement: this mark, this tint, this expectation. When either changes it dies. It lives
again, as a row of its own, only where the decision is undone that killed it (it died in that decision's moment) and
both are again those it was given for. ``Mark.waived`` repeats it, so that open and waived flags are counted from
the index.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from bible.models import ActivityKind
from bible.models.fields import NoTint
from bible.series.refusals import Refused
from guides.core.holding import hold_pages
from guides.core.notes import record_about_marks
from guides.core.reopening import reopen
from guides.core.scene_areas import FlagsMoved, flags_token
from guides.models import Mark, MarkQuerySet, Waiver

if TYPE_CHECKING:
    from django.contrib.auth.models import User


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
    hold_waived(asked)
    held = list(Mark.objects.filter(pk__in=asked).open().order_by("pk"))
    if held and seen is not None and seen != flags_token(held):
        raise FlagsMoved("These flags have moved meanwhile: look at them again, then save.")
    now = timezone.now()
    waivers = Waiver.objects.bulk_create(
        _waiver_of(mark, reason=reason, waived_by=by, waived_at=now) for mark in held
    )
    if not waivers:
        raise Refused("No flag is open here any more: there is nothing to waive.")
    waived = Mark.objects.filter(pk__in=[waiver.mark_id for waiver in waivers])
    _reopen_of(waived, by, f"{len(waivers)} flag{'s' if len(waivers) > 1 else ''} waived: {reason}")
    waived.update(waived=True)
    record_about_marks(ActivityKind.WAIVED, held, by, {"reason": reason})
    return waivers


def _waiver_of(mark: Mark, **said: Any) -> Waiver:
    """A waiver of what a mark says now and what is expected of it."""
    return Waiver(
        series_id=mark.series_id,
        mark=mark,
        part_id=mark.part_id,  # type: ignore[misc]
        role=mark.role,
        tint=mark.tint,
        expected=mark.expected,
        fades_to=NoTint.FLAT if mark.to_tint is None else mark.to_tint,
        expected_to=mark.expected_to,
        **said,
    )


def hold_waived(keys: Iterable[int]) -> None:
    """Hold some marks of one series, and the signed issues they are in: allowing a flag opens these again."""
    marks = Mark.objects.filter(pk__in=list(keys))
    places = list(marks.order_by().values_list("series_id", "guide__issue_id").distinct())
    for series_id in {series for series, _ in places}:
        hold_pages(series_id=series_id, issues=[issue for _, issue in places], marks=marks)


@transaction.atomic
def remove_waiver(*, waiver: Waiver, by: User) -> None:
    """Let a waived flag be open again."""
    hold_waived([waiver.mark_id])
    waiver = Waiver.objects.select_for_update(of=("self",)).select_related("mark__created_by").get(pk=waiver.pk)
    if waiver.died_at:
        raise Refused("This waiver does not hold any more.")
    waiver.died_at, waiver.died_by = timezone.now(), by
    waiver.save(update_fields=["died_at", "died_by"])
    waived = Mark.objects.filter(pk=waiver.mark_id)
    _reopen_of(waived, by, "a waiver taken back")
    waived.update(waived=False)
    record_about_marks(ActivityKind.WAIVER_BACK, [waiver.mark], by, {"reason": waiver.reason})


def _reopen_of(marks: MarkQuerySet, by: User, why: str) -> None:
    for series_id, issue_id in set(marks.order_by().values_list("series_id", "guide__issue_id")):
        reopen(series_id=series_id, issues=[issue_id], by=by, why=why)
