"""The flag list."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bible.access import EVERYBODY, MemberRequest, member
from bible.models import Series
from bible.presses import condition
from bible.tables_out import answer, wanted
from guides.flag_choice import choose
from guides.flags import flags_of
from guides.forms import FlagFilterForm
from guides.keysets import page_of_marks, read_keyset
from guides.lists import flags_table, waivers_table
from guides.models import Mark

FLAGS_A_PAGE = 50


@require_safe
@member(*EVERYBODY)
def flags(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Open flags in running order, filtered; each leads straight to its mark."""
    form = FlagFilterForm(series, request.GET)
    press = condition(series)
    chosen = choose(series, form, press)
    if wanted(request) and form.is_valid():
        with_reasons = request.GET.get("list") == "waivers"
        table = waivers_table(series, chosen) if with_reasons else flags_table(series, chosen, press)
        return answer(request, series, table)
    begins = read_keyset(request.GET.get("after", ""), 3) or (0, 0, 0)
    shown, more = page_of_marks(chosen.with_notes(request.membership), begins, FLAGS_A_PAGE)
    asked = {name: value for name in form.fields if (value := request.GET.get(name))}
    context = {
        "series": series,
        "form": form,
        "flags": flags_of(shown, press),
        "total": chosen.count(),
        "waived_total": Mark.objects.filter(series=series).waived().count(),
        "run": urlencode(asked) if asked and "standing" not in asked else "",
        "more": urlencode(asked | {"after": more}) if more else "",
        "filtered": bool(asked),
        "marked": Mark.objects.filter(series=series).live().exists(),
    }
    template = "guides/_flags.html" if request.htmx.target == "flags" else "guides/flags.html"
    return render(request, template, context, status=422 if form.errors else 200)
