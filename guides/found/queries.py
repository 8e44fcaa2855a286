"""What found codes are asked for: pages to look through, how often they were right."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Exists, F, IntegerField, OuterRef, Subquery
from django.db.models.functions import Coalesce

from bible.models import Issue, Series
from bible.models.naming import name_of
from guides.models import CodeSearch, FoundCode, FoundCodeQuerySet, Guide, GuideQuerySet, Mark, MarkQuerySet


def to_search(series: Series, issue: Issue | None = None, *, again: bool = False) -> GuideQuerySet:
    """Current pages that nobody has looked through in today's way, in their order; all of them ``again``."""
    guides = Guide.objects.filter(series=series, issue__archived_at=None).current().in_order()
    guides = guides.select_related("series", "issue")
    if issue is not None:
        guides = guides.filter(issue=issue)
    done = CodeSearch.objects.of_today().filter(guide=OuterRef("pk"))
    return guides if again else guides.filter(~Exists(done))


FEWEST_TO_LEARN = 5
"""Answered codes of a page from which it says something of its colourist's letters."""


def to_learn_from(guide: Guide) -> GuideQuerySet:
    """Other pages by whoever coloured a page whose answers have taught nothing yet, the newest first: no code of them
    waits, and enough are answered."""
    of_page = FoundCode.objects.filter(guide=OuterRef("pk"))
    answered = of_page.answered().filter(mark__isnull=False).clear()
    pages = Guide.objects.filter(series=guide.series_id, colourist=guide.colourist_id, code_search__learnt_from=False)
    pages = pages.filter(~Exists(of_page.filter(decided_at=None))).exclude(pk=guide.pk)
    taught = pages.annotate(answered_count=_count(answered)).filter(answered_count__gte=FEWEST_TO_LEARN)
    return taught.select_related("series", "issue").order_by("-issue__position", "-page_order")


def with_found(guides: GuideQuerySet) -> GuideQuerySet:
    """Guides with ``found_count``: how many of their codes were found and wait for a yes."""
    return guides.annotate(found_count=_count(FoundCode.objects.waiting().filter(guide=OuterRef("pk"))))


def _count(codes: FoundCodeQuerySet) -> Coalesce:
    """How many of these codes each guide has, as a column of guides."""
    counted = codes.order_by().values("guide").annotate(codes=Count("id")).values("codes")
    return Coalesce(Subquery(counted, output_field=IntegerField()), 0)


def that_propose(series: Series) -> GuideQuerySet:
    """Pages in work some of whose codes wait for a yes, with ``found_count``, newest issue first."""
    waiting = FoundCode.objects.waiting().filter(guide=OuterRef("pk"))
    pages = Guide.objects.filter(Exists(waiting), series=series, issue__archived_at=None).current().in_work()
    return with_found(pages).select_related("series", "issue").newest_first()


@dataclass(frozen=True, slots=True)
class FoundTally:
    """What became of found codes of one colourist, or of one issue. ``missed`` are marks that somebody placed on
    searched pages where nothing had been found; ``sure_right`` of the ``sure`` ones were taken as they were."""

    about: str
    proposed: int = 0
    taken: int = 0
    moved: int = 0
    corrected: int = 0
    set_aside: int = 0
    let_in: int = 0
    missed: int = 0
    sure: int = 0
    sure_right: int = 0

    @property
    def looked_at(self) -> int:
        """Those that a person has answered."""
        return self.proposed - self.let_in

    @property
    def right(self) -> float | None:
        """Per cent of those that were looked at which were taken as they were; None where there are none."""
        return 100 * self.taken / self.looked_at if self.looked_at else None

    @property
    def right_of_sure(self) -> float | None:
        return 100 * self.sure_right / self.sure if self.sure else None


def missed_marks(series: Series) -> MarkQuerySet:
    """Marks that somebody placed on a page after it was looked through, and that answer no found code."""
    placed = Mark.objects.filter(series=series, live=True, found=None, guide__code_search__problem="")
    return placed.filter(created_at__gt=F("guide__code_search__searched_at"))


def tallies_by_colourist(series: Series) -> list[FoundTally]:
    """Most codes first."""
    people = {member.user_id: name_of(member.user) for member in series.memberships.select_related("user")}
    names = {key: people.get(key, "somebody who has left") for key in _keys(series, "guide__colourist")}
    return _tallies(series, "guide__colourist", names | {None: "nobody named"})


def tallies_by_issue(series: Series) -> list[FoundTally]:
    """In the running order, the newest first: so that one sees how it goes over time."""
    issues = series.issues.order_by("-position").values_list("pk", "number")
    tallies = _tallies(series, "guide__issue", {key: f"issue {number}" for key, number in issues}, in_order=True)
    return [tally for tally in tallies if tally.proposed or tally.missed]


def _keys(series: Series, by: str) -> Iterable[Any]:
    return FoundCode.objects.filter(series=series).order_by().values_list(by, flat=True).distinct()


def _tallies(series: Series, by: str, names: dict[Any, str], *, in_order: bool = False) -> list[FoundTally]:
    missed = dict(missed_marks(series).order_by().values_list(by).annotate(n=Count("id")))
    rows = {row[0]: row[1:] for row in FoundCode.objects.filter(series=series).tallies(by)}
    tallies = []
    for key in names:
        proposed, taken, moved, corrected, aside, let_in, sure, right = rows.get(key, (0,) * 8)
        tallies.append(
            FoundTally(names[key], proposed, taken, moved, corrected, aside, let_in, missed.get(key, 0), sure, right)
        )
    return (
        tallies
        if in_order
        else sorted((tally for tally in tallies if tally.proposed), key=lambda tally: -tally.proposed)
    )
