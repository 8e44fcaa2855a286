"""Where on a page a scene holds."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import ExpressionWrapper, F, Q

from bible.models import Scene, Series
from guides.core.models.pages import Guide

_ON_PAGE = [MinValueValidator(0.0), MaxValueValidator(1.0)]


class SceneAreaQuerySet(models.QuerySet["SceneArea"]):
    def standing(self) -> Self:
        return self.filter(removed_at=None)

    def innermost_first(self) -> Self:
        """The smallest area wins where several hold a point, then the newest: a lamp within the night."""
        size = ExpressionWrapper(
            (F("right") - F("left")) * (F("bottom") - F("top")), output_field=models.FloatField()
        )
        return self.order_by(size, "-id")


class SceneArea(models.Model):
    """A scene on a page or on one panel; edges are fractions of the picture's width and height from top left."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="+")
    guide = models.ForeignKey(Guide, on_delete=models.PROTECT, related_name="scene_areas")
    scene = models.ForeignKey(Scene, on_delete=models.PROTECT, related_name="areas")
    left = models.FloatField(default=0.0, validators=_ON_PAGE)
    top = models.FloatField(default=0.0, validators=_ON_PAGE)
    right = models.FloatField(default=1.0, validators=_ON_PAGE)
    bottom = models.FloatField(default=1.0, validators=_ON_PAGE)
    applied_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    applied_at = models.DateTimeField(auto_now_add=True)
    removed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    removed_at = models.DateTimeField(null=True, blank=True)

    objects = SceneAreaQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(left__gte=0, top__gte=0, right__lte=1, bottom__lte=1)
                & Q(left__lt=F("right"), top__lt=F("bottom")),
                name="guides_area_on_the_page",
            )
        ]

    def __str__(self) -> str:
        return f"{self.scene} on {'the whole page' if self.is_whole_page else 'a panel'}"

    @property
    def is_whole_page(self) -> bool:
        return (self.left, self.top, self.right, self.bottom) == (0.0, 0.0, 1.0, 1.0)

    def holds(self, x: float, y: float) -> bool:
        return self.left <= x <= self.right and self.top <= y <= self.bottom
