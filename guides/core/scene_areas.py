"""Writes of scenes on pages. Keyword-only and atomic.

Scenes move what is expected, in SQL: a scene's rule is worked out once for every tint of the chart (``SceneTint``),
a mark carries the scene of its page or panel, and ``continuity.resolve`` joins through it. A tint off the chart is
left unmoved.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from bible.models import ActivityKind, Scene, record
from bible.series.refusals import Refused
from bible.web.digest import digest
from guides.core import continuity
from guides.core.holding import hold_pages
from guides.core.once import deed_of_desk
from guides.core.outlines import Outline, as_outline, box_of, path_of, size_of
from guides.core.reopening import reopen
from guides.models import Deed, Guide, Mark, SceneArea

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@dataclass(frozen=True, slots=True)
class Region:
    """Part of a page; edges are fractions of its width and height from top left. With an outline it is what lies
    within that, and the edges are the outline's (``outlined``)."""

    left: float = 0.0
    top: float = 0.0
    right: float = 1.0
    bottom: float = 1.0
    outline: tuple[tuple[tuple[float, float], ...], ...] | None = None

    @classmethod
    def of(cls, area: SceneArea) -> Region:
        """Where a scene holds, or held."""
        if area.outline is not None:
            return outlined(as_outline(area.outline))
        return cls(area.left, area.top, area.right, area.bottom)

    @property
    def columns(self) -> dict[str, Any]:
        """As a ``SceneArea`` stores it."""
        edges = {"left": self.left, "right": self.right, "top": self.top, "bottom": self.bottom}
        if self.outline is None:
            return edges | {"outline": None, "outline_size": None}
        rings = [[list(point) for point in ring] for ring in self.outline]
        return edges | {"outline": rings, "outline_size": size_of(rings)}


WHOLE_PAGE = Region()


def outlined(outline: Outline) -> Region:
    """The region within an outline."""
    left, top, right, bottom = box_of(outline)
    return Region(left, top, right, bottom, tuple(map(tuple, outline)))


@deed_of_desk(Deed.Kind.SCENE)
@transaction.atomic
def apply_scene(*, guide: Guide, scene: Scene, region: Region = WHOLE_PAGE, by: User) -> SceneArea:
    """Let a scene hold on a page or a panel; its marks are resolved anew.

    Raises:
        Refused: the region has no extent or leaves the page, or this scene holds in exactly this region already.
    """
    if not (0 <= region.left < region.right <= 1 and 0 <= region.top < region.bottom <= 1):
        raise Refused("A panel must lie on the page, and end behind where it begins.")
    hold_page(guide)
    if holds_there(guide, scene, region.columns):
        raise Refused(f"{scene} holds there already.")
    area = SceneArea.objects.create(
        series_id=guide.series_id,
        guide=guide,
        scene=scene,
        applied_by=by,
        **region.columns,
    )
    reopen(series_id=guide.series_id, issues=[guide.issue_id], by=by, why=f"scene {scene} applied to {guide}")
    continuity.place(Mark.objects.filter(guide=guide))
    _record_area(ActivityKind.SCENE_APPLIED, area, by)
    return area


def holds_there(guide: Guide, scene: Scene, columns: dict[str, Any]) -> bool:
    """Whether a scene holds in exactly this region (``Region.columns``) already."""
    edges = {name: value for name, value in columns.items() if name != "outline"}
    same = SceneArea.objects.standing().filter(guide=guide, scene=scene, **edges)
    return any(area.outline == columns["outline"] for area in same)


def hold_page(guide: Guide) -> None:
    """A page and its marks: none is placed there meanwhile."""
    marks = Mark.objects.filter(guide=guide)
    hold_pages(series_id=guide.series_id, issues=[guide.issue_id], guides=[guide.pk], marks=marks)


def _record_area(deed: ActivityKind, area: SceneArea, by: User) -> None:
    guide, words = area.guide, {"name": area.scene.name, "where": _where(area)}
    record(deed, series=area.series_id, by=by, scene=area.scene, issue=guide.issue, page=guide.page, words=words)


def _where(area: SceneArea) -> str:
    return "the page" if area.is_whole_page else "a panel" if area.outline is None else "an area"


@deed_of_desk(Deed.Kind.SCENE_AWAY)
@transaction.atomic
def remove_scene(*, area: SceneArea, by: User) -> SceneArea:
    """Let a scene hold no longer on a page or panel."""
    hold_page(area.guide)
    held = SceneArea.objects.select_for_update(of=("self",)).select_related("scene", "guide__issue")
    area = held.get(pk=area.pk)
    if area.removed_at:
        raise Refused("Somebody has taken this scene away already.")
    area.removed_by, area.removed_at = by, timezone.now()
    area.save(update_fields=["removed_by", "removed_at"])
    why = f"scene {area.scene} taken off {area.guide}"
    reopen(series_id=area.series_id, issues=[area.guide.issue_id], by=by, why=why)
    continuity.place(Mark.objects.filter(guide_id=area.guide_id))
    _record_area(ActivityKind.SCENE_REMOVED, area, by)
    return area


@dataclass(frozen=True, slots=True)
class SceneBox:
    """Where a scene holds, in pixels of the picture; ``path`` draws its outline, empty where it is a rectangle."""

    area: SceneArea
    x: float
    y: float
    width: float
    height: float
    path: str


def boxes_of(guide: Guide, areas: Iterable[SceneArea]) -> list[SceneBox]:
    """Areas of a guide as its picture shows them."""
    return [
        SceneBox(
            area,
            area.left * guide.width,
            area.top * guide.height,
            (area.right - area.left) * guide.width,
            (area.bottom - area.top) * guide.height,
            path_of(area.outline or (), guide.width, guide.height),
        )
        for area in areas
    ]


class FlagsMoved(Refused):
    """The flags to be waived are not those that were shown."""


def flags_token(marks: Iterable[Mark]) -> str:
    """Stands for exactly these flags as they are: whose they are, what the marks say and what is expected of them."""
    content = [
        (mark.pk, mark.part_id, mark.role, mark.written, mark.tint, mark.to_tint, mark.expected, mark.expected_to)
        for mark in sorted(marks, key=lambda mark: mark.pk)
    ]
    return digest(repr(content))
