"""What marks need where an edition is printed: worked out when it is asked, never stored.

What a mark is held against stays that of the first printing (``guides.core.continuity``). In an edition a mark needs
what the edition's own lock makes of it at its place, in its scene; where the edition has none, what it owes anyway.
A page is marked once, so a mark that agrees with the first printing is right in every edition: the hand-off
translates its code. A flag of an edition is a mark that agrees with neither.
"""

from __future__ import annotations

from django.db.models import Case, F, OuterRef, Q, Subquery, When
from django.db.models.functions import Coalesce

from bible.models import CollectedIssue, Edition, Lock
from bible.models.fields import NoTint, TintField
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


def marks_of(edition: Edition) -> MarkQuerySet:
    """The marks of the issues that an edition collects."""
    collected = CollectedIssue.objects.filter(edition=edition).values("issue__position")
    return Mark.objects.filter(series=edition.series_id, position__in=collected)


def with_needed(marks: MarkQuerySet, edition: Edition | None) -> MarkQuerySet:
    """Each mark with what it needs in an edition (``mark.needed``), and to fade to (``mark.needed_to``)."""
    return marks.annotate(needed=needed_in(edition), needed_to=needed_in(edition, "to_tint"))


def open_in(marks: MarkQuerySet, edition: Edition | None) -> MarkQuerySet:
    """Open flags that are one in an edition too: of marks that say neither what the first printing nor what the
    edition needs."""
    if edition is None:
        return marks.open()
    return with_needed(marks.open(), edition).exclude(Q(tint=F("needed"), needed_to=second_tint()))


def translated(marks: MarkQuerySet, edition: Edition) -> MarkQuerySet:
    """Marks that are right on their page and need another code in an edition, each with it (``mark.needed``).

    Only parts that the edition has a code of its own for are looked at: few, however many the marks.
    """
    own = Lock.every_printing.of_edition(edition).standing().order_by()
    right = marks.live().filter(as_expected(), part__in=own.values("part"))
    return with_needed(right, edition).exclude(Q(needed=F("tint"), needed_to=second_tint()))
