"""Codes that were found on a page: what was read, what it points at, whose part that is, and what became of it.

None of them is a mark until somebody has said yes.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Count, Exists, OuterRef, Q

from bible.models import Issue, Part, Series, Subject
from bible.models.fields import OwnKeyField
from bible.models.roles import BASE_ROLE, KEY_LENGTH
from guides.core.models.areas import SceneArea
from guides.core.models.marks import Mark
from guides.core.models.pages import PAGE_LABEL_LENGTH, Guide

SEARCH_VERSION = 5
"""Of the way pages are looked through for codes; raise it and every page waits to be looked through again."""

LIKELY_CODE, LIKELY_PART = 0.8, 0.5
"""Chances of what it says and whose part it is from which a code that nobody has answered is evidence: likelier right
than not (a guess: no source)."""


class CodeSearchQuerySet(models.QuerySet["CodeSearch"]):
    def of_today(self) -> Self:
        """Those made in today's way."""
        return self.filter(version=SEARCH_VERSION)

    def failed(self) -> Self:
        return self.exclude(problem="")


class CodeSearch(models.Model):
    """A page that was looked through for codes.

    ``panels`` (boxes, in pixels of the picture that was looked at) and ``bordering`` (pairs of areas) are what parts
    are found by again, without the picture, when somebody has answered. ``problem`` says why there are no codes;
    ``notes`` are sentences on what is odd about the page; ``learnt_from``: its answers have taught its colourist's
    letters.
    """

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="+", editable=False, db_index=False)
    guide = models.OneToOneField(Guide, on_delete=models.CASCADE, related_name="code_search", editable=False)
    version = models.PositiveIntegerField(default=1)
    problem = models.CharField(max_length=300, blank=True)
    notes: models.JSONField[list[str], list[str]] = models.JSONField(default=list)
    panels: models.JSONField[list[Any], list[Any]] = models.JSONField(default=list)
    bordering: models.JSONField[list[Any], list[Any]] = models.JSONField(default=list)
    learnt_from = models.BooleanField(default=False, db_default=False)
    searched_at = models.DateTimeField(auto_now=True)

    objects = CodeSearchQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "code searches"

    def __str__(self) -> str:
        return f"search for codes on guide {self.guide_id}"


class KnownHandQuerySet(models.QuerySet["KnownHand"]):
    def of(self, guide: Guide) -> Self:
        """Of whoever coloured a page."""
        return self.filter(series=guide.series_id, colourist=guide.colourist_id)


class KnownHand(models.Model):
    """How a colourist's letters look to the reader (``HandShapes`` as JSON), learnt from answered codes."""

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="+", editable=False, db_index=False)
    colourist = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    shapes: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)

    objects = KnownHandQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["series", "colourist"], name="guides_hand_known_once")]

    def __str__(self) -> str:
        return f"letters of {self.colourist}"


class PageCastQuerySet(models.QuerySet["PageCast"]):
    def of_page(self, guide: Guide) -> Self:
        """Of a page, whatever its revision."""
        return self.filter(issue=guide.issue_id, page=guide.page)

    def of_the_page_before(self, guide: Guide) -> Self:
        """Of the last page before it in its issue about which somebody has said who is on it."""
        earlier = self.filter(issue=guide.issue_id, page_order__lt=guide.page_order)
        last = earlier.order_by("-page_order", "-page").values("page")[:1]
        return earlier.filter(page=models.Subquery(last))


