"""What the paint said at a mark when its page was last read: kept, so that lists need no picture."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from bible.models import Series
from guides.core.models.marks import Mark

PAINT_VERSION = 5
"""Of the way paint is read; raise it and every reading is out of date."""


def fresh_condition(prefix: str = "") -> Q:
    """A reading of the mark as it is now, by today's way of reading. ``prefix`` leads from the row to the reading."""
    mark_version = F("version") if prefix else F("mark__version")
    return Q(**{f"{prefix}version": mark_version, f"{prefix}model_version": PAINT_VERSION})


class PaintReadingQuerySet(models.QuerySet["PaintReading"]):
    def fresh(self) -> Self:
        return self.filter(fresh_condition(), mark__live=True)

    def disagreeing(self) -> Self:
        """Fresh ones whose code and paint differ by more than the hand's spread, and that nobody has looked at."""
        return self.fresh().filter(odd=True, looked_at=None)

    def looked_at_by_somebody(self) -> Self:
        """Those of whose code somebody said that it is as meant."""
        return self.filter(looked_at__isnull=False)

    def called_meant(self) -> Self:
        """Fresh ones that disagree and were looked at: what “as meant” holds back from the list."""
        return self.fresh().filter(odd=True).looked_at_by_somebody()

    def teaching(self) -> Self:
        """Readings of confirmed marks: a flat code that agrees with the bible or is waived, or that somebody looked
        at beside its paint; and whose paint does not speak against it."""
        agrees = Q(mark__part__isnull=False) & (Q(mark__tint=F("mark__expected")) | Q(mark__waived=True))
        sound = Q(odd=False) & agrees | Q(looked_at__isnull=False)
        return self.fresh().filter(sound, mark__to_written="", mark__tint__gte=0, sample__isnull=False)

    def with_marks(self) -> Self:
        return self.select_related("mark__guide__issue", "mark__part__costume__subject", "looked_by")


class PaintReading(models.Model):
    """The paint at one mark, against the version of the mark that was read.

    ``suggestions`` are pairs of packed tint and chance, the likeliest first, before any locked code weighs in;
    ``wrong`` is the chance that the written code is not what was painted; ``sample`` the density and its covariance
    (3 + 9 numbers) by which the mark teaches its hand, none where it cannot.
    """

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="+", editable=False)
    mark = models.OneToOneField(Mark, on_delete=models.CASCADE, related_name="paint", editable=False)
    version = models.PositiveIntegerField()
    model_version = models.PositiveIntegerField(default=PAINT_VERSION)
    suggestions = models.JSONField(default=list)
    wrong = models.FloatField(default=0.0)
    odd = models.BooleanField(default=False)
    sample = models.JSONField(null=True)
    problem = models.CharField(max_length=300, blank=True)
    looked_at = models.DateTimeField(null=True)
    looked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    read_at = models.DateTimeField(auto_now=True)

    objects = PaintReadingQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["series"], condition=Q(odd=True), name="guides_paint_odd")]

    def __str__(self) -> str:
        return f"paint at mark {self.mark_id}"
