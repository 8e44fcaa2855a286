"""The steps an issue takes on its way out: in check, signed off, opened again."""

from __future__ import annotations

import datetime as dt
from typing import Any, Self

from django.conf import settings
from django.db import models

from bible.models import Issue, Series

WORDS_LENGTH = 500


class IssueStepQuerySet(models.QuerySet["IssueStep"]):
    def newest_first(self) -> Self:
        return self.order_by("-pk").select_related("by")

    def signings(self) -> Self:
        return self.filter(kind=IssueStep.Kind.SIGNED_OFF)

    def with_names(self) -> Self:
        return self.select_related("issue", "by", "state")

    def written_since(self, moment: dt.datetime) -> Self:
        return self.filter(at__gte=moment)

    def packs(self) -> Self:
        return self.filter(kind=IssueStep.Kind.HANDED_OFF)

    def on_the_way_out(self) -> Self:
        """Those that move an issue; a pack may be made of any state of it."""
        return self.exclude(kind=IssueStep.Kind.HANDED_OFF)


class IssueStep(models.Model):
    """One step, never edited. A signing keeps what was true at its moment, and so does a pack that is handed off.

    ``facts`` are counts and names, as ``guides.signoff.queries.Points.facts`` gives them; ``fingerprint`` stands for
    every page, mark and expectation (where a sign-off fell by itself, that of the signing), ``code_list``
    is the SHA-256 of the marks' CSV of its hand-off. The ``facts`` of a pack: ``guides.handoff.packs.facts_of``.
    """

    class Kind(models.TextChoices):
        IN_CHECK = "in-check", "put in check"
        TAKEN_BACK = "taken-back", "taken back from check"
        SIGNED_OFF = "signed-off", "signed off"
        REOPENED = "reopened", "opened again"
        STANDS = "stands", "signed off again by itself"
        HANDED_OFF = "handed-off", "handed off"

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="+", db_index=False)
    issue = models.ForeignKey(Issue, on_delete=models.PROTECT, related_name="steps", db_index=False)
    kind = models.CharField(max_length=10, choices=Kind)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    at = models.DateTimeField()
    words = models.CharField(max_length=WORDS_LENGTH, blank=True)
    facts: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)
    fingerprint = models.CharField(max_length=64, blank=True)
    code_list = models.CharField(max_length=64, blank=True)

    objects = IssueStepQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        indexes = [
            models.Index(fields=["issue", "id"], name="guides_step_of_issue"),
            models.Index(fields=["series", "id"], name="guides_step_of_series"),
        ]

    def __str__(self) -> str:
        return f"{self.issue} {self.get_kind_display()}"


class SignedState(models.Model):
    """Everything that was signed or handed off, whole, so that it can be shown and compared years later: with names
    and codes as they were, whatever has become of the rows.

    ``marks`` are rows of ``guides.core.kept.COLUMNS``, ``guides`` (page, revision, SHA-256 of the scan).
    """

    step = models.OneToOneField(IssueStep, on_delete=models.CASCADE, related_name="state")
    guides: models.JSONField[list[list[Any]], list[list[Any]]] = models.JSONField(default=list)
    marks: models.JSONField[list[list[Any]], list[list[Any]]] = models.JSONField(default=list)

    def __str__(self) -> str:
        return f"{self.step}: {len(self.marks)} marks"