class PageCast(models.Model):
    """Somebody has said that a subject is on a page. As long as nobody is said to be there it is not known who is;
    where somebody is, no one else is expected."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="+", editable=False)
    issue = models.ForeignKey(Issue, on_delete=models.CASCADE, related_name="+", db_index=False)
    page = models.CharField(max_length=PAGE_LABEL_LENGTH)
    page_order = models.PositiveIntegerField(editable=False)
    subject = models.ForeignKey(Subject, on_delete=models.CASCADE, related_name="+")
    said_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", db_index=False)
    said_at = models.DateTimeField()

    objects = PageCastQuerySet.as_manager()

    class Meta:
        ordering = ["issue", "page_order", "page", "subject"]
        constraints = [models.UniqueConstraint(fields=["issue", "page", "subject"], name="guides_cast_said_once")]

    def __str__(self) -> str:
        return f"{self.subject} on page {self.page}"


class FoundCodeQuerySet(models.QuerySet["FoundCode"]):
    def waiting(self) -> Self:
        """Those nobody has answered, on pages that count."""
        return self.filter(decided_at=None, guide__is_current=True, guide__issue__archived_at=None)

    def answered(self) -> Self:
        """Those a person has answered."""
        return self.filter(decided_at__isnull=False).exclude(outcome=FoundCode.Outcome.LET_IN)

    def set_aside(self) -> Self:
        """Those that somebody has said are none."""
        return self.filter(decided_at__isnull=False, outcome=FoundCode.Outcome.SET_ASIDE)

    def became_marks(self) -> Self:
        return self.filter(decided_at__isnull=False).exclude(outcome=FoundCode.Outcome.SET_ASIDE)

    def clear(self) -> Self:
        """Legible codes that were not struck out."""
        return self.filter(unreadable=False, crossed_out=False).exclude(code="")

    def witnesses(self) -> Self:
        """Those that nobody has answered and that are likelier right than not, on pages that no scene falls on: weak
        evidence of what their parts' codes were."""
        lit = SceneArea.objects.filter(guide=OuterRef("guide")).standing()
        likely = self.waiting().clear().filter(part__isnull=False, p__gte=LIKELY_CODE, p_part__gte=LIKELY_PART)
        return likely.filter(~Exists(lit))

    def sure(self) -> Self:
        """Those that are taken together (``guides.found.sureness``), but for what somebody has struck."""
        return self.filter(was_sure=True, doubted=False)

    def unlike_the_bible(self) -> Self:
        """Those whose code is another than that of their part."""
        return self.clear().filter(differs=True)

    def with_names(self) -> Self:
        return self.select_related("guide__issue", "part__costume__subject")

    def most_unlike_first(self) -> Self:
        """What differs from the bible before the rest, the surest of each first."""
        return self.order_by("-differs", "-p_part", "guide__issue__position", "guide__page_order", "id")

    def after(self, row: FoundCode) -> Self:
        """Those that come after a row, most unlike first; whether the row itself still waits does not matter."""
        places: dict[str, Any] = {
            "differs__lt": row.differs,
            "p_part__lt": row.p_part,
            "guide__issue__position__gt": row.guide.issue.position,
            "guide__page_order__gt": row.guide.page_order,
            "id__gt": row.pk,
        }
        later, same = Q(), Q()
        for name, value in places.items():
            later |= same & Q(**{name: value})
            same &= Q(**{name.rsplit("__", 1)[0]: value})
        return self.filter(later)

    def counts_by_guide(self) -> Iterable[Any]:
        """Rows of (guide, codes, sure, unlike): how many codes each guide has, how many of them are sure, and how
        many are unlike the bible."""
        legible = Q(unreadable=False, crossed_out=False) & ~Q(code="")
        counted = {
            "codes": Count("id"),
            "sure": Count("id", filter=Q(was_sure=True)),
            "unlike": Count("id", filter=Q(differs=True) & legible),
        }
        return self.order_by().values("guide").annotate(**counted).values_list("guide", *counted, named=True)

    def tallies(self, *by: str) -> Iterable[Any]:
        """Rows of (``by`` …, proposed, taken, moved, corrected, set_aside, let_in, sure, sure_right): what became of
        the codes that are answered, and of those of them that counted as sure."""
        outcome = FoundCode.Outcome
        kinds = (outcome.TAKEN, outcome.MOVED, outcome.CORRECTED, outcome.SET_ASIDE, outcome.LET_IN)
        counted = {"proposed": Count("id")}
        counted |= {kind.name.lower(): Count("id", filter=Q(outcome=kind)) for kind in kinds}
        looked_at = Q(was_sure=True) & ~Q(outcome=outcome.LET_IN)
        counted |= {
            "sure": Count("id", filter=looked_at),
            "sure_right": Count("id", filter=looked_at & Q(outcome=outcome.TAKEN)),
        }
        rows = self.filter(decided_at__isnull=False).order_by().values(*by).annotate(**counted)
        return rows.values_list(*by, *counted, named=True)


