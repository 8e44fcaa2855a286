"""The addresses. Each answers only for the series that its token belongs to; any other one does not exist."""

from __future__ import annotations

from typing import Annotated, Any

from django.http import Http404, HttpRequest
from ninja import NinjaAPI, Path, Query
from ninja.errors import HttpError

from bible.locks.queries import FoundPart, look_up
from bible.models import Edition, Membership, Part, Series
from bible.models.permissions import Permission
from bible.scenes.queries import lights
from bible.series.presses import condition
from bible.series.running_order import AsOf, RunningOrder
from guides.api.answers import assignment_shape, chart_shapes, issue_shape, mark_shape, part_shapes, scene_shape
from guides.api.changing_shapes import MarkPage
from guides.api.shapes import (
    AssignmentList,
    ChartList,
    IssueList,
    PartPage,
    Problem,
    SceneList,
    SeriesShape,
    WrongValues,
)
from guides.api.tokens import TokenAuth
from guides.assignments.queries import waiting
from guides.core.in_editions import held_against, marks_in, open_in, with_needed
from guides.core.keysets import page_of_marks, read_keyset
from guides.models import MarkQuerySet

api = NinjaAPI(
    title="Series colour bible",
    version="1.2.0",
    description=(
        "A token is made on the People page of a series and is good for that series; it reads, and where its owner"
        " has said so it brings marks and proofs in and proposes codes, in their name. Printed"
        " colours are predictions: a screen is not a proof."
    ),
    auth=TokenAuth(),
    docs_url=None,
    urls_namespace="api",
)

Slug = Annotated[str, Path(max_length=60, pattern="^[-a-zA-Z0-9_]+$", description="Short name of the series.")]
IssueNumber = Annotated[str, Query(max_length=30, description="Number of an issue as printed; empty: the latest.")]
EditionName = Annotated[str, Query(max_length=80, description="Name of an edition; empty: the first printing.")]
Words = Annotated[str, Query(max_length=80, description="Each fits a name, a code or a colour. Best first.")]
After = Annotated[str, Query(max_length=60, description="`next` of the page before.")]
Limit = Annotated[int, Query(ge=1, le=500)]

REFUSALS: dict[int, Any] = {401: Problem, 404: Problem, 422: WrongValues}


def series_of(request: HttpRequest, slug: str) -> Series:
    membership: Membership = request.auth  # type: ignore[attr-defined]
    if membership.series.slug != slug:
        raise Http404("No such series.")
    return membership.series


def edition_of(series: Series, name: str) -> Edition | None:
    name = name.replace("\0", "").strip()
    edition = series.editions.filter(name__iexact=name).first() if name else None
    if name and edition is None:
        raise Http404("No such edition.")
    return edition


def as_of(series: Series, number: str, edition: str = "") -> AsOf:
    moment = AsOf.of(series, number, edition_of(series, edition))
    if moment.unknown:
        raise Http404("No such issue.")
    return moment


@api.get("/series/{slug}", response={200: SeriesShape} | REFUSALS, operation_id="series", summary="The series")
def series(request: HttpRequest, slug: Slug) -> Any:
    series = series_of(request, slug)
    return {
        "title": series.title,
        "short_name": series.slug,
        "chart": series.chart_kind,
        "press": condition(series).title,
        "roles": [
            {name: getattr(role, name) for name in ("key", "name", "sign", "archived")} for role in series.roles
        ],
    }


@api.get("/series/{slug}/chart", response={200: ChartList} | REFUSALS, operation_id="chart", summary="Its chart")
def chart(request: HttpRequest, slug: Slug) -> Any:
    series = series_of(request, slug)
    press = condition(series)
    return {"press": press.title, "items": chart_shapes(series, press)}


@api.get(
    "/series/{slug}/issues",
    response={200: IssueList} | REFUSALS,
    operation_id="issues",
    summary="Its issues in order",
)
def issues(request: HttpRequest, slug: Slug) -> Any:
    series = series_of(request, slug)
    return {"items": [issue_shape(issue) for issue in series.issues.active().in_order()]}


