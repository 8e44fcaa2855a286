"""A series, the people who work on it and its issues."""

from __future__ import annotations

import unicodedata
from functools import cached_property
from typing import TYPE_CHECKING, Any, Self

from django.apps import apps
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import ExpressionWrapper
from django.urls import reverse

from bible.accounts.models import held_back
from bible.colour.charts import STANDARD_CHARTS, Chart
from bible.colour.gradients import TintOrGradient, read_tint_or_gradient, write_tint_or_gradient
from bible.colour.notation import LETTERS_64, Notation
from bible.colour.press import DEFAULT_PRESS
from bible.colour.tints import Tint
from bible.models.naming import by_name, name_of
from bible.models.permissions import MemberRole, Permission, may
from bible.models.roles import KindList, RoleList, first_kinds, first_roles

if TYPE_CHECKING:
    from django.contrib.auth.models import AbstractBaseUser, AnonymousUser

POSITION_GAP = 65_536
"""Distance between neighbours in a new running order: room to put sixteen issues, one after another, into the same
gap before anything else has to move (2**31 still holds 32,767 issues)."""


def refuse_reserved_slug(value: str) -> None:
    """No series is called like an app: ``manage.py check NAME`` has to know one from the other."""
    if value in {config.label for config in apps.get_app_configs()}:
        raise ValidationError(f"“{value}” is a word this program uses itself; choose another short name.")


def classic_notation() -> dict[str, Any]:
    """What a new series writes in: the trade's letters and steps."""
    return LETTERS_64.to_dict()


class SeriesQuerySet(models.QuerySet["Series"]):
    def visible_to(self, user: AbstractBaseUser | AnonymousUser) -> Self:
        """Series this person belongs to; nobody, not even a superuser, sees one that is not theirs."""
        return self.filter(memberships__user_id=user.pk) if user.pk else self.none()

    def ask_of_lead(self, user: AbstractBaseUser | AnonymousUser) -> Self:
        """Series that this person leads and that ask their leads for a second factor."""
        return self.filter(
            leads_need_second_factor=True, memberships__user_id=user.pk, memberships__role=MemberRole.LEAD
        )


