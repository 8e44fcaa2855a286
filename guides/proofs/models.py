"""Proofs: scans of printed pages, what was read on them mark by mark, and what people decided."""

from __future__ import annotations

import datetime as dt
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Count, Q
from django.urls import reverse

from bible.colour.tints import INK_NAMES, Tint
from bible.models import Series
from bible.models.fields import TintField
from guides.core.models.marks import Mark
from guides.core.models.pages import Guide

NOTE_LENGTH = 300


class ProofQuerySet(models.QuerySet["Proof"]):
    def current(self) -> Self:
        """The newest proof of each page that could be read: what is to be judged now."""
        return self.filter(is_current=True)

    def were_read(self) -> Self:
        return self.filter(state=Proof.State.READ)

    def written_since(self, moment: dt.datetime) -> Self:
        """Sent, read, replaced or decided on since then."""
        sent = models.Q(changed_at=None, uploaded_at__gte=moment)
        return self.filter(models.Q(changed_at__gte=moment) | sent)

    def of_page(self, guide: Guide) -> Self:
        """Every proof of the guide's page, whichever revision it was laid over."""
        return self.filter(guide__issue_id=guide.issue_id, guide__page=guide.page)

    def in_order(self) -> Self:
        """As the pages stand in their issues, the newest proof of a page first."""
        return self.order_by("guide__issue__position", "guide__page_order", "guide__page", "-number", "-id")

    def with_names(self) -> Self:
        return self.select_related("guide__issue", "guide__series", "uploaded_by", "series", "run__press")

    def with_counts(self) -> Self:
        """Adds ``mark_count``, ``undecided_count``, ``fault_count`` (accepted) and ``unsure_count``."""
        return self.annotate(
            mark_count=Count("readings"),
            undecided_count=Count("readings", filter=Q(readings__open=True)),
            fault_count=Count("readings", filter=Q(readings__decision=ProofDecision.FAULT)),
            unsure_count=Count(
                "readings", filter=Q(readings__verdict=ProofVerdict.CANNOT_TELL, readings__decision="")
            ),
        )


class Proof(models.Model):
    """The scan of a proof of one page, laid over one revision of its guide.

    ``matrix`` leads from fractions of the guide to fractions of the scan; ``hand_points`` are four pairs of such
    places set by a person, ``[[guide x, guide y, scan x, scan y], …]``. ``error_px`` is in pixels of the guide's
    screen picture. ``laid`` is the scan drawn on the guide's pixels. ``run`` is the scan of the house's chart that
    was printed along: a proof is read against that run's press condition.
    """

    class State(models.TextChoices):
        WAITING = "waiting", "waiting to be read"
        READ = "read", "read"
        REFUSED = "refused", "not laid over its guide"

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="proofs", editable=False)
    guide = models.ForeignKey(Guide, on_delete=models.PROTECT, related_name="proofs", editable=False)
    number = models.PositiveIntegerField(editable=False)
    run = models.ForeignKey(
        "guides.ChartScan", on_delete=models.PROTECT, null=True, related_name="proofs", editable=False
    )
    is_current = models.BooleanField(default=False, editable=False)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING, editable=False)
    refusal = models.CharField(max_length=20, blank=True, editable=False)
    refusal_said = models.CharField(max_length=NOTE_LENGTH, blank=True, editable=False)
    original = models.FileField(max_length=200, editable=False)
    screen = models.FileField(max_length=200, editable=False)
    thumb = models.FileField(max_length=200, editable=False)
    laid = models.FileField(max_length=200, blank=True, editable=False)
    filename = models.CharField(max_length=200, editable=False)
    sha256 = models.CharField(max_length=64, editable=False)
    byte_size = models.PositiveIntegerField(editable=False)
    width = models.PositiveIntegerField(editable=False)
    height = models.PositiveIntegerField(editable=False)
    hand_points = models.JSONField(null=True, blank=True, editable=False)
    matrix = models.JSONField(null=True, blank=True, editable=False)
    error_px = models.FloatField(null=True, blank=True, editable=False)
    agreeing = models.FloatField(null=True, blank=True, editable=False)
    turned = models.FloatField(null=True, blank=True, editable=False)
    press = models.CharField(max_length=60, blank=True, editable=False)
    shift = models.JSONField(null=True, blank=True, editable=False)
    shift_said = models.CharField(max_length=NOTE_LENGTH, blank=True, editable=False)
    uploaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="proofs_uploaded", editable=False
    )
    uploaded_at = models.DateTimeField(auto_now_add=True)
    changed_at = models.DateTimeField(auto_now=True, null=True)
    """None: not since it was sent, by a release that did not know of it."""

    objects = ProofQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["guide"], condition=Q(is_current=True), name="guides_one_current_proof_a_guide"
            ),
        ]

    def __str__(self) -> str:
        return f"proof {self.number}"

    def get_absolute_url(self) -> str:
        return reverse("proof", args=[self.series.slug, self.pk])

    @property
    def job_key(self) -> str:
        """Under which it is read in the background."""
        return f"proof-{self.pk}"


class ProofVerdict(models.TextChoices):
    """What the reading says of a mark; the values are those of ``guides.imaging.proof.verdicts``."""

    AS_CALLED = "as_called", "as called"
    COLOUR_MISSING = "colour_missing", "colour missing"
    INK_MISSING = "ink_missing", "ink missing"
    WRONG_STRENGTH = "wrong_strength", "wrong strength"
    OTHER_COLOUR = "other_colour", "other colour"
    GRADIENT_STEP = "gradient_step", "hard step for a fade"
    CANNOT_TELL = "cannot_tell", "can’t tell"

    @property
    def is_fault(self) -> bool:
        return self not in (ProofVerdict.AS_CALLED, ProofVerdict.CANNOT_TELL)


