"""Stretches of the running order: from one position up to, not including, another; without an end, onwards."""

from __future__ import annotations

from typing import Any, Generic, NamedTuple, Protocol, Self, TypeVar

from django.db import models
from django.db.models import Q

Row = TypeVar("Row", bound=models.Model)


class HasStretch(Protocol):
    """Whatever holds for a stretch of the running order."""

    @property
    def from_position(self) -> Any: ...

    @property
    def to_position(self) -> Any: ...


class Stretch(NamedTuple):
    """A stretch as a value."""

    from_position: int
    to_position: int | None = None

    def holds_at(self, position: int) -> bool:
        return self.from_position <= position and (self.to_position is None or position < self.to_position)


class StretchQuerySet(models.QuerySet[Row], Generic[Row]):
    """Rows that hold for a stretch each, and are withdrawn where a later decision takes their place."""

    def standing(self) -> Self:
        """Those that hold somewhere: not withdrawn in favour of a later decision."""
        return self.filter(withdrawn_at=None)

    def in_force(self, position: Any) -> Self:
        """Those standing that hold at a running-order position (or at an outer query's)."""
        lasts = Q(to_position=None) | Q(to_position__gt=position)
        return self.filter(lasts, withdrawn_at=None, from_position__lte=position)

    def overlapping(self, from_position: int, to_position: int | None) -> Self:
        overlap = Q(to_position=None) | Q(to_position__gt=from_position)
        if to_position is not None:
            overlap &= Q(from_position__lt=to_position)
        return self.standing().filter(overlap)
