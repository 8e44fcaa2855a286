"""Notes that hold for a whole page or a run of pages: “all skin on these pages is night”."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from bible.models import Issue, Note, NoteQuerySet
from guides.core.models.pages import PAGE_LABEL_LENGTH, Guide


class PageNoteQuerySet(NoteQuerySet):
    def standing(self) -> Self:
        return self.filter(removed_at=None)

    def of_page(self, guide: Guide) -> Self:
        """Notes that hold on a page. Pages whose labels say nothing about order (“map”) stand together; a note
        on one of them is not one on the others."""
        runs_over = Q(first_order__lte=guide.page_order, last_order__gte=guide.page_order)
        one_place = Q(first_order=F("last_order"))
        return self.filter(runs_over & (~one_place | Q(first_page=guide.page)), issue=guide.issue_id)


class PageNote(Note):
    """A note from one page to another of an issue, both included; orders follow from the labels."""

    issue = models.ForeignKey(Issue, on_delete=models.PROTECT, related_name="page_notes")
    first_page = models.CharField(max_length=PAGE_LABEL_LENGTH)
    last_page = models.CharField(max_length=PAGE_LABEL_LENGTH)
    first_order = models.PositiveIntegerField(editable=False)
    last_order = models.PositiveIntegerField(editable=False)
    removed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    removed_at = models.DateTimeField(null=True, blank=True)

    objects = PageNoteQuerySet.as_manager()  # type: ignore[misc]

    class Meta(Note.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(first_order__lte=F("last_order")), name="guides_page_note_runs_forward"
            )
        ]

    @property
    def run(self) -> str:
        """“page 7”, “pages 3–5”, “cover to page 2”."""
        first, last = self.first_page, self.last_page
        if first == last:
            return _named(first)
        if first[:1].isdigit() and last[:1].isdigit():
            return f"pages {first}–{last}"
        return f"{_named(first)} to {_named(last)}"

    def holds_on(self, guide: Guide) -> bool:
        """The twin of ``PageNoteQuerySet.of_page`` for notes and pages that are at hand."""
        if self.first_order == self.last_order:
            return self.first_page == guide.page
        return self.first_order <= guide.page_order <= self.last_order


def _named(label: str) -> str:
    return f"page {label}" if label[:1].isdigit() else label
