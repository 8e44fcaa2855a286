"""Writes of notes that hold for a page or a run of pages. Keyword-only and atomic."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from bible.models import Issue
from bible.series.refusals import Refused
from guides.core.labels import clean_label, page_order
from guides.core.once import deed_of_desk
from guides.models import Deed, PageNote

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@deed_of_desk(Deed.Kind.NOTE)
@transaction.atomic
def write_page_note(*, issue: Issue, first_page: str, last_page: str, text: str, by: User) -> PageNote:
    """Note something on pages ``first_page`` to ``last_page`` of an issue, both included.

    Raises:
        Refused: there is no text, or the run ends before it begins.
    """
    first, last = clean_label(first_page), clean_label(last_page or first_page)
    if not text.strip() or not first:
        raise Refused("A note needs a page and words.")
    start, end = page_order(first), page_order(last)
    if start > end or (start == end and first != last):
        raise Refused(f"Page {last} does not come after page {first}.")
    return PageNote.objects.create(
        series_id=issue.series_id,
        issue=issue,
        first_page=first,
        last_page=last,
        first_order=start,
        last_order=end,
        text=text.strip(),
        written_by=by,
    )


@deed_of_desk(Deed.Kind.NOTE_AWAY)
@transaction.atomic
def remove_page_note(*, note: PageNote, by: User) -> PageNote:
    """Let a note hold no longer; it is kept. ``Refused`` where somebody did that already."""
    note = PageNote.objects.select_for_update(of=("self",)).get(pk=note.pk)
    if note.removed_at:
        raise Refused("Somebody has taken this note away already.")
    note.removed_by, note.removed_at = by, timezone.now()
    note.save(update_fields=["removed_by", "removed_at"])
    return note


@transaction.atomic
def bring_page_note_back(*, note: PageNote, by: User) -> PageNote:
    """A note that was taken away holds again, as a new one by its first writer. ``Refused`` where it holds."""
    note = PageNote.objects.select_for_update(of=("self",)).get(pk=note.pk)
    if not note.removed_at:
        raise Refused("This note holds already.")
    note.pk, note.removed_by, note.removed_at = None, None, None
    note.save(force_insert=True)
    return note
