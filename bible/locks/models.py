"""Locks: the tint a part must carry in a role, from one issue on.

Locks are immutable rows. A later decision withdraws what it overlaps; what is left of the older lock's time stands
on as a copy that keeps its own decider, date and reason (``follows`` links them). A new lock without an end stops
at the next change already decided: an earlier issue's decision never undoes a later one.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Q

from bible.colour.gradients import Direction, Gradient, TintOrGradient
from bible.colour.shifts import Shift
from bible.colour.tints import Tint
from bible.models.fields import OwnKeyField, TintField
from bible.models.roles import BASE_ROLE, KEY_LENGTH, RoleList
from bible.models.stretches import Stretch, StretchQuerySet
from bible.series.models import Series

if TYPE_CHECKING:
    from bible.editions.models import Edition

BASE_CHANGED = "its base changed"
"""Why a lock by rule was withdrawn that was worked out anew."""

WRITTEN_LENGTH = 120
"""Room for a rule in words; codes are shorter."""


class LockQuerySet(StretchQuerySet["Lock"]):
    def of(self, part_id: int, role: str) -> Self:
        return self.filter(part_id=part_id, role=role)

    def of_edition(self, edition: Edition | int | None) -> Self:
        """What was decided for one edition itself; None: for the first printing."""
        return self.filter(edition=edition)

    def of_printing(self, edition: Edition | int | None) -> Self:
        """What was decided for the first printing and, where one is asked for, for an edition itself. To be asked of
        ``Lock.every_printing``."""
        return self.filter(Q(edition=None) | Q(edition=edition)) if edition else self.filter(edition=None)

    def needed_in(self, edition: Edition | int | None, position: Any) -> Self:
        """What is in force at a position where an edition is printed: its own lock, and where it has none, the first
        printing's. To be asked of ``Lock.every_printing``."""
        if edition is None:
            return self.of_edition(None).in_force(position)
        own = Lock.every_printing.of_edition(edition).in_force(position)
        instead = own.filter(part=models.OuterRef("part"), role=models.OuterRef("role"))
        return self.in_force(position).filter(Q(edition=edition) | (Q(edition=None) & ~models.Exists(instead)))

    def carrying(self, tint: Tint) -> Self:
        """As their tint, or as one of the two of a gradient."""
        return self.filter(Q(tint=tint.packed) | Q(to_tint=tint.packed))

    def by_role(self, roles: RoleList) -> Self:
        """In the order of the series' roles, then in running order."""
        ranks = [models.When(role=role, then=n) for n, role in enumerate(roles.keys)]
        rank = models.Case(*ranks, default=len(ranks))
        return self.order_by(rank, "from_position", "id")

    def by_part(self, parts: Iterable[int], roles: RoleList) -> dict[int, list[Lock]]:
        """The locks of some parts, given by their keys, in the order of the roles; an empty list for a part without
        any."""
        locks_of: dict[int, list[Lock]] = {part: [] for part in parts}
        for lock in self.filter(part__in=locks_of).order_by():
            locks_of[lock.part_id].append(lock)
        for locks in locks_of.values():
            locks.sort(key=lambda lock: (roles.rank(lock.role), lock.from_position, lock.pk))
        return locks_of

    def with_people(self) -> Self:
        return self.select_related("decided_by", "withdrawn_by")

    def with_parts(self) -> Self:
        return self.select_related("part__costume__subject", "edition")

    def written_since(self, moment: dt.datetime) -> Self:
        """Decided or withdrawn since then; a decision is never changed otherwise."""
        return self.filter(Q(decided_at__gte=moment) | Q(withdrawn_at__gte=moment))


class FirstPrintingManager(models.Manager.from_queryset(LockQuerySet)):  # type: ignore[misc]
    """Locks of the first printing: the default, so that nobody meets an edition's without asking for it."""

    def get_queryset(self) -> LockQuerySet:
        return super().get_queryset().filter(edition=None)


def columns_of(value: TintOrGradient) -> dict[str, Any]:
    """The columns in which a lock, or a proposal of one, holds a tint or a gradient."""
    if isinstance(value, Tint):
        return {"tint": value, "to_tint": None, "direction": ""}
    return {"tint": value.start, "to_tint": value.end, "direction": value.direction or ""}


class Asked(models.Model):
    """What a lock, or a proposal of one, asks for: a tint, or a gradient from one tint to another."""

    tint = TintField()
    to_tint = TintField(null=True, blank=True)
    direction = models.CharField(
        max_length=10, blank=True, default="", db_default="", choices=[(one.value, one.words) for one in Direction]
    )

    class Meta:
        abstract = True

    @property
    def locked(self) -> TintOrGradient:
        """What it asks for: a tint, or a gradient."""
        if self.to_tint is None:
            return self.tint
        return Gradient(self.tint, self.to_tint, Direction(self.direction) if self.direction else None)


