"""Booklets of the whole bible: asked for, and made in the background."""

from __future__ import annotations

from functools import cached_property
from typing import Self

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone

from bible.models import Edition, Issue, Job, Series


class BookletQuerySet(models.QuerySet["Booklet"]):
    def newest_first(self) -> Self:
        return self.order_by("-id")

    def with_names(self) -> Self:
        return self.select_related("series", "issue", "edition", "asked_by")


class Booklet(models.Model):
    """One booklet as of an issue (the latest state without one).

    How far it is, and why it is not there, its job says; once it is ready, ``done`` and ``total`` are the number
    of its subjects.
    """

    class State(models.TextChoices):
        """Of these only ``WAITING`` and ``READY`` are written; the others were, before jobs told them."""

        WAITING = "waiting", "waiting"
        MAKING = "making", "being made"
        READY = "ready", "ready"
        STOPPED = "stopped", "stopped"
        FAILED = "failed", "broke off"

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="booklets")
    issue = models.ForeignKey(Issue, on_delete=models.CASCADE, null=True, related_name="+")
    edition = models.ForeignKey(Edition, on_delete=models.CASCADE, null=True, related_name="+")
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
        where = f" in the edition {self.edition}" if self.edition else ""
        return f"as of issue {self.issue.number}{where}" if self.issue else f"as of the latest issue{where}"

    @property
    def job_key(self) -> str:
        return f"booklet-{self.pk}"

    @cached_property
    def job(self) -> Job | None:
        """What makes it, or made it; None once that is long ago."""
        return Job.objects.of(self.job_key).with_run().first()

    @property
    def is_ready(self) -> bool:
        return self.state == self.State.READY

    @property
    def is_busy(self) -> bool:
        return not self.is_ready and self.job is not None and self.job.is_open

    @property
    def state_words(self) -> str:
        """One that is not there, and that nothing makes any more, has broken off."""
        if self.is_ready:
            return str(self.State.READY.label)
        return self.job.state_words if self.job else str(self.State.FAILED.label)
