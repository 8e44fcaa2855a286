"""Booklets of the whole bible: being made, made, or given up."""

from __future__ import annotations

import datetime as dt
from typing import Self

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone

from bible.models import Issue, Series

SILENT = dt.timedelta(seconds=60)
"""A maker reports every half second; one that has said nothing for this long has died with its server."""


class BookletQuerySet(models.QuerySet["Booklet"]):
    def busy(self) -> Self:
        """Waiting for a maker or being made, and heard of lately."""
        states = (Booklet.State.WAITING, Booklet.State.MAKING)
        return self.filter(state__in=states, touched_at__gt=timezone.now() - SILENT)

    def silent(self) -> Self:
        """Said to be waiting or being made, but not heard of any more."""
        states = (Booklet.State.WAITING, Booklet.State.MAKING)
        return self.filter(state__in=states, touched_at__lte=timezone.now() - SILENT)

    def newest_first(self) -> Self:
        return self.order_by("-id")

    def with_names(self) -> Self:
        return self.select_related("series", "issue", "asked_by")


class Booklet(models.Model):
    """One booklet as of an issue (the latest state without one).

    While it is made, ``done`` of ``total`` steps are behind it (pictures cut, subjects set); once it is ready both
    are the number of its subjects.
    """

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        MAKING = "making", "being made"
        READY = "ready", "ready"
        STOPPED = "stopped", "stopped"
        FAILED = "failed", "broke off"

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="booklets")
    issue = models.ForeignKey(Issue, on_delete=models.CASCADE, null=True, related_name="+")
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    file = models.FileField(max_length=200, blank=True)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    asked_at = models.DateTimeField(auto_now_add=True)
    touched_at = models.DateTimeField(default=timezone.now)

    objects = BookletQuerySet.as_manager()

    def __str__(self) -> str:
        return f"booklet {self.when}"

    def get_absolute_url(self) -> str:
        return reverse("booklet", args=[self.series.slug, self.pk])

    @property
    def when(self) -> str:
        return f"as of issue {self.issue.number}" if self.issue else "as of the latest issue"

    @property
    def is_busy(self) -> bool:
        unfinished = self.state in (self.State.WAITING, self.State.MAKING)
        return unfinished and self.touched_at > timezone.now() - SILENT

    @property
    def percent(self) -> int:
        return 100 * self.done // self.total if self.total else 0

    @property
    def state_words(self) -> str:
        """The state as it is now: a maker that fell silent has broken off, whatever its last word was."""
        if self.state in (self.State.WAITING, self.State.MAKING) and not self.is_busy:
            return str(self.State.FAILED.label)
        return self.get_state_display()
