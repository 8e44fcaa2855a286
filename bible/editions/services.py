"""Editions: made, changed, put away. Their codes are locks, decided in ``bible.locks.services``."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.utils import timezone

from bible.models import ActivityKind, ActivityRoom, CollectedIssue, Edition, Issue, record
from bible.series.edits import StaleEdit, fingerprint
from bible.series.holding import How, hold, series_rows
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder

if TYPE_CHECKING:
    from django.contrib.auth.models import User

FIELDS = ("name", "press", "published", "note")


def seen_of(edition: Edition) -> str:
    """Stands for what an edition says, its issues too, to be shown with a form and handed back."""
    issues = ",".join(str(pk) for pk in sorted(edition.collected.values_list("issue", flat=True)))
    return f"{fingerprint(edition, FIELDS)} {issues}"


def issues_said(edition: Edition) -> str:
    """Which issues it collects, as runs: “3 - 5; 8”."""
    order = RunningOrder.of(edition.series)
    return order.runs(set(edition.collected.values_list("issue", flat=True)))


@transaction.atomic
def save_edition(*, edition: Edition, issues: Iterable[Issue], by: User | None, seen: str = "") -> bool:
    """Save an edition, new or changed, with the issues it collects. Returns whether anything is new in it.

    Args:
        seen: ``seen_of`` when the form was shown; empty does not ask.

    Raises:
        StaleEdit: it says something else by now.
        Refused: its name is taken, or an issue is another series'.
    """
    hold(series_rows(edition.series_id, How.TO_CHANGE))
    wanted = {issue.pk for issue in issues}
    if Issue.objects.filter(pk__in=wanted).exclude(series=edition.series_id).exists():
        raise Refused("An edition collects issues of its own series.")
    deed, was = ActivityKind.ADDED, ""
    stored = Edition.objects.select_for_update().filter(pk=edition.pk).first() if edition.pk else None
    before: set[int] = set()
    if stored:
        if seen and seen != seen_of(stored):
            raise StaleEdit(stored, None)
        deed, was = ActivityKind.CHANGED, stored.name
        before = set(stored.collected.values_list("issue", flat=True))
        if wanted == before and all(getattr(stored, name) == getattr(edition, name) for name in FIELDS):
            return False
    try:
        with transaction.atomic():
            edition.save()
    except IntegrityError as error:
        raise Refused("Somebody has saved an edition of this name meanwhile.") from error
    edition.collected.filter(issue__in=before - wanted).delete()
    CollectedIssue.objects.bulk_create(CollectedIssue(edition=edition, issue_id=pk) for pk in sorted(wanted - before))
    _record(deed, edition, by, was)
    return True


@transaction.atomic
def archive_edition(*, edition: Edition, archived: bool, by: User | None) -> None:
    """Offer it no longer, or again; its codes and their history stay. Twice is once."""
    hold(series_rows(edition.series_id, How.TO_CHANGE))
    stored = Edition.objects.select_for_update().get(pk=edition.pk)
    if bool(stored.archived_at) != archived:
        stored.archived_at = timezone.now() if archived else None
        stored.save(update_fields=["archived_at"])
        _record(ActivityKind.ARCHIVED if archived else ActivityKind.BROUGHT_BACK, stored, by)
    edition.archived_at = stored.archived_at


def _record(deed: ActivityKind, edition: Edition, by: User | None, was: str = "") -> None:
    words = {"what": "edition", "name": edition.name, "was": was if was != edition.name else ""}
    words["issues"] = issues_said(edition)
    record(deed, series=edition.series_id, by=by, room=ActivityRoom.EDITIONS, words=words)
