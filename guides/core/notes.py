"""Notes beside marks: written, and read by mark and by subject."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction

from bible.models import ActivityKind, LockNote, Series, Subject, record
from guides.models import Guide, Mark, MarkNote

if TYPE_CHECKING:
    from django.contrib.auth.models import User

NOTES_SHOWN = 60


def notes_of(mark: Mark, *, new: bool = False) -> dict[str, Any]:
    """What the panel shows beside a mark: its own notes, and those of the decision in force for it. A ``new`` one
    has none of its own."""
    held = LockNote.objects.of_decision(mark.lock).with_writers() if mark.lock else []
    return {"notes": [] if new else mark.notes.with_writers(), "lock_notes": held}


def notes_of_subject(series: Series, subject: Subject) -> list[MarkNote]:
    """The newest notes beside marks of a subject's parts, newest first, with where they are."""
    notes = MarkNote.objects.filter(series=series, mark__part__costume__subject=subject).with_writers()
    placed = notes.select_related("mark__guide__issue", "mark__part__costume", "written_by")
    return list(placed.order_by("-id")[:NOTES_SHOWN])


def record_about_marks(deed: ActivityKind, marks: list[Mark], by: User | None, words: dict[str, str]) -> None:
    """Of one mark: where it is and whose it is; of a run: the issue or page that all are in, if it is one."""
    guides = Guide.objects.filter(pk__in={mark.guide_id for mark in marks}).select_related("issue")
    issues, first = {guide.issue for guide in guides}, marks[0]
    about: dict[str, Any] = {"issue": issues.pop() if len(issues) == 1 else None}
    if len(guides) == 1:
        about["page"] = guides[0].page
    if len(marks) == 1:
        about |= {"mark_number": first.number, "person": first.created_by}
    record(deed, series=first.series_id, by=by, count=len(marks), words=words, **about)


@transaction.atomic
def note_on_mark(*, mark: Mark, text: str, by: User) -> MarkNote:
    """Write a note beside a mark, and so beside its flag."""
    note = MarkNote.objects.create(series_id=mark.series_id, mark=mark, text=text, written_by=by)
    record_about_marks(ActivityKind.NOTED, [mark], by, {"text": text})
    return note
