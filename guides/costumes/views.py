"""Choosing the picture that stands beside a costume's codes."""

from __future__ import annotations

from typing import BinaryIO, cast

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render

from bible.models import Costume, Series
from bible.models.permissions import Permission
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.limits import PICTURES, limited
from bible.web.methods import FORM, POST, SAFE
from bible.web.whole_numbers import whole_number
from guides.core.crops import chosen_crop, page_crops
from guides.core.pictures import sharer
from guides.core.views import crop_picture, stored_picture
from guides.costumes.forms import DrawingForm
from guides.costumes.services import bring_drawing_in, choose_again, choose_page, leave_picture
from guides.imaging.intake.rules import IntakeError
from guides.imaging.intake.take_in import take_in
from guides.models import CostumePicture

OFFERED = 24
"""Pages to choose from, the best-marked first: each is decoded to be shown."""

KEPT_SHOWN = 12
"""Of those chosen so far."""


def _costume(series: Series, pk: int) -> Costume:
    return get_object_or_404(Costume.objects.select_related("subject__series"), subject__series=series, pk=pk)


@member(Permission.EDIT_BIBLE, FORM)
@limited(PICTURES)
def picture(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """What a costume is shown in, and what it could be shown in; a drawing that is sent is shown from now on."""
    costume = _costume(series, pk)
    form = DrawingForm(*((request.POST, request.FILES) if request.method == "POST" else ()))
    if form.is_valid():
        try:
            _take_in(request, costume, form)
        except IntakeError as refusal:
            form.add_error("drawing", f"{form.cleaned_data['drawing'].name}: {refusal}{form.asked(refusal)}")
        else:
            return _done(request, costume)
    return _page(request, series, costume, form)


def _take_in(request: MemberRequest, costume: Costume, form: DrawingForm) -> None:
    sent = form.cleaned_data["drawing"]
    file = cast(BinaryIO, sent)
    taken = take_in(file, sent.name, who=sharer(request.user.pk), damaged=form.cleaned_data["damaged"])
    bring_drawing_in(costume=costume, picture=taken, original=file, filename=sent.name, by=request.user)


def _page(
    request: MemberRequest, series: Series, costume: Costume, form: DrawingForm, refusal: str = ""
) -> HttpResponse:
    chosen = CostumePicture.objects.filter(costume=costume).with_pages().standing_first()[:KEPT_SHOWN]
    context = {
        "series": series,
        "costume": costume,
        "form": form,
        "refusal": refusal,
        "chosen": [(choice, chosen_crop(choice)) for choice in chosen],
        "crops": page_crops(costume, OFFERED),
    }
    wrong = form.errors or refusal
    return render(request, "guides/costumes/picture.html", context, status=422 if wrong else 200)


def _done(request: MemberRequest, costume: Costume) -> HttpResponse:
    messages.success(request, "Its picture is another one. The one before is kept and can be chosen again.")
    return redirect("choose-picture", costume.subject.series.slug, costume.pk)


@member(Permission.EDIT_BIBLE, POST)
def from_page(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Show it as it stands on a page where it is marked."""
    costume = _costume(series, pk)
    try:
        choose_page(costume=costume, guide=whole_number(request.POST.get("guide")) or 0, by=request.user)
    except Refused as refusal:
        return _page(request, series, costume, DrawingForm(), str(refusal))
    return _done(request, costume)


@member(Permission.EDIT_BIBLE, POST)
def leave(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Show the best-marked page again, whichever that is."""
    costume = _costume(series, pk)
    leave_picture(costume=costume, by=request.user)
    return _done(request, costume)


@member(Permission.EDIT_BIBLE, POST)
def again(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Show what was chosen before."""
    chosen = get_object_or_404(CostumePicture.objects.with_pages(), series=series, pk=pk)
    choose_again(picture=chosen, by=request.user)
    return _done(request, chosen.costume)


@member(Permission.READ, SAFE)
def page_picture(request: MemberRequest, series: Series, pk: int, guide: int) -> HttpResponseBase:
    """A costume as it stands on one page."""
    return crop_picture(request, next(iter(page_crops(_costume(series, pk), 1, guide)), None))


@member(Permission.READ, SAFE)
def chosen_picture(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """What was chosen, whether it stands or not."""
    chosen = get_object_or_404(CostumePicture.objects.with_pages(), series=series, pk=pk)
    return crop_picture(request, chosen_crop(chosen))


@member(Permission.READ, SAFE)
def drawing(request: MemberRequest, series: Series, pk: int, kind: str) -> HttpResponseBase:
    """A model drawing, to members only, by the rules of the guides' pictures."""
    chosen = get_object_or_404(CostumePicture, series=series, pk=pk)
    return stored_picture(
        request, {"original": chosen.original, "screen": chosen.screen, "thumb": chosen.thumb}[kind]
    )
