"""Placing, rewriting, moving, deleting and restoring marks. With htmx the answer is the panel and the marks; without,
the guide page again. Every write is a deed of the desk: done once for each key, and taken back step by step."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from bible.models import Part, Series
from bible.models.permissions import Permission
from bible.series.forms import mark_as_seen
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM, POST, SAFE
from guides.core.once import AtDesk, DeskService, Done
from guides.core.rules import StaleMark
from guides.core.services import delete_mark, move_mark, point_mark, restore_mark, rewrite_mark
from guides.desk.drawn import HEADER
from guides.desk.forms import MarkForm, MoveForm
from guides.desk.new_parts import ask_for_part, may_make
from guides.desk.panel import added_context, desk_context, page_context, panel_context
from guides.found.services import mark_by_hand
from guides.models import Deed, FoundCode, Guide, Mark, MarkQuerySet
from guides.paint.services import ask_again, kept_for, say_as_meant, voice_of
from guides.paint.views import paint_context

SAVED_BEFORE = "Saved before; nothing was done twice."
FIRST_SAID = ("written", "to_written", "part", "role", "to_x", "to_y")
"""What an address may say beforehand about a new mark: a proposal that is taken without script."""


def _marks(series: Series) -> MarkQuerySet:
    return Mark.objects.filter(series=series).with_names().select_related("guide__series")


def show_panel(
    request: MemberRequest, guide: Guide, chosen: Mark | None, form: Form | None, *, status: int = 200, **more: Any
) -> HttpResponse:
    """The panel alone; nothing about the other marks has changed. A refused form is always shown with what was typed,
    even where nothing can be marked any more."""
    context_of = panel_context if request.htmx else desk_context
    context = context_of(guide, request.membership, chosen=chosen, form=form) | more
    context["may_mark"] = context["may_mark"] or status == 422
    return render(
        request, "guides/desk/_panel.html" if request.htmx else "guides/desk/guide.html", context, status=status
    )


def show_changed(
    request: MemberRequest, guide: Guide, chosen: Mark | None, message: str, *, status: int = 200
) -> HttpResponse:
    """The panel with the answer, and the marks on the picture and in the list as they are now. A deleted mark can be
    brought back from there."""
    gone = chosen if chosen and chosen.deleted_at else None
    if not request.htmx and gone:
        return redirect(f"{guide.get_absolute_url()}?deleted={gone.pk}")
    if not request.htmx:
        messages.add_message(request, messages.SUCCESS if status == 200 else messages.ERROR, message)
        return redirect(chosen or guide)
    chosen = None if gone else chosen
    form = MarkForm(guide, mark=chosen) if chosen else None
    context = page_context(guide, request.membership, chosen=chosen, form=form)
    more = {"message": message, "undo": gone}
    return render(request, "guides/desk/_answer.html", context | more, status=status)


def show_added(request: MemberRequest, guide: Guide, done: Done, message: str) -> HttpResponse:
    """What ``show_changed`` shows; to a desk that has drawn the other marks already only the new one."""
    # What was placed just now is as it was placed, with all that its answer says of it.
    mark = _marks(guide.series).get(pk=done.mark.pk) if done.again else done.mark
    mark.series = guide.series
    # Where codes were found, an answer to one changes what the page proposes.
    if request.htmx and not done.again and not FoundCode.objects.filter(guide=guide).exists():
        form, shown = MarkForm(guide, mark=mark), request.headers.get(HEADER, "")
        if context := added_context(guide, request.membership, placed=done.deed, chosen=mark, form=form, shown=shown):
            return render(request, "guides/desk/_added.html", context | {"message": message})
    return show_changed(request, guide, mark, message)


def _changed(request: MemberRequest, mark: Mark, message: str, *, status: int = 200) -> HttpResponse:
    return show_changed(request, mark.guide, mark, message, status=status)


@member(Permission.MARK, FORM)
def new_mark(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The form for a place on the picture, and placing it."""
    guide = get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk)
    if request.method != "POST":
        place = {name: request.GET.get(name, "0.5") for name in ("x", "y")}
        prefilled = {name: request.GET[name] for name in FIRST_SAID if name in request.GET}
        return show_panel(request, guide, None, MarkForm(guide, initial=place | prefilled))
    desk, form = AtDesk.of(request, guide), MarkForm(guide, request.POST)
    if form.is_valid():
        try:
            done = _placed(request, desk, form)
            return show_added(request, guide, done, SAVED_BEFORE if done.again else "Saved.")
        except Refused as refusal:
            form.add_error(None, str(refusal))
    if (known := desk.known()) and known.mark:  # what it says is refused by now: a part has gone
        return _changed(request, _marks(series).get(pk=known.mark.pk), SAVED_BEFORE)
    return show_panel(request, guide, None, form, status=422)


def _placed(request: MemberRequest, desk: AtDesk, form: MarkForm) -> Done:
    """The mark of a form, with the part that it is to be the first mark of, where it asks for one."""
    fields = form.saying | {name: form.cleaned_data[name] for name in ("x", "y")}
    if not (form.new_part or form.asked_part):
        return mark_by_hand.once(desk, guide=desk.guide, by=request.user, **fields)
    with transaction.atomic():
        if not desk.known():
            fields["part"] = _part_of(request, form)
        done = mark_by_hand.once(desk, guide=desk.guide, by=request.user, **fields)
        if form.asked_part and not done.again:
            ask_for_part(done.mark, form.asked_part, request)
        return done


