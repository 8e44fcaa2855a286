"""Pictures of costumes beside their codes."""

from __future__ import annotations

from collections.abc import Iterable

from django import template

from bible.models import Costume
from bible.series.running_order import AsOf
from guides.core.crops import Crop, costume_crops

register = template.Library()


@register.simple_tag
def pictures_of(costumes: Iterable[Costume], as_of: AsOf) -> dict[int, Crop]:
    """By costume's key, the piece of a guide that shows it best up to an issue; none for who is marked nowhere."""
    return costume_crops([costume.pk for costume in costumes], as_of.position)


@register.filter
def picture_at(pictures: dict[int, Crop], costume: Costume) -> Crop | None:
    return pictures.get(costume.pk)
