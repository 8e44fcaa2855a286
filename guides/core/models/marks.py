"""Marks: places on a guide with their codes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any, NamedTuple, Self

from django.apps import apps
from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Case, Exists, Max, OuterRef, Q, Value, When
from django.db.models.functions import Cast
from django.urls import reverse

from bible.colour.tints import Tint
from bible.models import Membership, Part, Scene, Series
from bible.models.fields import NoTint, OwnKeyField, TintField
from bible.models.permissions import Permission
from bible.models.roles import BASE_ROLE, KEY_LENGTH
from guides.core.models.both_codes import BothCodes
from guides.core.models.conditions import (
    MOST_COUNTED,
    Agreement,
    FlagKind,
    flag_kind_condition,
    flagged_condition,
    kind_of_flag,
)
from guides.core.models.pages import Guide


class MarkQuerySet(models.QuerySet["Mark"]):
    def live(self) -> Self:
        """Marks that stand: on a current revision and not deleted."""
        return self.filter(live=True)

    def within(self, position: int | None = None, *, since: int = 0) -> Self:
        """Those of the issue at a position; without one, those of the issues from a place in the running order on."""
        if position is not None:
            return self.filter(position=position)
        return self.filter(position__gte=since) if since else self

    def on_pages_of(self, user: AbstractBaseUser) -> Self:
        """Those on the pages that one colourist has coloured."""
        return self.filter(guide__colourist=user)

    def written_since(self, moment: dt.datetime) -> Self:
        """Made, changed or taken off since then, or counting no more since: a newer scan, an archived issue."""
        newer = Guide.objects.filter(issue=OuterRef("guide__issue"), page=OuterRef("guide__page"))
        newer = newer.filter(revision__gt=OuterRef("guide__revision"), uploaded_at__gte=moment)
        replaced = Q(guide__is_current=False, deleted_at=None) & Exists(newer)
        away = Q(guide__issue__archived_at__gte=moment, deleted_at=None)
        return self.filter(Q(changed_at__gte=moment) | Q(deleted_at__gte=moment) | replaced | away)

    def flagged(self) -> Self:
        return self.filter(flagged_condition())

    def open(self) -> Self:
        """Flags that nobody has allowed: what is still to be done."""
        return self.flagged().filter(waived=False)

    def waived(self) -> Self:
        """Flags that a lead colourist has allowed to stand."""
        return self.flagged().filter(waived=True)

    def of_kind(self, kind: FlagKind | str) -> Self:
        return self.filter(flag_kind_condition(FlagKind(kind)))

    def of_subject(self, subject_id: int) -> Self:
        return self.filter(part__costume__subject_id=subject_id)

    def background(self) -> Self:
        return self.filter(part=None)

    def in_order(self) -> Self:
        return self.order_by("position", "page_order", "id")

    def newest_first(self) -> Self:
        return self.order_by("-position", "page_order", "id")

    def counts_by_position(self) -> dict[int, int]:
        """How many of these marks each issue has, by its position."""
        return dict(self.order_by().values_list("position").annotate(n=models.Count("id")))

    def counts_by_texts(self) -> Iterable[tuple[str, str, int]]:
        """Text as written, second text of a gradient (else empty), how many marks."""
        return self.order_by().values_list("written", "to_written").annotate(n=models.Count("id"))

    def counts_by_texts_and_position(self) -> Iterable[tuple[str, str, int, int]]:
        """Text as written, second text of a gradient (else empty), position of the issue, how many marks."""
        return self.order_by().values_list("written", "to_written", "position").annotate(n=models.Count("id"))

    def after(self, key: tuple[int, int, int]) -> Self:
        """Marks that come after (position, page order, id): keyset paging costs the same on every page."""
        position, page_order, pk = key
        return self.filter(
            Q(position__gt=position)
            | Q(position=position, page_order__gt=page_order)
            | Q(position=position, page_order=page_order, id__gt=pk),
            position__gte=position,
        )

    def with_names(self) -> Self:
        """Everything that a list of marks prints, in one query."""
        return self.select_related("guide__issue", "guide__colourist", "part__costume__subject", "lock")

    def with_notes(self, membership: Membership) -> Self:
        """The notes beside each mark, for those who may read them (``mark.read_notes``), in one query more."""
        writers = apps.get_model("guides.MarkNote").objects.with_writers()
        readable = writers if membership.may(Permission.DISCUSS) else writers.none()
        return self.prefetch_related(models.Prefetch("notes", readable, to_attr="read_notes"))

    def as_drawn(self) -> Iterable[tuple[Any, ...]]:
        """The columns of a ``DrawnMark``, tints as they are stored; the part's key or None comes last."""
        packed = [Cast(name, models.IntegerField()) for name in ("tint", "to_tint", "expected", "expected_to")]
        return self.order_by().values_list("pk", "version", *packed, "live", "waived", "part")

    def as_said(self) -> Iterable[Any]:
        """Rows of (pk, page, part, role, written, to_written): what each mark says, and the page it stands on."""
        return self.values_list("pk", "guide__page", "part", "role", "written", "to_written")

    def with_parts(self) -> Self:
        """What the marks of one guide print, whose page and issue are known: every save answers with all of them."""
        return self.select_related("part__costume__subject")

    def with_shared_parts(self) -> Self:
        """As ``with_parts``, for many pages where the same parts come back: each is fetched once, in a query more."""
        return self.prefetch_related(models.Prefetch("part", Part.objects.with_names()))

    def pairs(self) -> list[tuple[Tint, Tint]]:
        """The distinct (tint, expected) pairs among marks that differ: few, however many the marks."""
        return list(self.of_kind(FlagKind.DIFFERS).order_by().values_list("tint", "expected").distinct())

    def end_pairs(self) -> list[tuple[Tint, Tint | None, Tint | NoTint]]:
        """The distinct (tint, tint it fades to, tint it should fade to) among those that only fade otherwise."""
        columns = ("tint", "to_tint", "expected_to")
        return list(self.of_kind(FlagKind.FADES).order_by().values_list(*columns).distinct())

    def with_flags_in(
        self, differing: Iterable[tuple[Tint, Tint]], fading: Iterable[tuple[Tint, Tint | None, Tint | NoTint]]
    ) -> Self:
        """Those that differ by one of these pairs, or only fade otherwise by one of these."""
        one_of = Q(pair__in=[a.packed * 2**31 + b.packed for a, b in differing])
        chosen = flag_kind_condition(FlagKind.DIFFERS) & one_of
        for tint, to_tint, expected_to in fading:
            chosen |= Q(tint=tint, to_tint=to_tint, expected_to=expected_to)
        return self._with_pair("expected").filter(chosen)

    def fades(self) -> Self:
        """Gradients whose two codes are both read."""
        return self.live().filter(tint__gte=0, to_tint__gte=0)

    def fade_pairs(self) -> list[tuple[Tint, Tint]]:
        """The distinct (tint, tint it fades to) pairs among these fades: few, however many the marks."""
        return list(self.order_by().values_list("tint", "to_tint").distinct())

    def with_fade_in(self, pairs: Iterable[tuple[Tint, Tint]]) -> Self:
        return self._with_pair("to_tint").filter(pair__in=[a.packed * 2**31 + b.packed for a, b in pairs])

    def _with_pair(self, second: str) -> Self:
        shift = Value(2**31, output_field=models.BigIntegerField())
        both = models.ExpressionWrapper(
            Cast("tint", models.BigIntegerField()) * shift + Cast(second, models.BigIntegerField()),
            output_field=models.BigIntegerField(),
        )
        return self.alias(pair=both)

    def kind_counts(self) -> dict[FlagKind, int]:
        """How many of these flags are of each kind, in one query."""
        kind = Case(
            *[When(flag_kind_condition(kind), then=Value(kind.value)) for kind in FlagKind],
            output_field=models.CharField(),
        )
        rows = self.order_by().annotate(kind_value=kind).values_list("kind_value").annotate(n=models.Count("id"))
        counted = dict(rows)
        return {kind: counted.get(kind.value, 0) for kind in FlagKind}

    def newest_kind_counts(self) -> dict[FlagKind, int]:
        """As ``kind_counts``, of the newest ``MOST_COUNTED`` and one more, which says that there are more."""
        every = {kind.name: models.Count("pk", filter=flag_kind_condition(kind)) for kind in FlagKind}
        counted = self.order_by("-position", "-page_order", "-id")[: MOST_COUNTED + 1].aggregate(**every)
        return {kind: counted[kind.name] for kind in FlagKind}

    def count_to_most(self) -> int:
        """How many there are, counted up to one more than ``MOST_COUNTED``."""
        return self.order_by()[: MOST_COUNTED + 1].count()

    def differing(self) -> Self:
        """Marked with another tint than the bible has, and nobody has allowed it."""
        return self.open().of_kind(FlagKind.DIFFERS)

    def of_parts_of(self, series: Series) -> Self:
        """The marks of a series by way of its parts, archived ones too: for counts by part, which one index then
        answers alone."""
        return self.filter(part__in=Part.objects.filter(costume__subject__series=series).order_by().values("pk"))

    def counts_by_part(self, right: Q) -> Iterable[Any]:
        """Rows of (part, marks, differing, allowed, last): ``last`` is the newest position where it is marked.
        ``right``: which marks say what they ought to."""
        unlike = ~right
        return (
            self.order_by()
            .values("part")
            .annotate(
                # Counting positions instead of keys, so that the index alone answers.
                marks=models.Count("position"),
                differing=models.Count("position", filter=unlike & Q(waived=False)),
                allowed=models.Count("position", filter=unlike & Q(waived=True)),
                last=Max("position"),
            )
            .values_list("part", "marks", "differing", "allowed", "last", named=True)
        )

    def counts_by_colourist(self) -> Iterable[tuple[int | None, int]]:
        """(Whoever coloured the page or None, marks)."""
        return self.order_by().values_list("guide__colourist").annotate(n=models.Count("id"))

    def drifts(self) -> Iterable[Any]:
        """Rows of (part, role, tint, needed, marks, first, last) of marks with what they need: what was marked
        instead of what, and from which position to which."""
        return (
            self.order_by()
            .values("part", "role", "tint", "needed")
            .annotate(marks=models.Count("id"), first=models.Min("position"), last=Max("position"))
            .values_list("part", "role", "tint", "needed", "marks", "first", "last", named=True)
        )

    def confusions(self) -> Iterable[Any]:
        """Rows of (guide__colourist, tint, needed, marks) of marks with what they need."""
        return (
            self.order_by()
            .values("guide__colourist", "tint", "needed")
            .annotate(marks=models.Count("id"))
            .values_list("guide__colourist", "tint", "needed", "marks", named=True)
        )


