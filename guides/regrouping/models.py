"""What was merged, moved or re-assigned, with all that taking it back needs."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models

from bible.models import Series


class RegroupingQuerySet(models.QuerySet["Regrouping"]):
    def standing(self) -> Self:
        """Those that nobody has undone."""
        return self.filter(undone_at=None)

    def newest_first(self) -> Self:
        return self.order_by("-at", "-id")

    def with_people(self) -> Self:
        return self.select_related("by", "undone_by")


class Regrouping(models.Model):
    """One deed. ``steps`` are what was changed, in order, each with what stood before: see
    ``guides.regrouping.services``. Everything that it locked or buried has its moment, ``at``."""

    class Kind(models.TextChoices):
        MERGE = "merge", "merged"
        MOVE = "move", "moved"
        REASSIGN = "reassign", "re-assigned marks"

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="regroupings")
    kind = models.CharField(max_length=10, choices=Kind)
    words = models.CharField(max_length=300)
    reason = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    steps = models.JSONField(default=list)
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = RegroupingQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["series", "at"], name="guides_regrouping_when")]

    def __str__(self) -> str:
        return self.words