class FoundCode(models.Model):
    """A code that stands on a page, as it was read.

    Places are fractions of the picture's width and height. ``readings`` are pairs of code and chance, ``owners`` and
    ``elsewhere`` triples of part, role and chance, likeliest first; a part of None is nobody's, background.
    ``elsewhere`` are parts whose code in the bible is what was read, where it ``differs`` from its own part's.
    ``clue`` is what its part is found by again (``guides.found.asking_again``).

    While nobody has answered, what is proposed follows what was answered of the page's other codes; from then on it
    stays as it was shown, and ``was_sure`` with it. ``doubted``: somebody looked it over and struck it, so that it is
    asked by itself. ``outcome`` says what the last answer was; it holds while ``decided_at`` is set.
    """

    class Outcome(models.TextChoices):
        TAKEN = "taken", "taken as read"
        CORRECTED = "corrected", "corrected"
        MOVED = "moved", "moved"
        SET_ASIDE = "set-aside", "set aside"
        LET_IN = "let-in", "let in by itself"

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="+", editable=False, db_index=False)
    guide = models.ForeignKey(Guide, on_delete=models.CASCADE, related_name="found_codes", db_index=False)
    number = models.PositiveIntegerField()
    left = models.FloatField()
    top = models.FloatField()
    right = models.FloatField()
    bottom = models.FloatField()
    angle = models.FloatField(default=0.0)
    x = models.FloatField()
    y = models.FloatField()
    area = models.PositiveIntegerField(default=0)
    how = models.CharField(max_length=10, blank=True)
    p_place = models.FloatField(default=0.0)
    text = models.CharField(max_length=80, blank=True)
    code = models.CharField(max_length=80, blank=True)
    p = models.FloatField(default=0.0)
    readings: models.JSONField[list[Any], list[Any]] = models.JSONField(default=list)
    unreadable = models.BooleanField(default=False)
    crossed_out = models.BooleanField(default=False)
    part = models.ForeignKey(Part, on_delete=models.SET_NULL, null=True, related_name="+")
    role = OwnKeyField(of="roles", max_length=KEY_LENGTH, blank=True)
    p_part = models.FloatField(default=0.0)
    owners: models.JSONField[list[Any], list[Any]] = models.JSONField(default=list)
    expected = models.CharField(max_length=80, blank=True)
    differs = models.BooleanField(default=False)
    elsewhere: models.JSONField[list[Any], list[Any]] = models.JSONField(default=list)
    clue: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)
    outcome = models.CharField(max_length=10, choices=Outcome, blank=True)
    was_sure = models.BooleanField(default=False)
    doubted = models.BooleanField(default=False, db_default=False)
    code_right = models.BooleanField(null=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    decided_at = models.DateTimeField(null=True)
    mark = models.OneToOneField(Mark, on_delete=models.SET_NULL, null=True, related_name="found")

    beside: tuple[FoundCode, ...] = ()
    """Codes that were set aside with it, for whoever keeps that deed; no column."""

    objects = FoundCodeQuerySet.as_manager()

    class Meta:
        ordering = ["guide", "number"]
        constraints = [models.UniqueConstraint(fields=["guide", "number"], name="guides_found_number_once")]
        indexes = [
            models.Index(
                fields=["series", "differs"], condition=Q(decided_at=None), name="guides_found_waiting"
            )
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"code {self.code or self.text or '?'} on guide {self.guide_id}"

    @property
    def saying(self) -> str:
        """What a form says to take it as it is proposed: ``part|role|code``, part 0 for nobody's."""
        return f"{self.part_id or 0}|{self.role or BASE_ROLE}|{self.code}"

    @property
    def is_clear(self) -> bool:
        """Whether it can be read and was not struck out, as ``clear`` asks it of the database."""
        return bool(self.code) and not (self.unreadable or self.crossed_out)

    @property
    def written_at(self) -> tuple[float, float]:
        """The middle of its writing, in shares of width and height."""
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2

    @property
    def is_sure(self) -> bool:
        """Whether it is taken with the sure ones: as it stands now, or as it stood when it was answered. What
        somebody has struck is not, though it counts among the sure ones that were wrong."""
        return self.was_sure and not self.doubted
