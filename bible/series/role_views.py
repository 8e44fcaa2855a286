"""The roles of a series and the kinds of its subjects: looked at by all, changed by whoever sets the series up."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import redirect, render

from bible.models import Lock, Series
from bible.models.permissions import Permission
from bible.series.edits import StaleEdit, save_edit
from bible.series.role_forms import COMPARED, OwnListsForm
from bible.web.access import MemberRequest, member
from bible.web.methods import FORM, SAFE


@member(Permission.READ, SAFE)
def roles(request: MemberRequest, series: Series) -> HttpResponse:
    """Both lists, with how many parts and subjects each entry is used for."""
    standing = Lock.every_printing.filter(series=series).standing().order_by()
    parts = dict(standing.values_list("role").annotate(n=Count("part", distinct=True)))
    subjects = dict(series.subjects.order_by().values_list("kind").annotate(n=Count("pk")))
    context = {
        "series": series,
        "rows": [
            (role, parts.get(role.key, 0), [series.kinds.name(kind) for kind in role.kinds]) for role in series.roles
        ],
        "kinds": [(kind, subjects.get(kind.key, 0)) for kind in series.kinds],
    }
    return render(request, "bible/series/roles.html", context)


@member(Permission.SET_UP, FORM)
def edit_roles(request: MemberRequest, series: Series) -> HttpResponse:
    form = OwnListsForm(series, request.POST or None)
    if request.method == "POST" and form.is_valid():
        stored = Series.objects.get(pk=series.pk)
        stored.roles_data, stored.kinds_data = (form.edit[name] for name in COMPARED)
        try:
            save_edit(row=stored, fields=COMPARED, seen=form.cleaned_data["seen"], by=request.user)
            messages.success(request, "Saved.")
            return redirect("roles", series.slug)
        except StaleEdit as stale:
            form.show(stale)
    wrong = request.method == "POST"
    context = {"series": series, "form": form}
    return render(request, "bible/series/edit_roles.html", context, status=422 if wrong else 200)