class Series(models.Model):
    """One comic title with its bible: it owns a notation, a chart, a press condition and its people."""

    class ChartKind(models.TextChoices):
        CLASSIC = "64", "64 tints (25, 50 %, solid)"
        FOURTH_70 = "125-70", "125 tints (25, 50, 70 %, solid)"
        FOURTH_75 = "125-75", "125 tints (25, 50, 75 %, solid)"
        HOUSE = "house", "the house's own list"

    title = models.CharField(max_length=120)
    slug = models.SlugField(
        "short name",
        max_length=60,
        unique=True,
        validators=[refuse_reserved_slug],
        help_text="Used in addresses and on the command line: letters, figures and hyphens.",
    )
    notation_data = models.JSONField(default=classic_notation, editable=False)
    chart_kind = models.CharField("chart", max_length=8, choices=ChartKind, default=ChartKind.CLASSIC)
    chart_data = models.JSONField(default=list, editable=False, blank=True)
    roles_data = models.JSONField("roles", default=first_roles, db_default=first_roles(), editable=False)
    kinds_data = models.JSONField("kinds of subject", default=first_kinds, db_default=first_kinds(), editable=False)
    press = models.CharField("press condition", max_length=60, default=DEFAULT_PRESS)
    usual_pages = models.PositiveSmallIntegerField(
        "pages of an issue", null=True, blank=True, help_text="Numbered pages an issue usually has, covers apart."
    )
    lets_codes_in = models.BooleanField(
        "let sure codes in by themselves",
        default=False,
        db_default=False,
        help_text="Codes that are found on a page and are sure become marks before anybody has looked at them.",
    )
    leads_need_second_factor = models.BooleanField(
        "lead colourists need a second factor",
        default=False,
        db_default=False,
        help_text="Until a lead colourist has set one up, they may do here what a fill-in colourist may.",
    )
    created_at = models.DateTimeField(auto_now_add=True)

    objects = SeriesQuerySet.as_manager()

    class Meta:
        ordering = ["title"]
        verbose_name_plural = "series"

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        return reverse("series", args=[self.slug])

    @cached_property
    def notation(self) -> Notation:
        return Notation.from_dict(self.notation_data)

    @cached_property
    def chart(self) -> Chart:
        return self.chart_of(self.chart_kind, self.notation)

    def chart_of(self, kind: str, notation: Notation) -> Chart:
        """The chart of a kind under a notation: a standard one has its key steps, a house's list what it lists."""
        if kind != self.ChartKind.HOUSE:
            return STANDARD_CHARTS[kind].with_key(notation.key_levels)
        return Chart("house", f"House chart of {self.title}", tuple(map(Tint.from_packed, self.chart_data)))

    @cached_property
    def roles(self) -> RoleList:
        """What a code may stand for on a part, in the series' order."""
        return RoleList.from_data(self.roles_data)

    @cached_property
    def kinds(self) -> KindList:
        """The kinds of its subjects."""
        return KindList.from_data(self.kinds_data)

    def refused_role(self, role: str, kind: str) -> str:
        """Why a role cannot be said of a subject of a kind; empty where it can."""
        entry = self.roles.get(role)
        if entry is None or entry.is_for(kind):
            return ""
        allowed = " and ".join(self.kinds.name(key) for key in entry.kinds)
        return f"{entry.name.capitalize()} is a role for {allowed}, not for {self.kinds.name(kind)}."

    @cached_property
    def own_presses(self) -> frozenset[str]:
        """Press conditions that single issues print on instead of its own."""
        return frozenset(self.issues.exclude(press="").order_by().values_list("press", flat=True))

    def refresh_from_db(self, *args: Any, **kwargs: Any) -> None:
        super().refresh_from_db(*args, **kwargs)
        for cached in ("notation", "chart", "roles", "kinds", "own_presses"):
            self.__dict__.pop(cached, None)

    def read(self, text: str) -> Tint:
        """The tint a code means in this series. Raises ``NotationError``."""
        return self.notation.read(text, self.chart)

    def read_locked(self, text: str) -> TintOrGradient:
        """As ``read``, or the gradient that two codes mean: “B to W downwards”."""
        return read_tint_or_gradient(text, self.read)

    def write(self, tint: TintOrGradient) -> str:
        """The canonical code of a tint, or of a gradient, in this series."""
        return write_tint_or_gradient(tint, self.notation.write)


class MembershipQuerySet(models.QuerySet["Membership"]):
    def for_user_and_slug(self, user: AbstractBaseUser | AnonymousUser, slug: str) -> Self:
        """One's own membership, with whether its rights wait for a second factor."""
        mine = self.filter(user_id=user.pk, series__slug=slug).select_related("series")
        return mine.annotate(held_back=ExpressionWrapper(held_back(), output_field=models.BooleanField()))

    def leads(self) -> Self:
        return self.filter(role=Membership.Role.LEAD)

    def by_role(self) -> Self:
        return self.select_related("user").order_by("role", *by_name("user__"))


class Membership(models.Model):
    """What one person is in one series.

    ``held_back`` is asked of the database where it matters, ``for_user_and_slug``: a lead who is asked for a second
    factor and has none.
    """

    Role = MemberRole
    held_back = False

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="memberships")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=8, choices=Role)
    joined_at = models.DateTimeField(auto_now_add=True)
    looked_at = models.DateTimeField("last looked at what has happened", null=True, editable=False)
    seen_until = models.DateTimeField("had looked, before this visit", null=True, editable=False)

    objects = MembershipQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["series", "user"], name="bible_one_role_a_series")]

    def __str__(self) -> str:
        return f"{name_of(self.user)} ({self.get_role_display()})"

    def may(self, permission: Permission) -> bool:
        """Whether this person may do it in this series."""
        return may(self.acting_role, permission)

    @property
    def acting_role(self) -> str:
        """What the rights follow from: a lead who is held back does what a fill-in colourist does."""
        return MemberRole.FILL_IN if self.held_back else self.role


SUGGESTED_ISSUES = 120
"""Ten years of a monthly: more numbers than anybody scrolls through."""


def as_printed(number: str) -> str:
    """An issue's number as it is kept: full-width signs in their usual width (“½” stays as it is), single spaces."""
    narrow = (unicodedata.normalize("NFKC", sign) if unicodedata.east_asian_width(sign) == "F" else sign
              for sign in unicodedata.normalize("NFC", number))  # fmt: skip
    return " ".join("".join(narrow).split())


