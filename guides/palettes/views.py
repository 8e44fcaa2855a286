"""The palette room: which issues use which tints, compared, nearest, and where an old look is still about."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.http import HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.exports.tables import Cell, Table, answer, wanted
from bible.models import Issue, Part, Series
from bible.models.permissions import Permission
from bible.series.presses import condition
from bible.series.running_order import AsOf, RunningOrder
from bible.web.access import MemberRequest, member
from bible.web.methods import SAFE
from bible.web.names import names_of
from guides.core.forms import PartField
from guides.core.runs import EVERY_ISSUE
from guides.palettes import files, statistics
from guides.palettes import queries as choice
from guides.palettes.drawing import bands, table
from guides.palettes.exports import carrying_table
from guides.palettes.formats import PALETTE_FORMATS, PaletteFormat
from guides.palettes.forms import CompareForm, NearForm, PaletteForm
from guides.palettes.looks import PartLook, looks
from guides.palettes.swatch_files import NamedPalette

NEAREST_SHOWN = 12
MARKS_A_PAGE = 70


@member(Permission.READ, SAFE)
def room(request: MemberRequest, series: Series) -> HttpResponseBase:
    """The matrix of what was asked for, with its figures."""
    form = PaletteForm(series, request.GET, edition=request.edition)
    press = form.press
    matrix = choice.matrix(form)
    people = names_of(matrix.people)
    if _as(request, form):
        return _file(request, files.palette_sheet(series, matrix, press, people, form.run_said))
    query = _carried(request, form)
    counts = (matrix.people, matrix.by_person.sum(axis=1))
    context = {
        "form": form,
        "run": form.run_said,
        "matrix": matrix,
        "unreadable": int(matrix.unreadable.sum()),
        "figures": statistics.figures(matrix.palette, press),
        "table": table(series, matrix, press, form.asked("columns") or "", query, people),
        "people": [(people.get(key, "nobody named"), int(count)) for key, count in zip(*counts, strict=True)],
    }
    return _answer(request, series, "palette", context, form)


@member(Permission.READ, SAFE)
def palette_file(request: MemberRequest, series: Series, palette_format: PaletteFormat) -> HttpResponse:
    """The palette that was asked for, for other programs: as ink, as screen colours, as a picture."""
    asked = PaletteForm(series, request.GET, edition=request.edition)
    if not asked.is_valid():
        return redirect(f"{reverse('palette', args=[series.slug])}?{request.GET.urlencode()}")
    named = tuple((series.write(tint), tint) for tint in sorted(choice.matrix(asked).tints))
    palette = NamedPalette(f"{series.title}, {asked.run_said}", named, asked.press, timezone.now())
    name = f"{series.slug}-palette.{palette_format.ending}"
    return _attached(palette_format.write(palette), palette_format.content_type, name)


@member(Permission.READ, SAFE)
def compare(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Two issues or runs: what was added, dropped, shifted. Asked for none, the latest two that have marks."""
    latest = choice.latest_marked(series, 2) if _said(request) is None else []
    first = {"before": latest[1], "after": latest[0]} if len(latest) == 2 else None
    form = CompareForm(series, _said(request) or first, edition=request.edition)
    press = form.press
    context: dict[str, Any] = {"form": form}
    if form.is_valid():
        runs = form.cleaned_data["before"], form.cleaned_data["after"]
        before, after = (choice.matrix(form, run).palette for run in runs)
        compared = statistics.compare(before, after)
        distance = statistics.palette_distance(before, after, press)
        if _as(request, form):
            facts = {"before": str(runs[0]), "after": str(runs[1]), "distance_ciede2000": distance}
            return _file(request, files.comparison_sheet(series, compared, press, **facts))
        context |= _compared(runs, (before, after), compared, press) | {"distance": distance}
    return _answer(request, series, "palette_compare", context, form)


def _compared(runs: Any, palettes: Any, compared: statistics.Comparison, press: PressCondition) -> dict[str, Any]:
    """What the page shows of two palettes: their figures, both as bands, and what only one of them has."""
    before, after = palettes
    figures = [statistics.figures(palette, press) for palette in palettes]
    return {
        "compared": compared,
        "sides": list(zip(runs, figures, strict=True)),
        "differences": statistics.differences(*figures),
        "bands": bands(before, after, press),
        "moved": [
            ("Dropped", "nearest that is used now", statistics.beside(compared.went, after, press)),
            ("Added", "nearest that was used before", statistics.beside(compared.came, before, press)),
        ],
    }


@member(Permission.READ, SAFE)
def near(request: MemberRequest, series: Series) -> HttpResponseBase:
    """The issues whose palettes are nearest to that of an issue or a run."""
    latest = choice.latest_marked(series, 1) if _said(request) is None else []
    form = NearForm(series, _said(request) or ({"issues": latest[0]} if latest else None), edition=request.edition)
    press = form.press
    context: dict[str, Any] = {"form": form}
    if form.is_valid():
        run = form.run
        matrix = choice.matrix(form, EVERY_ISSUE)
        inside = [run.holds(issue) for issue in matrix.issues]
        target = matrix.palette_of_places(inside)
        issues, counts = matrix.without_places(inside)
        ranked = statistics.nearest(target, matrix.tints, counts, press, NEAREST_SHOWN)
        rows = [(issues[at], distance, _used(matrix.tints, counts[at])) for at, distance in ranked]
        if _as(request, form):
            facts = files.about(series, press, run=str(run), distance="earth mover's, CIEDE2000")
            lines = [(issue.number, round(distance, 3), len(palette)) for issue, distance, palette in rows]
            return _file(request, Table("nearest", ("issue", "distance_ciede2000", "tints"), lines, facts))
        context |= {"run": run, "rows": rows, "is_empty": not target, "own": sorted(target, key=lambda t: -target[t])}
    return _answer(request, series, "palette_near", context, form)


