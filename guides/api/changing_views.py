"""Addresses of what grows, whole or since a moment. Nothing of it is ever deleted: what holds no more says so."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any

from django.db.models import QuerySet
from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from ninja import Path, Query
from ninja.errors import HttpError
from pydantic import AfterValidator, AwareDatetime, BeforeValidator, WithJsonSchema

from bible.activity.queries import read_key, write_key
from bible.models import Activity, Lock, Membership
from bible.models.permissions import Permission
from bible.series.presses import condition
from bible.series.running_order import RunningOrder
from guides.api.changing_answers import (
    decided_shape,
    edition_shape,
    happened_shape,
    proof_read,
    proof_shape,
    proposal_shape,
    step_content,
    step_shape,
)
from guides.api.changing_shapes import (
    AskedPage,
    DecidedPage,
    EditionList,
    HappenedPage,
    MarkPage,
    ProofPage,
    ProofRead,
    StepContent,
    StepPage,
)
from guides.api.shapes import Problem
from guides.api.views import (
    REFUSALS,
    After,
    EditionName,
    IssueNumber,
    Limit,
    Slug,
    api,
    as_of,
    edition_of,
    key,
    mark_page,
    series_of,
)
from guides.core.in_editions import marks_in
from guides.models import IssueStep, Proof

STILL_WRITTEN = dt.timedelta(minutes=2)
"""Rows are dated while a deed is done and seen when it ends. A web server of ours gives a request up after one minute
(``--timeout`` in ``.deploy``)."""

RFC_3339 = r"^(19|20)\d\d-\d\d-\d\d[Tt]\d\d:\d\d:\d\d(\.\d{1,9})?([Zz]|[+-]\d\d:\d\d)$"


def _a_moment_in_words(value: Any) -> Any:
    """A number is no moment here, though a computer may count seconds."""
    if isinstance(value, str) and "-" not in value:
        raise ValueError("a moment as RFC 3339 writes it, such as 2031-04-01T12:00:00Z")
    return value


def _in_utc(value: dt.datetime) -> dt.datetime:
    """The same moment without its offset: PostgreSQL knows none of 16 hours and more, RFC 3339 does."""
    try:
        return value.astimezone(dt.UTC)
    except OverflowError as error:
        raise ValueError("a moment between the years 1 and 9999") from error


Since = Annotated[
    Annotated[AwareDatetime, BeforeValidator(_a_moment_in_words), AfterValidator(_in_utc), WithJsonSchema(
        {"type": "string", "format": "date-time", "pattern": RFC_3339}
    )] | None,
    Query(description="Only what was written since this moment (RFC 3339), what holds no more among it."),
]  # fmt: skip
Id = Annotated[int, Path(ge=1, le=2**53)]
NOT_THE_CREW: dict[int, Any] = {403: Problem}


def next_moment(since: dt.datetime | None) -> dt.datetime | None:
    return timezone.now() - STILL_WRITTEN if since else None


def page_by_key(rows: QuerySet[Any], after: str, limit: int) -> tuple[list[Any], str | None]:
    """Rows in the order of their keys, and where the next page begins."""
    shown = list(rows.filter(pk__gt=key(after, 1)[0]).order_by("pk")[: limit + 1])
    return shown[:limit], str(shown[limit - 1].pk) if len(shown) > limit else None


def crew_only(request: HttpRequest, what: str) -> None:
    membership: Membership = request.auth  # type: ignore[attr-defined]
    if not membership.may(Permission.DISCUSS):
        raise HttpError(403, f"Guest readers do not read {what}.")


@api.get(
    "/series/{slug}/marks",
    response={200: MarkPage} | REFUSALS,
    operation_id="marks",
    summary="Marks on current page guides, in running order",
)
def marks(
    request: HttpRequest,
    slug: Slug,
    issue: IssueNumber = "",
    edition: EditionName = "",
    since: Since = None,
    after: After = "",
    limit: Limit = 200,
) -> Any:
    """Of one issue, or of all of them; with an edition of those that it collects, held against the codes it needs.

    With `since` those that were made, changed or carried to another part since then, and those that count no more
    since then: `gone` says why. What is expected of a mark follows locks, scenes and the running order, so `expected`
    and `flag` may move while the mark does not, and so may `allowed`: what is flagged now is
    always told by `flags`. An issue that came back from the archive is told by `activity` (brought-back)."""
    series = series_of(request, slug)
    printing = edition_of(series, edition)
    rows = marks_in(series, printing)
    page = mark_page(series, rows.written_since(since) if since else rows.live(), issue, printing, after, limit)
    return page | {"since_next": next_moment(since)}


@api.get(
    "/series/{slug}/locks",
    response={200: DecidedPage} | REFUSALS,
    operation_id="locks",
    summary="Its decisions: what was locked, by whom, why, from which issue to which",
)
def locks(request: HttpRequest, slug: Slug, since: Since = None, after: After = "", limit: Limit = 200) -> Any:
    """Those that stand, the editions' own among them. With `since` those decided or withdrawn since then."""
    series = series_of(request, slug)
    rows = Lock.every_printing.filter(series=series).with_people().with_parts()
    shown, more = page_by_key(rows.written_since(since) if since else rows.standing(), after, limit)
    order = RunningOrder.of(series)
    items = [decided_shape(series, order, lock) for lock in shown]
    return {"items": items, "next": more, "since_next": next_moment(since)}


