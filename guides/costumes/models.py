"""The pictures that leads have chosen for costumes: a piece of a page, or a model drawing they brought in."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from bible.models import Costume, Series
from guides.core.models.pages import Guide

PIECE = ("left", "top", "right", "bottom")


class CostumePictureQuerySet(models.QuerySet["CostumePicture"]):
    def standing(self) -> Self:
        return self.filter(withdrawn_at=None)

    def seen_at(self, position: int) -> Self:
        """Those of pages up to a place in the running order, and model drawings, which belong to no issue."""
        page = Q(guide__issue__position__lte=position, guide__issue__archived_at=None)
        return self.filter(Q(guide=None) | page)

    def with_pages(self) -> Self:
        return self.select_related("series", "costume__subject", "guide__series", "guide__issue", "chosen_by")

    def standing_first(self) -> Self:
        """The one that stands, then those that stood, the last one first."""
        return self.order_by(models.F("withdrawn_at").desc(nulls_first=True), "-id")


class CostumePicture(models.Model):
    """What a costume is shown in instead of the best-marked page: one of a costume stands.

    Either a guide and a piece of it, as fractions of its width and height, or the files of a drawing. Never edited:
    what is chosen later withdraws it, so that it can stand again.
    """

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="costume_pictures", editable=False)
    costume = models.ForeignKey(Costume, on_delete=models.PROTECT, related_name="pictures", editable=False)
    guide = models.ForeignKey(Guide, on_delete=models.PROTECT, null=True, related_name="+", editable=False)
    left = models.FloatField(default=0.0, editable=False)
    top = models.FloatField(default=0.0, editable=False)
    right = models.FloatField(default=1.0, editable=False)
    bottom = models.FloatField(default=1.0, editable=False)
    original = models.FileField(max_length=200, blank=True, editable=False)
    screen = models.FileField(max_length=200, blank=True, editable=False)
    thumb = models.FileField(max_length=200, blank=True, editable=False)
    filename = models.CharField(max_length=200, blank=True, editable=False)
    width = models.PositiveIntegerField(default=0, editable=False)
    height = models.PositiveIntegerField(default=0, editable=False)
    chosen_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", editable=False
    )
    chosen_at = models.DateTimeField(default=timezone.now, editable=False)
    withdrawn_at = models.DateTimeField(null=True, editable=False)

    objects = CostumePictureQuerySet.as_manager()

    class Meta:
        verbose_name = "picture of a costume"
        verbose_name_plural = "pictures of costumes"
        constraints = [
            models.UniqueConstraint(
                fields=["costume"], condition=Q(withdrawn_at=None), name="guides_one_picture_of_a_costume"
            ),
            models.CheckConstraint(
                condition=(Q(guide=None) & ~Q(original="")) | (Q(guide__isnull=False) & Q(original="")),
                name="guides_costume_picture_is_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(left__gte=0, top__gte=0, right__lte=1, bottom__lte=1)
                & Q(left__lt=models.F("right"), top__lt=models.F("bottom")),
                name="guides_costume_picture_on_its_page",
            ),
        ]

    def __str__(self) -> str:
        return f"picture of {self.costume}"

    def get_absolute_url(self) -> str:
        return reverse("model-drawing", args=[self.series.slug, self.pk, "screen"])

    @property
    def piece(self) -> tuple[float, float, float, float]:
        return self.left, self.top, self.right, self.bottom
