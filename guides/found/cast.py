"""Who is on a page: what a person says of it, and who is offered first. Codes find their parts by it.

The demo's unmarked issue (three pages, 97 codes found, everybody on a page ticked): the part is the right one for 71
in a hundred instead of 60, among three for 90 instead of 80, and a page of 40 codes takes 68 keys and clicks instead
of 78, the four or five ticks not counted.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from bible.models import Part, Series, Subject, SubjectQuerySet
from bible.models.naming import name_of
from guides.core.holding import hold_pages
from guides.core.rules import refuse_older
from guides.found.services import ask_the_rest
from guides.models import FoundCode, Guide, PageCast

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@dataclass(frozen=True, slots=True)
class CastChoice:
    """A subject that may be on a page, and whether it is ticked."""

    subject: Subject
    is_on: bool


@dataclass(frozen=True, slots=True)
class CastQuestion:
    """Who is on a page: everybody who may be, the likeliest first; ``said_by`` names who has said so, empty where
    nobody has, and ``from_before`` tells that those of the page before are ticked."""

    choices: tuple[CastChoice, ...]
    said_by: str
    from_before: bool

    @property
    def ticked(self) -> list[Subject]:
        return [choice.subject for choice in self.choices if choice.is_on]


def who_may_be_on(series: Series) -> SubjectQuerySet:
    """Subjects that a page may show."""
    return Subject.objects.filter(series=series).active().order_by("name_upper", "pk")


def ask_cast(guide: Guide, waiting: Sequence[FoundCode]) -> CastQuestion:
    """The question of a page some of whose codes wait: those first for whose parts these speak most."""
    page_casts = list(PageCast.objects.of_page(guide).select_related("said_by"))
    before = [] if page_casts else list(PageCast.objects.of_the_page_before(guide))
    on = {row.subject_id for row in page_casts or before}
    weight = _weights(waiting)
    subjects = sorted(who_may_be_on(guide.series), key=lambda subject: (subject.pk not in on, -weight[subject.pk]))
    choices = tuple(CastChoice(subject, subject.pk in on) for subject in subjects)
    return CastQuestion(choices, name_of(page_casts[-1].said_by) if page_casts else "", bool(on) and not page_casts)


def _weights(waiting: Sequence[FoundCode]) -> dict[int, float]:
    """By subject, how many of the codes its parts would answer for."""
    keys = {key for row in waiting for key, _, _ in row.owners if key}
    whose = dict(Part.objects.filter(pk__in=keys).values_list("pk", "costume__subject"))
    weight: dict[int, float] = defaultdict(float)
    for row in waiting:
        for key, _, p in row.owners:
            if key in whose:
                weight[whose[key]] += p
    return weight


@transaction.atomic
def say_cast(*, guide: Guide, subjects: Collection[Subject], by: User) -> None:
    """Say who is on a page, nobody named: not known; the codes that wait are asked again by that.

    Raises:
        Refused: the page counts no more.
    """
    hold_pages(series_id=guide.series_id, issues=[], guides=[guide.pk])
    refuse_older(Guide.objects.select_related("issue").get(pk=guide.pk))
    rows = PageCast.objects.of_page(guide)
    rows.exclude(subject__in=subjects).delete()
    known = set(rows.values_list("subject", flat=True))
    page = {name: getattr(guide, name) for name in ("series_id", "issue_id", "page", "page_order")}
    fields = page | {"said_by": by, "said_at": timezone.now()}
    PageCast.objects.bulk_create(
        PageCast(subject=subject, **fields) for subject in subjects if subject.pk not in known
    )
    ask_the_rest(guide=guide)