class IssueQuerySet(models.QuerySet["Issue"]):
    def active(self) -> Self:
        return self.filter(archived_at=None)

    def in_order(self) -> Self:
        return self.order_by("position")

    def called(self, number: str) -> Self:
        """The one of this number, however its letters, spaces and figures were typed."""
        return self.filter(number__iexact=as_printed(number))

    def suggested(self) -> list[dict[str, Any]]:
        """Numbers and titles of the newest issues at work, in order, for a form to suggest; an older one is typed.
        (Of a series of thousands, a page was mostly their list.)"""
        newest = self.active().order_by("-position").values("number", "title")[:SUGGESTED_ISSUES]
        return list(newest)[::-1]

    def newest_from(self, count: int) -> int:
        """The place in the running order from which the newest ``count`` issues at work stand; 0 where all do."""
        places = self.active().order_by("-position").values_list("position", flat=True)
        last_and_next = list(places[count - 1 : count + 1])
        return last_and_next[0] if len(last_and_next) > 1 else 0

    def latest_one(self) -> Issue | None:
        """The last one in the running order; one that is archived only where all are."""
        return self.active().order_by("position").last() or self.order_by("position").last()

    def at_work(self) -> Issue | None:
        """The issue that is worked on now: the first behind the last signed-off one; where none is signed off, or
        nothing comes behind it, the latest."""
        active = self.active().order_by("position")
        signed = active.signed_off().last()
        behind = active.filter(position__gt=signed.position).first() if signed else None
        return behind or active.last()

    def in_check(self) -> Self:
        """Waiting for the editor's word."""
        return self.filter(signed_off_at=None, in_check_at__isnull=False)

    def signed_off(self) -> Self:
        return self.filter(signed_off_at__isnull=False)


class Issue(models.Model):
    """One published number of a series.

    ``in_check_at`` and ``signed_off_at`` say how far it is; who, why and what was true then is in the guides' record.
    """

    class State(models.TextChoices):
        OPEN = "open", "open"
        IN_CHECK = "in-check", "in check"
        SIGNED_OFF = "signed-off", "signed off"

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="issues")
    number = models.CharField(max_length=30, help_text="As printed: 57, Annual 2.")
    position = models.PositiveIntegerField("running order", validators=[MinValueValidator(1)])
    title = models.CharField(max_length=120, blank=True)
    published = models.DateField("cover date", null=True, blank=True)
    own_pages = models.PositiveSmallIntegerField(
        "pages of this issue", null=True, blank=True, help_text="Where it has not the usual number."
    )
    press = models.CharField(
        "press condition",
        max_length=60,
        blank=True,
        default="",
        db_default="",
        help_text="What this issue prints on, where it is not the series' press condition.",
    )
    in_check_at = models.DateTimeField(null=True, blank=True, editable=False)
    signed_off_at = models.DateTimeField(null=True, blank=True, editable=False)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = IssueQuerySet.as_manager()

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["series", "number"], name="bible_issue_number_once"),
            models.UniqueConstraint(fields=["series", "position"], name="bible_issue_position_once"),
        ]

    def __str__(self) -> str:
        return f"issue {self.number}"

    def get_absolute_url(self) -> str:
        return reverse("issue", args=[self.series.slug, self.pk])

    @property
    def press_name(self) -> str:
        """What it prints on: its own press condition, else the series'."""
        return self.press or self.series.press

    @property
    def pages_expected(self) -> int | None:
        """How many pages it is to have: its own number, else the usual one; None where nobody has said."""
        return self.own_pages or self.series.usual_pages

    @property
    def state(self) -> Issue.State:
        if self.signed_off_at:
            return self.State.SIGNED_OFF
        return self.State.IN_CHECK if self.in_check_at else self.State.OPEN


class PressUpload(models.Model):
    """A press condition that a series brought itself, fitted from its own characterization data."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="press_uploads")
    name = models.SlugField(max_length=60)
    title = models.CharField(max_length=120)
    source = models.CharField(max_length=300)
    text = models.TextField(editable=False, help_text="The fitted condition in the form of the files in pressdata/.")
    uploaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    uploaded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["series", "name"], name="bible_press_name_once")]

    def __str__(self) -> str:
        return self.title
