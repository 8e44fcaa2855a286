"""Answering the codes that were found on a page: the sure ones together, the others one after the other."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial

from django.core.exceptions import ValidationError
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render

from bible.models import Series
from bible.models.permissions import Permission
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.limits import PAINT_READINGS, SHEETS, limited
from bible.web.methods import POST, SAFE
from bible.web.names import counted
from bible.web.whole_numbers import whole_number
from guides.core.once import AtDesk, key_of
from guides.desk.mark_views import SAVED_BEFORE, show_changed
from guides.desk.panel import page_context
from guides.desk.services import do_together
from guides.found.asking import offer_of
from guides.found.cast import say_cast
from guides.found.forms import ASIDE, NO_ANSWER, CodeAnswerForm, PageCastForm, read_sayings, said_keys, shown_keys
from guides.found.services import (
    CodeAnswer,
    look_over,
    read_guide_page,
    say_let_in_right,
    set_aside,
    take_codes,
    take_let_in_back,
)
from guides.found.sheets import as_said
from guides.models import Deed, FoundCode, Guide, Mark

LET_IN_ANSWERS = {"right": (say_let_in_right, "kept"), "back": (take_let_in_back, "taken back")}
"""What may be said of marks that were let in, and the words for what was done."""


def _guide(series: Series, pk: int) -> Guide:
    return get_object_or_404(Guide.objects.select_related("series", "issue", "colourist"), series=series, pk=pk)


def _take(request: MemberRequest, guide: Guide, answers: list[CodeAnswer]) -> str:
    """Take codes as one deed. Returns what was done, in words."""
    deed = partial(take_codes, guide=guide, answers=answers, by=request.user)
    return _take_as_one(request, guide, deed, request.POST.dict())


def _take_as_one(request: MemberRequest, guide: Guide, deed: Callable[[], list[Mark]], posted: dict[str, str]) -> str:
    key = key_of(request.path, posted)
    deeds, again = do_together(guide=guide, by=request.user, key=key, deed=deed, kind=Deed.Kind.TAKE)
    return SAVED_BEFORE if again else f"{counted(len(deeds), 'code')} taken."


@member(Permission.MARK, SAFE)
def found_codes(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """What the page proposes, with the code asked about that somebody chose; without htmx the whole desk. An older
    scan proposes nothing."""
    guide = _guide(series, pk)
    asked = whole_number(request.GET.get("found"))
    if not request.htmx or not guide.stands:
        return redirect(f"{guide.get_absolute_url()}?found={asked}" if asked else guide)
    context = page_context(guide, request.membership, chosen=None, form=None, asked=asked)
    return render(request, "guides/found/_proposed.html", context)


@member(Permission.MARK, POST)
def take_sure(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Take the sure codes of a page, all together: those that were shown, as far as they are still sure."""
    guide, shown = _guide(series, pk), shown_keys(request.POST.get("saying", ""))
    sure = [found_code for found_code in offer_of(guide).sure if found_code.pk in shown]
    try:
        message = _take(request, guide, [CodeAnswer.as_read(found_code) for found_code in sure])
    except Refused as refusal:
        return show_changed(request, guide, None, str(refusal), status=422)
    return show_changed(request, guide, None, message)


