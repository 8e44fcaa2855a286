"""Tables that somebody brings in: kept from the first look until the yes."""

from __future__ import annotations

import datetime as dt
from typing import Self

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone

from bible.models import Series

KEPT_FOR = dt.timedelta(days=2)
"""A table that nobody has said yes to is thrown away after this long."""


class BroughtTableQuerySet(models.QuerySet["BroughtTable"]):
    def stale(self) -> Self:
        """Looked at, never taken, and old."""
        return self.filter(taken_at=None, brought_at__lt=timezone.now() - KEPT_FOR)

    def undone(self) -> Self:
        return self.exclude(undone_at=None)

    def taken(self) -> Self:
        return self.exclude(taken_at=None).order_by("-taken_at")


class BroughtTable(models.Model):
    """A file with rows, which columns of it say what, and, once it has been taken, what became of the rows.

    The file itself is let go with the yes; its SHA-256 tells when the same file comes again. ``made`` names the rows
    that came of it (``guides.imports.undoing``), so that all of them can be taken back as one.
    """

    class Kind(models.TextChoices):
        BIBLE = "bible", "subjects, parts and locks"
        MARKS = "marks", "marks"
        ISSUES = "issues", "issues"
        SCENES = "scenes", "scenes"
        WAIVERS = "waivers", "waivers"
        ASSIGNMENTS = "assignments", "who does which page"

    KIND_LENGTH = 11

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="brought_tables")
    kind = models.CharField(max_length=KIND_LENGTH, choices=Kind)
    filename = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    data = models.BinaryField(null=True)
    columns = models.JSONField(default=dict)
    brought_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    brought_at = models.DateTimeField(auto_now_add=True)
    taken_at = models.DateTimeField(null=True)
    outcome = models.JSONField(default=dict)
    made = models.JSONField(null=True)
    undone_at = models.DateTimeField(null=True)
    undone_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    objects = BroughtTableQuerySet.as_manager()

    class Meta:
        ordering = ["-brought_at"]

    def __str__(self) -> str:
        return self.filename

    def get_absolute_url(self) -> str:
        return reverse(f"bring-{self.kind}-rows", args=[self.series.slug, self.pk])


class NamedHeading(models.Model):
    """What a series calls a column of its tables: somebody named it by hand once."""

    HEADING_LENGTH = 200

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="named_headings")
    kind = models.CharField(max_length=BroughtTable.KIND_LENGTH, choices=BroughtTable.Kind)
    heading = models.CharField(max_length=HEADING_LENGTH)
    field = models.CharField(max_length=20)

    class Meta:
        ordering = ["heading"]
        constraints = [
            models.UniqueConstraint(fields=["series", "kind", "heading"], name="guides_heading_named_once"),
        ]

    def __str__(self) -> str:
        return f"{self.heading}: {self.field}"
