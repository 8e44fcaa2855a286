"""The scenes of a series, and what one makes of a subject's tints. Changing a rule is on the guides' side."""

from __future__ import annotations

from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render

from bible.colour.gradients import TintOrGradient, shifted
from bible.colour.tints import Tint
from bible.exports.tables import Table, answer, wanted
from bible.models import Lock, Scene, Series, Subject
from bible.models.permissions import Permission
from bible.scenes.exports import scene_rules_table, scenes_table, shifted_chart_table, shifted_locks_table
from bible.scenes.forms import SceneForm
from bible.scenes.looking import LockedColours, cards, falling_on, looks_of
from bible.scenes.queries import fall_on, lit_by, with_words
from bible.series.presses import condition
from bible.series.running_order import AsOf
from bible.web.access import MemberRequest, member
from bible.web.methods import SAFE
from bible.web.whole_numbers import whole_number


@member(Permission.READ, SAFE)
def scenes(request: MemberRequest, series: Series) -> HttpResponseBase:
    if wanted(request):
        return answer(request, series, scenes_table(series, series.scenes.active()))
    shown = cards(series, series.scenes.active())
    return render(request, "bible/scenes/scenes.html", {"series": series, "cards": shown})


@member(Permission.READ, SAFE)
def scene_look(request: MemberRequest, series: Series) -> HttpResponse:
    """What the rule that is being written makes of the colours that are locked."""
    form = SceneForm(series, request.GET)
    form.is_valid()
    unheld = {"falls_on", "in_roles"} & form.errors.keys()
    falls_on = falling_on([] if unheld else form.targets)
    moved = LockedColours(series).under(form.rule, falls_on)
    context = {"series": series, "looks": looks_of(moved, condition(series), series.chart.tints), "rule": form.rule}
    return render(request, "bible/scenes/_scene_look.html", context)


@member(Permission.READ, SAFE)
def scene(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The rule, its history, and all of a subject's tints under it; without a subject, of the whole chart."""
    scene = get_object_or_404(series.scenes, pk=pk)
    subject = series.subjects.filter(pk=whole_number(request.GET.get("subject")) or 0).first()
    if wanted(request):
        return answer(request, series, _table(series, scene, subject, request.GET.get("list", "")))
    context = {
        "series": series,
        "scene": scene,
        "rules": with_words(series, scene.rules.select_related("decided_by")),
        "falls_on": fall_on(series, [scene])[0][1],
        "subjects": series.subjects.active(),
        "subject": subject,
        "rows": _rows(series, scene, subject.pk) if subject else None,
        "chart": [] if subject else [pair for pair in _chart(series, scene) if pair[0] != pair[1]],
    }
    return render(request, "bible/scenes/scene.html", context)


def _table(series: Series, scene: Scene, subject: Subject | None, which: str) -> Table:
    """What the page shows under the scene, or with ``rules`` how the scene came about."""
    if which == "rules":
        return scene_rules_table(series, scene, with_words(series, scene.rules.select_related("decided_by")))
    if subject:
        return shifted_locks_table(series, scene, subject, _rows(series, scene, subject.pk))
    return shifted_chart_table(series, scene, _chart(series, scene))


def _chart(series: Series, scene: Scene) -> list[tuple[Tint, Tint]]:
    rule = scene.rule
    return [(tint, rule.apply(tint, series.chart)) for tint in series.chart.tints]


def _rows(series: Series, scene: Scene, subject_id: int) -> list[tuple[Lock, TintOrGradient]]:
    locks = Lock.objects.filter(part__costume__subject=subject_id).in_force(AsOf.at(series).position)
    ordered = locks.select_related("part__costume").order_by("part__costume__rank", "part__rank", "part_id", "id")
    lit = lit_by(scene)
    return [
        (
            lock,
            shifted(lock.locked, scene.rule, series.chart)
            if lit(lock.part_id, subject_id, lock.role)
            else lock.locked,
        )
        for lock in ordered
    ]
