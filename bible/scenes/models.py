"""Scenes: rules that shift every tint of a page or a panel on purpose."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.urls import reverse

from bible.colour.shifts import Shift
from bible.models.fields import TintField
from bible.series.models import Series


class SceneQuerySet(models.QuerySet["Scene"]):
    def active(self) -> Self:
        return self.filter(archived_at=None)


class Scene(models.Model):
    """A named rule of a series. ``rule_data`` is the rule in force; ``SceneRule`` keeps every one there was."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="scenes")
    name = models.CharField(max_length=80, help_text="Night, lamplight, fog.")
    note = models.CharField(max_length=300, blank=True)
    rule_data = models.JSONField(default=list, editable=False)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = SceneQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["series", "name"], name="bible_scene_name_once")]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("scene", args=[self.series.slug, self.pk])

    @property
    def rule(self) -> Shift:
        return Shift.from_data(self.rule_data)


class SceneRule(models.Model):
    """What a scene's rule was from a moment on: who said so, and why."""

    scene = models.ForeignKey(Scene, on_delete=models.PROTECT, related_name="rules")
    rule_data = models.JSONField(default=list)
    reason = models.CharField(max_length=300, blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.scene}: {self.rule}"

    @property
    def rule(self) -> Shift:
        return Shift.from_data(self.rule_data)


class SceneTint(models.Model):
    """Where a scene's rule takes one tint of the chart: the rule as a table that SQL can join.

    Only tints that move have a row. Remade by ``services.scenes`` whenever a rule or the chart changes.
    """

    scene = models.ForeignKey(Scene, on_delete=models.CASCADE, related_name="tints", db_index=False)
    tint = TintField()
    shifted = TintField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["scene", "tint"], name="bible_scene_tint_once")]

    def __str__(self) -> str:
        return f"{self.tint} → {self.shifted}"
