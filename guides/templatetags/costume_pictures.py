"""Pictures of costumes beside their codes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django import template

from bible.locks.queries import FoundPart
from bible.models import Costume, Subject
from bible.series.running_order import AsOf
from guides.core.crops import Crop, costume_crops, pictured

register = template.Library()


@register.simple_tag
def pictures_of(costumes: Iterable[Costume], as_of: AsOf) -> dict[int, Crop]:
    """By costume's key, the picture chosen for it, or the piece of a guide that shows it best up to an
    issue; none for who is marked nowhere."""
    return costume_crops([costume.pk for costume in costumes], as_of.position)


@register.filter
def picture_at(pictures: dict[int, Crop], costume: Costume) -> Crop | None:
    return pictures.get(costume.pk)


@register.simple_tag
def pictured_of(costumes: Iterable[Costume], as_of: AsOf) -> set[int]:
    """The keys of those that have a picture."""
    return pictured([costume.pk for costume in costumes], as_of.position)


@register.filter
def first_costumes(subjects: Iterable[Subject]) -> list[Costume]:
    """The one that each subject is shown in, of costumes fetched along."""
    return [costume for subject in subjects for costume in subject.costumes.all()[:1]]


@register.filter
def costume_found(found_parts: Sequence[FoundPart]) -> list[Costume]:
    """The costume of the part that a look-up found first; none where it found nothing."""
    return [found_part.part.costume for found_part in found_parts[:1]]
