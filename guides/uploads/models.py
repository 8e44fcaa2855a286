"""Scans on their way in: what has come of a file so far."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone

from bible.models import Issue, Series
from guides.core.models.pages import PAGE_LABEL_LENGTH, Guide

if TYPE_CHECKING:
    from django.contrib.auth.models import User

KEPT_FOR = dt.timedelta(hours=24)
"""How long a file that stopped coming can be gone on with: a night and the next day's work."""


class ArrivalQuerySet(models.QuerySet["Arrival"]):
    def unfinished(self) -> Self:
        """Still coming, or here and not stored yet."""
        return self.filter(guide=None, refused="")

    def sent_by(self, person: User) -> Self:
        """A file on its way belongs to whoever sends it."""
        return self.filter(started_by=person)

    def expired(self) -> Self:
        return self.filter(touched_at__lt=timezone.now() - KEPT_FOR)


class Arrival(models.Model):
    """One file being sent for a page of an issue, in pieces, so that a lost connection costs one piece at most.

    ``pieces`` are names in the storage, in order; together they are ``received`` bytes. ``revision`` is what the page
    would become when the person looked: if it would be another one by then, somebody else was faster, whose scan must
    not be buried unseen.
    """

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="+")
    issue = models.ForeignKey(Issue, on_delete=models.CASCADE, related_name="arrivals")
    page = models.CharField(max_length=PAGE_LABEL_LENGTH)
    revision = models.PositiveIntegerField()
    colourist = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    filename = models.CharField(max_length=200)
    byte_size = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64, blank=True)
    again = models.BooleanField(default=False)
    pieces = models.JSONField(default=list)
    received = models.PositiveIntegerField(default=0)
    working_since = models.DateTimeField(null=True)
    refused = models.CharField(max_length=500, blank=True)
    guide = models.ForeignKey(Guide, on_delete=models.CASCADE, null=True, related_name="+")
    started_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    started_at = models.DateTimeField(auto_now_add=True)
    touched_at = models.DateTimeField(default=timezone.now)

    objects = ArrivalQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["touched_at"], name="guides_arrival_touched")]

    def __str__(self) -> str:
        return self.filename

    def get_absolute_url(self) -> str:
        return reverse("arrival", args=[self.series.slug, self.pk])

    @property
    def is_whole(self) -> bool:
        return self.received >= self.byte_size

    @property
    def state(self) -> str:
        """``coming``, ``whole`` (all here, not stored yet), ``stored`` or ``refused``."""
        if self.guide_id:
            return "stored"
        if self.refused:
            return "refused"
        return "whole" if self.is_whole else "coming"
