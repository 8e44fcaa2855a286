"""What is still open before an issue goes out; for one issue or for many, in the same few queries."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Case, CharField, Count, Exists, OuterRef, Q, Value, When

from bible.models import Issue, Proposal, Series, Subject
from bible.models.fields import NoTint
from bible.web.digest import digest
from guides.core.labels import page_numbers, runs
from guides.models import FlagKind, Guide, IssueStep, Mark, ProofReading, flag_kind_condition

LOOK_BACK = 3
"""Issues looked back for subjects one would expect again: last month's, and the two before, since a cast takes turns
(common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Expected:
    """A subject that the issues before have and this one has not. ``of`` issues looked at, ``seen`` in these."""

    subject: Subject
    seen: tuple[Issue, ...]
    of: int

    @property
    def numbers(self) -> str:
        return ", ".join(issue.number for issue in self.seen)


@dataclass(frozen=True, slots=True)
class Points:
    """What there is of an issue and what is open. Numbers are counts of rows."""

    issue: Issue
    guides: int
    marks: int
    flags: dict[FlagKind, int]
    waived: int
    unread: int
    pages_expected: int | None
    missing: tuple[int, ...]
    beyond: tuple[int, ...]
    unmarked: tuple[Expected, ...]
    bare: tuple[Guide, ...]
    proposals: tuple[Proposal, ...]
    undecided: int = 0

    @property
    def open_flags(self) -> int:
        return sum(self.flags.values())

    @property
    def missing_pages(self) -> str:
        return runs(self.missing)

    @property
    def pages_beyond(self) -> str:
        return runs(self.beyond)

    @property
    def open(self) -> int:
        """How many things are open, whatever they are; 0: nothing stands in the way."""
        lists = (self.missing, self.beyond, self.unmarked, self.bare, self.proposals)
        none = int(not self.guides)
        return self.open_flags + self.unread_elsewhere + self.undecided + none + sum(map(len, lists))

    @property
    def unread_elsewhere(self) -> int:
        """Unreadable codes that are no flag: of the background, and of a gradient's second end."""
        return max(0, self.unread - self.flags[FlagKind.UNREADABLE])

    def facts(self) -> dict[str, Any]:
        """What a signing keeps: figures and names that mean something without the tables they came from."""
        return {
            "guides": self.guides,
            "marks": self.marks,
            "flags": {kind.value: number for kind, number in self.flags.items() if number},
            "waived": self.waived,
            "unread": self.unread,
            "pages_expected": self.pages_expected,
            "missing": self.missing_pages,
            "beyond": self.pages_beyond,
            "unmarked": [known.subject.name for known in self.unmarked],
            "bare": [guide.page for guide in self.bare],
            "proposals": len(self.proposals),
            "undecided": self.undecided,
        }

    def token(self, fingerprint: str) -> str:
        """Stands for exactly this answer about exactly these pages: what was shown is what is signed."""
        return digest(json.dumps([self.facts(), fingerprint], ensure_ascii=False))


def points_of(series: Series, issue: Issue) -> Points:
    return points(series, [issue])[0]


def points(series: Series, issues: Iterable[Issue]) -> list[Points]:
    """The points of some issues of one series, in their order; the number of queries does not grow with theirs."""
    issues = list(issues)
    positions = [issue.position for issue in issues]
    marks = Mark.objects.filter(series=series, position__in=positions)
    flags = _flags(marks)
    counts = _counts(marks)
    waived = marks.waived().counts_by_position()
    guides = _guides(issues)
    unmarked = _unmarked(series, issues)
    proposals = _proposals(series, issues)
    undecided = _undecided(issues)
    rows = []
    for issue in issues:
        pages = guides[issue.pk]
        expected = issue.own_pages or series.usual_pages
        numbers = {number for guide in pages for number in page_numbers(guide.page)}
        last = expected or max(numbers, default=0)
        total, unread = counts.get(issue.position, (0, 0))
        rows.append(
            Points(
                issue=issue,
                guides=len(pages),
                marks=total,
                flags={kind: flags[issue.position].get(kind.value, 0) for kind in FlagKind},
                waived=waived.get(issue.position, 0),
                unread=unread,
                pages_expected=expected,
                missing=tuple(sorted(set(range(1, last + 1)) - numbers)),
                beyond=tuple(sorted(number for number in numbers if number > last)),
                unmarked=unmarked[issue.pk],
                bare=tuple(guide for guide in pages if not guide.is_marked),  # type: ignore[attr-defined]
                proposals=tuple(proposals[issue.pk]),
                undecided=undecided.get(issue.pk, 0),
            )
        )
    return rows


def _flags(marks: Any) -> dict[int, dict[str, int]]:
    kinds = [When(flag_kind_condition(kind), then=Value(kind.value)) for kind in FlagKind]
    rows = marks.open().order_by().annotate(kind_value=Case(*kinds, output_field=CharField()))
    counts: dict[int, dict[str, int]] = defaultdict(dict)
    for position, kind, number in rows.values_list("position", "kind_value").annotate(n=Count("id")):
        counts[position][kind] = number
    return counts


def _counts(marks: Any) -> dict[int, tuple[int, int]]:
    unread = Q(tint=NoTint.UNREADABLE) | Q(to_tint=NoTint.UNREADABLE)
    rows = marks.live().order_by().values_list("position").annotate(n=Count("id"), u=Count("id", filter=unread))
    return {position: (total, unreadable) for position, total, unreadable in rows}


def _guides(issues: list[Issue]) -> dict[int, list[Guide]]:
    live = Mark.objects.live().filter(guide=OuterRef("pk"))
    by_position: dict[int, list[Guide]] = defaultdict(list)
    rows = Guide.objects.filter(issue__in=issues).current().annotate(is_marked=Exists(live)).select_related("series")
    for guide in rows.order_by("page_order", "page"):
        by_position[guide.issue_id].append(guide)
    return by_position


def _unmarked(series: Series, issues: list[Issue]) -> dict[int, tuple[Expected, ...]]:
    """Subjects in use that the last ``LOOK_BACK`` issues have marks of and the issue itself has not."""
    order = list(series.issues.in_order())
    place = {issue.pk: number for number, issue in enumerate(order)}
    before = {issue.pk: order[max(0, place[issue.pk] - LOOK_BACK) : place[issue.pk]] for issue in issues}
    asked = {issue.position for issue in issues} | {past.position for some in before.values() for past in some}
    rows = Mark.objects.filter(series=series, position__in=asked, part__isnull=False).live().order_by()
    here: dict[int, set[int]] = defaultdict(set)
    for position, subject_id in rows.values_list("position", "part__costume__subject").distinct():
        here[position].add(subject_id)
    subjects = series.subjects.active().in_bulk({pk for some in here.values() for pk in some})
    unmarked = {}
    for issue in issues:
        earlier = before[issue.pk]
        absent = {pk for past in earlier for pk in here[past.position]} - here[issue.position]
        expected = [
            Expected(
                subjects[pk], tuple(past for past in reversed(earlier) if pk in here[past.position]), len(earlier)
            )
            for pk in absent
            if pk in subjects
        ]
        unmarked[issue.pk] = tuple(
            sorted(expected, key=lambda absentee: (-len(absentee.seen), absentee.subject.name))
        )
    return unmarked


def _undecided(issues: list[Issue]) -> dict[int, int]:
    rows = ProofReading.objects.filter(proof__guide__issue__in=issues, proof__guide__is_current=True).undecided()
    return dict(rows.order_by().values_list("proof__guide__issue").annotate(n=Count("id")))


def _proposals(series: Series, issues: list[Issue]) -> dict[int, list[Proposal]]:
    """Waiting proposals for an issue in which their part is marked."""
    waiting = list(Proposal.objects.filter(series=series).waiting().with_names())
    positions = [issue.position for issue in issues]
    parts = {proposal.part_id for proposal in waiting}
    rows = Mark.objects.filter(series=series, part_id__in=parts, position__in=positions).live().order_by()
    marked = set(rows.values_list("part_id", "role", "position").distinct()) if waiting else set()
    return {
        issue.pk: [
            proposal
            for proposal in waiting
            if proposal.from_position <= issue.position
            and (proposal.to_position is None or issue.position < proposal.to_position)
            and (proposal.part_id, proposal.role, issue.position) in marked
        ]
        for issue in issues
    }


def opened_again(series: Series, most: int) -> list[IssueStep]:
    """The steps by which issues that had been signed were opened, where they are not signed again yet; newest
    first."""
    waiting = series.issues.active().filter(signed_off_at=None)
    last: dict[int, IssueStep] = {}
    for step in _openings(waiting):
        last[step.issue_id] = step
    return sorted(last.values(), key=lambda step: -step.pk)[:most]


def _openings(issues: Any) -> Iterable[IssueStep]:
    kind = IssueStep.Kind.REOPENED
    return IssueStep.objects.filter(issue__in=issues, kind=kind).select_related("issue", "by").order_by("pk")
