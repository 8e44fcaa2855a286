"""Scenes: rules that shift every tint of a page or a panel on purpose."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from bible.colour.shifts import Shift
from bible.models.fields import OwnKeyField, TintField
from bible.models.roles import KEY_LENGTH
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


class SceneTargetQuerySet(models.QuerySet["SceneTarget"]):
    def standing(self) -> Self:
        return self.filter(standing=True)


class SceneTarget(models.Model):
    """What a scene is held to: the light falls on this subject or part, in this role; what is left open is any. A
    scene without any falls on everything.

    Those of the rule in force are ``standing``; what earlier rules were held to stays with them.
    """

    scene = models.ForeignKey(Scene, on_delete=models.CASCADE, related_name="targets")
    rule = models.ForeignKey(SceneRule, on_delete=models.CASCADE, related_name="targets", db_index=False)
    subject = models.ForeignKey("bible.Subject", on_delete=models.PROTECT, null=True, related_name="+")
    part = models.ForeignKey("bible.Part", on_delete=models.PROTECT, null=True, related_name="+")
    role = OwnKeyField(of="roles", max_length=KEY_LENGTH, blank=True)
    standing = models.BooleanField(default=True)

    objects = SceneTargetQuerySet.as_manager()

    class Meta:
        verbose_name = "light of a scene"
        verbose_name_plural = "lights of scenes"
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(subject=None) | Q(part=None), name="bible_scene_target_is_one_thing"),
        ]

    def __str__(self) -> str:
        return f"{self.scene} on {self.part or self.subject or self.role}"

    def holds(self, part: int | None, subject: int | None, role: str) -> bool:
        """Whether a mark of this part, of this subject and in this role is meant."""
        fits = (self.part_id is None or self.part_id == part) and (
            self.subject_id is None or self.subject_id == subject
        )
        return fits and self.role in ("", role)


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
