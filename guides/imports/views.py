"""Tables that come in: the file, what would become of its rows, and the yes."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from bible.models import Series
from bible.models.permissions import Permission
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.limits import TABLES, limited
from bible.web.methods import FORM, POST
from bible.web.names import counted
from guides.core.confirm import carry_out
from guides.core.impact import rehearse
from guides.imports.fates import State
from guides.imports.forms import ColumnsForm, TableForm, asked_columns
from guides.imports.opening import FIELDS, Opened
from guides.imports.questions import NO_ANSWERS, Answers, answers_of
from guides.imports.services import TableMoved, Trial, keep, open_for, take_kept, try_out
from guides.imports.undoing import undo_table, why_not_undone
from guides.imports.workbooks import UnreadableTable
from guides.models import BroughtTable

Kind = BroughtTable.Kind
FATES_SHOWN = 100
"""Rows listed of each state; the counts are of all."""
TAKEN_SHOWN = 5

ROOMS = {
    Kind.BIBLE: ("bible", "bible"),
    Kind.MARKS: ("issues", "issues"),
    Kind.ISSUES: ("issues", "issues"),
    Kind.SCENES: ("scenes", "scenes"),
    Kind.WAIVERS: ("flags", "flags"),
    Kind.ASSIGNMENTS: ("assignments", "pages given"),
}
"""Where one goes once the rows are in, and what that is called."""

NAME_COLUMNS = {Kind.BIBLE: ("Subject", "Costume", "Part", "Role")}
"""What a row of a kind speaks of, each in a column of its own."""

STARTS = {kind: f"bring-{kind}" for kind in Kind} | {Kind.MARKS: "bring-marks-table"}
"""Where the next table is brought in."""

MAY_BRING = {
    Kind.BIBLE: Permission.LOCK,
    Kind.MARKS: Permission.MARK,
    Kind.ISSUES: Permission.KEEP_ISSUES,
    Kind.SCENES: Permission.SET_SCENES,
    Kind.WAIVERS: Permission.WAIVE,
    Kind.ASSIGNMENTS: Permission.ASSIGN,
}
"""Who brings a table of a kind in, and takes it back."""

View = Callable[..., HttpResponseBase]


def file_view(kind: Kind) -> View:
    """Where a table of a kind is chosen."""

    @member(MAY_BRING[kind], FORM)
    @limited(TABLES)
    def chosen(request: MemberRequest, series: Series) -> HttpResponse:
        return _file(request, series, kind)

    return chosen


def rows_view(kind: Kind) -> View:
    """Where it is looked at, and taken."""

    @member(MAY_BRING[kind], FORM)
    @limited(TABLES, "GET", "POST")
    def looked_at(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
        return _rows(request, series, kind, pk)

    return looked_at


def undo_view(kind: Kind) -> View:
    """Where it is taken back."""

    @member(MAY_BRING[kind], POST)
    def undone(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
        return _undo(request, series, kind, pk)

    return undone


def _file(request: MemberRequest, series: Series, kind: Kind) -> HttpResponse:
    """Choose a file; it is kept, and looked at on a page of its own."""
    form = TableForm(request.POST, request.FILES) if request.method == "POST" else TableForm()
    if form.is_valid():
        data, name = form.table
        try:
            return redirect(keep(series=series, kind=kind, data=data, filename=name, by=request.user))
        except UnreadableTable as error:
            form.add_error("pasted" if form.cleaned_data["pasted"].strip() else "file", str(error))
    context = {
        "series": series,
        "kind": kind,
        "form": form,
        "fields": FIELDS[kind],
        "sample": f"guides/imports/samples/{kind}.csv",
        "room": reverse(ROOMS[kind][0], args=[series.slug]),
        "taken": series.brought_tables.taken().filter(kind=kind).select_related("brought_by", "series")[:TAKEN_SHOWN],
    }
    return render(request, "guides/imports/bring_table.html", context, status=422 if form.errors else 200)


def _open_kept(table: BroughtTable, answers: Answers) -> tuple[Opened, Answers, dict[str, str]]:
    """A kept table, with the answers it was opened with; where it is none so answered, as it was brought, with the
    refusal for the page."""
    open_so = partial(open_for, table.series, table.kind, bytes(table.data or b""), table.filename)
    try:
        return open_so(answers), answers, {}
    except UnreadableTable as error:
        return open_so(NO_ANSWERS), NO_ANSWERS, {"refusal": str(error)}


def _rows(request: MemberRequest, series: Series, kind: Kind, pk: int) -> HttpResponse:
    """Which column says what, and what would become of every row; taken on a yes to exactly that."""
    tables = series.brought_tables.select_related("brought_by", "undone_by", "series")
    table = get_object_or_404(tables, pk=pk, kind=kind)
    if table.data is None:
        return _brought(request, table, kind)
    opened, answers, refusal = _open_kept(table, answers_of(request.POST))
    data, settled = asked_columns(kind, opened, request.POST if request.method == "POST" else None)
    form = ColumnsForm(series, kind, opened, data if settled else None, initial=None if settled else data)
    context = _opened(table, opened, form) | refusal
    if form.is_valid():
        if "yes" in request.POST and not refusal:
            try:
                return _take(request, table, form, answers)
            except (TableMoved, Refused) as error:
                context["refusal"] = str(error)
        context |= _tried(request, series, kind, opened, form, answers) | {"looked": "look" in request.POST}
    status = 422 if request.method == "POST" and (form.errors or "refusal" in context) else 200
    return render(request, "guides/imports/bring_rows.html", context, status=status)


def _opened(table: BroughtTable, opened: Opened, form: ColumnsForm) -> dict[str, object]:
    return {"series": table.series, "table": table, "opened": opened, "form": form, "questions": opened.questions}


def _take(request: MemberRequest, table: BroughtTable, form: ColumnsForm, answers: Answers) -> HttpResponse:
    fates = take_kept(
        table=table,
        columns=form.columns,
        by=request.user,
        token=form.cleaned_data["shown"],
        changes_from=form.changes_from,
        answers=answers,
    )
    messages.success(request, f"{counted(fates.taken, 'row')} taken.")
    return redirect(table)


def _brought(request: MemberRequest, table: BroughtTable, kind: Kind, **more: object) -> HttpResponse:
    """What a table brought in, and the way back from that."""
    series = table.series
    context: dict[str, object] = {
        "series": series,
        "table": table,
        "kind": kind,
        "room": reverse(ROOMS[kind][0], args=[series.slug]),
        "room_words": ROOMS[kind][1],
        "again": reverse(STARTS[kind], args=[series.slug]),
        "undo": "" if why_not_undone(table) else reverse(f"undo-{kind}-table", args=[series.slug, table.pk]),
    }
    return render(request, "guides/imports/brought_table.html", context | more, status=422 if more else 200)


def _undo(request: MemberRequest, series: Series, kind: Kind, pk: int) -> HttpResponse:
    """Take a whole table back, once it has been seen what that does."""
    table = get_object_or_404(
        series.brought_tables.select_related("brought_by", "undone_by", "series"), pk=pk, kind=kind
    )
    if not table.taken_at:
        messages.error(request, why_not_undone(table))
        return redirect(table)
    deed = partial(undo_table, table=table, by=request.user)
    try:
        shown = carry_out(
            request, lambda: rehearse(series, deed), deed, hold=lambda: hold_series(series.pk), always=True
        )
    except Refused as refusal:
        return _brought(request, table, kind, refusal=str(refusal))
    if shown:
        return _brought(request, table, kind, shown=shown)
    messages.success(request, f"What {table.filename} brought in is taken back.")
    return redirect(table)


def _tried(
    request: MemberRequest, series: Series, kind: Kind, opened: Opened, form: ColumnsForm, answers: Answers
) -> dict[str, object]:
    names = NAME_COLUMNS.get(kind, ())
    trial: Trial = try_out(series, kind, opened, form.columns, request.user, form.changes_from, answers)
    return {
        "fates": trial.fates,
        "impact": trial.impact,
        "questions": trial.fates.questions,
        "name_columns": names,
        "issues": series.issues.suggested() if kind == Kind.BIBLE else (),
        "groups": [
            (
                state,
                trial.fates.count(state),
                [(fate, fate.cells(len(names))) for fate in trial.fates.in_state(state)[:FATES_SHOWN]],
            )
            for state in (State.WRONG, State.CHANGED, State.ADDED, State.SAME)
        ],
    }
