"""Waivers: somebody's yes to one flag."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from bible.models import Part, Role, Series
from bible.models.fields import TintField
from guides.core.models.marks import Mark


class WaiverQuerySet(models.QuerySet["Waiver"]):
    def alive(self) -> Self:
        return self.filter(died_at=None)

    def outlived(self) -> Self:
        """Living waivers of a disagreement that is not there any more."""
        said = ("part", "role", "tint", "expected")
        same = Q(mark__part__isnull=False) & Q(*[(name, F(f"mark__{name}")) for name in said])
        return self.alive().filter(~same)

    def with_people(self) -> Self:
        return self.select_related("waived_by", "died_by")


class Waiver(models.Model):
    """A flag that may stand, and why. It speaks of a part, a role and two tints; when the mark
    has others it is dead for good."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="+")
    mark = models.ForeignKey(Mark, on_delete=models.PROTECT, related_name="waivers")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+", db_index=False)
    role = models.CharField(max_length=10, choices=Role)
    tint = TintField()
    expected = TintField()
    reason = models.CharField(max_length=300)
    waived_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    waived_at = models.DateTimeField()
    died_at = models.DateTimeField(null=True, blank=True)
    died_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Who took it back; nobody where the mark or the lock changed.",
    )

    objects = WaiverQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["mark"], condition=Q(died_at=None), name="guides_one_waiver_a_mark")
        ]
        indexes = [models.Index(fields=["series", "waived_at"], name="guides_waiver_when")]

    def __str__(self) -> str:
        return self.reason
