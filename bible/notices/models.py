"""How each person wants word, what they have been told, and the programs that are told."""

from __future__ import annotations

import uuid
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.crypto import get_random_string, salted_hmac

from bible.models.permissions import RIGHTS, Permission
from bible.series.models import Membership, Series

LOG_SHOWN = 200
"""Deliveries of a series that are kept and shown: some weeks of a busy one."""


class NoticeChoiceQuerySet(models.QuerySet["NoticeChoice"]):
    def heard_at_once_in(self, series_id: int) -> Self:
        """Those by which somebody with an address hears of this series at once, or might."""
        of_series = Q(series=series_id) | Q(series=None)
        people = self.filter(of_series, how=NoticeChoice.How.AT_ONCE, user__memberships__series=series_id)
        return people.exclude(user__email="")


class NoticeChoice(models.Model):
    """How somebody wants word of a series; without one, of every series of theirs that says nothing itself.

    ``told_until`` is up to when they have been told of this series, ``told_flags`` the keys of the flagged marks that
    they have been told of.
    """

    class How(models.TextChoices):
        AT_ONCE = "at-once", "at once"
        DAILY = "daily", "once a day"
        NEVER = "never", "never"

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="notice_choices")
    series = models.ForeignKey(Series, on_delete=models.CASCADE, null=True, related_name="+")
    how = models.CharField(max_length=8, choices=How, blank=True)
    told_until = models.DateTimeField(null=True)
    told_flags: models.JSONField[list[int], list[int]] = models.JSONField(default=list)

    objects = NoticeChoiceQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "series"], name="bible_notice_choice_once"),
            models.UniqueConstraint(
                fields=["user"], condition=Q(series=None), name="bible_notice_choice_of_account_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.get_how_display() or 'as everywhere'}"


def _salt() -> str:
    return get_random_string(32)


class WebhookQuerySet(models.QuerySet["Webhook"]):
    def heard(self) -> Self:
        """Those whose maker may still see everything of the series: with them a program loses its eyes."""
        makers = Membership.objects.filter(
            series=models.OuterRef("series"), user=models.OuterRef("made_by"), role__in=RIGHTS[Permission.SET_UP]
        )
        return self.filter(models.Exists(makers))


class Webhook(models.Model):
    """A program of somebody's that is told what happens. Its secret is not stored: it follows from the salt and the
    installation's own key, and is shown once."""

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="webhooks")
    url = models.CharField("address", max_length=500)
    salt = models.CharField(max_length=32, default=_salt, editable=False)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    objects = WebhookQuerySet.as_manager()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return self.url

    @property
    def secret(self) -> str:
        """64 hexadecimal digits."""
        return salted_hmac("bible.notices.webhook", f"{self.pk}:{self.salt}", algorithm="sha256").hexdigest()


class WebhookDeliveryQuerySet(models.QuerySet["WebhookDelivery"]):
    def newest_first(self) -> Self:
        return self.order_by("-id").select_related("hook")

    def note(self, **said: Any) -> None:
        self.update(tries=F("tries") + 1, **said)


class WebhookDelivery(models.Model):
    """One thing told to one program: what was sent, and what came of it."""

    hook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="deliveries")
    event_id = models.UUIDField(default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=16)
    body = models.TextField()
    tries = models.PositiveSmallIntegerField(default=0)
    status = models.PositiveSmallIntegerField(null=True)
    error = models.CharField(max_length=200, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)
    taken_at = models.DateTimeField(null=True)

    objects = WebhookDeliveryQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "webhook deliveries"

    def __str__(self) -> str:
        return f"{self.kind} to {self.hook}"

    @property
    def state(self) -> str:
        if self.taken_at:
            return "taken"
        return "not taken yet" if not self.tries else (self.error or f"answered {self.status}")
