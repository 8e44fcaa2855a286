"""Tokens with which other programs read a series: each person makes and withdraws their own."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from bible.access import EVERYBODY, MemberRequest, member
from bible.forms.people import ReadTokenForm
from bible.limits import TOKENS, limited
from bible.lists import tokens_table
from bible.models import Series
from bible.services import Refused, make_read_token, withdraw_read_token
from bible.tables_out import answer, wanted


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@member(*EVERYBODY)
@limited(TOKENS)
def tokens(request: MemberRequest, series: Series) -> HttpResponseBase:
    """One's own tokens. A new one is shown this once, on the page and in no file: only its hash is kept."""
    if wanted(request) and request.method != "POST":
        return answer(request, series, tokens_table(series, request.membership.read_tokens.all()))
    form = ReadTokenForm(request.POST if request.method == "POST" else None)
    context: dict[str, object] = {"series": series, "form": form}
    if form.is_valid():
        try:
            made, token = make_read_token(membership=request.membership, name=form.cleaned_data["name"])
            context |= {"made": made, "token": token, "form": ReadTokenForm()}
        except Refused as refusal:
            form.add_error(None, str(refusal))
    context["tokens"] = request.membership.read_tokens.all()
    return render(request, "bible/tokens.html", context, status=422 if form.errors else 200)


@require_POST
@member(*EVERYBODY)
def withdraw(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    withdraw_read_token(token=get_object_or_404(request.membership.read_tokens, pk=pk))
    messages.success(request, "The token opens nothing any more.")
    return redirect("tokens", series.slug)
