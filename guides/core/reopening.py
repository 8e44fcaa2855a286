"""A signed-off issue that something touches is open again, in the transaction that touches it, and says why.

What is done to an issue's own pages (a mark, a guide, a scene, a waiver) touches it in any case. What is decided
elsewhere (a lock, a scene's rule, how codes read) touches the issues in which a mark now owes another tint or reads
as another.

Signing takes the series' row for itself and deeds share its key, so what is signed is what is there; ``check
--verify`` compares fingerprints. What an archived issue was signed with stays on record; archiving or bringing back
opens it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from django.db.models import Q
from django.utils import timezone

from bible.models import ActivityKind, Issue, record
from bible.series.holding import hold, hold_reading
from guides.core.fingerprint import fingerprint
from guides.core.holding import signed_rows
from guides.models import WORDS_LENGTH, IssueStep, MarkQuerySet

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    from bible.models import IssueQuerySet


def signed(series_id: int) -> IssueQuerySet:
    return Issue.objects.filter(series_id=series_id).signed_off()


def reopen(
    *, series_id: int, issues: Iterable[int], by: User | None, why: str, held: bool = False, by_hand: bool = False
) -> list[Issue]:
    """Open those of some issues again that are signed off. Returns them; one cheap query where there are none.

    They go back into check: the editor has to look again. What was signed stays on record.

    Args:
        held: this transaction keeps signers away already: it holds the series, if only ``hold_reading``. Signing
            takes the series for itself (``guides.signoff.services``), so what is signed is what is there.
        by_hand: somebody wants the issue open, so it stays so whatever becomes true again.
    """
    if not held:
        hold_reading(series_id)
    issues = list(issues)
    hold(signed_rows(series_id, issues))
    reopened = list(signed(series_id).filter(pk__in=issues).order_by("pk"))
    if not reopened:
        return []
    now = timezone.now()
    signed_as = {} if by_hand else _signed_as(issue.pk for issue in reopened)
    Issue.objects.filter(pk__in=[issue.pk for issue in reopened]).update(signed_off_at=None, in_check_at=now)
    IssueStep.objects.bulk_create(
        IssueStep(
            series_id=series_id,
            issue=issue,
            kind=IssueStep.Kind.REOPENED,
            by=by,
            at=now,
            words=why[:WORDS_LENGTH],
            fingerprint=signed_as.get(issue.pk, ""),
        )
        for issue in reopened
    )
    numbers = ", ".join(issue.number for issue in sorted(reopened, key=lambda issue: issue.position))
    alone = reopened[0] if len(reopened) == 1 else None
    words = {"name": numbers, "reason": why}
    record(ActivityKind.REOPENED, series=series_id, by=by, count=len(reopened), words=words, issue=alone)
    return reopened


def _signed_as(issues: Iterable[int]) -> dict[int, str]:
    """The fingerprints of what was signed last, by issue."""
    signings = IssueStep.objects.filter(issue__in=list(issues)).signings().order_by("pk")
    return dict(signings.values_list("issue", "fingerprint"))


def fallen(series_id: int) -> dict[int, IssueStep]:
    """By issue, the last step of those whose sign-off fell by itself and on whose way out nothing happened since."""
    in_check = Issue.objects.filter(series_id=series_id, signed_off_at=None, in_check_at__isnull=False)
    steps = IssueStep.objects.filter(issue__in=in_check).on_the_way_out()
    last = {step.issue_id: step for step in steps.order_by("pk")}
    return {pk: step for pk, step in last.items() if step.kind == IssueStep.Kind.REOPENED and step.fingerprint}


def stand_again(*, series_id: int, issues: Iterable[int], by: User | None, why: str) -> list[Issue]:
    """Let sign-offs stand again that fell by themselves and whose signed state is true again, to the fingerprint."""
    fell = fallen(series_id)
    standing = []
    for issue in Issue.objects.filter(pk__in={*issues} & {*fell}).order_by("position"):
        if fingerprint(issue) != fell[issue.pk].fingerprint:
            continue
        signing = IssueStep.objects.filter(issue=issue).signings().newest_first()[0]
        Issue.objects.filter(pk=issue.pk).update(signed_off_at=signing.at)
        kept = {"series_id": series_id, "issue": issue, "by": by, "at": timezone.now(), "words": why[:WORDS_LENGTH]}
        IssueStep.objects.create(kind=IssueStep.Kind.STANDS, **kept)
        words = {"name": issue.number, "reason": why}
        record(ActivityKind.STANDS_AGAIN, series=series_id, by=by, words=words, issue=issue)
        standing.append(issue)
    return standing


def _owed(marks: MarkQuerySet, series_id: int) -> set[tuple[object, ...]]:
    """What the marks of issues owe that are signed off, or were until that fell by itself. Expectations follow from
    part, role, place in the running order and scene, so few rows stand for many marks; the index of a lock's impact
    answers."""
    watched = Issue.objects.filter(Q(pk__in=signed(series_id).values("pk")) | Q(pk__in=list(fallen(series_id))))
    rows = marks.live().filter(part__isnull=False, position__in=watched.values("position")).order_by()
    return set(rows.values_list("position", "part_id", "role", "scene_id", "expected", "expected_to").distinct())


@contextmanager
def watching(marks: MarkQuerySet, *, series_id: int, by: User | None, why: str) -> Iterator[None]:
    """Open the signed-off issues again in which what some marks owe is another after the block than before; where it
    is as it was signed again, the sign-off stands again.

    Args:
        marks: not chosen by anything that the block changes.
    """
    hold_reading(series_id)
    if not signed(series_id).exists() and not fallen(series_id):
        yield
        return
    before = _owed(marks, series_id)
    yield
    changed = before ^ _owed(marks, series_id)
    if changed:
        touched = Issue.objects.filter(series_id=series_id, position__in={row[0] for row in changed})
        keys = list(touched.values_list("pk", flat=True))
        fell = reopen(series_id=series_id, issues=keys, by=by, why=why)
        stand_again(series_id=series_id, issues={*keys} - {issue.pk for issue in fell}, by=by, why=why)


def reread(marks: MarkQuerySet, text: str, *, series_id: int, by: User | None, why: str) -> None:
    """Open the signed-off issues again that have marks among these, and say which texts read differently now.

    Args:
        text: the field with the text that is read.
    """
    touched = marks.live().filter(position__in=signed(series_id).values("position")).order_by()
    texts_at: dict[int, list[str]] = defaultdict(list)
    for position, written in touched.values_list("position", text).distinct():
        texts_at[position].append(repr(written))
    issues = dict(signed(series_id).filter(position__in=texts_at).values_list("position", "pk"))
    for position, texts in texts_at.items():
        reopen(series_id=series_id, issues=[issues[position]], by=by, why=f"{why}: {', '.join(sorted(texts))}")