class Lock(Asked):
    """A decision, never edited: a later one withdraws it, and what is left of its time stands on as a new row.

    It holds at positions ``from_position <= position < to_position``; without ``to_position`` it holds onwards.
    A gradient is locked whole: it fades from ``tint`` to ``to_tint``, and may say which way; ``locked`` is the whole.
    Any role but base may be locked by a rule on the base; ``tint`` is then what the rule makes of the base in
    force, and rows follow when the base changes.

    With ``edition`` it holds in that edition only and moves no mark's expectation. ``Lock.objects``, and whatever is
    reached from a part or a series, is the first printing; ``Lock.every_printing`` knows the editions' own as well.
    """

    series = models.ForeignKey("bible.Series", on_delete=models.PROTECT, related_name="locks")
    part = models.ForeignKey("bible.Part", on_delete=models.PROTECT, related_name="locks")
    role = OwnKeyField(of="roles", max_length=KEY_LENGTH, default=BASE_ROLE)
    edition = models.ForeignKey(
        "bible.Edition",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",  # it would lead to the first printing's locks, of which an edition has none
        help_text="The edition that it holds in alone; none: the first printing.",
    )
    written = models.CharField(max_length=WRITTEN_LENGTH)
    rule_data = models.JSONField(default=list, blank=True, editable=False)
    from_position = models.PositiveIntegerField()
    to_position = models.PositiveIntegerField(null=True, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()
    follows = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="followed_by")
    restored = models.BooleanField(
        default=False,
        db_default=False,
        help_text="It stands again for the lock that it follows: the decision that withdrew that was undone.",
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    withdrawn_reason = models.CharField(max_length=300, blank=True)

    objects = FirstPrintingManager()
    every_printing = LockQuerySet.as_manager()

    class Meta:
        ordering = ["from_position", "id"]
        indexes = [
            models.Index(fields=["part", "role", "from_position"], name="bible_lock_lookup"),
            models.Index(fields=["series", "tint"], name="bible_lock_tint"),
            # Few locks are gradients: whether any is, and those that fade to a tint, stand together here.
            models.Index(fields=["series", "to_tint"], condition=Q(to_tint__isnull=False), name="bible_lock_fades"),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(tint__gte=0), name="bible_lock_has_a_tint"),
            models.CheckConstraint(
                condition=Q(to_tint__gte=0) | Q(to_tint=None, direction=""), name="bible_lock_fades_to_a_tint"
            ),
            models.CheckConstraint(
                condition=Q(to_position=None) | Q(to_position__gt=models.F("from_position")),
                name="bible_lock_runs_forward",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.written} ({self.role})"

    def get_absolute_url(self) -> str:
        return f"{self.part.get_absolute_url()}#lock-{self.pk}"

    def holds_at(self, position: int) -> bool:
        """Whether its stretch covers a running-order position."""
        return Stretch(self.from_position, self.to_position).holds_at(position)

    @property
    def rule(self) -> Shift:
        """The rule on the base that this lock follows; empty where it is a code of its own."""
        return Shift.from_data(self.rule_data)


NOTE_LENGTH = 2_000


class NoteQuerySet(models.QuerySet[Any]):
    def with_writers(self) -> Self:
        return self.select_related("written_by").order_by("id")


class LockNoteQuerySet(NoteQuerySet):
    def of_decision(self, lock: Lock) -> Self:
        """Notes on a decision, whichever of its rows they were written on: what is left of a lock's time after a
        later decision stands on as a row of its own, and the notes are still about it."""
        same = {"lock__part": lock.part_id, "lock__role": lock.role, "lock__decided_at": lock.decided_at}
        same["lock__edition"] = lock.edition_id
        return self.filter(series=lock.series_id, lock__decided_by=lock.decided_by_id, **same)


class Note(models.Model):
    """A remark with its writer and time; never edited."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="+")
    text = models.TextField("note", max_length=NOTE_LENGTH)
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField(auto_now_add=True)

    objects = NoteQuerySet.as_manager()

    class Meta:
        abstract = True
        ordering = ["id"]

    def __str__(self) -> str:
        return self.text[:60]


class LockNote(Note):
    lock = models.ForeignKey(Lock, on_delete=models.PROTECT, related_name="notes")

    objects = LockNoteQuerySet.as_manager()  # type: ignore[misc]

    class Meta(Note.Meta):
        indexes = [models.Index(fields=["series", "written_at"], name="bible_note_when")]
