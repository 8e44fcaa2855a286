"""The guide desk around its marks: taking back, the cast for typing ahead, the issue before, notes for pages, and
scenes drawn on panels."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import partial

from django.http import HttpResponse, HttpResponseNotModified
from django.shortcuts import get_object_or_404, render
from django.utils.http import parse_etags, quote_etag

from bible.models import Series
from bible.models.permissions import Permission
from bible.series.presses import condition
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.digest import digest
from bible.web.methods import FORM, POST, SAFE
from bible.web.whole_numbers import whole_number
from guides.core.confirm import Shown, carry_out
from guides.core.forms import AreaForm
from guides.core.impact import rehearse
from guides.core.once import AtDesk
from guides.core.page_areas import outline_at
from guides.core.rules import refuse_older
from guides.core.scene_areas import apply_scene, hold_page
from guides.desk.cast import cast_of, issue_before, proposals
from guides.desk.forms import PageNoteForm
from guides.desk.mark_views import show_changed
from guides.desk.page_notes import remove_page_note, write_page_note
from guides.desk.panel import desk_context, panel_context
from guides.desk.services import next_step, redo, steps, undo
from guides.models import Deed, Guide, Mark, PageNote

DRAWN = ("left", "right", "top", "bottom", "outline")
"""What an address may say beforehand of where a scene is to hold."""


def _guide(series: Series, pk: int) -> Guide:
    return get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk)


@member(Permission.MARK, POST)
def undo_last(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Take back what this person did last here."""
    return _step(request, _guide(series, pk), back=True)


