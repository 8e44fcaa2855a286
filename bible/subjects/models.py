"""The recurring subjects of a series, their costumes and the parts that have a colour."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Self

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Exists, Lookup, OuterRef, Q
from django.db.models.functions import Upper
from django.urls import reverse

from bible.locks.models import Lock
from bible.models.fields import OwnKeyField
from bible.models.roles import FIRST_KIND, KEY_LENGTH, RoleList
from bible.models.stretches import Stretch, StretchQuerySet
from bible.series.models import Series

if TYPE_CHECKING:
    from bible.editions.models import Edition

NAME_LENGTH = 80


def in_capitals() -> models.GeneratedField:
    """The row's name in capitals, kept by the database: looking for words in thousands of names, it spent four fifths
    of the time on making them so."""
    return models.GeneratedField(
        expression=Upper("name"), output_field=models.CharField(max_length=NAME_LENGTH), db_persist=True
    )


@models.CharField.register_lookup
class Bears(Lookup):
    """Holds a word, in a column of capitals. The database makes capitals of the word as well: what it takes for one
    is its own affair. (An expression for each word and field took Django as long as the search itself; LIKE, which
    has to mind its wildcards, takes SQLite a fifth longer.)"""

    lookup_name = "bears"
    prepare_rhs = False

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        column, params = self.process_lhs(compiler, connection)
        place = "INSTR" if connection.vendor == "sqlite" else "STRPOS"
        return f"{place}({column}, UPPER(%s)) > 0", (*params, self.rhs)


def matching_words(words: str, *fields: str) -> Q:
    """Every word must occur in at least one of the fields, which are in capitals; letter case does not matter."""
    query = Q()
    for word in words.split():
        query &= Q(*[(f"{field}__bears", word) for field in fields], _connector=Q.OR)
    return query


SAYING = ("part", "role", "tint", "to_tint", "direction")
"""What a lock says, without when, by whom and why: a page of the bible shows hundreds."""


class SubjectQuerySet(models.QuerySet["Subject"]):
    def active(self) -> Self:
        return self.filter(archived_at=None)

    def named(self, words: str) -> Self:
        """Subjects whose own name holds each of the words."""
        return self.filter(matching_words(words, "name_upper"))

    def matching(self, words: str) -> Self:
        """Subjects whose own name, or the name of one of their costumes or parts, holds each of the words."""
        if not words.strip():
            return self
        condition = matching_words(words, "name_upper", "costumes__name_upper", "costumes__parts__name_upper")
        return self.filter(condition).distinct()

    def with_locks(self, position: int, roles: RoleList, edition: Edition | None = None) -> Self:
        """Prefetch costumes and parts that are not archived, and the locks in force at a running-order position
        (``part.locks_in_force``), of an edition those it needs, with who decided them."""
        in_force = Lock.every_printing.needed_in(edition, position).by_role(roles)
        in_force = in_force.with_people().select_related("edition") if edition else in_force.only(*SAYING)
        parts = Part.objects.active().prefetch_related(models.Prefetch("locks", in_force, to_attr="locks_in_force"))
        costumes = Costume.objects.active().prefetch_related("stretches", models.Prefetch("parts", parts))
        return self.prefetch_related(models.Prefetch("costumes", costumes))

    def with_standing_locks(self, roles: RoleList) -> Self:
        """As ``with_locks``, with every lock that stands, in running order (``part.standing_locks``), the editions'
        own among them."""
        standing = Lock.every_printing.standing().by_role(roles).with_people().select_related("edition")
        parts = Part.objects.active().prefetch_related(models.Prefetch("locks", standing, to_attr="standing_locks"))
        costumes = Costume.objects.active().prefetch_related("stretches", models.Prefetch("parts", parts))
        return self.prefetch_related(models.Prefetch("costumes", costumes))


class Subject(models.Model):
    """A character, prop, place or whatever else comes back, of one of the series' kinds."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="subjects")
    kind = OwnKeyField(of="kinds", max_length=KEY_LENGTH, default=FIRST_KIND)
    name = models.CharField(max_length=NAME_LENGTH)
    name_upper = in_capitals()
    note = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = SubjectQuerySet.as_manager()

    class Meta:
        ordering = ["kind", "name"]
        constraints = [models.UniqueConstraint(fields=["series", "name"], name="bible_subject_name_once")]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("subject", args=[self.series.slug, self.pk])


