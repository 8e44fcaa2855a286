"""Scenes and what they do, as tables to take along."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from bible.colour.gradients import TintOrGradient
from bible.colour.tints import Tint
from bible.exports.tables import LOCK_COLUMNS, Table, about, lock_cells, person_cell, tint_cells, tint_columns
from bible.models import Lock, Scene, SceneRule, Series, Subject
from bible.scenes.queries import fall_on


def scenes_table(series: Series, scenes: Iterable[Scene]) -> Table:
    rows = ((scene.name, str(scene.rule), held, scene.note) for scene, held in fall_on(series, scenes))
    return Table("scenes", ("scene", "rule", "falls_on", "note"), rows, about(series))


def shifted_chart_table(series: Series, scene: Scene, tints: Iterable[tuple[Tint, Tint]]) -> Table:
    """Every tint of the chart and what it is under a scene."""
    rows = ((*tint_cells(series, tint), *tint_cells(series, shifted)) for tint, shifted in tints)
    columns = (*tint_columns(), *tint_columns("shifted"))
    return Table(f"scene-{scene.pk}-chart", columns, rows, _about_scene(series, scene))


def shifted_locks_table(
    series: Series, scene: Scene, subject: Subject, locks: Iterable[tuple[Lock, TintOrGradient]]
) -> Table:
    """A subject's locks and what they are under a scene."""
    rows = (
        (lock.part.costume.name, lock.part.name, *lock_cells(series, lock), *tint_cells(series, shifted))
        for lock, shifted in locks
    )
    columns = ("costume", "part", *LOCK_COLUMNS, *tint_columns("shifted"))
    facts = _about_scene(series, scene, subject=subject.name)
    return Table(f"scene-{scene.pk}-subject-{subject.pk}", columns, rows, facts)


def scene_rules_table(series: Series, scene: Scene, rules: Iterable[tuple[SceneRule, str]]) -> Table:
    """How a scene came about, newest rule first, each with what it was held to."""
    rows = (
        (str(rule.rule), held, person_cell(rule.decided_by), rule.decided_at, rule.reason) for rule, held in rules
    )
    columns = ("rule", "falls_on", "decided_by", "decided_at", "reason")
    return Table(f"scene-{scene.pk}-rules", columns, rows, _about_scene(series, scene))


def _about_scene(series: Series, scene: Scene, **more: Any) -> dict[str, Any]:
    return about(series, scene=scene.name, rule=str(scene.rule), **more)
