"""Undoing what was merged, moved or re-assigned: every step backwards, or nothing where somebody built on it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from bible.locks.services import follow_base, withdraw
from bible.models import Costume, Lock, Ownership, Part, Proposal, SceneTarget, Subject
from bible.models.naming import name_of
from bible.models.stretches import Stretch
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.series.things import title_of
from bible.subjects.wearing import set_worn
from guides.core import continuity
from guides.models import Mark, Regrouping
from guides.regrouping.services import KEYS_AT_ONCE, note_down, plain

if TYPE_CHECKING:
    import datetime as dt

    from django.contrib.auth.models import User

MODELS: dict[str, Any] = {"subject": Subject, "costume": Costume, "part": Part}
NAMED_BESIDE = {"costume": "subject_id", "part": "costume_id"}


@transaction.atomic
def undo_regrouping(*, regrouping: Regrouping, by: User) -> None:
    """What was merged is two again, what was moved is back, marks belong to whom they did.

    Raises:
        Refused: it is undone already, or something that it changed has been changed since.
    """
    hold_series(regrouping.series_id)
    held = (
        Regrouping.objects.select_for_update(of=("self",)).select_related("series", "undone_by").get(pk=regrouping.pk)
    )
    if held.undone_at:
        raise Refused(f"{name_of(held.undone_by)} has undone this already.")
    now, why = timezone.now(), f"undone: {held.words}"
    parts = parts_in(held)
    with continuity.expecting_anew(held.series, parts, by=by, why=why, at=now, undone=held.at, regrouped=True):
        for step in reversed(held.steps):
            BACKWARDS[step[0]](step, by, now)
    Regrouping.objects.filter(pk=held.pk).update(undone_at=now, undone_by=by)
    note_down(held, by, undone=True)


def parts_in(regrouping: Regrouping) -> set[int]:
    """The parts whose marks may owe something else by it; those that are gone by now are none."""
    keys: set[int] = set()
    for name, *rest in regrouping.steps:
        if name == "change":
            model, pk = rest[:2]
            above = {"subject": "costume__subject", "costume": "costume", "part": "pk"}[model]
            keys |= set(Part.objects.filter(**{above: pk}).values_list("pk", flat=True))
        elif name == "lights":
            above = {"subject": "costume__subject", "part": "pk"}[rest[0]]
            keys |= set(Part.objects.filter(**{f"{above}__in": rest[1:3]}).values_list("pk", flat=True))
        elif name in ("marks", "locks", "proposals"):
            keys |= set(rest[:2])
    return set(Part.objects.filter(pk__in=keys).values_list("pk", flat=True))


def _change_back(step: list[Any], by: User, now: dt.datetime) -> None:
    _, model, pk, before, after = step
    row = MODELS[model].objects.filter(pk=pk).first()
    if row is None:
        raise Refused(f"A {model} that this changed has been deleted since. Nothing is undone.")
    current = plain({name: getattr(row, name) for name in after if name != "rank"})
    if current != {name: value for name, value in after.items() if name != "rank"}:
        raise Refused(f"{title_of(row)} has been moved, archived or brought back since. Nothing is undone.")
    for name, value in before.items():
        field = MODELS[model]._meta.get_field(name.removesuffix("_id"))
        setattr(row, name, field.to_python(value) if name == "archived_at" else value)
    if beside := NAMED_BESIDE.get(model):
        rivals = MODELS[model].objects.filter(**{beside: getattr(row, beside)}, name__iexact=row.name)
        if rivals.exclude(pk=pk).exists():
            raise Refused(f"There is another “{row.name}” where it would go back to. Nothing is undone.")
    row.save(update_fields=list(before))


def _give_marks_back(step: list[Any], by: User, now: dt.datetime) -> None:
    _, source, target, versions = step
    for begin in range(0, len(versions), KEYS_AT_ONCE):
        some = dict(versions[begin : begin + KEYS_AT_ONCE])
        marks = Mark.objects.filter(pk__in=some)
        for pk, version, part in marks.values_list("pk", "version", "part"):
            if (version, part) != (some[pk], target):
                mark = Mark.objects.select_related("guide__issue", "changed_by").get(pk=pk)
                raise Refused(
                    f"{name_of(mark.changed_by)} has changed mark {mark.number} of issue {mark.guide.issue.number},"
                    f" {mark.guide} since. Nothing is undone."
                )
        marks.update(part=source, version=F("version") + 1, changed_by=by, changed_at=now)


def _take_locks_off(step: list[Any], by: User, now: dt.datetime) -> None:
    _, _, target, keys = step
    part = Part.objects.select_related("costume__subject__series").get(pk=target)
    for lock in Lock.every_printing.filter(pk__in=keys).order_by("pk"):
        if lock.withdrawn_at:
            raise Refused(f"Somebody has decided about {part.full_name} since. Nothing is undone.")
        withdraw(lock, by, "undone with what it came along with", now)
    follow_base(part, 0, None, by, now)


def _give_proposals_back(step: list[Any], by: User, now: dt.datetime) -> None:
    _, source, target, keys = step
    Proposal.objects.filter(pk__in=keys, part=target, state=Proposal.State.WAITING).update(part=source)


def _give_things_back(step: list[Any], by: User, now: dt.datetime) -> None:
    _, source, target, keys = step
    Ownership.objects.filter(pk__in=keys, owner=target).update(owner=source)


def _give_lights_back(step: list[Any], by: User, now: dt.datetime) -> None:
    _, name, source, target, keys = step
    SceneTarget.objects.filter(pk__in=keys, **{name: target}).update(**{name: source})


def _wear_again(step: list[Any], by: User, now: dt.datetime) -> None:
    _, pk, before, after = step
    costume = Costume.objects.select_related("subject__series").get(pk=pk)
    if costume.worn != tuple(Stretch(*ends) for ends in after):
        raise Refused(f"It has been said since when {title_of(costume)} is worn. Nothing is undone.")
    set_worn(costume=costume, worn=[Stretch(*ends) for ends in before], by=by)


def _unmake(step: list[Any], by: User, now: dt.datetime) -> None:
    """A subject that was made for it goes where it is empty again; what has come to it since stays."""
    subject = Subject.objects.filter(pk=step[2]).first()
    if subject and not subject.costumes.exists():
        subject.delete()


BACKWARDS: dict[str, Callable[[list[Any], Any, Any], None]] = {
    "change": _change_back,
    "marks": _give_marks_back,
    "locks": _take_locks_off,
    "proposals": _give_proposals_back,
    "things": _give_things_back,
    "lights": _give_lights_back,
    "worn": _wear_again,
    "made": _unmake,
}
