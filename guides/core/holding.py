"""What somebody who works on pages holds, in the order of ``bible.series.holding``."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Q

from bible.models import Issue, Part
from bible.series.holding import How, Rows, hold, part_rows, series_rows
from guides.models import Guide, Mark, MarkQuerySet


def hold_pages(
    *,
    series_id: int,
    issues: Iterable[int],
    guides: Iterable[int] = (),
    marks: MarkQuerySet | None = None,
    parts: Iterable[int | None] = (),
) -> None:
    """Hold what a deed on pages changes: nobody changes how codes read, decides for the parts, signs or opens the
    issues, or touches these pages and marks meanwhile.

    Args:
        issues: where the work is done; those that are signed off will be opened again.
        guides: pages that get or lose marks or scenes.
        marks: those that are changed.
        parts: those that marks are given to; the parts that marks have had need not be held, but for backgrounds
            held together, of which each mark is felt by all others.
    """
    parts = list(parts)
    had = Mark.objects.none() if marks is None else marks
    felt = Q(pk__in=[part for part in parts if part]) | Q(pk__in=had.order_by().values("part"))
    hold(
        series_rows(series_id, How.KEPT),
        Rows(Part.objects.held_together().filter(felt), How.TO_CHANGE),
        part_rows(parts, How.SHARED),
        signed_rows(series_id, issues),
        Rows(Guide.objects.filter(pk__in=list(guides)), How.TO_CHANGE),
        Rows(had, How.TO_CHANGE),
    )


def signed_rows(series_id: int, issues: Iterable[int]) -> Rows:
    """Those of some issues that are signed off and will be opened again."""
    return Rows(Issue.objects.filter(series_id=series_id, pk__in=issues).signed_off(), How.TO_CHANGE)


def hold_marks_of_parts(series_id: int, marks: MarkQuerySet) -> None:
    """Hold the marks of parts that something was decided for, and the issues on their way out that they stand in:
    sign-offs may fall or stand again. After the series and the parts themselves."""
    issues = Issue.objects.filter(series_id=series_id, position__in=marks.live().order_by().values("position"))
    on_their_way = issues.filter(Q(signed_off_at__isnull=False) | Q(in_check_at__isnull=False))
    hold(Rows(on_their_way, How.TO_CHANGE), Rows(marks, How.TO_CHANGE))
