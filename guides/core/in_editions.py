"""What marks need where an edition is printed: worked out when it is asked, never stored.

What a mark is held against stays that of the first printing (``guides.core.continuity``). In an edition a mark needs
what the edition's own lock makes of it at its place, in its scene; where the edition has none, what it owes anyway.
A page is marked once, so a mark that agrees with the first printing is right in every edition: the hand-off
translates its code. A flag of an edition is a mark that agrees with neither.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Case, F, OuterRef, Q, Subquery, When
from django.db.models.functions import Coalesce

from bible.colour.tints import Tint
from bible.models import CollectedIssue, Edition, Issue, Lock, Series
from bible.models.fields import NoTint, TintField
from bible.web.digest import digest
from guides.core.continuity import of_mark
from guides.core.gradients import owed_by
from guides.models import Mark, MarkQuerySet, as_expected, second_tint


def needed_in(edition: Edition | None, end: str = "tint") -> Case | F:
    """What a mark needs in an edition, as an expression in a query of marks; None: in the first printing. ``end``:
    "to_tint" for what it needs to fade to."""
    owed = "expected" if end == "tint" else "expected_to"
    if edition is None:
        return F(owed)
    own = of_mark(Lock.every_printing.of_edition(edition).in_force(OuterRef("position")))
    return Case(
        When(Q(part=None) | Q(expected=NoTint.OUT_OF_USE), then=F(owed)),
        default=Coalesce(Subquery(owed_by(own, end)), F(owed)),
        output_field=TintField(),
    )


def printed_in(edition: Edition | None, end: str = "tint") -> Case | F:
    """The tint a mark is printed in, as an expression in a query of marks: in an edition what it needs, if its page
    is right; else, and in the first printing, what is written. ``end``: "to_tint" for what it fades to."""
    if edition is None:
        return F(end)
    right = as_expected() & Q(part__isnull=False)
    return Case(When(right, then=needed_in(edition, end)), default=F(end), output_field=TintField())


Ends = tuple[Tint, Tint | None]
"""The tint that is printed, and the one that it fades to; None where it is flat."""


def held_against(marks: Iterable[Mark]) -> dict[int, Ends]:
    """For marks fetched ``with_needed``: by key what each needs instead of what is rightly on its page.

    A mark that is wrong on its page is held against what the edition needs from here on: its flag, if it still is
    one, speaks of that.
    """
    instead: dict[int, Ends] = {}
    for mark in marks:
        needed, needed_to = mark.needed, mark.needed_to  # type: ignore[attr-defined]
        if mark.part_id is None or mark.waived or (needed, needed_to) == (mark.expected, mark.expected_to):
            continue
        written = (mark.tint, NoTint.FLAT if mark.to_tint is None else mark.to_tint)
        if written != (mark.expected, mark.expected_to):
            mark.expected, mark.expected_to = needed, needed_to
        elif isinstance(needed, Tint):
            instead[mark.pk] = (needed, needed_to if isinstance(needed_to, Tint) else None)
    return instead


def marks_of(edition: Edition) -> MarkQuerySet:
    """The marks of the issues that an edition collects."""
    collected = CollectedIssue.objects.filter(edition=edition).values("issue__position")
    return Mark.objects.filter(series=edition.series_id, position__in=collected)


def marks_in(series: Series, edition: Edition | None) -> MarkQuerySet:
    """The marks of a series, or those of the issues that an edition collects."""
    return marks_of(edition) if edition else Mark.objects.filter(series=series)


def with_needed(marks: MarkQuerySet, edition: Edition | None) -> MarkQuerySet:
    """Each mark with what it needs in an edition (``mark.needed``), and to fade to (``mark.needed_to``)."""
    return marks.annotate(needed=needed_in(edition), needed_to=needed_in(edition, "to_tint"))


def open_in(marks: MarkQuerySet, edition: Edition | None) -> MarkQuerySet:
    """Open flags that are one in an edition too: of marks that say neither what the first printing nor what the
    edition needs."""
    if edition is None:
        return marks.open()
    return with_needed(marks.open(), edition).exclude(Q(tint=F("needed"), needed_to=second_tint()))


def comparable_in(marks: MarkQuerySet, edition: Edition | None) -> MarkQuerySet:
    """Live marks of known parts that read, and for which something is locked, each with what it needs."""
    read = marks.live().filter(part__isnull=False, tint__gte=0)
    return with_needed(read, edition).filter(Q(needed__gte=0))


def differing_in(marks: MarkQuerySet, edition: Edition | None) -> MarkQuerySet:
    """Open flags of marks that begin with another tint than they need, each with that."""
    read = open_in(marks, edition).filter(tint__gte=0).exclude(to_tint=NoTint.UNREADABLE)
    return with_needed(read, edition).filter(Q(needed__gte=0)).exclude(tint=F("needed"))


def right_in(edition: Edition | None) -> Q:
    """A mark ``with_needed`` says what it ought to; in an edition what that or what the first printing needs."""
    return as_expected() | Q(tint=F("needed"), needed_to=second_tint()) if edition else as_expected()


def translated(marks: MarkQuerySet, edition: Edition) -> MarkQuerySet:
    """Marks that are right on their page and need another code in an edition, each with it (``mark.needed``).

    Only parts that the edition has a code of its own for are looked at: few, however many the marks.
    """
    own = Lock.every_printing.of_edition(edition).standing().order_by()
    right = marks.live().filter(as_expected(), part__in=own.values("part"))
    return with_needed(right, edition).exclude(Q(needed=F("tint"), needed_to=second_tint()))


@dataclass(frozen=True, slots=True)
class PrintingImpact:
    """What a decision would do to an edition: by issue how many marks would need another code than now (``changes``),
    and how many then another than is written on their page (``unlike``). Pages and sign-offs are not touched."""

    edition: Edition
    rows: tuple[tuple[Issue, int, int], ...]
    token: str

    @property
    def changes(self) -> int:
        return sum(changes for _, changes, _ in self.rows)

    def __bool__(self) -> bool:
        return bool(self.rows)


def rehearse_in(edition: Edition, part_ids: Iterable[int], deed: Callable[[], object]) -> PrintingImpact:
    """What ``deed`` would do to what the marks of some parts need in an edition. It is done and undone; refusals come
    through."""
    marks = marks_of(edition).live().filter(part__in=list(part_ids)).order_by()
    rows = marks.annotate(second=second_tint(), needed=needed_in(edition), needed_to=needed_in(edition, "to_tint"))
    before = {pk: needed for pk, *needed in rows.values_list("pk", "needed", "needed_to")}
    with transaction.atomic():
        deed()
        after = list(rows.values_list("pk", "position", "tint", "second", "needed", "needed_to"))
        transaction.set_rollback(True)
    changes: Counter[int] = Counter()
    unlike: Counter[int] = Counter()
    for pk, position, tint, second, *needed in after:
        changes[position] += needed != before[pk]
        unlike[position] += needed != [tint, second]
    by_issue = tuple(
        (issue, changes[issue.position], unlike[issue.position])
        for issue in edition.issues
        if changes[issue.position]
    )
    content = [edition.pk, *([issue.pk, *numbers] for issue, *numbers in by_issue)]
    return PrintingImpact(edition, by_issue, digest(json.dumps(content)))