@member(Permission.MARK, SAFE)
@limited(SHEETS, "GET")
def sheet_anew(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """The other lines of a sheet as they would stand if some were answered as is said; nothing is answered so."""
    guide, shown = _guide(series, pk), shown_keys(request.GET.get("saying", ""))
    try:
        said = read_sayings(series, request.GET.dict(), shown)
    except ValidationError as wrong:
        return HttpResponse(wrong.messages[0], status=422, content_type="text/plain; charset=utf-8")
    return render(request, "guides/found/_lines.html", {"series": series, "lines": as_said(guide, shown, said)})


@member(Permission.MARK, POST)
def take_likely(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Take the codes that were looked over together as each is answered, but for those that were struck."""
    guide, shown = _guide(series, pk), shown_keys(request.POST.get("saying", ""))
    rows = [row for row in offer_of(guide).waiting if row.pk in shown]
    try:
        if not rows:
            raise Refused("None of the codes that were shown waits any more.")
        right = _said_of(request, guide, rows)
        struck = [row for row in rows if row.pk not in {answer.found.pk for answer in right}]
        deed = partial(look_over, guide=guide, right=right, struck=struck, by=request.user)
        message = _take_as_one(request, guide, deed, request.POST.dict())
    except Refused as refusal:
        return show_changed(request, guide, None, str(refusal), status=422)
    return show_changed(request, guide, None, f"{message} {len(struck)} struck." if struck else message)


def _said_of(request: MemberRequest, guide: Guide, rows: Iterable[FoundCode]) -> list[CodeAnswer]:
    """What is said of each of some codes of a page; ``Refused`` where that is no answer."""
    by_key = {row.pk: row for row in rows}
    for row in by_key.values():
        row.guide = guide
    try:
        said = read_sayings(guide.series, request.POST.dict(), by_key)
    except ValidationError as wrong:
        raise Refused(wrong.messages[0]) from wrong
    return [CodeAnswer.saying(by_key[key], *about) for key, about in said.items()]


@member(Permission.MARK, POST)
def answer_code(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Answer one found code: as offered, at another place, with the codes that go along, or that it is none."""
    found_code = get_object_or_404(FoundCode.objects.select_related("part"), series=series, pk=pk)
    guide = _guide(series, found_code.guide_id)
    found_code.guide = guide
    form = CodeAnswerForm(series, request.POST)
    if not form.is_valid():
        words = str(next(iter(form.errors.get("saying", [])), NO_ANSWER))
        return show_changed(request, guide, None, words, status=422)
    try:
        message = _answer(request, guide, found_code, form)
    except Refused as refusal:
        return show_changed(request, guide, None, str(refusal), status=422)
    return show_changed(request, guide, None, message)


def _answer(request: MemberRequest, guide: Guide, found_code: FoundCode, form: CodeAnswerForm) -> str:
    saying = form.cleaned_data["saying"]
    along = FoundCode.objects.filter(guide=guide, pk__in=said_keys(request.POST)).exclude(pk=found_code.pk)
    if saying == ASIDE:
        desk, beside = AtDesk.of(request, guide), list(along.waiting())
        done = set_aside.once(desk, found_code=found_code, by=request.user, beside=beside)
        return (
            SAVED_BEFORE if done.again else f"Set aside: {counted(1 + len(beside), 'code')} that no mark is made of."
        )
    answer = CodeAnswer.saying(found_code, *saying)
    if form.place:
        answer = replace(answer, x=form.place[0], y=form.place[1])
    others = along.waiting().select_related("part").order_by("number")
    return _take(request, guide, [answer, *_said_of(request, guide, others)])


@member(Permission.MARK, POST)
def page_cast(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Say who is on a page: the codes that wait are asked again by that."""
    guide, form = _guide(series, pk), PageCastForm(series, request.POST)
    if not form.is_valid():
        return show_changed(request, guide, None, "That is nobody of this series’ bible.", status=422)
    subjects = form.cleaned_data["subjects"]
    try:
        say_cast(guide=guide, subjects=subjects, by=request.user)
    except Refused as refusal:
        return show_changed(request, guide, None, str(refusal), status=422)
    names = ", ".join(subject.name for subject in subjects)
    message = f"On this page: {names}." if names else "It is not known who is on this page."
    return show_changed(request, guide, None, f"{message} The codes that wait were asked again.")


@member(Permission.MARK, POST)
def let_in(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Say of the marks of a page that were let in by themselves that they are right, or take them back."""
    guide, saying = _guide(series, pk), request.POST.get("saying")
    if saying not in LET_IN_ANSWERS:
        return show_changed(request, guide, None, "Say whether they are right or to be taken back.", status=422)
    answer, done = LET_IN_ANSWERS[saying]
    try:
        answered = answer(guide=guide, by=request.user)
    except Refused as refusal:
        return show_changed(request, guide, None, str(refusal), status=422)
    return show_changed(request, guide, None, f"{counted(answered, 'mark')} {done}.")


@member(Permission.MARK, POST)
@limited(PAINT_READINGS)
def search_codes(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """Look a page through for codes, now or anew."""
    guide = _guide(series, pk)
    try:
        search = read_guide_page(guide)
    except OSError:
        return show_changed(request, guide, None, "The page's picture cannot be read.", status=422)
    count = len(offer_of(guide).waiting)
    return show_changed(request, guide, None, search.problem or f"{counted(count, 'code')} found.")