@api.get(
    "/series/{slug}/parts",
    response={200: PartPage} | REFUSALS,
    operation_id="parts",
    summary="Its parts with the locks in force at an issue",
)
def parts(
    request: HttpRequest,
    slug: Slug,
    issue: IssueNumber = "",
    edition: EditionName = "",
    after: After = "",
    limit: Limit = 200,
) -> Any:
    """With an edition the codes that it needs: its own, and where it has none, the first printing's."""
    series = series_of(request, slug)
    return part_page(series, as_of(series, issue, edition), after, limit)


def part_page(series: Series, moment: AsOf, after: str, limit: int) -> dict[str, Any]:
    named, order = Part.objects.of_series(series).select_related("costume__subject"), RunningOrder.of(series)
    rows = named.with_locks(moment.position, series.roles, moment.edition).with_times().order_by("pk")
    shown = list(rows.filter(pk__gt=key(after, 1)[0])[: limit + 1])
    page = [
        FoundPart(part, tuple(part.locks_in_force), part.costume.in_use_at(moment.position))  # type: ignore[attr-defined]
        for part in shown[:limit]
    ]
    return {
        "items": part_shapes(series, page, order),
        "next": str(page[-1].part.pk) if len(shown) > limit else None,
        "issue": moment.number or None,
    }


@api.get(
    "/series/{slug}/look-up", response={200: PartPage} | REFUSALS, operation_id="lookUp", summary="Look a code up"
)
def lookup(request: HttpRequest, slug: Slug, words: Words, issue: IssueNumber = "", edition: EditionName = "") -> Any:
    series = series_of(request, slug)
    moment, order = as_of(series, issue, edition), RunningOrder.of(series)
    parts = look_up(series, words, moment.position, edition=moment.edition)
    return {"items": part_shapes(series, parts, order), "next": None, "issue": moment.number or None}


@api.get(
    "/series/{slug}/scenes",
    response={200: SceneList} | REFUSALS,
    operation_id="scenes",
    summary="Its scenes: rules that shift tints on purpose, and what they fall on",
)
def scenes(request: HttpRequest, slug: Slug) -> Any:
    series = series_of(request, slug)
    return {"items": [scene_shape(light) for light in lights(series, series.scenes.active())]}


@api.get(
    "/series/{slug}/flags",
    response={200: MarkPage} | REFUSALS,
    operation_id="flags",
    summary="Open flags, in running order",
)
def flags(
    request: HttpRequest,
    slug: Slug,
    issue: IssueNumber = "",
    edition: EditionName = "",
    after: After = "",
    limit: Limit = 200,
) -> Any:
    """With an edition those that are flags in it too: what is written is neither what the first printing needs nor
    what the edition does."""
    series = series_of(request, slug)
    printing = edition_of(series, edition)
    return mark_page(series, open_in(marks_in(series, printing), printing), issue, printing, after, limit)


@api.get(
    "/series/{slug}/assignments",
    response={200: AssignmentList} | REFUSALS | {403: Problem},
    operation_id="assignments",
    summary="Pages given to colourists, in the issues in work",
)
def assignments(request: HttpRequest, slug: Slug, issue: IssueNumber = "") -> Any:
    """The crew's own: a guest reader's token is refused."""
    series = series_of(request, slug)
    if not request.auth.may(Permission.DISCUSS):  # type: ignore[attr-defined]
        raise HttpError(403, "Guest readers do not read who does which page.")
    wanted = as_of(series, issue).issue if issue else None
    rows = [given for given in waiting(series) if wanted is None or given.assignment.issue == wanted]
    return {"items": [assignment_shape(given) for given in rows]}


def mark_page(
    series: Series, marks: MarkQuerySet, issue: str, edition: Edition | None, after: str, limit: int
) -> dict[str, Any]:
    if issue and (chosen := as_of(series, issue).issue):
        marks = marks.filter(position=chosen.position)
    marks = (with_needed(marks, edition) if edition else marks).select_related("scene", "created_by", "changed_by")
    shown, more = page_of_marks(marks, key(after, 3), limit)
    printed = held_against(shown) if edition else {}
    return {"items": [mark_shape(series, mark, printed.get(mark.pk)) for mark in shown], "next": more or None}


def key(text: str, length: int) -> tuple[int, ...]:
    """The keyset that ``next`` carries; from the beginning where there is none.

    Raises:
        Http404: a text that no page ever gave.
    """
    if not text:
        return (0,) * length
    if (keyset := read_keyset(text, length)) is None:
        raise Http404("No page begins there: take `next` as it was given.")
    return keyset
