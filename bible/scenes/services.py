"""Scenes: their rules, and the tables that follow from them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from bible import signals
from bible.colour.shifts import Shift
from bible.models import ActivityKind, Scene, SceneRule, SceneTint, Series, record
from bible.models.naming import name_of
from bible.series.holding import hold_series
from bible.series.refusals import Refused

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def last_rule(scene: Scene) -> int:
    """The newest rule of a scene, as a number to be shown and handed back."""
    newest = scene.rules.order_by("-pk").first()
    return newest.pk if newest else 0


@transaction.atomic
def set_scene(*, scene: Scene, rule: Shift, by: User, reason: str = "", seen: int | None = None) -> Scene:
    """Save a scene, new or changed, with its rule; every mark it holds for is resolved anew.

    Args:
        seen: ``last_rule`` when the person looked; refused if somebody changed the rule since.
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
    SceneRule.objects.create(scene=scene, rule_data=scene.rule_data, decided_by=by, reason=reason)
    _remake(scene)
    words = {"name": scene.name, "rule": str(rule), "reason": reason}
    record(deed, series=scene.series_id, by=by, scene=scene, words=words)
    signals.scene_changed.send(sender=Scene, scene=scene, by=by, why=f"rule of the scene “{scene.name}” changed")
    return scene


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
