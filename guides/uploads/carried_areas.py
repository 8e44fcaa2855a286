"""Scenes that come along to a new scan: where their areas lie on it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from guides.core.outlines import NoOutline, as_outline
from guides.core.scene_areas import WHOLE_PAGE, Region, holds_there, outlined
from guides.models import Guide, SceneArea

LEAST_AREA = 0.005
"""Width and height, in fractions, below which what is left of a scene's area on the new scan is none."""


def corners_of(area: SceneArea) -> list[tuple[float, float]]:
    """Of its outline, or of the rectangle it is."""
    if area.outline is not None:
        return [(x, y) for ring in area.outline for x, y in ring]
    return [(x, y) for x in (area.left, area.right) for y in (area.top, area.bottom)]


def region_on(area: SceneArea, corners: Any) -> Region | None:
    """Where an area lies on the new scan: its outline, or the upright box around its corners; a whole page stays one.
    None where next to nothing of it is left."""
    if area.is_whole_page:
        return WHOLE_PAGE
    (left, top), (right, bottom) = np.clip(corners.min(0), 0, 1), np.clip(corners.max(0), 0, 1)
    if right - left < LEAST_AREA or bottom - top < LEAST_AREA:
        return None
    if area.outline is not None:
        rings = np.split(np.clip(corners, 0, 1), np.cumsum([len(ring) for ring in area.outline])[:-1])
        try:
            return outlined(as_outline([ring.tolist() for ring in rings]))
        except NoOutline:
            return None  # what lies on the new scan is a sliver at its edge
    left, top, right, bottom = (round(float(edge), 6) for edge in (left, top, right, bottom))
    return Region(left, top, right, bottom)


def bring_areas(guide: Guide, areas: Iterable[tuple[int, dict[str, Any]]]) -> None:
    """The scenes of the older scan, by whom and when they were applied."""
    regions = dict(areas)
    for area in SceneArea.objects.filter(pk__in=regions).standing().select_related("scene").order_by("pk"):
        at = regions[area.pk]
        if holds_there(guide, area.scene, at):
            continue
        new = SceneArea.objects.create(
            series_id=guide.series_id, guide=guide, scene_id=area.scene_id, applied_by_id=area.applied_by_id, **at
        )
        SceneArea.objects.filter(pk=new.pk).update(applied_at=area.applied_at)
