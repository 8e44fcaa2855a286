"""Marks that came along from a page's older scan to its newer one."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q

from bible.models import Series
from guides.core.models.marks import Mark
from guides.core.models.pages import Guide, GuideQuerySet


class CarryQuerySet(models.QuerySet["Carry"]):
    def standing(self) -> Self:
        return self.filter(taken_back_at=None)

    def with_names(self) -> Self:
        return self.select_related("guide__issue", "source", "by")


class Carry(models.Model):
    """Somebody's yes to marks on a new scan as they were shown: how their places were found, and what to look at.

    The marks themselves are copies: those of the older revision stay as they are. ``numbers`` are of the marks on the
    new scan, ``unsure`` those among them whose surroundings were not found again, ``left`` the numbers (on the older
    revision) of marks that fell outside the new scan and stayed behind.
    """

    class Way(models.TextChoices):
        REGISTERED = "registered", "laid over the older scan by its lines"
        FRACTIONS = "fractions", "at the same part of the height and width"
        EMPTY = "empty", "begun empty"

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="+", db_index=False)
    guide = models.ForeignKey(Guide, on_delete=models.PROTECT, related_name="carries", db_index=False)
    source = models.ForeignKey(Guide, on_delete=models.PROTECT, related_name="+", db_index=False)
    way = models.CharField(max_length=10, choices=Way)
    numbers: models.JSONField[list[int], list[int]] = models.JSONField(default=list)
    unsure: models.JSONField[list[int], list[int]] = models.JSONField(default=list)
    left: models.JSONField[list[int], list[int]] = models.JSONField(default=list)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", db_index=False)
    at = models.DateTimeField(auto_now_add=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)

    objects = CarryQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "carries"
        constraints = [
            models.UniqueConstraint(fields=["guide"], condition=Q(taken_back_at=None), name="guides_carried_once")
        ]

    def __str__(self) -> str:
        return f"marks from revision {self.source.revision}"

    @property
    def is_empty(self) -> bool:
        return self.way == self.Way.EMPTY


def awaiting_marks(guides: GuideQuerySet) -> GuideQuerySet:
    """The current ones among some guides whose marks wait on an older scan of the page: no mark here, some there,
    and nobody has said that it begins empty."""
    here = Mark.objects.filter(guide=OuterRef("pk"), deleted_at=None)
    there = Mark.objects.filter(
        guide__issue=OuterRef("issue"),
        guide__page=OuterRef("page"),
        guide__revision__lt=OuterRef("revision"),
        deleted_at=None,
    )
    answers = Carry.objects.standing().filter(guide=OuterRef("pk"))
    later = guides.current().filter(revision__gt=1)
    return later.filter(~Exists(here), Exists(there), ~Exists(answers))
