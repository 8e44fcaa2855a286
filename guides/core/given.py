"""Whose a page is before anybody has said so of its scan."""

from __future__ import annotations

from bible.models import Issue
from guides.core.labels import pages_shown
from guides.models import Assignment


def given_to(issue: Issue, page: str) -> Assignment | None:
    """The assignment that a page falls under, by whatever label it comes in: a double page under that of its pages
    where both are one person's. None too where whoever had it has left."""
    shown = pages_shown(page)
    given = Assignment.objects.filter(issue=issue).with_names().order_by("given_at")
    rows = [assignment for assignment in given if pages_shown(assignment.page) & shown]
    held = all(assignment.held for assignment in rows)  # type: ignore[attr-defined]
    return rows[-1] if held and len({assignment.colourist_id for assignment in rows}) == 1 else None
