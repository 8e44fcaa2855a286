"""Where on a page a scene holds."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import ExpressionWrapper, F, Q
from django.db.models.functions import Coalesce

from bible.models import Scene, SceneTarget, Series
from guides.core.models.pages import Guide

_ON_PAGE = [MinValueValidator(0.0), MaxValueValidator(1.0)]


class OutlineField(models.JSONField):
    """Rings of points, as ``guides.core.outlines`` has them."""


class SceneAreaQuerySet(models.QuerySet["SceneArea"]):
    def standing(self) -> Self:
        return self.filter(removed_at=None)

    def innermost_first(self) -> Self:
        """The smallest area wins where several hold a point, then the newest: a lamp within the night."""
        box = ExpressionWrapper((F("right") - F("left")) * (F("bottom") - F("top")), output_field=models.FloatField())
        return self.order_by(Coalesce("outline_size", box), "-id")

    def outlined(self) -> Self:
        return self.filter(outline_size__isnull=False)

    def with_targets(self) -> Self:
        """With what their scenes are held to, for who asks ``lights`` of many."""
        standing = SceneTarget.objects.standing()
        return self.select_related("scene").prefetch_related(
            models.Prefetch("scene__targets", standing, to_attr="standing_targets")
        )


class SceneArea(models.Model):
    """A scene on a page or on part of it; edges are fractions of the picture's width and height from top left.

    With an ``outline`` (``guides.core.outlines``) it holds within that, and the edges are those of the outline;
    ``outline_size`` is what it surrounds.
    """

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="+")
    guide = models.ForeignKey(Guide, on_delete=models.PROTECT, related_name="scene_areas")
    scene = models.ForeignKey(Scene, on_delete=models.PROTECT, related_name="areas")
    left = models.FloatField(default=0.0, validators=_ON_PAGE)
    top = models.FloatField(default=0.0, validators=_ON_PAGE)
    right = models.FloatField(default=1.0, validators=_ON_PAGE)
    bottom = models.FloatField(default=1.0, validators=_ON_PAGE)
    outline = OutlineField(null=True, blank=True, default=None)
    outline_size = models.FloatField(null=True, blank=True, default=None)
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
        return f"{self.scene} on {'the whole page' if self.is_whole_page else 'part of it'}"

    @property
    def is_whole_page(self) -> bool:
        return self.outline is None and (self.left, self.top, self.right, self.bottom) == (0.0, 0.0, 1.0, 1.0)

    def lights(self, part: int | None, subject: int | None, role: str) -> bool:
        """Whether the scene falls on a mark of this part, of this subject and in this role."""
        targets = self.scene.standing_targets  # type: ignore[attr-defined]  # fetched along: ``with_targets``
        return not targets or any(target.holds(part, subject, role) for target in targets)
