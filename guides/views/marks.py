"""Placing, rewriting, moving, deleting and restoring marks. With htmx the answer is the panel and the marks; without,
the guide page again."""

from __future__ import annotations

from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from bible.access import EVERYBODY, MARKERS, MemberRequest, member
from bible.forms import mark_as_seen
from bible.models import Series
from bible.services import Refused
from guides.forms import MarkForm, MoveForm
from guides.models import Guide, Mark, MarkQuerySet
from guides.services import StaleMark, delete_mark, move_mark, place_mark, restore_mark, rewrite_mark
from guides.views.panel import page_context, panel_context


def _marks(series: Series) -> MarkQuerySet:
    return Mark.objects.filter(series=series).with_names().select_related("guide__series")


def _panel(
    request: MemberRequest, guide: Guide, chosen: Mark | None, form: Form | None, *, status: int = 200
) -> HttpResponse:
    """The panel alone; nothing about the other marks has changed."""
    context = panel_context(guide, request.membership, chosen=chosen, form=form)
    if request.htmx:
        return render(request, "guides/_panel.html", context, status=status)
    context |= page_context(guide, request.membership, chosen=chosen, form=form)
    return render(request, "guides/guide.html", context, status=status)


def _changed(request: MemberRequest, mark: Mark, message: str, *, undo: bool = False) -> HttpResponse:
    """The panel with the answer, and the marks on the picture and in the list as they are now."""
    guide = mark.guide
    if not request.htmx:
        return redirect(guide if undo else mark)
    chosen = None if undo else mark
    form = None if undo else MarkForm(guide, mark=mark)
    context = page_context(guide, request.membership, chosen=chosen, form=form)
    return render(request, "guides/_answer.html", context | {"message": message, "undo": mark if undo else None})


@member(*MARKERS)
def new_mark(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The form for a place on the picture, and placing it."""
    guide = get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk, is_current=True)
    if request.method != "POST":
        place = {name: request.GET.get(name, "0.5") for name in ("x", "y")}
        return _panel(request, guide, None, MarkForm(guide, initial=place))
    form = MarkForm(guide, request.POST)
    if not form.is_valid():
        return _panel(request, guide, None, form, status=422)
    x, y = form.cleaned_data["x"], form.cleaned_data["y"]
    placed = place_mark(guide=guide, x=x, y=y, by=request.user, **form.saying)
    return _changed(request, _marks(series).get(pk=placed.pk), "Saved.")


@member(*EVERYBODY)
def mark(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """One mark: what it says and whether that agrees; a marker may rewrite it here."""
    found = get_object_or_404(_marks(series), pk=pk)
    form = MarkForm(found.guide, mark=found) if request.membership.may_mark else None
    return _panel(request, found.guide, found, form)


@require_POST
@member(*MARKERS)
def rewrite(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = get_object_or_404(_marks(series), pk=pk)
    form = MarkForm(found.guide, request.POST)
    if form.is_valid():
        try:
            rewrite_mark(mark=found, by=request.user, seen=form.cleaned_data["seen"], **form.saying)
            return _changed(request, _marks(series).get(pk=pk), "Saved.")
        except StaleMark as refusal:
            form.add_error(None, str(refusal))
            mark_as_seen(form, refusal.mark.version)
            found = _marks(series).get(pk=pk)
    return _panel(request, found.guide, found, form, status=422)


@require_POST
@member(*MARKERS)
def move(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = get_object_or_404(_marks(series), pk=pk)
    form = MoveForm(request.POST)
    if not form.is_valid():
        return _panel(request, found.guide, found, MarkForm(found.guide, mark=found), status=422)
    try:
        move_mark(mark=found, by=request.user, **form.cleaned_data)
    except Refused as refusal:
        return _changed(request, _marks(series).get(pk=pk), str(refusal))
    return _changed(request, _marks(series).get(pk=pk), "Moved.")


@require_POST
@member(*MARKERS)
def delete(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = get_object_or_404(_marks(series), pk=pk)
    delete_mark(mark=found, by=request.user)
    return _changed(request, found, f"Mark {found.number} deleted.", undo=True)


@require_POST
@member(*MARKERS)
def restore(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    found = get_object_or_404(_marks(series), pk=pk)
    restore_mark(mark=found, by=request.user)
    return _changed(request, _marks(series).get(pk=pk), f"Mark {found.number} is back.")
