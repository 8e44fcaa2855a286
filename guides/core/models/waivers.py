"""Waivers: somebody's yes to one flag."""

from __future__ import annotations

import datetime as dt
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q

from bible.colour.gradients import TintOrGradient
from bible.models import Part, Series
from bible.models.fields import NoTint, OwnKeyField, TintField
from bible.models.roles import KEY_LENGTH
from guides.core.models.both_codes import whole
from guides.core.models.conditions import second_tint
from guides.core.models.marks import Mark


def _still_there() -> Q:
    """The mark says, and is expected to say, what the waiver was given for."""
    fields = ("part", "role", "tint", "expected", "expected_to")
    same_end = Q(fades_to=second_tint("mark__"))
    return Q(mark__part__isnull=False) & same_end & Q(*[(name, F(f"mark__{name}")) for name in fields])


class WaiverQuerySet(models.QuerySet["Waiver"]):
    def alive(self) -> Self:
        return self.filter(died_at=None)

    def outlived(self) -> Self:
        """Living waivers of a disagreement that is not there any more."""
        return self.alive().filter(~_still_there())

    def true_again(self, died_at: dt.datetime) -> Self:
        """Waivers that died by themselves in one moment, of a disagreement that is there again; none where the mark
        has been waived anew."""
        alive = WaiverQuerySet(self.model, using=self.db).alive().filter(mark=OuterRef("mark"))
        return self.filter(_still_there(), ~Exists(alive), died_at=died_at, died_by=None)

    def with_people(self) -> Self:
        return self.select_related("waived_by", "died_by")


class Waiver(models.Model):
    """A flag that may stand, and why. It speaks of a part, a role, the mark's tints and the expected ones; when
    the mark has others it dies. Where a decision that killed it is undone, a copy of it lives on."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="+")
    mark = models.ForeignKey(Mark, on_delete=models.PROTECT, related_name="waivers")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+", db_index=False)
    role = OwnKeyField(of="roles", max_length=KEY_LENGTH)
    tint = TintField()
    expected = TintField()
    fades_to = TintField(default=NoTint.FLAT, db_default=NoTint.FLAT.value)
    expected_to = TintField(default=NoTint.FLAT, db_default=NoTint.FLAT.value)
    reason = models.CharField(max_length=300)
    waived_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    waived_at = models.DateTimeField()
    died_at = models.DateTimeField(null=True, blank=True)
    died_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Who took it back; nobody where the mark or the lock changed.",
    )

    objects = WaiverQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["mark"], condition=Q(died_at=None), name="guides_one_waiver_a_mark")
        ]
        indexes = [models.Index(fields=["series", "waived_at"], name="guides_waiver_when")]

    def __str__(self) -> str:
        return self.reason

    @property
    def says(self) -> TintOrGradient | NoTint:
        """What may stand, whole."""
        return whole(self.tint, self.fades_to)

    @property
    def expectation(self) -> TintOrGradient | NoTint:
        """What it may stand against, whole."""
        return whole(self.expected, self.expected_to)