class Before(NamedTuple):
    """How a mark was before somebody changed it: its version, and what it said (``core.once.state_of``)."""

    version: int
    state: dict[str, Any]


class Mark(BothCodes, models.Model):
    """A place on a guide with the code as written, the tint read from it and, maybe, the part it belongs to.

    A gradient has a second code and an arrow's point (``to_…``), all set or none. Both codes are held against what is
    expected: ``expected_to`` is what it should fade to, flat where it should not. An arrow that points against a
    locked gradient begins at that one's end.

    ``position``, ``page_order`` and ``live`` repeat what the guide and its issue say, ``lock`` and ``expected`` what
    the bible says, ``scene`` which rule holds at this place and ``waived`` whether a living waiver allows the flag:
    so flags are found by one index. ``guides.core.continuity`` keeps them true.
    """

    # No index on the series alone: before statistics are gathered SQLite prefers it to the partial index of the flags
    # and reads every mark of the series to count a few.
    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="marks", editable=False, db_index=False)
    # No index of its own: PostgreSQL writes every index anew for each mark that a lock changes, so each one costs.
    # The marks of a guide are found by the constraint on their numbers, those of a lock by its part.
    guide = models.ForeignKey(Guide, on_delete=models.PROTECT, related_name="marks", editable=False, db_index=False)
    position = models.PositiveIntegerField(editable=False)
    page_order = models.PositiveIntegerField(editable=False)
    number = models.PositiveIntegerField(editable=False)
    x = models.FloatField(validators=[MinValueValidator(0.0), MaxValueValidator(1.0)])
    y = models.FloatField(validators=[MinValueValidator(0.0), MaxValueValidator(1.0)])
    part = models.ForeignKey(
        Part, on_delete=models.PROTECT, null=True, blank=True, related_name="marks", db_index=False
    )
    role = OwnKeyField(of="roles", max_length=KEY_LENGTH, default=BASE_ROLE)
    written = models.CharField("code as written", max_length=80, blank=True)
    tint = TintField(editable=False)
    to_written = models.CharField("fades to, as written", max_length=80, blank=True)
    to_tint = TintField(null=True, editable=False)
    to_x = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.0), MaxValueValidator(1.0)])
    to_y = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.0), MaxValueValidator(1.0)])
    # No constraint in the database: it looks every one of the marks up again that a lock changes, a quarter of the
    # time of saving one. Locks are withdrawn and never deleted, and this column is proved by ``check --verify``.
    lock = models.ForeignKey(
        "bible.Lock",
        on_delete=models.PROTECT,
        null=True,
        related_name="marks",
        editable=False,
        db_index=False,
        db_constraint=False,
    )
    scene = models.ForeignKey(
        Scene, on_delete=models.PROTECT, null=True, related_name="marks", editable=False, db_index=False
    )
    expected = TintField(editable=False, default=NoTint.NO_LOCK)
    expected_to = TintField(editable=False, default=NoTint.FLAT, db_default=NoTint.FLAT.value)
    waived = models.BooleanField(default=False, editable=False)
    live = models.BooleanField(default=True, editable=False)
    let_in = models.BooleanField(
        default=False,
        db_default=False,
        editable=False,
        help_text="Found on the page and let in by itself: nobody has looked at it yet.",
    )
    deleted_at = models.DateTimeField(null=True, editable=False)
    version = models.PositiveIntegerField(default=1, editable=False)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", editable=False, db_index=False
    )
    created_at = models.DateTimeField(auto_now_add=True)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", editable=False, db_index=False
    )
    changed_at = models.DateTimeField(auto_now=True)

    before: Before | None = None
    """Not stored: what whoever changes the mark found when they held it; None of a new one."""

    objects = MarkQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["guide", "number"], name="guides_mark_number_once"),
            models.CheckConstraint(
                condition=Q(x__gte=0, x__lte=1, y__gte=0, y__lte=1), name="guides_mark_on_the_page"
            ),
            models.CheckConstraint(
                condition=Q(to_written="", to_tint=None, to_x=None, to_y=None)
                | (~Q(to_written="") & Q(to_tint__isnull=False, to_x__gte=0, to_x__lte=1, to_y__gte=0, to_y__lte=1)),
                name="guides_arrow_whole_or_none",
            ),
        ]
        indexes = [
            models.Index(
                # The last five stand in it so that open flags, and those of each kind, are counted from it alone.
                fields=[
                    "series",
                    "position",
                    "page_order",
                    "id",
                    "waived",
                    "tint",
                    "expected",
                    "to_tint",
                    "expected_to",
                ],
                condition=flagged_condition(),
                name="guides_mark_flagged",
            ),
            models.Index(
                # Everything that the impact of a lock asks about a mark; it also finds the marks of a part.
                fields=[
                    "part",
                    "role",
                    "position",
                    "live",
                    "tint",
                    "expected",
                    "scene",
                    "waived",
                    "to_tint",
                    "expected_to",
                ],
                condition=Q(part__isnull=False),
                name="guides_mark_impact",
            ),
            models.Index(fields=["scene"], condition=Q(scene__isnull=False), name="guides_mark_scene"),
            models.Index(fields=["series", "position", "tint"], condition=Q(live=True), name="guides_mark_palette"),
            models.Index(
                # Few marks are gradients: their pairs of tints, and those that fade to one tint, stand together here.
                fields=["series", "to_tint", "tint"],
                condition=Q(live=True, to_tint__isnull=False),
                name="guides_mark_fades",
            ),
        ]

    def __str__(self) -> str:
        return f"mark {self.number}"

    def get_absolute_url(self) -> str:
        return f"{reverse('guide', args=[self.series.slug, self.guide_id])}?mark={self.pk}"

    @property
    def flag_kind(self) -> FlagKind | None:
        """The kind of this mark's flag, or None where it has none."""
        if not self.live or self.part_id is None:
            return None
        return kind_of_flag(self.tint, self.expected, self.to_tint, self.expected_to)

    @property
    def agreement(self) -> Agreement:
        if self.part_id is None:
            return Agreement.BACKGROUND
        if not self.live:
            return Agreement.NOT_COMPARED
        return Agreement.FLAGGED if self.flag_kind else Agreement.AGREES

    @property
    def sort_key(self) -> tuple[int, int, int]:
        return (self.position, self.page_order, self.pk)
