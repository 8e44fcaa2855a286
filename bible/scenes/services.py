"""Scenes: their rules, and the tables that follow from them."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from django.db import transaction

from bible import signals
from bible.colour.shifts import Shift
from bible.models import ActivityKind, Scene, SceneRule, SceneTarget, SceneTint, Series, record
from bible.models.naming import name_of
from bible.series.holding import hold_series
from bible.series.refusals import Refused

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def last_rule(scene: Scene) -> int:
    """The newest rule of a scene, as a number to be shown and handed back."""
    newest = scene.rules.order_by("-pk").first()
    return newest.pk if newest else 0


class HeldTo(NamedTuple):
    """Something that a scene's light falls on; what is None or empty is any."""

    subject: int | None = None
    part: int | None = None
    role: str = ""


def held_to(scene: Scene) -> list[HeldTo]:
    """What a scene is held to now; nothing: it falls on everything."""
    rows = SceneTarget.objects.standing().filter(scene=scene.pk).values_list("subject", "part", "role")
    return sorted(itertools.starmap(HeldTo, rows), key=repr)


@transaction.atomic
def set_scene(
    *,
    scene: Scene,
    rule: Shift,
    by: User,
    reason: str = "",
    seen: int | None = None,
    targets: Iterable[HeldTo] | None = None,
) -> Scene:
    """Save a scene, new or changed, with its rule; every mark it holds for is resolved anew.

    Args:
        seen: ``last_rule`` when the person looked; refused if somebody changed the rule since.
        targets: what it is held to from now on; None: what it was held to before.
    """
    deed = ActivityKind.SCENE_CHANGED if scene.pk else ActivityKind.SCENE_MADE
    hold_series(scene.series_id)  # what its rule moves may be anywhere
    if scene.pk:
        newest = scene.rules.order_by("-pk").select_related("decided_by").first()
        if seen is not None and newest and newest.pk != seen:
            raise Refused(
                f"{name_of(newest.decided_by)} changed this rule meanwhile to: {newest.rule}."
                " Look at it, then save again."
            )
    scene.rule_data = rule.to_data()
    scene.save()
    made = SceneRule.objects.create(scene=scene, rule_data=scene.rule_data, decided_by=by, reason=reason)
    falls_elsewhere = _hold_to(made, targets)
    _remake(scene)
    words = {"name": scene.name, "rule": str(rule), "reason": reason}
    record(deed, series=scene.series_id, by=by, scene=scene, words=words)
    why = f"rule of the scene “{scene.name}” changed"
    signals.scene_changed.send(sender=Scene, scene=scene, by=by, why=why, falls_elsewhere=falls_elsewhere)
    return scene


def _hold_to(rule: SceneRule, targets: Iterable[HeldTo] | None) -> bool:
    """Hold a scene's newest rule to some things. Returns whether these are others than before."""
    before = held_to(rule.scene)
    now = before if targets is None else sorted(set(targets), key=repr)
    SceneTarget.objects.standing().filter(scene=rule.scene).update(standing=False)
    SceneTarget.objects.bulk_create(
        SceneTarget(scene=rule.scene, rule=rule, subject_id=target.subject, part_id=target.part, role=target.role)
        for target in now
    )
    return now != before


def remake_tables(series: Series) -> None:
    """After the chart changed: where each scene now takes each tint."""
    for scene in series.scenes.all():
        scene.series = series
        _remake(scene)


def _remake(scene: Scene) -> None:
    scene.tints.all().delete()
    table = scene.rule.table(scene.series.chart)
    SceneTint.objects.bulk_create(
        SceneTint(scene=scene, tint=tint, shifted=shifted) for tint, shifted in table.items() if tint != shifted
    )
