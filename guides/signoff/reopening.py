"""A signed-off issue that something touches is open again, in the transaction that touches it, and says why.

What is done to an issue's own pages (a mark, a guide, a scene, a waiver) touches it in any case. What is decided
elsewhere (a lock, a scene's rule, how codes read) touches the issues in which a mark now owes another tint or reads
as another.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from django.utils import timezone

from bible.models import Deed, Issue
from bible.services import hold_reading, record
from bible.services.holding import hold
from guides.holding import signed_rows
from guides.models import IssueStep, MarkQuerySet
from guides.models.steps import WORDS_LENGTH

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    from bible.models.series import IssueQuerySet


def signed(series_id: int) -> IssueQuerySet:
    return Issue.objects.filter(series_id=series_id).signed_off()


def reopen(*, series_id: int, issues: Iterable[int], by: User | None, why: str, held: bool = False) -> list[Issue]:
    """Open those of some issues again that are signed off. Returns them; one cheap query where there are none.

    They go back into check: the editor has to look again. What was signed stays on record.

    Args:
        held: this transaction keeps signers away already: it holds the series, if only ``hold_reading``. Signing
            takes the series for itself (``guides.signoff.deeds``), so what is signed is what is there.
    """
    if not held:
        hold_reading(series_id)
    issues = list(issues)
    hold(signed_rows(series_id, issues))
    found = list(signed(series_id).filter(pk__in=issues).order_by("pk"))
    if not found:
        return []
    now = timezone.now()
    Issue.objects.filter(pk__in=[issue.pk for issue in found]).update(signed_off_at=None, in_check_at=now)
    IssueStep.objects.bulk_create(
        IssueStep(
            series_id=series_id,
            issue=issue,
            kind=IssueStep.Kind.REOPENED,
            by=by,
            at=now,
            words=why[:WORDS_LENGTH],
        )
        for issue in found
    )
    numbers = ", ".join(issue.number for issue in sorted(found, key=lambda issue: issue.position))
    alone = found[0] if len(found) == 1 else None
    said = {"name": numbers, "reason": why}
    record(Deed.REOPENED, series=series_id, by=by, count=len(found), words=said, issue=alone)
    return found


def _owed(marks: MarkQuerySet, series_id: int) -> set[tuple[object, ...]]:
    """What the marks of signed-off issues owe. Expectations follow from part, role, place in the running order and
    scene, so few rows stand for many marks; the index of a lock's impact answers."""
    rows = marks.live().filter(part__isnull=False, position__in=signed(series_id).values("position")).order_by()
    return set(rows.values_list("position", "part_id", "role", "scene_id", "expected").distinct())


@contextmanager
def watching(marks: MarkQuerySet, *, series_id: int, by: User | None, why: str) -> Iterator[None]:
    """Open the signed-off issues again in which what some marks owe is another after the block than before.

    Args:
        marks: not chosen by anything that the block changes.
    """
    hold_reading(series_id)
    if not signed(series_id).exists():
        yield
        return
    before = _owed(marks, series_id)
    yield
    changed = before ^ _owed(marks, series_id)
    if changed:
        touched = signed(series_id).filter(position__in={row[0] for row in changed})
        reopen(series_id=series_id, issues=list(touched.values_list("pk", flat=True)), by=by, why=why)


def reread(marks: MarkQuerySet, text: str, *, series_id: int, by: User | None, why: str) -> None:
    """Open the signed-off issues again that have marks among these, and say which texts read differently now.

    Args:
        text: the field with the text that is read.
    """
    touched = marks.live().filter(position__in=signed(series_id).values("position")).order_by()
    said: dict[int, list[str]] = defaultdict(list)
    for position, written in touched.values_list("position", text).distinct():
        said[position].append(repr(written))
    issues = dict(signed(series_id).filter(position__in=said).values_list("position", "pk"))
    for position, texts in said.items():
        reopen(series_id=series_id, issues=[issues[position]], by=by, why=f"{why}: {', '.join(sorted(texts))}")
