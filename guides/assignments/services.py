"""Giving pages, changing to whom and by when, taking them back. Keyword-only and atomic."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from bible.models import ActivityKind, Issue, record
from bible.models.naming import name_of
from bible.models.permissions import Permission
from bible.series.holding import How, Rows, hold, series_rows
from bible.series.refusals import Refused
from bible.web.digest import digest
from guides.assignments.labels import pages_in_words
from guides.core.labels import page_order, pages_shown
from guides.core.rules import refuse_archived
from guides.models import Assignment

if TYPE_CHECKING:
    from django.contrib.auth.models import User


class OthersPages(Refused):
    """Some of the pages are somebody else's; ``seen`` stands for whose, and goes along with the yes."""

    def __init__(self, rows: Sequence[Assignment]) -> None:
        self.seen = _seen(rows)
        whose: dict[str, list[str]] = defaultdict(list)
        for assignment in rows:
            whose[name_of(assignment.colourist)].append(assignment.page)
        named = "; ".join(f"{pages_in_words(pages)} {_is_are(pages)} with {name}" for name, pages in whose.items())
        super().__init__(f"Given already: {named}. Nothing is changed yet; send it again to give them all the same.")


def _is_are(pages: list[str]) -> str:
    return "is" if len(pages) == 1 else "are"


def _seen(rows: Iterable[Assignment]) -> str:
    return digest("\x1f".join(f"{row.pk} {row.colourist_id}" for row in sorted(rows, key=lambda row: row.pk)))


@transaction.atomic
def give_pages(
    *,
    issue: Issue,
    pages: Sequence[str],
    colourist: User,
    by: User,
    due: dt.date | None = None,
    note: str = "",
    seen: str = "",
) -> list[Assignment]:
    """Give pages of an issue to somebody, with the day they are to be in by.

    Args:
        pages: labels as ``clean_label`` gives them.
        seen: ``OthersPages.seen`` of what the person was shown, where pages change hands.

    Raises:
        OthersPages: some of them are somebody else's, and nobody has said yes to just that.
        Refused: the issue is signed off or archived, the person may not mark, or a page is given by another label.
    """
    issue = _hold(issue)
    _refuse_stranger(issue, colourist)
    here = list(issue.assignments.select_related("colourist"))
    _refuse_twins(here, pages)
    known = {assignment.page: assignment for assignment in here if assignment.page in set(pages)}
    others = [assignment for assignment in known.values() if assignment.colourist_id != colourist.pk]
    if others and seen != _seen(others):
        raise OthersPages(others)
    fields = {"colourist": colourist, "due": due, "note": note.strip(), "given_by": by, "given_at": timezone.now()}
    rows = [
        Assignment(series_id=issue.series_id, issue=issue, page=page, page_order=page_order(page), **fields)
        for page in dict.fromkeys(pages)
    ]
    made = Assignment.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["issue", "page"], update_fields=list(fields)
    )
    for person, lost in _by_person(others).items():
        _record(ActivityKind.PAGES_BACK, issue, by, person, lost)
    _record(ActivityKind.PAGES_GIVEN, issue, by, colourist, [assignment.page for assignment in made], due)
    return made


@transaction.atomic
def change_assignments(
    *,
    issue: Issue,
    chosen: Iterable[int],
    by: User,
    colourist: User | None = None,
    due: dt.date | None = None,
    no_date: bool = False,
) -> list[Assignment]:
    """Give pages that are given already to somebody else, or another day; what is None stays as it is.

    Raises:
        Refused: nothing was chosen or said, the pages are gone, or as for ``give_pages``.
    """
    issue = _hold(issue)
    rows = _chosen(issue, chosen)
    if colourist is None and due is None and not no_date:
        raise Refused("Say to whom, or by when.")
    if colourist is not None:
        _refuse_stranger(issue, colourist)
    moved = [assignment for assignment in rows if colourist and assignment.colourist_id != colourist.pk]
    lost = _by_person(moved)
    for assignment in rows:
        assignment.due = None if no_date else due or assignment.due
        assignment.colourist = colourist or assignment.colourist
        assignment.given_by, assignment.given_at = by, timezone.now()
    Assignment.objects.bulk_update(rows, ["due", "colourist", "given_by", "given_at"])
    for person, pages in lost.items():
        _record(ActivityKind.PAGES_BACK, issue, by, person, pages)
    for person, pages in _by_person(moved).items():
        _record(ActivityKind.PAGES_GIVEN, issue, by, person, pages, due)
    stayed = [assignment for assignment in rows if assignment not in moved] if due or no_date else []
    for person, pages in _by_person(stayed).items():
        _record(ActivityKind.PAGES_CHANGED, issue, by, person, pages, due)
    return rows


@transaction.atomic
def unassign_pages(*, issue: Issue, chosen: Iterable[int], by: User) -> list[Assignment]:
    """The pages are nobody's any more; guides that have come in stay whose they are. ``Refused``: none was chosen."""
    issue = _hold(issue)
    rows = _chosen(issue, chosen)
    Assignment.objects.filter(pk__in=[assignment.pk for assignment in rows]).delete()
    for person, pages in _by_person(rows).items():
        _record(ActivityKind.PAGES_BACK, issue, by, person, pages)
    return rows


def _hold(issue: Issue) -> Issue:
    hold(series_rows(issue.series_id, How.KEPT), Rows(Issue.objects.filter(pk=issue.pk), How.TO_CHANGE))
    issue = Issue.objects.select_related("series").get(pk=issue.pk)
    refuse_archived(issue)
    if issue.signed_off_at:
        raise Refused(f"Issue {issue.number} is signed off: there is no page to be done in it.")
    return issue


def _refuse_stranger(issue: Issue, colourist: User) -> None:
    membership = issue.series.memberships.filter(user=colourist).first()
    if membership is None or not membership.may(Permission.MARK):
        raise Refused(f"{name_of(colourist)} does not colour in this series.")


def _refuse_twins(here: Iterable[Assignment], pages: Sequence[str]) -> None:
    """A page is given under one label: not as 2 and again as 2-3."""
    asked = set(pages)
    for page in asked:
        twins = [
            assignment.page
            for assignment in here
            if assignment.page not in asked and pages_shown(assignment.page) & pages_shown(page)
        ]
        twins += [other for other in asked - {page} if pages_shown(other) & pages_shown(page)]
        if twins:
            raise Refused(f"Pages {page} and {twins[0]} are the same page: give it under one label.")


def _chosen(issue: Issue, chosen: Iterable[int]) -> list[Assignment]:
    keys = set(chosen)
    rows = list(issue.assignments.filter(pk__in=keys).select_related("colourist").in_order())
    if not rows or len(rows) < len(keys):
        raise Refused(
            "Choose at least one page." if not keys else "Somebody took some of these pages back meanwhile."
        )
    return rows


def _by_person(rows: Iterable[Assignment]) -> dict[User, list[str]]:
    pages: dict[User, list[str]] = defaultdict(list)
    for assignment in rows:
        pages[assignment.colourist].append(assignment.page)
    return pages


def _record(
    kind: ActivityKind, issue: Issue, by: User, person: User, pages: list[str], due: dt.date | None = None
) -> None:
    words = {"pages": pages_in_words(pages), "due": f"{due:%-d %b %Y}" if due else "", "to": name_of(person)}
    record(kind, series=issue.series_id, by=by, issue=issue, person=person, count=len(pages), words=words)