class CostumeQuerySet(models.QuerySet["Costume"]):
    def active(self) -> Self:
        return self.filter(archived_at=None)

    def in_use(self, position: int) -> Self:
        stretches = CostumeStretch.objects.standing().filter(costume=OuterRef("pk"))
        return self.filter(~Exists(stretches) | Exists(stretches.in_force(position)))


class Costume(models.Model):
    """One look of a subject, worn in its stretches of the running order; one of which nothing is said is always worn.

    ``time_said_at`` is the moment in which these were last changed: what it ended stands again where it is undone.
    """

    subject = models.ForeignKey(Subject, on_delete=models.PROTECT, related_name="costumes")
    name = models.CharField(max_length=NAME_LENGTH)
    name_upper = in_capitals()
    rank = models.PositiveSmallIntegerField("order", default=0)
    time_said_at = models.DateTimeField(null=True, blank=True, editable=False)
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = CostumeQuerySet.as_manager()

    class Meta:
        ordering = ["rank", "id"]
        constraints = [
            models.UniqueConstraint(fields=["subject", "name"], name="bible_costume_name_once"),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return self.subject.get_absolute_url()

    @property
    def worn(self) -> tuple[Stretch, ...]:
        """When it is worn, in running order; nothing said: always. Asked of the rows that were fetched along
        (``with_times``), else of the database."""
        return tuple(
            sorted(
                Stretch(stretch.from_position, stretch.to_position)
                for stretch in self.stretches.all()
                if stretch.withdrawn_at is None
            )
        )

    def in_use_at(self, position: int) -> bool:
        worn = self.worn
        return not worn or any(stretch.holds_at(position) for stretch in worn)


class StretchRow(models.Model):
    """Something is so from one position up to, not including, another. Never edited: what is said later withdraws it,
    so that what was said before can stand again."""

    from_position = models.PositiveIntegerField()
    to_position = models.PositiveIntegerField(null=True, blank=True)
    said_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    said_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True


def runs_forward(name: str) -> models.CheckConstraint:
    """A stretch ends after it begins; ``name`` is the constraint's in the database."""
    return models.CheckConstraint(
        condition=Q(to_position=None) | Q(to_position__gt=models.F("from_position")), name=name
    )


class CostumeStretch(StretchRow):
    """A costume is worn. No two of a costume that stand overlap (``bible/locks/guards.py``)."""

    costume = models.ForeignKey(Costume, on_delete=models.CASCADE, related_name="stretches")

    objects = StretchQuerySet["CostumeStretch"].as_manager()

    class Meta:
        verbose_name = "time of a costume"
        verbose_name_plural = "times of costumes"
        ordering = ["from_position", "id"]
        constraints = [
            runs_forward("bible_costume_stretch_runs_forward"),
        ]

    def __str__(self) -> str:
        return f"time of {self.costume}"


class Ownership(StretchRow):
    """Something belongs to somebody: a prop that changes hands."""

    subject = models.ForeignKey(Subject, on_delete=models.CASCADE, related_name="ownerships")
    owner = models.ForeignKey(Subject, on_delete=models.PROTECT, related_name="owned")

    objects = StretchQuerySet["Ownership"].as_manager()

    class Meta:
        verbose_name = "time with an owner"
        verbose_name_plural = "times with an owner"
        ordering = ["from_position", "id"]
        constraints = [
            runs_forward("bible_ownership_runs_forward"),
            models.CheckConstraint(condition=~Q(subject=models.F("owner")), name="bible_nobody_owns_oneself"),
        ]

    def __str__(self) -> str:
        return f"{self.subject} with {self.owner}"


class Within(models.TextChoices):
    """Where a part has one colour: a background often has it only for as long as the light stays what it is."""

    SERIES = "series", "the series, by its locked codes"
    ISSUE = "issue", "each issue"
    SCENE = "scene", "each scene of an issue"


OFFERED = Q(archived_at=None, costume__archived_at=None, costume__subject__archived_at=None)


class PartQuerySet(models.QuerySet["Part"]):
    def held_together(self) -> Self:
        """Those whose marks are held against each other where nothing is locked."""
        return self.exclude(held_within=Within.SERIES)

    def active(self) -> Self:
        return self.filter(archived_at=None)

    def offered(self) -> Self:
        """Parts that people still choose from: not archived, nor their costume or subject."""
        return self.filter(OFFERED)

    def archived(self) -> Self:
        """Parts that nobody is offered."""
        return self.exclude(OFFERED)

    def of_series(self, series: Series) -> Self:
        return self.filter(OFFERED, costume__subject__series=series)

    def matching(self, series: Series, words: str) -> Self:
        """Parts of a series for which every word occurs in the subject's, costume's or part's name."""
        names = ("name_upper", "costume__name_upper", "costume__subject__name_upper")
        return self.of_series(series).filter(matching_words(words, *names))

    def called(self, full_name: str) -> Part | None:
        """The one part with exactly this full name. None also where the name could be read in two ways, because a
        comma or a colon stands in it."""
        costume, colon, part = full_name.partition(": ")
        subject, comma, costume = costume.partition(", ")
        if not (colon and comma) or ": " in part or ", " in costume + part:
            return None
        return self.filter(name=part, costume__name=costume, costume__subject__name=subject).first()

    def in_names_order(self) -> Self:
        return self.order_by("costume__subject__name", "costume__rank", "costume_id", "rank", "id")

    def with_names(self) -> Self:
        return self.select_related("costume__subject").in_names_order()

    def with_times(self) -> Self:
        """With when their costumes are worn, for who asks ``in_use_at`` of many."""
        return self.select_related("costume").prefetch_related("costume__stretches")

    def with_locks(self, position: int, roles: RoleList, edition: Edition | None = None) -> Self:
        in_force = Lock.every_printing.needed_in(edition, position).by_role(roles).with_people()
        return self.prefetch_related(models.Prefetch("locks", in_force, to_attr="locks_in_force"))


class Part(models.Model):
    """One thing that has a colour: hair, coat, hull."""

    costume = models.ForeignKey(Costume, on_delete=models.PROTECT, related_name="parts")
    name = models.CharField(max_length=NAME_LENGTH)
    name_upper = in_capitals()
    rank = models.PositiveSmallIntegerField("order", default=0, validators=[MinValueValidator(0)])
    held_within = models.CharField(
        "is the same within", max_length=6, choices=Within, default=Within.SERIES, db_default=Within.SERIES.value
    )
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = PartQuerySet.as_manager()

    class Meta:
        ordering = ["rank", "id"]
        constraints = [models.UniqueConstraint(fields=["costume", "name"], name="bible_part_name_once")]
        indexes = [
            models.Index(fields=["costume"], condition=~Q(held_within="series"), name="bible_part_held_together")
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return self.costume.subject.get_absolute_url()

    @property
    def is_held_together(self) -> bool:
        """Whether its marks are held against each other where nothing is locked."""
        return self.held_within != Within.SERIES

    @property
    def names(self) -> tuple[str, str, str]:
        """(subject, costume, part): what tells it from every other part of its series."""
        return (self.costume.subject.name, self.costume.name, self.name)

    @property
    def full_name(self) -> str:
        """“Subject, costume: part”, as people say it and as a mark's form takes it."""
        return full_name(*self.names)


def full_name(subject: str, costume: str, part: str) -> str:
    """What ``Part.full_name`` says, from the names alone."""
    return f"{subject}, {costume}: {part}"