def _part_of(request: MemberRequest, form: MarkForm) -> Part | None:
    if form.new_part and not may_make(request):
        raise Refused(f"Only a lead can make “{form.new_part}” a part: ask for it instead.")
    part: Part | None = form.made_part(request) or form.saying["part"]
    return part


@member(Permission.READ, SAFE)
def mark(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """One mark: what it says and whether that agrees; a marker may rewrite it here."""
    chosen = get_object_or_404(_marks(series), pk=pk)
    if chosen.deleted_at:
        undo = chosen if request.membership.may(Permission.MARK) else None
        return show_panel(request, chosen.guide, None, None, message=f"Mark {chosen.number} is deleted.", undo=undo)
    form = MarkForm(chosen.guide, mark=chosen) if request.membership.may(Permission.MARK) else None
    return show_panel(request, chosen.guide, chosen, form)


@member(Permission.MARK, POST)
def rewrite(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    chosen = get_object_or_404(_marks(series), pk=pk)
    desk = AtDesk.of(request, chosen.guide)
    if desk.known():
        return _changed(request, chosen, SAVED_BEFORE)
    form = MarkForm(chosen.guide, request.POST, mark=chosen)
    if form.is_valid():
        try:
            _rewritten(request, desk, chosen, form)
            return _changed(request, _marks(series).get(pk=pk), "Saved.")
        except StaleMark as refusal:
            form.add_error(None, str(refusal))
            mark_as_seen(form, refusal.mark.version)
            chosen = _marks(series).get(pk=pk)
        except Refused as refusal:
            form.add_error(None, str(refusal))
    undo = {"message": "Deleted.", "undo": chosen} if chosen.deleted_at else {}
    return show_panel(request, chosen.guide, chosen, form, status=422, **undo)


@transaction.atomic
def _rewritten(request: MemberRequest, desk: AtDesk, chosen: Mark, form: MarkForm) -> None:
    fields = form.saying | {"part": _part_of(request, form)}
    rewrite_mark.once(desk, mark=chosen, by=request.user, seen=form.cleaned_data["seen"], **fields)
    if form.asked_part:
        ask_for_part(chosen, form.asked_part, request)


@member(Permission.MARK, POST)
def move(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _to_a_place(request, series, pk, move_mark, "Moved.")


@member(Permission.MARK, POST)
def point(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Turn the arrow of a gradient."""
    return _to_a_place(request, series, pk, point_mark, "The arrow points there.")


def _to_a_place(
    request: MemberRequest, series: Series, pk: int, deed: DeskService[..., Mark], message: str
) -> HttpResponse:
    """Carry out what takes a mark and a place on its page."""
    chosen = get_object_or_404(_marks(series), pk=pk)
    desk = AtDesk.of(request, chosen.guide)
    if desk.known():
        return _changed(request, chosen, message)
    form = MoveForm(request.POST)
    if not form.is_valid():
        return show_panel(request, chosen.guide, chosen, MarkForm(chosen.guide, mark=chosen), status=422)
    try:
        deed.once(desk, mark=chosen, by=request.user, **form.cleaned_data)
    except Refused as refusal:
        return _changed(request, _marks(series).get(pk=pk), str(refusal), status=422)
    return _changed(request, _marks(series).get(pk=pk), message)


@member(Permission.MARK, POST)
def delete(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    chosen = get_object_or_404(_marks(series), pk=pk)
    try:
        if not chosen.deleted_at:
            delete_mark.once(AtDesk.of(request, chosen.guide), mark=chosen, by=request.user)
    except Refused as refusal:
        return _changed(request, chosen, str(refusal), status=422)
    return _changed(request, _marks(series).get(pk=pk), f"Mark {chosen.number} deleted.")


@member(Permission.MARK, POST)
def restore(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    chosen = get_object_or_404(_marks(series), pk=pk)
    try:
        if chosen.deleted_at:
            restore_mark.once(AtDesk.of(request, chosen.guide), mark=chosen, by=request.user)
    except Refused as refusal:
        return _changed(request, chosen, str(refusal), status=422)
    return _changed(request, _marks(series).get(pk=pk), f"Mark {chosen.number} is back.")


def _look(desk: AtDesk, mark: Mark, *, again: bool) -> str:
    if again:
        ask_again.once(desk, mark=mark)
        return f"Mark {mark.number} is asked about again."
    kept_for(mark)
    say_as_meant.once(desk, mark=mark, by=desk.by)
    return f"Mark {mark.number}: the code is as meant."


@member(Permission.MARK, POST)
def looked_at(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Somebody looked: the code is as meant, whatever the paint says. Undone at the desk, or by ``ask-again``."""
    mark = get_object_or_404(Mark.objects.select_related("guide__issue", "guide__series"), series=series, pk=pk)
    desk = AtDesk.of(request, mark.guide)
    try:
        message = _look(desk, mark, again=request.POST.get("deed") == Deed.Kind.ASK_AGAIN)
    except Refused as refusal:
        message = str(refusal)
    if request.htmx:
        context = page_context(mark.guide, request.membership, chosen=mark, form=None)
        context |= paint_context(mark.guide, voice_of(mark), mark)
        return render(request, "guides/paint/_paint_answer.html", context)
    messages.info(request, message)
    return redirect("issue-paint", series.slug, mark.guide.issue_id)