@member(Permission.MARK, POST)
def redo_last(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _step(request, _guide(series, pk), back=False)


def _step(request: MemberRequest, guide: Guide, *, back: bool) -> HttpResponse:
    key = request.POST.get("key", "")[:64]
    asked = next_step(guide=guide, by=request.user, key=key, back=back)
    try:
        turned = _turned(
            request, guide, asked, partial(undo if back else redo, guide=guide, by=request.user, key=key)
        )
    except Refused as refusal:
        return show_changed(request, guide, None, str(refusal), status=422)
    if isinstance(turned, Shown):
        more = {"step": asked, "back": back, "shown": turned} | steps(guide, request.user)
        return _beside(request, guide, "guides/desk/_step.html", more, 422)
    mark = Mark.objects.with_names().filter(pk=turned.mark_id or 0, deleted_at=None).first()
    if mark:
        mark.series, mark.guide = guide.series, guide
    return show_changed(request, guide, mark, f"{'Undone' if back else 'Redone'}: {turned}.")


def _turned(request: MemberRequest, guide: Guide, asked: Deed | None, step: Callable[..., Deed]) -> Deed | Shown:
    """The step taken; first only what it would do, where it moves what is expected of marks."""
    if asked is None or not asked.moves_what_is_expected:
        return step()
    done: list[Deed] = []
    shown = carry_out(
        request,
        lambda: rehearse(guide.series, lambda: step(agreed=asked)),
        lambda: done.append(step(agreed=asked)),
        hold=lambda: hold_page(guide),
    )
    return shown or done[0]


@member(Permission.MARK, SAFE)
def cast(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The parts that are in use in the guide's issue, with their locked codes: what is typed ahead against."""
    guide = _guide(series, pk)
    press = condition(guide.series, guide.issue.press)
    facts = {"press": press.title, "parts": cast_of(series, guide.issue.position, press)}
    body = json.dumps(facts, ensure_ascii=False, separators=(",", ":")).encode()
    etag = quote_etag(digest(body))
    if etag in parse_etags(request.headers.get("If-None-Match", "")):
        response: HttpResponse = HttpResponseNotModified()
    else:
        response = HttpResponse(body, content_type="application/json")
    response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"
    return response


@member(Permission.MARK, SAFE)
def last_issue(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Parts and codes as the issue before has them, for this page or for one subject."""
    guide = _guide(series, pk)
    subject = series.subjects.filter(pk=whole_number(request.GET.get("subject")) or 0).first()
    before = issue_before(guide.issue)
    more = {
        "before": before,
        "asked_subject": subject,
        "subjects": series.subjects.filter(archived_at=None).order_by("name"),
        "proposals": proposals(guide, before, subject) if before else [],
    }
    return _beside(request, guide, "guides/desk/_last_issue.html", more)


def _beside(
    request: MemberRequest, guide: Guide, fragment: str, more: Mapping[str, object], status: int = 200
) -> HttpResponse:
    """A fragment for the panel; without htmx the whole page with it in the panel's place."""
    context_of = panel_context if request.htmx else desk_context
    context = context_of(guide, request.membership, chosen=None, form=None) | dict(more) | {"beside": fragment}
    return render(request, fragment if request.htmx else "guides/desk/guide.html", context, status=status)


@member(Permission.MARK, FORM)
def page_note(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Write a note that holds for a page or a run of pages."""
    guide = _guide(series, pk)
    form = PageNoteForm(request.POST or None, initial={"first_page": guide.page})
    if request.method == "POST" and form.is_valid():
        fields = form.cleaned_data
        try:
            refuse_older(guide)
            write_page_note.once(AtDesk.of(request, guide), issue=guide.issue, by=request.user, **fields)
            return show_changed(request, guide, None, "The note is kept; it goes into the hand-off.")
        except Refused as refusal:
            form.add_error(None, str(refusal))
    status = 422 if request.method == "POST" else 200
    return _beside(request, guide, "guides/desk/_page_note.html", {"note_form": form}, status)


@member(Permission.MARK, POST)
def remove_note(request: MemberRequest, series: Series, pk: int, note_pk: int) -> HttpResponse:
    """Let a page note hold no longer; at the desk where it was done it can be brought back."""
    guide = _guide(series, pk)
    note = get_object_or_404(PageNote, issue=guide.issue_id, pk=note_pk)
    try:
        remove_page_note.once(AtDesk.of(request, guide), note=note, by=request.user)
    except Refused as refusal:
        return show_changed(request, guide, None, str(refusal), status=422)
    return show_changed(request, guide, None, "The note is taken away.")


@member(Permission.MARK, FORM)
def draw_scene(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Let a scene hold where a rectangle or an outline was drawn, in the area of the page that was clicked (``at_x``,
    ``at_y``), or where its edges were typed, having seen the consequences."""
    guide = _guide(series, pk)
    drawn = {side: request.GET[side] for side in DRAWN if side in request.GET}
    if "at_x" in request.GET:
        drawn["outline"] = outline_at(guide, request.GET.get("at_x"), request.GET.get("at_y"))
    form = AreaForm(series, request.POST or None, initial=drawn)
    shown = None
    if request.method == "POST" and form.is_valid():
        try:
            shown = _hold_there(request, guide, form)
            if shown is None:
                return show_changed(request, guide, None, f"{form.cleaned_data['scene']} holds there.")
        except Refused as refusal:
            form.add_error(None, str(refusal))
    status = 422 if request.method == "POST" else 200
    more = {"area_form": form, "shown": shown, "impact": shown.impact if shown else None}
    return _beside(request, guide, "guides/desk/_draw_scene.html", more, status)


def _hold_there(request: MemberRequest, guide: Guide, form: AreaForm) -> Shown | None:
    """The consequences, or None once the scene holds with a yes to exactly those."""
    refuse_older(guide)
    arguments = {"guide": guide, "scene": form.cleaned_data["scene"], "region": form.region, "by": request.user}
    return carry_out(
        request,
        lambda: rehearse(guide.series, lambda: apply_scene(**arguments)),
        lambda: apply_scene.once(AtDesk.of(request, guide), **arguments),
        hold=lambda: hold_page(guide),
    )
