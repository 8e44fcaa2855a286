"""What scenes, waivers and assignments say, noted down before and after a table is taken: all that it moved is put
back as one deed, or nothing where somebody has moved it on since."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib.auth.models import User

from bible.colour.shifts import Shift
from bible.models import Scene, SceneTarget, Series
from bible.scenes.services import HeldTo, set_scene
from bible.series.refusals import Refused
from bible.subjects.services import delete_unused
from guides.assignments.services import unassign_pages
from guides.core.waivers import remove_waiver
from guides.imports.assignment_rows import give
from guides.models import Assignment, BroughtTable, Waiver

Noted = dict[int, list[Any]]
"""By key, what a thing says, as JSON takes it."""
Moved = list[list[Any]]
"""Key, what it said before (None: it was not there), what it says now."""


def noted(kind: str, series: Series) -> Noted:
    """The things that a table of a kind can move; none of other kinds."""
    match kind:
        case BroughtTable.Kind.SCENES:
            return _scenes(series)
        case BroughtTable.Kind.WAIVERS:
            return {waiver.pk: [waiver.mark_id] for waiver in Waiver.objects.alive().filter(series=series)}
        case BroughtTable.Kind.ASSIGNMENTS:
            return {assignment.pk: _given(assignment) for assignment in series.assignments.all()}
    return {}


def moved(before: Noted, after: Noted) -> Moved:
    return [[pk, before.get(pk), now] for pk, now in after.items() if now != before.get(pk)]


def _scenes(series: Series) -> Noted:
    lights: dict[int, list[list[Any]]] = {scene.pk: [] for scene in series.scenes.all()}
    standing = SceneTarget.objects.standing().filter(scene__series=series)
    for scene, *target in standing.values_list("scene", "subject", "part", "role").order_by("pk"):
        lights[scene].append(target)
    return {scene.pk: [scene.name, scene.note, scene.rule_data, lights[scene.pk]] for scene in series.scenes.all()}


def _given(assignment: Assignment) -> list[Any]:
    return [
        assignment.issue_id,
        assignment.page,
        assignment.colourist_id,
        assignment.due.isoformat() if assignment.due else "",
        assignment.note,
    ]


def take_noted_back(table: BroughtTable, made: Moved, by: User) -> None:
    """Put back what a table moved.

    Raises:
        Refused: somebody has changed some of it since; nothing is undone.
    """
    now = noted(table.kind, table.series)
    back = {
        BroughtTable.Kind.SCENES: _scene_back,
        BroughtTable.Kind.WAIVERS: _waivers_back,
        BroughtTable.Kind.ASSIGNMENTS: _pages_back,
    }[BroughtTable.Kind(table.kind)]
    back(table, made, now, by)


def _waivers_back(table: BroughtTable, made: Moved, now: Noted, by: User) -> None:
    """One that holds no more by itself needs no taking back."""
    for waiver in Waiver.objects.filter(pk__in=[pk for pk, *_ in made if pk in now]).order_by("pk"):
        remove_waiver(waiver=waiver, by=by)


def _scene_back(table: BroughtTable, made: Moved, now: Noted, by: User) -> None:
    for pk, before, after in made:
        scene = Scene.objects.filter(pk=pk).select_related("series").first()
        if scene is None and before is None:
            continue
        if scene is None or now[pk] != after or scene.archived_at:
            raise Refused(f"The scene “{after[0]}” has been changed since. Nothing is undone.")
        if before is None:
            _delete(scene, by)
            continue
        _, scene.note, rule, lights = before
        targets = [HeldTo(*target) for target in lights]
        why = f"table {table.filename} taken back"[:300]
        set_scene(scene=scene, rule=Shift.from_data(rule), by=by, reason=why, targets=targets)


def _delete(scene: Scene, by: User) -> None:
    try:
        delete_unused(row=scene, by=by)
    except Refused as refusal:
        uses = ", ".join(map(str, getattr(refusal, "uses", ())))
        raise Refused(f"The scene “{scene}” is in use by now: {uses}. Nothing is undone.") from refusal


def _pages_back(table: BroughtTable, made: Moved, now: Noted, by: User) -> None:
    rows = Assignment.objects.filter(pk__in=[pk for pk, *_ in made]).select_related("issue__series").in_bulk()
    for pk, before, after in made:
        if pk not in rows and before is None:
            continue
        if pk not in rows or now[pk] != after:
            raise Refused(f"Page {after[1]} has been given otherwise since. Nothing is undone.")
        if before is None:
            unassign_pages(issue=rows[pk].issue, chosen=[pk], by=by)
            continue
        _, page, person, due, note = before
        day = dt.date.fromisoformat(due) if due else None
        give(issue=rows[pk].issue, pages=[page], colourist=_person(person), by=by, due=day, note=note)


def _person(pk: int) -> User:
    return User.objects.get(pk=pk)