@api.get(
    "/series/{slug}/proposals",
    response={200: AskedPage} | REFUSALS | NOT_THE_CREW,
    operation_id="proposals",
    summary="Codes asked for, and what was answered",
)
def proposals(request: HttpRequest, slug: Slug, since: Since = None, after: After = "", limit: Limit = 200) -> Any:
    """The crew's own: a guest reader's token is refused. With `since` those asked for or answered since then."""
    series = series_of(request, slug)
    crew_only(request, "what is proposed")
    rows = series.proposals.with_names()
    shown, more = page_by_key(rows.written_since(since) if since else rows, after, limit)
    order = RunningOrder.of(series)
    items = [proposal_shape(series, order, proposal) for proposal in shown]
    return {"items": items, "next": more, "since_next": next_moment(since)}


@api.get(
    "/series/{slug}/activity",
    response={200: HappenedPage} | REFUSALS,
    operation_id="activity",
    summary="What happened, newest first: what its owner may read of it",
)
def activity(request: HttpRequest, slug: Slug, since: Since = None, after: After = "", limit: Limit = 200) -> Any:
    """Where a thing is gone that a deed was about, its name is in `words`."""
    series = series_of(request, slug)
    rows = Activity.objects.visible_to(request.auth).newest_first().with_names()  # type: ignore[attr-defined]
    rows = rows.since(since) if since else rows
    if after and (begins := read_key(after)) is None:
        raise Http404("No page begins there: take `next` as it was given.")
    shown = list((rows.before(begins) if after and begins else rows)[: limit + 1])
    more = write_key(shown[limit - 1].key) if len(shown) > limit else None
    items = [happened_shape(series, deed) for deed in shown[:limit]]
    return {"items": items, "next": more, "since_next": next_moment(since)}


@api.get(
    "/series/{slug}/proofs",
    response={200: ProofPage} | REFUSALS,
    operation_id="proofs",
    summary="Proofs, with what is open in each",
)
def proofs(request: HttpRequest, slug: Slug, since: Since = None, after: After = "", limit: Limit = 200) -> Any:
    """All of them, the older of a page too. With `since` those sent, read, replaced or decided on since then."""
    series = series_of(request, slug)
    rows = Proof.objects.filter(series=series).with_names().with_counts()
    shown, more = page_by_key(rows.written_since(since) if since else rows, after, limit)
    return {"items": [proof_shape(proof) for proof in shown], "next": more, "since_next": next_moment(since)}


@api.get(
    "/series/{slug}/proofs/{pk}",
    response={200: ProofRead} | REFUSALS,
    operation_id="proof",
    summary="A proof with what it says at every mark, and what was decided",
)
def proof(request: HttpRequest, slug: Slug, pk: Id) -> Any:
    series = series_of(request, slug)
    return proof_read(series, get_object_or_404(Proof.objects.with_names().with_counts(), series=series, pk=pk))


@api.get(
    "/series/{slug}/editions",
    response={200: EditionList} | REFUSALS,
    operation_id="editions",
    summary="Its printings after the first",
)
def editions(request: HttpRequest, slug: Slug) -> Any:
    series = series_of(request, slug)
    rows = series.editions.in_order()
    return {"items": [edition_shape(edition, condition(series, edition.press_name).title) for edition in rows]}


@api.get(
    "/series/{slug}/sign-offs",
    response={200: StepPage} | REFUSALS,
    operation_id="signOffs",
    summary="Issues on their way out: in check, signed off, opened again, handed off",
)
def sign_offs(
    request: HttpRequest,
    slug: Slug,
    issue: IssueNumber = "",
    since: Since = None,
    after: After = "",
    limit: Limit = 200,
) -> Any:
    """Of one issue, or of all of them; with `since` the steps taken since then."""
    series = series_of(request, slug)
    rows = IssueStep.objects.filter(series=series).with_names()
    rows = rows.filter(issue=as_of(series, issue).issue) if issue else rows
    shown, more = page_by_key(rows.written_since(since) if since else rows, after, limit)
    return {"items": [step_shape(step) for step in shown], "next": more, "since_next": next_moment(since)}


@api.get(
    "/series/{slug}/sign-offs/{pk}",
    response={200: StepContent} | REFUSALS,
    operation_id="signOff",
    summary="All that was signed or handed off, as it was then",
)
def sign_off(request: HttpRequest, slug: Slug, pk: Id) -> Any:
    """404 where that step kept nothing (`kept`)."""
    series = series_of(request, slug)
    return step_content(get_object_or_404(IssueStep.objects.with_names(), series=series, pk=pk, state__isnull=False))
