"""Which tables an archive of a series holds, and how their columns become JSON and come back.

A new model goes into ``TABLES`` or, with a reason, into the list of what is left out; a test fails otherwise.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from django.apps import apps
from django.contrib.auth import get_user_model
from django.core.exceptions import ValidationError
from django.db import models

from bible.models.fields import TintField
from guides.core.outlines import NoOutline, as_outline
from guides.models import OutlineField

FORMAT = "series-colour-bible archive"
VERSION = 1
"""Raised when an older program could misread what a newer one writes. A new column with a default is no reason."""

MEMBER_NAME = re.compile(
    r"(tables/[a-z]+\.[a-z]+|people)\.jsonl|files/[a-z]+\.[a-z]+/[0-9]{1,12}/[a-z_]+(\.[a-z0-9]{1,8})?"
)
"""Every name a member may have: nothing in it can climb out of a folder."""

LAST_ID = 10**12
"""No table of one series is longer; a larger number in an archive is damage."""


class BadValue(ValueError):
    """A value that cannot stand in its column; the message says why."""


@dataclass(frozen=True)
class ArchiveTable:
    """One table of the archive.

    Attributes:
        series: the look-up that leads from a row to its series.
        left_out: columns that come along as their default, since what they hold names rows of this installation.
        only: what rows must be to come along.
        keys_within: columns of a regrouping's steps, in which keys of several tables stand.
    """

    label: str
    series: str = "series"
    left_out: tuple[str, ...] = ()
    only: tuple[tuple[str, object], ...] = ()
    keys_within: tuple[str, ...] = ()

    @cached_property
    def model(self) -> type[models.Model]:
        return apps.get_model(self.label)

    @property
    def key(self) -> str:
        return self.label.lower()

    @property
    def member(self) -> str:
        return f"tables/{self.key}.jsonl"

    @cached_property
    def columns(self) -> tuple[ArchiveColumn, ...]:
        """Every column but those that the database works out from the others."""
        columns = [ArchiveColumn.of(field) for field in self.model._meta.concrete_fields if not field.generated]
        columns = [replace(column, has_keys=column.name in self.keys_within) for column in columns]
        return tuple(column.emptied if column.name in self.left_out else column for column in columns)

    @cached_property
    def file_columns(self) -> tuple[ArchiveColumn, ...]:
        return tuple(column for column in self.columns if isinstance(column.field, models.FileField))

    def rows(self, series_id: int) -> models.QuerySet[Any]:
        return self.model._base_manager.filter(**{self.series: series_id}, **dict(self.only)).order_by("pk")


TABLES = (
    ArchiveTable("bible.Series", "pk"),
    ArchiveTable("bible.Membership"),
    ArchiveTable("bible.Issue"),
    ArchiveTable("bible.PressUpload"),
    ArchiveTable("bible.Edition"),
    ArchiveTable("bible.CollectedIssue", "edition__series"),
    ArchiveTable("bible.Subject"),
    ArchiveTable("bible.Ownership", "subject__series"),
    ArchiveTable("bible.Costume", "subject__series"),
    ArchiveTable("bible.CostumeStretch", "costume__subject__series"),
    ArchiveTable("bible.Part", "costume__subject__series"),
    ArchiveTable("bible.Lock"),
    ArchiveTable("bible.LockNote"),
    ArchiveTable("bible.Proposal"),
    ArchiveTable("bible.Scene"),
    ArchiveTable("bible.SceneRule", "scene__series"),
    ArchiveTable("bible.SceneTarget", "scene__series"),
    ArchiveTable("bible.SceneTint", "scene__series"),
    ArchiveTable("bible.Activity"),
    ArchiveTable("guides.Guide"),
    ArchiveTable("guides.CostumePicture"),
    ArchiveTable("guides.SceneArea"),
    ArchiveTable("guides.Mark"),
    ArchiveTable(
        "guides.FoundCode", left_out=("owners", "elsewhere", "clue"), only=(("decided_at__isnull", False),)
    ),  # what still waits is found on the pages again
    ArchiveTable("guides.MarkNote"),
    ArchiveTable("guides.Waiver"),
    ArchiveTable("guides.Carry"),
    ArchiveTable("guides.PrintedSheet"),
    ArchiveTable("guides.ChartScan"),
    ArchiveTable("guides.Proof"),
    ArchiveTable("guides.ProofReading"),
    ArchiveTable("guides.PageNote"),
    ArchiveTable("guides.IssueStep"),
    ArchiveTable("guides.SignedState", "step__series"),
    ArchiveTable("guides.Assignment"),
    ArchiveTable("guides.PageCast"),
    ArchiveTable("guides.Regrouping", keys_within=("steps",)),
    ArchiveTable("guides.NamedHeading"),
    ArchiveTable("guides.NeighbourLook"),
    ArchiveTable("guides.SinkingPair"),
)
"""The one list. A new model of a series gets a line here, or one in ``LEFT_OUT`` with the reason."""

LEFT_OUT = {
    "guides.CodeSearch": "Pages are looked through for codes again; what was answered comes along.",
    "guides.KnownHand": "Learnt again from what was answered.",
    "guides.Booklet": "Made from the other tables in seconds, and out of date with the next decision.",
    "guides.Deed": "What one person may still take back at the desk, and the keys of browsers' requests: no history.",
    "guides.PaintReading": "Worked out from the pictures again; a look at a mark's paint holds where it was taken.",
    "bible.AccountSession": "Where somebody is signed in to this installation.",
    "bible.RecoveryCode": "Opens this installation, and is kept as a hash.",
    "bible.SecondFactor": "Another installation has another key, and asks its people itself.",
    "bible.Allowance": "How often somebody did something here lately.",
    "bible.Invitation": "A link into this installation must not open another one.",
    "bible.Job": "Work in the background: what it has made is in the other tables.",
    "bible.NoticeChoice": "How somebody wants word from this installation.",
    "bible.Webhook": "Another installation has another key, and tells nobody before a lead says so there.",
    "bible.WebhookDelivery": "The log of what this installation told other programs.",
    "bible.ReadToken": "A key to this installation is none to another one.",
    "guides.Arrival": "A file on its way in is no part of the series yet.",
    "guides.BroughtTable": "A file on its way in; what was taken of it is in the other tables.",
    "guides.TintUse": "Follows from the marks, and is counted anew when they have come back.",
}

BY_MODEL = {table.label: table for table in TABLES}
BY_KEY = {table.key: table for table in TABLES}


@dataclass(frozen=True)
class ArchiveColumn:
    """One column. ``dump`` makes a stored value JSON; ``load`` is its inverse and raises ``BadValue``.

    Keys and people are not handled here: ``target`` and ``is_person`` say what they are.
    """

    name: str
    field: models.Field[Any, Any]
    dump: Callable[[Any], Any]
    load: Callable[[Any], Any]
    target: ArchiveTable | None = None
    is_key: bool = False
    is_person: bool = False
    has_keys: bool = False

    @classmethod
    def of(cls, field: models.Field[Any, Any]) -> ArchiveColumn:
        if isinstance(field, models.ForeignKey):
            if field.related_model is get_user_model():
                return cls(field.name, field, _same, _same, is_person=True)
            return cls(field.name, field, _same, _same, target=BY_MODEL[field.related_model._meta.label])
        if field.primary_key:
            return cls("id", field, _same, _same, is_key=True)
        for kind, dump, make in CODECS:
            if isinstance(field, kind):
                return cls(field.name, field, dump, make(field))
        raise TypeError(f"{field} has no form in an archive: say in CODECS how it is written")

    @property
    def emptied(self) -> ArchiveColumn:
        """The same column, of which every row has the default."""
        return replace(self, dump=lambda _: self.field.get_default(), load=lambda _: self.field.get_default())

    @property
    def has_default(self) -> bool:
        """Whether an archive from before this column existed can still be read."""
        is_text = isinstance(self.field, models.CharField | models.TextField)
        return self.field.has_default() or self.field.null or (is_text and self.field.blank)


def _same(value: Any) -> Any:
    return value


def _expect(kind: type | tuple[type, ...], word: str) -> Callable[[models.Field[Any, Any]], Callable[[Any], Any]]:
    def make(field: models.Field[Any, Any]) -> Callable[[Any], Any]:
        choices = frozenset(value for value, _ in field.flatchoices) if field.choices else None
        longest = field.max_length if isinstance(field, models.CharField) else None

        def load(value: Any) -> Any:
            if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
                raise BadValue(f"{value!r} is not {word}")
            # Text that may be empty says “nothing chosen yet” so, as a reading of a proof does before its decision.
            if choices is not None and value not in choices and not (field.blank and value == ""):
                raise BadValue(f"{value!r} is none of {', '.join(map(str, sorted(choices)))}")
            if longest is not None and len(str(value)) > longest:
                raise BadValue(f"it is longer than {longest} characters")
            return value

        return load

    return make


def _tint(field: models.Field[Any, Any]) -> Callable[[Any], Any]:
    def load(value: Any) -> Any:
        if not isinstance(value, int) or isinstance(value, bool):
            raise BadValue(f"{value!r} is not a stored tint")
        try:
            field.to_python(value)
        except ValidationError as error:
            raise BadValue(" ".join(error.messages)) from error
        return value

    return load


def _moment(field: models.Field[Any, Any]) -> Callable[[Any], Any]:
    def load(value: Any) -> dt.datetime:
        try:
            moment = dt.datetime.fromisoformat(value)
        except (TypeError, ValueError) as error:
            raise BadValue(f"{value!r} is not a moment in ISO 8601") from error
        if moment.tzinfo is None:
            raise BadValue(f"{value!r} names no time zone")
        try:
            return moment.astimezone(dt.UTC)  # PostgreSQL knows no offset of 16 hours and more
        except OverflowError as error:
            raise BadValue(f"{value!r} lies outside the years 1 to 9999") from error

    return load


def _day(field: models.Field[Any, Any]) -> Callable[[Any], Any]:
    def load(value: Any) -> dt.date:
        try:
            return dt.date.fromisoformat(value)
        except (TypeError, ValueError) as error:
            raise BadValue(f"{value!r} is not a day in ISO 8601") from error

    return load


def _anything(field: models.Field[Any, Any]) -> Callable[[Any], Any]:
    return _same


def _outline(field: models.Field[Any, Any]) -> Callable[[Any], Any]:
    def load(value: Any) -> Any:
        try:
            as_outline(value)
        except NoOutline as error:
            raise BadValue(f"it is no outline: {error}") from error
        return value

    return load


CODECS: tuple[tuple[type[models.Field[Any, Any]], Callable[[Any], Any], Any], ...] = (
    (TintField, lambda tint: getattr(tint, "packed", tint), _tint),
    (models.DateTimeField, lambda moment: moment.astimezone(dt.UTC).isoformat(), _moment),
    (models.DateField, dt.date.isoformat, _day),
    (OutlineField, _same, _outline),
    (models.JSONField, _same, _anything),
    (models.BooleanField, _same, _expect(bool, "true or false")),
    (models.FloatField, _same, _expect((float, int), "a number")),
    (models.IntegerField, _same, _expect(int, "a whole number")),
    (models.FileField, _same, _expect(str, "the name of a file in this archive")),
    (models.CharField, _same, _expect(str, "text")),
    (models.TextField, _same, _expect(str, "text")),
)
"""From the particular to the general: the first kind that fits is taken."""
