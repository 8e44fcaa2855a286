"""The list of a person's series, and starting one."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from bible.access import SignedInRequest, anybody
from bible.forms import SeriesForm
from bible.models import Series
from bible.services import start_series


@require_safe
@anybody
def home(request: SignedInRequest) -> HttpResponse:
    """All series this person belongs to; with a single one, that one."""
    mine = Series.objects.visible_to(request.user)
    if len(mine) == 1 and "all" not in request.GET:
        return redirect(mine[0])
    return render(request, "bible/home.html", {"all_series": mine})


@require_http_methods(["GET", "HEAD", "POST"])
@anybody
def new_series(request: SignedInRequest) -> HttpResponse:
    form = SeriesForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        return redirect(start_series(series=form.save(commit=False), lead=request.user))
    context = {"form": form, "title": "Start a series", "save": "Start it"}
    return render(request, "bible/form.html", context, status=422 if form.errors else 200)
