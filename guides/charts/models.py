"""Sheets that were printed from a series' chart, and the scans of them with what was read."""

from __future__ import annotations

from typing import Any, Self

from django.conf import settings
from django.db import models
from django.urls import reverse

from bible.colour import pressfile
from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.models import PressUpload, Series

RUN_LENGTH = 120
CHART_SAID_LENGTH = 300


class PrintedSheet(models.Model):
    """A page of the chart as it was printed: the chart may change, the paper on the wall does not.

    ``layout`` is that of ``guides.imaging.chart.sheet``; ``check`` the number that its marks carry.
    """

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="chart_sheets", editable=False)
    check_number = models.PositiveSmallIntegerField(editable=False)
    page = models.CharField(max_length=10, editable=False)
    layout = models.JSONField(editable=False)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", editable=False)
    made_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"sheet {self.check_number:02d}"

    @property
    def patch_count(self) -> int:
        return len(self.layout["patches"])


class ChartScanQuerySet(models.QuerySet["ChartScan"]):
    def were_read(self) -> Self:
        return self.filter(state=ChartScan.State.READ)

    def newest_first(self) -> Self:
        return self.order_by("-number", "-id")

    def with_names(self) -> Self:
        return self.select_related("series", "sheet", "uploaded_by", "press")


class ChartScan(models.Model):
    """A scan of a printed chart, by run, and what was read on it.

    ``pointed`` holds what a person pointed at on a chart without marks: ``{"rows", "columns", "codes", "corners"}``,
    corners in fractions of the picture, clockwise from top left. ``reference`` is the text of a colour target's
    reference file. ``patches`` are ``{"code", "tint", "lab", "doubt", "quad", "amiss"}``, quads in fractions.
    ``press_text`` is the condition as read; ``press`` the one that the series has taken it for.
    """

    class State(models.TextChoices):
        WAITING = "waiting", "waiting to be read"
        READ = "read", "read"
        REFUSED = "refused", "not read"

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="chart_scans", editable=False)
    number = models.PositiveIntegerField(editable=False)
    sheet = models.ForeignKey(PrintedSheet, on_delete=models.PROTECT, null=True, related_name="scans", editable=False)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING, editable=False)
    refusal = models.CharField(max_length=20, blank=True, editable=False)
    refusal_said = models.CharField(max_length=CHART_SAID_LENGTH, blank=True, editable=False)
    run = models.CharField(max_length=RUN_LENGTH)
    printed_on = models.DateField(null=True, blank=True)
    paper = models.CharField(max_length=RUN_LENGTH, blank=True)
    base = models.CharField(max_length=60, blank=True)
    reference = models.TextField(blank=True, editable=False)
    on_wall = models.BooleanField(default=False, editable=False)
    pointed = models.JSONField(null=True, editable=False)
    original = models.FileField(max_length=200, editable=False)
    screen = models.FileField(max_length=200, editable=False)
    thumb = models.FileField(max_length=200, editable=False)
    filename = models.CharField(max_length=200, editable=False)
    sha256 = models.CharField(max_length=64, editable=False)
    byte_size = models.PositiveIntegerField(editable=False)
    width = models.PositiveIntegerField(editable=False)
    height = models.PositiveIntegerField(editable=False)
    patches = models.JSONField(default=list, editable=False)
    notes = models.JSONField(default=list, editable=False)
    mean_doubt = models.FloatField(null=True, editable=False)
    press_text = models.TextField(blank=True, editable=False)
    press = models.ForeignKey(
        PressUpload, on_delete=models.PROTECT, null=True, related_name="chart_scans", editable=False
    )
    uploaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", editable=False
    )
    uploaded_at = models.DateTimeField(auto_now_add=True)

    objects = ChartScanQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["series", "number"], name="guides_chart_scan_number_once")]

    def __str__(self) -> str:
        return f"chart scan {self.number}"

    def get_absolute_url(self) -> str:
        return reverse("chart-scan", args=[self.series.slug, self.pk])

    @property
    def named(self) -> str:
        """As it is chosen from a list."""
        return f"{self.number}: {self.run}"

    @property
    def job_key(self) -> str:
        """Under which it is read in the background."""
        return f"chart-scan-{self.pk}"

    @property
    def condition(self) -> PressCondition | None:
        """The press condition that was read from it."""
        return pressfile.loads(self.press_text) if self.press_text else None

    @property
    def amiss(self) -> list[dict[str, Any]]:
        """Patches that do not print as their labels say, the surest first."""
        return sorted(
            (patch for patch in self.patches if patch["amiss"]), key=lambda patch: -patch["amiss"]["weight"]
        )

    def labs(self) -> dict[Tint, tuple[float, float, float]]:
        """What each tint measured, the mean of its places; patches amiss left out."""
        measured: dict[Tint, list[list[float]]] = {}
        for patch in self.patches:
            if not patch["amiss"]:
                measured.setdefault(Tint(*patch["tint"]), []).append(patch["lab"])
        means = {tint: [sum(axis) / len(rows) for axis in zip(*rows, strict=True)] for tint, rows in measured.items()}
        return {tint: (lab[0], lab[1], lab[2]) for tint, lab in means.items()}
