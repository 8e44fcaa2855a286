"""Making and changing a scene's rule, with its consequences; letting a scene hold on a page or a panel."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.models import Scene, Series
from bible.models.permissions import Permission
from bible.scenes.forms import SceneForm
from bible.scenes.services import last_rule, set_scene
from bible.series.forms import mark_as_seen
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member, refuse_unless
from bible.web.methods import FORM, POST
from bible.web.whole_numbers import whole_number
from guides.core.confirm import Shown, carry_out
from guides.core.forms import AreaForm
from guides.core.impact import rehearse
from guides.core.once import AtDesk
from guides.core.scene_areas import apply_scene, boxes_of, hold_page, remove_scene
from guides.models import Guide, SceneArea


def _scene_page(
    request: MemberRequest, series: Series, form: SceneForm, scene: Scene | None, shown: Shown | None
) -> HttpResponse:
    context = {"series": series, "form": form, "scene": scene, "shown": shown}
    return render(request, "guides/decisions/scene_form.html", context, status=422 if form.errors or shown else 200)


@member(Permission.SET_SCENES, FORM)
def new_scene(request: MemberRequest, series: Series) -> HttpResponse:
    """A new scene holds nowhere yet, so it has no consequences."""
    form = SceneForm(series, request.POST or None)
    if request.method == "POST" and form.is_valid():
        arguments: dict[str, Any] = {
            "rule": form.rule,
            "targets": form.targets,
            "reason": form.cleaned_data["reason"],
        }
        made = set_scene(scene=form.save(commit=False), by=request.user, **arguments)
        return redirect("scene", series.slug, made.pk)
    return _scene_page(request, series, form, None, None)


@member(Permission.SET_SCENES, FORM)
def edit_scene(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    scene = get_object_or_404(series.scenes.select_related("series"), pk=pk)
    again = scene.rules.filter(pk=whole_number(request.GET.get("again")) or 0).first()
    form = SceneForm(series, request.POST or None, instance=scene, initial={"seen": last_rule(scene)}, again=again)
    shown = None
    if form.is_valid():
        try:
            shown = _change(request, series, pk, form)
            if shown is None:
                messages.success(request, f"{form.instance.name} is saved.")
                return redirect("scene", series.slug, pk)
        except Refused as refusal:
            form.add_error(None, str(refusal))
            mark_as_seen(form, last_rule(scene))
    return _scene_page(request, series, form, Scene.objects.get(pk=pk), shown)


def _change(request: MemberRequest, series: Series, pk: int, form: SceneForm) -> Shown | None:
    arguments: dict[str, Any] = {"rule": form.rule, "targets": form.targets, "by": request.user}
    arguments["reason"] = form.cleaned_data["reason"]
    return carry_out(
        request,
        lambda: rehearse(series, lambda: set_scene(scene=Scene.objects.get(pk=pk), **arguments)),
        lambda: set_scene(scene=form.save(commit=False), seen=form.cleaned_data["seen"], **arguments),
        hold=lambda: hold_series(series.pk),
    )


@member(Permission.READ, FORM)
def page_scenes(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Which scenes hold on a page. Whoever marks may let another one hold, having seen its consequences."""
    guide = get_object_or_404(Guide.objects.select_related("issue", "series"), series=series, pk=pk)
    if request.method == "POST":
        refuse_unless(request, Permission.MARK)
    form = AreaForm(series, request.POST or None)
    shown = None
    if form.is_valid():
        try:
            shown = _apply(request, guide, form)
            if shown is None:
                messages.success(request, f"{form.cleaned_data['scene']} holds on {guide}.")
                return redirect("page-scenes", series.slug, pk)
        except Refused as refusal:
            form.add_error(None, str(refusal))
    return _scenes_of(request, series, guide, form, status=422 if form.errors or shown else 200, shown=shown)


def _apply(request: MemberRequest, guide: Guide, form: AreaForm) -> Shown | None:
    arguments = {"guide": guide, "scene": form.cleaned_data["scene"], "region": form.region, "by": request.user}
    return carry_out(
        request,
        lambda: rehearse(guide.series, lambda: apply_scene(**arguments)),
        lambda: apply_scene.once(AtDesk.of(request, guide), **arguments),
        hold=lambda: hold_page(guide),
    )


def _scenes_of(
    request: MemberRequest, series: Series, guide: Guide, form: AreaForm, *, status: int = 200, **more: object
) -> HttpResponse:
    areas = SceneArea.objects.filter(guide=guide).standing().with_targets().select_related("applied_by")
    context = {"series": series, "guide": guide, "form": form, "boxes": boxes_of(guide, areas)}
    return render(request, "guides/decisions/page_scenes.html", context | more, status=status)


@member(Permission.MARK, POST)
def remove_area(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Let a scene hold no longer on a page or a panel, once it has been seen what that does."""
    areas = SceneArea.objects.filter(series=series).select_related("scene", "guide__issue", "guide__series")
    area = get_object_or_404(areas, pk=pk)
    try:
        shown = carry_out(
            request,
            lambda: rehearse(series, lambda: remove_scene(area=area, by=request.user)),
            lambda: remove_scene.once(AtDesk.of(request, area.guide), area=area, by=request.user),
            hold=lambda: hold_page(area.guide),
        )
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("page-scenes", series.slug, area.guide_id)
    if shown:
        return _scenes_of(request, series, area.guide, AreaForm(series), status=422, leaving=area, away=shown)
    messages.success(request, f"{area.scene} does not hold there any more.")
    return redirect("page-scenes", series.slug, area.guide_id)