class ProofDecision(models.TextChoices):
    """What somebody said after looking."""

    FAULT = "fault", "fault"
    FINE = "fine", "printed fine"


class ProofReadingQuerySet(models.QuerySet["ProofReading"]):
    def undecided(self) -> Self:
        """Faults the program names on current proofs that nobody has decided: what is still to be looked at."""
        return self.filter(open=True)

    def faults(self) -> Self:
        """What somebody has accepted as a fault: what the separator is to put right."""
        return self.filter(decision=ProofDecision.FAULT)

    def fine(self) -> Self:
        """What somebody has called printed fine, whatever the program named."""
        return self.filter(decision=ProofDecision.FINE)

    def named(self) -> Self:
        """What the program names as a fault, decided or not."""
        return self.exclude(verdict__in=[ProofVerdict.AS_CALLED, ProofVerdict.CANNOT_TELL])

    def as_called(self) -> Self:
        return self.filter(verdict=ProofVerdict.AS_CALLED)

    def unsure(self) -> Self:
        """What could not be read and nobody has looked at."""
        return self.filter(verdict=ProofVerdict.CANNOT_TELL, decision="")

    def counts_by_issue(self) -> dict[int, int]:
        """How many of these readings each issue has, by its key."""
        return dict(self.order_by().values_list("proof__guide__issue_id").annotate(n=Count("id")))

    def worst_first(self) -> Self:
        """The surest and most visible first."""
        return self.order_by("-weight", "mark__number", "id")

    def in_page_order(self) -> Self:
        return self.order_by("proof__guide__page_order", "proof__guide__page", "mark__number", "id")

    def with_names(self) -> Self:
        """Everything that a list of readings prints, in one query."""
        return self.select_related("mark__part__costume__subject", "decided_by")


class ProofReading(models.Model):
    """One mark as a proof shows it, and what was decided.

    What was called, and where, is kept as it was when it was read.
    ``open`` repeats that the program names a fault, nobody has decided, and the proof is its page's current one;
    ``weight`` is probability times colour difference: how far up the list of faults it belongs.
    ``amount`` is the percentage that ``ink`` prints like, ``nearest`` the packed tints that fit best.
    """

    series = models.ForeignKey(
        Series, on_delete=models.PROTECT, related_name="proof_readings", editable=False, db_index=False
    )
    proof = models.ForeignKey(Proof, on_delete=models.PROTECT, related_name="readings", editable=False)
    mark = models.ForeignKey(Mark, on_delete=models.PROTECT, related_name="proof_readings", editable=False)
    x = models.FloatField(editable=False)
    y = models.FloatField(editable=False)
    called = TintField(editable=False)
    called_to = TintField(null=True, editable=False)
    verdict = models.CharField(max_length=16, choices=ProofVerdict, editable=False)
    ink = models.CharField(max_length=1, blank=True, editable=False)
    amount = models.PositiveSmallIntegerField(null=True, editable=False)
    printed = TintField(null=True, editable=False)
    nearest = models.JSONField(default=list, editable=False)
    p = models.FloatField(editable=False)
    delta_e = models.FloatField(null=True, editable=False)
    weight = models.FloatField(default=0.0, editable=False)
    why = models.CharField(max_length=NOTE_LENGTH, blank=True, editable=False)
    open = models.BooleanField(default=False, editable=False)
    decision = models.CharField(max_length=5, choices=ProofDecision, blank=True)
    note = models.CharField("note for the separator", max_length=NOTE_LENGTH, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        editable=False,
        db_index=False,
    )
    decided_at = models.DateTimeField(null=True, editable=False)
    version = models.PositiveIntegerField(default=1, editable=False)

    objects = ProofReadingQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["proof", "mark"], name="guides_one_reading_a_mark"),
            models.CheckConstraint(
                condition=Q(decision="", decided_by=None, decided_at=None)
                | (~Q(decision="") & Q(decided_by__isnull=False, decided_at__isnull=False)),
                name="guides_decided_by_somebody",
            ),
            models.CheckConstraint(condition=Q(open=False) | Q(decision=""), name="guides_open_is_undecided"),
        ]
        indexes = [
            models.Index(fields=["series", "proof"], condition=Q(open=True), name="guides_reading_open"),
            models.Index(fields=["series", "decision", "mark"], name="guides_reading_over_years"),
        ]

    def __str__(self) -> str:
        return f"mark {self.mark.number} on {self.proof}"

    @property
    def is_named(self) -> bool:
        """Whether the program names a fault."""
        return ProofVerdict(self.verdict).is_fault

    @property
    def ink_name(self) -> str:
        return INK_NAMES.get(self.ink, "")

    @property
    def said(self) -> str:
        """The verdict in a few words: “magenta missing”, “cyan 25 % for 50 %”."""
        if self.verdict == ProofVerdict.INK_MISSING and self.ink:
            return f"{self.ink_name} missing"
        if self.verdict == ProofVerdict.WRONG_STRENGTH and self.ink and isinstance(self.called, Tint):
            return f"{self.ink_name} prints like {self.amount} %, called was {getattr(self.called, self.ink)} %"
        return str(ProofVerdict(self.verdict).label)

    @property
    def alternatives(self) -> list[Tint]:
        """The tints that fit best behind the likeliest."""
        return [Tint.from_packed(packed) for packed in self.nearest[1:]]
