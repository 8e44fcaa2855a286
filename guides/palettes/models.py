"""How often each issue uses each tint: what the palette room reads instead of every mark."""

from __future__ import annotations

from typing import Self

from django.db import models

from bible.models import Issue, Series
from bible.models.roles import FIRST_ROLES


class UseKind(models.IntegerChoices):
    """What a tint is used for: a role of a known part, or background.

    All roles that a series has added count as one.
    """

    BACKGROUND = 0, "background"
    BASE = 1, "base"
    SHADE = 2, "shade"
    HIGHLIGHT = 3, "highlight"
    OWN = 4, "a role of the series' own"

    @classmethod
    def of(cls, part_id: int | None, role: str) -> UseKind:
        return cls.BACKGROUND if part_id is None else KIND_OF_ROLE.get(role, cls.OWN)


KIND_OF_ROLE = {role.key: UseKind[role.key.upper()] for role in FIRST_ROLES}
"""Of the roles that every series begins with; any other is ``UseKind.OWN``."""

NOBODY = 0
"""Stands for the colourist of a page that names none: a key of the table holds no NULL."""


class TintUseQuerySet(models.QuerySet["TintUse"]):
    def of_kinds(self, kinds: list[UseKind]) -> Self:
        return self.filter(kind__in=kinds)

    def coloured_by(self, user_id: int) -> Self:
        return self.filter(colourist=user_id)

    def in_key_order(self) -> Self:
        # By the keys themselves: ordered by what they point at, rows of series and issues would be joined and held.
        return self.order_by("series_id", "issue_id", "kind", "colourist")


class TintUse(models.Model):
    """How often the live marks of an issue use each tint for one kind of thing, on pages of one colourist.

    A gradient uses both its tints, so it counts once for each of them. All the tints stand in one column: a matrix is
    then a few thousand rows instead of a quarter of a million. ``guides.core.counts`` packs and unpacks it and
    keeps it true in the transactions that change marks.

    A key may have several rows, which add up (one of them may count below 0): whoever finds a row held by somebody
    else's transaction takes another one instead of waiting.
    """

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="+", db_index=False)
    issue = models.ForeignKey(Issue, on_delete=models.CASCADE, related_name="+", db_index=False)
    kind = models.PositiveSmallIntegerField(choices=UseKind)
    colourist = models.PositiveBigIntegerField(help_text="Key of the page's colourist, 0 where none is named.")
    packed = models.BinaryField(default=b"")

    objects = TintUseQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["series", "issue", "kind", "colourist"], name="guides_tint_use_key")]

    def __str__(self) -> str:
        return f"{UseKind(self.kind).label} of {self.issue}"