@member(Permission.READ, SAFE)
def tint_uses(request: MemberRequest, series: Series, tint: Tint) -> HttpResponseBase:
    """Which issues use a tint, and the marks that carry it."""
    form = PaletteForm(series, request.GET, edition=request.edition)
    marks = choice.chosen_marks(form)
    if _as(request, form) and request.GET.get("list") == "marks":
        return _file(request, carrying_table(series, choice.carrying(marks, tint.packed), tint))
    rows = choice.matrix(form).uses_of(tint)
    if _as(request, form):
        return _file(request, _uses_sheet(series, form, tint, rows))
    total = sum(number for _, number in rows)
    context = {
        "form": form,
        "run": form.run_said,
        "tint": tint,
        "rows": rows,
        "total": total,
        "marks": choice.first_carrying(marks.with_names(), tint.packed, rows, MARKS_A_PAGE),
        "more": total > MARKS_A_PAGE,
    }
    return _answer(request, series, "palette_tint", context, form)


def _uses_sheet(series: Series, form: PaletteForm, tint: Tint, rows: Sequence[tuple[Issue, int]]) -> Table:
    facts = files.about(series, form.press, run=form.run_said, code=series.write(tint))
    return Table("uses", ("issue", "marks"), [(issue.number, n) for issue, n in rows], facts)


def _part_asked(series: Series, asked: str) -> tuple[list[Part], str]:
    """The part that was named, none without a name; and why there is none where it cannot be told."""
    try:
        return ([PartField(series, AsOf.at(series).position).clean(asked)] if asked else []), ""
    except ValidationError as refusal:
        return [], " ".join(refusal.messages)


@member(Permission.READ, SAFE)
def old_looks(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Which issues use the old coat: every look of a part, and who carries it outside its time. Asked for none, of
    the part whose code has changed the most."""
    asked = (request.GET["part"] if "part" in request.GET else choice.most_changed(series)).replace("\0", "")
    parts, error = _part_asked(series, asked)
    part_looks = looks(RunningOrder.of(series), series.roles, parts)
    press = condition(series)
    if wanted(request) and not error:
        return _file(request, _looks_sheet(series, part_looks, files.about(series, press, part=asked)))
    context = {
        "series": series,
        "asked": asked,
        "error": error,
        "part": parts[0] if parts else None,
        "looks": part_looks,
        "parts": Part.objects.of_series(series).with_names(),
        "downloads": urlencode({"part": asked}),
    }
    return render(request, "guides/palettes/palette_old.html", context, status=422 if error else 200)


def _used(tints: Sequence[Tint], uses: Any) -> list[Tint]:
    """The tints that are used, the most used first."""
    counted = [(number, tint) for tint, number in zip(tints, uses.tolist(), strict=True) if number]
    return [tint for _, tint in sorted(counted, key=lambda pair: -pair[0])]


def _looks_sheet(series: Series, part_looks: list[PartLook], facts: dict[str, Any]) -> Table:
    """A row for every look and issue that carries it; a look that no mark carries has one row without an issue."""

    def uses(look: PartLook) -> list[tuple[Cell, ...]]:
        within = [(issue.number, n, "within its time") for issue, n in look.within]
        return [*within, *((issue.number, n, "outside its time") for issue, n in look.outside)] or [(None, 0, None)]

    rows = [
        (look.part.full_name, series.roles.name(look.role), series.write(look.tint), "; ".join(look.spans), *used)
        for look in part_looks
        for used in uses(look)
    ]
    return Table("looks", ("part", "role", "code", "locked", "issue", "marks", "where"), rows, facts)


def _said(request: MemberRequest) -> QueryDict | None:
    """What a form was asked, or None where nothing was: the printing is no question to it."""
    query = request.GET.copy()
    query.pop("edition", None)
    return query or None


def _as(request: MemberRequest, form: Any) -> bool:
    return bool(wanted(request)) and form.is_valid()


def _file(request: MemberRequest, table: Table) -> HttpResponseBase:
    return answer(request, request.membership.series, table)


def _attached(body: bytes, content_type: str, name: str) -> HttpResponse:
    return HttpResponse(
        body, content_type=content_type, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


def _carried(request: MemberRequest, form: Any) -> dict[str, list[str]]:
    """What was asked, without what was left empty: for links that ask the same."""
    names = [*form.fields, *(["edition"] if request.edition else [])]
    return {name: values for name in names if (values := [v for v in request.GET.getlist(name) if v])}


def _answer(request: MemberRequest, series: Series, name: str, context: dict[str, Any], form: Any) -> HttpResponse:
    context |= {
        "formats": PALETTE_FORMATS.values(),
        "series": series,
        "downloads": urlencode(_carried(request, form), doseq=True),
    }
    template = f"guides/palettes/{'_' if request.htmx.target == 'palette' else ''}{name}.html"
    return render(request, template, context, status=422 if form.is_bound and form.errors else 200)
