"""Which scene holds for a mark: the innermost of those that reach its place and fall on what it is of."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
from django.db.models import BigIntegerField, Exists, ExpressionWrapper, OuterRef, Q, QuerySet, Subquery

from bible.models import Scene, SceneTarget
from guides.core import outlines
from guides.models import Mark, MarkQuerySet, SceneArea

PAGES_AT_ONCE = 20
"""Pages with outlines in one statement: it names the marks that lie beside them."""


def put_in_scenes(marks: MarkQuerySet) -> None:
    """Give each of these marks its scene. ``marks`` must not be chosen by scene. One UPDATE; where scenes are held in
    outlines one more for every few pages, which marks lie within being decided by ``outlines.inside``."""
    outlined = list(
        SceneArea.objects.standing().outlined().filter(guide__in=marks.order_by().values("guide")).order_by("guide")
    )
    pages = sorted({area.guide_id for area in outlined})
    plain = marks.exclude(guide__in=pages) if pages else marks
    plain.order_by().update(scene=Subquery(_innermost(())))
    for begin in range(0, len(pages), PAGES_AT_ONCE):
        some = pages[begin : begin + PAGES_AT_ONCE]
        here = marks.filter(guide__in=some)
        beside = _beside([area for area in outlined if area.guide_id in some], here)
        here.order_by().update(scene=Subquery(_innermost(beside)))


def _innermost(beside: Iterable[tuple[int, list[int]]]) -> QuerySet[SceneArea, Any]:
    """The scene of a mark of the statement around it. ``beside``: (area, marks that lie outside its outline)."""
    here = SceneArea.objects.standing().filter(
        guide=OuterRef("guide"),
        left__lte=OuterRef("x"),
        right__gte=OuterRef("x"),
        top__lte=OuterRef("y"),
        bottom__gte=OuterRef("y"),
    )
    held = SceneTarget.objects.standing().filter(scene=OuterRef("scene"))
    part = OuterRef(OuterRef("part"))
    any_thing = Q(subject=None, part=None)
    meant = held.filter(
        any_thing | Q(part=part) | Q(subject__costumes__parts=part), Q(role="") | Q(role=OuterRef(OuterRef("role")))
    )
    here = here.filter(~Exists(held) | Exists(meant))
    mark = ExpressionWrapper(OuterRef("pk"), output_field=BigIntegerField())
    for area, outside in beside:
        here = here.annotate(mark=mark).exclude(pk=area, mark__in=outside)
    return here.innermost_first().values("scene")[:1]


def _beside(areas: Iterable[SceneArea], marks: MarkQuerySet) -> Iterator[tuple[int, list[int]]]:
    rows = np.array(list(marks.order_by().values_list("pk", "guide", "x", "y")), np.float64).reshape(-1, 4)
    for area in areas:
        here = rows[rows[:, 1] == area.guide_id]
        outside = here[~outlines.inside(area.outline or [], here[:, 2], here[:, 3])]
        if len(outside):
            yield area.pk, outside[:, 0].astype(int).tolist()


def reaches(area: SceneArea, x: float, y: float) -> bool:
    """Whether a place of the page lies within an area."""
    in_box = area.left <= x <= area.right and area.top <= y <= area.bottom
    return in_box and (area.outline is None or outlines.holds(area.outline, x, y))


def scene_of_new(areas: Iterable[SceneArea], mark: Mark) -> int | None:
    """The scene of a mark that is not saved yet, among the areas of its page, innermost first (``with_targets``)."""
    for area in areas:
        if reaches(area, mark.x, mark.y):
            subject = mark.part.costume.subject_id if mark.part else None
            if area.lights(mark.part_id, subject, mark.role):
                return area.scene_id
    return None


def scene_from_scratch(areas: list[SceneArea], mark: Mark, subject: int | None) -> Scene | None:
    """The scene of the smallest area that holds a mark and falls on what it is of, the newest of equals."""
    here = [a for a in areas if reaches(a, mark.x, mark.y) and a.lights(mark.part_id, subject, mark.role)]
    if not here:
        return None
    return min(here, key=lambda area: (_size(area), -area.pk)).scene


def _size(area: SceneArea) -> float:
    box = (area.right - area.left) * (area.bottom - area.top)
    return box if area.outline is None else outlines.size_of(area.outline)
