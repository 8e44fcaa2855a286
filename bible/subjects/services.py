"""Taking things out of the bible. What is in use is not deleted but archived.

Archiving decides nothing: locks hold on and old pages owe what they owed, so no expectation and no flag changes. What
is archived is only offered no more. An issue is the exception: an archived one is no work any more, so its marks do
not stand and its flags count no longer, until it is brought back.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import IntegrityError, models, transaction
from django.db.models import Q
from django.utils import timezone

from bible import signals
from bible.models import (
    ActivityKind,
    Costume,
    CostumeStretch,
    Issue,
    Lock,
    Ownership,
    Part,
    Proposal,
    Scene,
    SceneRule,
    SceneTarget,
    Subject,
)
from bible.series.holding import How, hold, hold_series, part_rows, series_rows
from bible.series.refusals import Refused
from bible.series.things import about, record_of, title_of

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Removable = Subject | Costume | Part | Issue | Scene

EXAMPLES = 6
"""Uses of one sort that are named; beyond these a number says enough."""


@dataclass(frozen=True, slots=True)
class Use:
    """One sort of thing that stands on what somebody wants to delete: how many, and the first few of them."""

    name: str
    count: int
    examples: tuple[models.Model, ...]

    def __str__(self) -> str:
        return f"{self.count} {self.name}"


class InUse(Refused):
    """Something stands on it; ``uses`` names what."""

    def __init__(self, row: Removable, uses: tuple[Use, ...]) -> None:
        self.uses = uses
        listed = ", ".join(map(str, uses))
        super().__init__(
            f"{title_of(row)} is in use: {listed}. It can be archived instead; then nobody is offered it any more."
        )


def uses_of(row: Removable) -> tuple[Use, ...]:
    """What stands on a thing, by sort. A few queries a sort, whatever the number of rows.

    Every table that points at it and forbids its deletion counts, also those of other apps.
    """
    going = _going(row)
    conditions: dict[type[models.Model], Q] = {}
    for model, keys in going.items():
        for relation in model._meta.related_objects:
            other = relation.related_model
            if relation.on_delete is models.PROTECT and other not in going:
                condition = Q(**{f"{relation.field.name}__in": keys})
                conditions[other] = conditions.get(other, Q()) | condition
    if isinstance(row, Issue):
        for other, condition in _named_by(row).items():
            conditions[other] = conditions.get(other, Q()) | condition
    uses = [_use(model, condition) for model, condition in conditions.items()]
    return tuple(sorted((use for use in uses if use.count), key=lambda use: use.name))


def _going(row: Removable) -> dict[type[models.Model], list[int]]:
    """The rows that deleting it takes along, by table."""
    if isinstance(row, Subject):
        costumes = list(row.costumes.values_list("pk", flat=True))
        parts = list(Part.objects.filter(costume__in=costumes).values_list("pk", flat=True))
        return {Subject: [row.pk], Costume: costumes, Part: parts}
    if isinstance(row, Costume):
        return {Costume: [row.pk], Part: list(row.parts.values_list("pk", flat=True))}
    if isinstance(row, Scene):
        return {
            Scene: [row.pk],
            SceneRule: list(row.rules.values_list("pk", flat=True)),
            SceneTarget: list(row.targets.values_list("pk", flat=True)),
        }
    return {type(row): [row.pk]}


def _named_by(issue: Issue) -> dict[type[models.Model], Q]:
    """What begins with an issue or ends with it: stretches are stored as positions, and without the issue they would
    quietly speak of its neighbour."""
    behind = issue.series.issues.filter(position__gt=issue.position).in_order().first()
    ends = {"to_position__gt": issue.position, "to_position__lte": behind.position if behind else issue.position + 1}
    named = Q(from_position=issue.position) | Q(**ends)
    return {
        Lock: named & Q(series=issue.series_id),
        Proposal: named & Q(series=issue.series_id),
        Ownership: named & Q(subject__series=issue.series_id, withdrawn_at=None),
        CostumeStretch: named & Q(costume__subject__series=issue.series_id, withdrawn_at=None),
    }


def _use(model: type[models.Model], condition: Q) -> Use:
    rows = model._base_manager.filter(condition)
    count = rows.count()
    names = model._meta.verbose_name if count == 1 else model._meta.verbose_name_plural
    return Use(str(names), count, tuple(rows.order_by("pk")[:EXAMPLES]) if count else ())


def delete_unused(*, row: Removable, by: User | None = None) -> None:
    """Delete what nothing else stands on: a subject with its costumes and parts, a costume with its parts, a part, an
    issue, a scene.

    Raises:
        InUse: something stands on it, or came to while this was asked; nothing is deleted.
        Refused: somebody has deleted it already.
    """
    try:
        with transaction.atomic():
            _delete(row, by)
    except IntegrityError as error:
        raise InUse(row, uses_of(row)) from error


def _delete(row: Removable, by: User | None) -> None:
    hold_series(about(row)[0])
    going = _going(row)
    for model, keys in going.items():
        held = model._base_manager.select_for_update().filter(pk__in=keys).order_by("pk").values_list("pk")
        if len(held) < len(keys):
            raise Refused(f"Somebody has deleted {title_of(row)} already.")
    if uses := uses_of(row):
        raise InUse(row, uses)
    record_of(ActivityKind.DELETED, row, by)
    for model, keys in reversed(going.items()):
        model._base_manager.filter(pk__in=keys).delete()


@transaction.atomic
def archive(*, row: Removable, archived: bool = True, by: User | None = None) -> None:
    """Offer a thing no longer, or again. Its history, locks and marks stay as they are. Twice is once."""
    if isinstance(row, Issue):
        hold_series(row.series_id)  # nobody marks in it meanwhile: its marks are let go or taken up together
    else:
        # Whoever locks something for a part of it is waited for, or waits and is told.
        hold(series_rows(about(row)[0], How.KEPT), part_rows(_going(row).get(Part, ()), How.TO_CHANGE))
    held = type(row)._base_manager.select_for_update(no_key=True).filter(pk=row.pk).first()
    if held is None:
        raise Refused(f"Somebody has deleted {title_of(row)} meanwhile.")
    if bool(held.archived_at) == archived:
        row.refresh_from_db(fields=["archived_at"])
        return
    row.archived_at = timezone.now() if archived else None
    row.save(update_fields=["archived_at"])
    record_of(ActivityKind.ARCHIVED if archived else ActivityKind.BROUGHT_BACK, row, by)
    if isinstance(row, Issue):
        why = "archived" if archived else "brought back from the archive"
        signals.issue_archived.send(sender=Issue, issue=row, by=by, why=why)
