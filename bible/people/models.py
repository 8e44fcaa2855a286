"""How people come into a series: by a link that works once."""

from __future__ import annotations

import hashlib
from typing import Self

from django.conf import settings
from django.db import models
from django.utils import timezone

from bible.series.models import Membership, Series


def hashed(token: str) -> str:
    """What is stored of a token: whoever reads the database cannot come in with it. The token has 256 random bits,
    so that a plain SHA-256 is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


class InvitationQuerySet(models.QuerySet["Invitation"]):
    def usable(self) -> Self:
        """Neither used nor withdrawn nor expired."""
        return self.filter(accepted_at=None, withdrawn_at=None, expires_at__gt=timezone.now())

    def with_token(self, token: str) -> Self:
        return self.filter(token_hash=hashed(token))

    def newest_first(self) -> Self:
        return self.order_by("-invited_at", "-id").select_related("invited_by", "accepted_by")


class Invitation(models.Model):
    """A single-use link into a series, in one role."""

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="invitations")
    role = models.CharField(max_length=8, choices=Membership.Role)
    meant_for = models.CharField("for", max_length=120, blank=True, help_text="Whom you will give the link to.")
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    invited_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    invited_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    accepted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    accepted_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = InvitationQuerySet.as_manager()

    def __str__(self) -> str:
        return f"invitation of {self.meant_for or 'somebody'} as {self.get_role_display()}"

    @property
    def state(self) -> str:
        if self.accepted_at:
            return "used"
        if self.withdrawn_at:
            return "withdrawn"
        return "open" if self.expires_at > timezone.now() else "expired"


class ReadTokenQuerySet(models.QuerySet["ReadToken"]):
    def usable(self) -> Self:
        """Neither withdrawn nor expired, of people who still may sign in."""
        return self.filter(withdrawn_at=None, expires_at__gt=timezone.now(), membership__user__is_active=True)

    def with_token(self, token: str) -> Self:
        return self.filter(token_hash=hashed(token))


class ReadToken(models.Model):
    """Lets another program read a series in somebody's name, and write there what its owner has said it may. It dies
    with the membership."""

    membership = models.ForeignKey(Membership, on_delete=models.CASCADE, related_name="read_tokens")
    name = models.CharField(max_length=60, help_text="What it is for, to know it again.")
    may_write = models.BooleanField(
        "may write",
        default=False,
        db_default=False,
        help_text="It may bring marks and proofs in and propose codes, in your name and within your rights; "
        "it decides nothing.",
    )
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    made_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    used_on = models.DateField("last used", null=True)
    withdrawn_at = models.DateTimeField(null=True)

    objects = ReadTokenQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-id"]

    def __str__(self) -> str:
        return self.name

    @property
    def state(self) -> str:
        if self.withdrawn_at:
            return "withdrawn"
        return "open" if self.expires_at > timezone.now() else "expired"

    def note_use(self) -> None:
        """Remember the day, at the price of one write a day."""
        today = timezone.localdate()
        if self.used_on != today:
            ReadToken.objects.filter(pk=self.pk).update(used_on=today)
