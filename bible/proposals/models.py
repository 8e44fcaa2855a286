"""Proposals: locks that somebody without the right to lock has asked for."""

from __future__ import annotations

import datetime as dt
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from bible.locks.models import WRITTEN_LENGTH, Asked, Lock, columns_of
from bible.models.fields import OwnKeyField
from bible.models.roles import BASE_ROLE, KEY_LENGTH
from bible.series.models import Series
from bible.subjects.models import Part


class ProposalQuerySet(models.QuerySet["Proposal"]):
    def waiting(self) -> Self:
        return self.filter(state=Proposal.State.WAITING)

    def by(self, user_id: int) -> Self:
        return self.filter(proposed_by_id=user_id)

    def same(self, *, by: int, part: Part, **asked: Any) -> Self:
        """What this person has asked for in just these words; the arguments are those of ``propose``."""
        return self.by(by).filter(part=part, **asked | columns_of(asked["tint"]))

    def written_since(self, moment: dt.datetime) -> Self:
        """Asked for or answered since then."""
        return self.filter(Q(proposed_at__gte=moment) | Q(answered_at__gte=moment))

    def with_names(self) -> Self:
        return self.select_related("part__costume__subject", "proposed_by", "answered_by", "lock")


class Proposal(Asked):
    """A code asked for; a lead accepts it, locks another one instead, or declines, and says why."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        ACCEPTED = "accepted", "accepted"
        CHANGED = "changed", "accepted with another code or time"
        DECLINED = "declined", "declined"
        WITHDRAWN = "withdrawn", "taken back"

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="proposals")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="proposals")
    role = OwnKeyField(of="roles", max_length=KEY_LENGTH, default=BASE_ROLE)
    written = models.CharField(max_length=WRITTEN_LENGTH)
    from_position = models.PositiveIntegerField()
    to_position = models.PositiveIntegerField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    seen_at = models.CharField(max_length=120, blank=True, help_text="The mark it was proposed from, in words.")
    seen_url = models.CharField(max_length=200, blank=True)
    proposed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="proposals")
    proposed_at = models.DateTimeField(auto_now_add=True)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    answer = models.CharField(max_length=300, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    answered_at = models.DateTimeField(null=True, blank=True)
    lock = models.ForeignKey(Lock, on_delete=models.PROTECT, null=True, blank=True, related_name="proposals")

    objects = ProposalQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["series", "id"], condition=Q(state="waiting"), name="bible_proposal_waiting")]

    def __str__(self) -> str:
        return f"{self.written} for {self.part.full_name}"

    def get_absolute_url(self) -> str:
        return f"{reverse('proposals', args=[self.series.slug])}#proposal-{self.pk}"
