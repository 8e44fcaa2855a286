"""Handing off an issue or a page: what the separator reads, what is downloaded, and marks that come back."""

from __future__ import annotations

import json
import tempfile
from typing import IO
from urllib.parse import urlencode

from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from bible.models import Series
from bible.models.permissions import Permission
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.limits import PAPER, TABLES, limited
from bible.web.methods import FORM, POST, SAFE
from bible.web.names import counted
from guides.core.gradients import fade_of
from guides.core.once import key_of, new_key
from guides.handoff.annotations import MEDIA_TYPE, collection, read_annotations
from guides.handoff.bringing import Look, MarkRows, bring_as_shown, look
from guides.handoff.exports import changes_csv, marks_csv, plates_csv, read_marks_csv
from guides.handoff.forms import BringForm
from guides.handoff.packing import issue_pack, make_pack, page_hand_off
from guides.handoff.pdf import write_pdf
from guides.handoff.queries import HandOff
from guides.handoff.zipped import write_zip
from guides.models import Guide
from guides.paper.page import CAUTION
from guides.paper.sizes import size_asked

MOVED = "The page has changed since this was shown. Look at what would happen now, then say yes."
LISTS = {"csv": ("marks", marks_csv), "plates": ("plates", plates_csv), "changes": ("changes", changes_csv)}
IN_MEMORY = 16_000_000
"""A pack larger than this waits in a temporary file."""


@member(Permission.READ, SAFE)
def issue(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Every page's plates and codes, what is still open, and the downloads."""
    issue = get_object_or_404(series.issues.select_related("series"), pk=pk)
    return _page(request, issue_pack(issue, request.edition), reverse("hand-off", args=[series.slug, pk]))


@member(Permission.READ, SAFE)
def guide(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    return _page(
        request,
        page_hand_off(_guide(series, pk), request.edition),
        reverse("guide-hand-off", args=[series.slug, pk]),
    )


def _guide(series: Series, pk: int) -> Guide:
    return get_object_or_404(Guide.objects.select_related("issue__series", "series"), series=series, pk=pk)


def _current_guide(series: Series, pk: int) -> Guide:
    guide = _guide(series, pk)
    if not guide.is_current:
        raise Http404("An older revision cannot be marked.")
    return guide


def _page(request: MemberRequest, hand_off: HandOff, address: str) -> HttpResponse:
    lines = [line for page in hand_off.pages for line in page.lines if line.mark.is_gradient]
    context = {
        "series": hand_off.series,
        "hand_off": hand_off,
        "press": hand_off.press,
        "kept": _kept(hand_off),
        "address": address,
        "caution": CAUTION,
        "fades": [fade for line in lines if (fade := fade_of(line.mark, hand_off.press)) and fade.turns],
    }
    return render(request, "guides/handoff/hand_off.html", context)


def _kept(hand_off: HandOff) -> str:
    return f"?{urlencode({'edition': hand_off.edition.name})}" if hand_off.edition else ""


@member(Permission.READ, SAFE)
@limited(PAPER, "GET")
def issue_file(request: MemberRequest, series: Series, pk: int, form: str) -> HttpResponseBase:
    issue = get_object_or_404(series.issues.select_related("series"), pk=pk)
    return _file(request, issue_pack(issue, request.edition), form)


@member(Permission.SUBMIT, POST)
def pack(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Number what is handed off, then hand it over; pressed again with nothing changed it is the same pack."""
    issue = get_object_or_404(series.issues, pk=pk)
    try:
        made = make_pack(issue=issue, edition=request.edition, by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("hand-off", series.slug, pk)
    return redirect(f"{made.get_absolute_url('zip')}{_kept(made)}")


@member(Permission.READ, SAFE)
@limited(PAPER, "GET")
def guide_file(request: MemberRequest, series: Series, pk: int, form: str) -> HttpResponseBase:
    return _file(request, page_hand_off(_guide(series, pk), request.edition), form)


def _file(request: MemberRequest, hand_off: HandOff, form: str) -> HttpResponseBase:
    base = request.build_absolute_uri(hand_off.series.get_absolute_url())
    if form in ("pdf", "zip"):
        out: IO[bytes] = tempfile.SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115 (the response closes it)
        size = size_asked(request)
        write_pdf(hand_off, out, size) if form == "pdf" else write_zip(hand_off, base, out, size)
        out.seek(0)
        return FileResponse(out, as_attachment=True, filename=f"{hand_off.name}.{form}")
    if form == "jsonld":
        data = json.dumps(collection(hand_off, base), ensure_ascii=False, indent=1)
        response = HttpResponse(data, content_type=MEDIA_TYPE)
        name = f"{hand_off.name}.jsonld"
    else:
        label, table = LISTS[form]
        response = HttpResponse(table(hand_off), content_type="text/csv; charset=utf-8; header=present")
        name = f"{hand_off.name}-{label}.csv"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@member(Permission.MARK, FORM)
@limited(TABLES)
def bring(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Marks from a file: first what it holds and what it would do, then, after a yes to that, onto the guide."""
    guide = _current_guide(series, pk)
    form = BringForm(request.POST or None, request.FILES or None)
    context: dict[str, object] = {"series": series, "guide": guide, "form": form, "write_key": new_key()}
    looked: Look | None = None
    if request.method == "POST" and form.is_valid():
        text = form.cleaned_data["text"]
        try:
            if form.cleaned_data["yes"] and (message := _bring(request, guide, text)):
                messages.success(request, message)
                return redirect(guide)
            looked = look(guide=guide, rows=read_file(text, guide), by=request.user)
            if form.cleaned_data["yes"]:
                form.add_error(None, MOVED)
            context |= {"brought": looked.brought, "impact": looked.impact, "shown": looked.token, "text": text}
        except Refused as refusal:
            form.add_error(None, str(refusal))
    fits = looked is None or bool(looked.brought.rows or looked.brought.already)
    return render(request, "guides/handoff/bring.html", context, status=200 if fits and not form.errors else 422)


def _bring(request: MemberRequest, guide: Guide, text: str) -> str:
    """Put a file's marks on a guide; what to say, empty where what was shown is not what would happen."""
    key = key_of(request.path, request.POST.dict())
    many, before = bring_as_shown(
        guide=guide, rows=read_file(text, guide), by=request.user, key=key, shown=request.POST.get("shown", "")
    )
    if before:
        return f"{counted(many, 'mark')} brought in before; nothing was done twice."
    return f"{counted(many, 'mark')} brought in. “Undo” takes them off again, all together." if many else ""


def read_file(text: str, guide: Guide) -> MarkRows:
    """The marks that a file tells of; JSON by its first sign, else CSV."""
    if text.lstrip("\ufeff \t\r\n").startswith(("{", "[")):
        return MarkRows(*read_annotations(text.lstrip("\ufeff"), guide))
    return MarkRows(*read_marks_csv(text, guide.series.roles))
