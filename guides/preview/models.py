"""Marked areas that sink into their neighbours, as their page was last looked at: kept, lists need no picture."""

from __future__ import annotations

from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import BigIntegerField, Count, F, Q, Sum
from django.db.models.functions import Cast, Coalesce

from bible.colour.lookalikes import pair_word
from bible.models import Series
from bible.models.fields import TintField
from guides.core.models.marks import Mark, MarkQuerySet
from guides.core.models.pages import Guide

LOOK_VERSION = 2
"""Of the way areas are found and compared; raise it and every page waits to be looked at again."""


def marks_state(marks: MarkQuerySet) -> dict[int, str]:
    """For the page of each of some marks a text that is another one once its marks have changed.

    A change raises a mark's version, a deletion the count and a new mark the sum of keys; codes that read as another
    tint show in the sum of tints. So no picture and no single mark is needed to know whether a look still holds.
    """
    tints = [Coalesce(Cast(name, BigIntegerField()), 0) for name in ("tint", "to_tint")]
    sums = [Sum("version"), Sum("id"), *map(Sum, tints)]
    rows = marks.order_by().values("guide").annotate(n=Count("id"))
    for number, total in enumerate(sums):
        rows = rows.annotate(**{f"sum{number}": total})
    states = rows.values_list("guide", "n", *(f"sum{number}" for number in range(len(sums))))
    return {guide: "-".join(map(str, numbers)) for guide, *numbers in states}


class NeighbourLook(models.Model):
    """A page that was looked at: in which state its marks were, and for which press condition."""

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="+", editable=False)
    guide = models.OneToOneField(Guide, on_delete=models.CASCADE, related_name="neighbour_look", editable=False)
    marks = models.CharField(max_length=120)
    press = models.CharField(max_length=40)
    looked_at = models.DateTimeField(auto_now=True)

    def __str__(self) -> str:
        return f"neighbours on guide {self.guide_id}"


class SinkingPairQuerySet(models.QuerySet["SinkingPair"]):
    def standing(self, looks: models.QuerySet[NeighbourLook]) -> Self:
        """Pairs of marks that are as they were, of looks that still count: the others are hearsay."""
        return self.as_compared().filter(look__in=looks, first__live=True, second__live=True)

    def as_compared(self) -> Self:
        """Pairs of marks that have not changed since, whether their page still counts or not."""
        sides = ("first", "second")
        same = {f"{side}__{name}": F(f"{side}_{name}") for side in sides for name in ("version", "tint")}
        return self.filter(**same)

    def open(self) -> Self:
        """Those that nobody has allowed to stand."""
        return self.filter(waived_at=None)

    def waived(self) -> Self:
        return self.filter(waived_at__isnull=False)

    def in_order(self) -> Self:
        return self.order_by("first__position", "first__page_order", "first_id", "second_id")

    def after(self, key: tuple[int, ...]) -> Self:
        """Pairs behind one in running order, by its ``sort_key``."""
        names = ("first__position", "first__page_order", "first_id", "second_id")
        behind = Q()
        for place, name in enumerate(names):
            same = Q(**dict(zip(names[:place], key[:place], strict=True)))
            behind |= same & Q(**{f"{name}__gt": key[place]})
        return self.filter(behind, first__position__gte=key[0])

    def with_names(self) -> Self:
        """Everything that a list of pairs prints, in one query."""
        parts = [f"{side}__part__costume__subject" for side in ("first", "second")]
        return self.select_related("waived_by", "first__guide__issue", "first__guide__colourist", "second", *parts)


class SinkingPair(models.Model):
    """Two marks of a page whose areas touch and print look-alike, against the state in which they were compared.

    ``x`` and ``y`` are a place on their common border, fractions of the page; ``border`` is its length as a share of
    the page's longer side; ``risk`` of one being mistaken for the other is 0-0.5, ``difference`` CIEDE2000 in print.
    A waiver is for this pair as it is: it goes when either mark, its tint or the press condition changes.
    """

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="+", editable=False)
    look = models.ForeignKey(NeighbourLook, on_delete=models.CASCADE, related_name="pairs", editable=False)
    first = models.ForeignKey(Mark, on_delete=models.CASCADE, related_name="+", editable=False, db_index=False)
    second = models.ForeignKey(Mark, on_delete=models.CASCADE, related_name="+", editable=False)
    first_version = models.PositiveIntegerField()
    second_version = models.PositiveIntegerField()
    first_tint = TintField()
    second_tint = TintField()
    x = models.FloatField()
    y = models.FloatField()
    border = models.FloatField()
    risk = models.FloatField()
    difference = models.FloatField()
    reason = models.CharField(max_length=300, blank=True)
    waived_at = models.DateTimeField(null=True)
    waived_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )

    objects = SinkingPairQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["first", "second"], name="guides_sinking_pair_once")]

    def __str__(self) -> str:
        return f"marks {self.first_id} and {self.second_id}"

    @property
    def sort_key(self) -> tuple[int, int, int, int]:
        return (self.first.position, self.first.page_order, self.first_id, self.second_id)

    @property
    def word(self) -> str:
        return pair_word(self.risk, same=self.first_tint == self.second_tint)

    @property
    def sides(self) -> tuple[Mark, Mark]:
        return self.first, self.second

    def same_as(self, other: SinkingPair) -> bool:
        """Whether both compare the same two tints of marks that have not changed between."""
        compared = ("first_id", "second_id", "first_version", "second_version", "first_tint", "second_tint")
        return all(getattr(self, name) == getattr(other, name) for name in compared)

    def compared(self) -> dict[str, Any]:
        """What was compared, and what was found."""
        names = ("first_tint", "second_tint", "x", "y", "border", "risk", "difference")
        return {name: getattr(self, name) for name in names}
