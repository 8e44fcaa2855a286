"""What the light of scenes makes of a part's codes where it is held to some things and this is one of them."""

from __future__ import annotations

from django import template
from django.template.context import Context

from bible.colour.gradients import TintOrGradient, shifted
from bible.locks.queries import FoundPart
from bible.models import Scene, Series
from bible.scenes.queries import held_lights

register = template.Library()


@register.simple_tag(takes_context=True)
def lit_codes(context: Context, series: Series, match: FoundPart) -> list[tuple[Scene, str, TintOrGradient]]:
    """Scene, role, and what the code of that role becomes; one query a page. A scene that falls on everything is told
    where it holds, on its page."""
    kept = context.dicts[0].setdefault("held_lights", {})
    if series.pk not in kept:
        kept[series.pk] = held_lights(series)
    subject = match.part.costume.subject_id
    lit = [
        (light.scene, lock.role, lock.locked, shifted(lock.locked, light.scene.rule, series.chart))
        for light in kept[series.pk]
        for lock in match.locks
        if light.falls_on(match.part.pk, subject, lock.role)
    ]
    return [(scene, role, becomes) for scene, role, was, becomes in lit if becomes != was]
