"""Work in the background: what was asked for, by whom, how far it is and how it ended."""

from __future__ import annotations

import datetime as dt
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django_tasks.base import TaskResultStatus
from django_tasks_db.models import DBTaskResult, get_date_max

from bible.series.models import Series

WORDS_LENGTH = 300

SILENT = dt.timedelta(seconds=30)
"""A worker is heard of every two seconds; one that has said nothing for this long has died with its machine."""


UNHEARD = dt.timedelta(seconds=60)
"""Longer than an idle worker looks away, and than one takes to be restarted."""

UNSERVED = "work waits and no worker does it"


class JobQuerySet(models.QuerySet["Job"]):
    def open(self) -> Self:
        """Waiting or being done."""
        return self.filter(ended_at=None)

    def ready(self) -> Self:
        """Open, and to be begun by the next worker that is free."""
        in_time = Q(run__run_after=get_date_max()) | Q(run__run_after__lte=timezone.now())
        return self.open().filter(in_time, run__status=TaskResultStatus.READY)

    def running(self) -> Self:
        return self.open().filter(run__status=TaskResultStatus.RUNNING)

    def lost(self) -> Self:
        """Being done by a worker that has not been heard of for too long."""
        return self.running().filter(beat_at__lt=timezone.now() - SILENT)

    def unserved(self) -> bool:
        """Whether work waits that nobody takes up: it could have been begun for a minute, and no worker was heard
        of."""
        since = timezone.now() - UNHEARD
        waiting = self.ready().filter(run__enqueued_at__lt=since)
        waiting = waiting.filter(Q(run__run_after=get_date_max()) | Q(run__run_after__lt=since))
        heard_of = Q(beat_at__gte=since) | Q(ended_at__gte=since, attempt__gt=0)
        return waiting.exists() and not Job.objects.filter(heard_of).exists()

    def of(self, key: str) -> Self:
        """Everything ever asked for under a key, the newest first."""
        return self.filter(key=key).order_by("-id")

    def with_run(self) -> Self:
        return self.select_related("run", "series", "asked_by")


class Job(models.Model):
    """One thing to be done in the background, once.

    ``key`` says what it is about: no two open ones share it. ``run`` is the library's row: which function, with what,
    whether it waits or is being done. ``done`` of ``total`` steps are behind it and ``words`` say which one is at
    hand. ``attempt`` counts how often it was begun and is what a worker holds it by; ``failures`` how often it broke
    off. ``again``: it was asked for once more while it was being done. An ended one has an ``outcome`` and ``said``,
    which is the reason in words where it is not done.
    """

    class Outcome(models.TextChoices):
        DONE = "done", "done"
        REFUSED = "refused", "refused"
        STOPPED = "stopped", "stopped"
        FAILED = "failed", "broke off"

    key = models.CharField(max_length=120)
    run = models.OneToOneField(DBTaskResult, on_delete=models.CASCADE, related_name="job")
    series = models.ForeignKey(Series, on_delete=models.CASCADE, null=True, related_name="jobs")
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+", db_index=False
    )
    about = models.CharField(max_length=WORDS_LENGTH, blank=True)
    page = models.CharField(max_length=WORDS_LENGTH, blank=True)
    words = models.CharField(max_length=WORDS_LENGTH, blank=True)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    attempt = models.PositiveIntegerField(default=0)
    failures = models.PositiveIntegerField(default=0)
    worker = models.CharField(max_length=80, blank=True)
    started_at = models.DateTimeField(null=True)
    beat_at = models.DateTimeField(null=True)
    again = models.BooleanField(default=False)
    ended_at = models.DateTimeField(null=True)
    outcome = models.CharField(max_length=8, choices=Outcome, blank=True)
    said = models.CharField(max_length=WORDS_LENGTH, blank=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["key"], condition=Q(ended_at=None), name="bible_one_open_job_a_key"),
            models.CheckConstraint(
                condition=Q(ended_at=None, outcome="") | (Q(ended_at__isnull=False) & ~Q(outcome="")),
                name="bible_ended_jobs_have_an_outcome",
            ),
        ]
        indexes = [
            models.Index(fields=["key", "-id"], name="bible_job_of_key"),
            models.Index(fields=["asked_by", "-started_at"], name="bible_job_served"),
            models.Index(fields=["id"], condition=Q(ended_at=None), name="bible_job_open"),
            models.Index(fields=["ended_at"], name="bible_job_ended"),
        ]

    def __str__(self) -> str:
        return self.about or self.key

    def get_absolute_url(self) -> str:
        return reverse("job", args=[self.series.slug, self.pk]) if self.series else ""

    @property
    def is_open(self) -> bool:
        return self.ended_at is None

    @property
    def kind(self) -> str:
        """What sort of thing it is; nothing where its function is no more."""
        try:
            return str(self.run.task.kind)  # type: ignore[attr-defined]
        except ImportError:
            return ""

    @property
    def is_waiting(self) -> bool:
        """Not begun, or to be begun anew."""
        return self.is_open and self.run.status == TaskResultStatus.READY

    @property
    def state_words(self) -> str:
        """How it stands, to go on with “is”: “waiting for its turn”, “being laid over its guide”, “refused: …”."""
        if self.is_waiting:
            return "waiting for its turn"
        if self.is_open:
            return self.words or "being done"
        return f"{self.get_outcome_display()}: {self.said}" if self.said else self.get_outcome_display()

    @property
    def was_done(self) -> bool:
        return self.outcome == self.Outcome.DONE

    @property
    def percent(self) -> int:
        return 100 * self.done // self.total if self.total else 0
