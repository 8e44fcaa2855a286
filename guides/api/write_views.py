"""Addresses that write, for tokens that may: through the same services, forms, rights and limits as the screens."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from ninja import File, Form
from ninja.errors import ValidationError
from ninja.files import UploadedFile

from bible.models import Membership, Part, Proposal, Series
from bible.models.permissions import Permission
from bible.proposals.forms import ProposalForm
from bible.proposals.services import propose_once
from bible.series.refusals import Refused
from bible.web.limits import PICTURES, PROPOSALS, TABLES, Limit, TooMany, spend
from guides.api.answers import tint_shape
from guides.api.changing_answers import proof_shape
from guides.api.changing_shapes import NewProof, ProofShape
from guides.api.plain_http import CHALLENGE
from guides.api.shapes import MarksSaid, NewMarks, NewProposal, Problem, ProposalShape, WrongValues
from guides.api.views import REFUSALS, Slug, api, as_of, series_of
from guides.core.labels import clean_label
from guides.core.once import new_key
from guides.core.pictures import sharer
from guides.handoff.bringing import Look, MarkRows, bring_as_shown, look
from guides.handoff.services import FileMark, Trouble, checked_row
from guides.imaging.intake.formats import PICTURES as PICTURES_TAKEN
from guides.imaging.intake.rules import IntakeError
from guides.imaging.intake.take_in import take_in
from guides.models import Guide, Proof
from guides.proofs.forms import ProofForm
from guides.proofs.tasks import bring_in_once

WRITE_REFUSALS: dict[int, Any] = REFUSALS | {400: Problem, 403: Problem, 409: Problem, 413: Problem, 429: Problem}


SCANS = {"scan": {"contentType": ", ".join(kind.content_type for kind in PICTURES_TAKEN.values())}}
PROOF_FORM = {"schema": {"additionalProperties": False}, "encoding": SCANS}
"""What a scan may be, and that no other field is known, as OpenAPI says it."""


SOON = 5
"""Seconds after which another picture of the same person has been looked at."""


class MayNot(Exception):
    """The token, or its owner, may not do this; the message says which."""


@api.exception_handler(MayNot)
def may_not(request: HttpRequest, refusal: MayNot) -> HttpResponse:
    answer = api.create_response(request, {"detail": str(refusal)}, status=403)
    answer.headers["WWW-Authenticate"] = f'{CHALLENGE}, error="insufficient_scope"'  # RFC 6750, 3.1
    return answer


@api.exception_handler(TooMany)
def too_many(request: HttpRequest, refusal: TooMany) -> HttpResponse:
    return later(request, refusal, refusal.wait)


def later(request: HttpRequest, why: Exception, seconds: int) -> HttpResponse:
    answer = api.create_response(request, {"detail": str(why)}, status=429)
    answer.headers["Retry-After"] = str(seconds)
    return answer


@api.exception_handler(Refused)
def refused(request: HttpRequest, refusal: Refused) -> HttpResponse:
    return api.create_response(request, {"detail": str(refusal)}, status=409)


@api.exception_handler(RequestDataTooBig)
def too_big(request: HttpRequest, refusal: RequestDataTooBig) -> HttpResponse:
    return api.create_response(request, {"detail": "This is more than is taken at once: send less."}, status=413)


def series_to_write(request: HttpRequest, slug: str, permission: Permission, limit: Limit) -> Series:
    """The series, where the token may write and its owner has the right; counted as on the owner's screen."""
    series, membership = series_of(request, slug), membership_of(request)
    if not request.token.may_write:  # type: ignore[attr-defined]
        raise MayNot("This token only reads. Its owner makes one that may write on the People page.")
    if not membership.may(permission):
        raise MayNot(f"{membership.user} may not {permission.value} here.")
    spend(limit, membership.user_id)
    return series


def membership_of(request: HttpRequest) -> Membership:
    membership: Membership = request.auth  # type: ignore[attr-defined]
    return membership


@api.post(
    "/series/{slug}/marks",
    response={200: MarksSaid, 201: MarksSaid} | WRITE_REFUSALS | {409: MarksSaid | Problem},
    operation_id="bringMarks",
    summary="Bring marks in: look first, then have exactly that",
)
def bring_marks(request: HttpRequest, slug: Slug, wanted: NewMarks) -> HttpResponse:
    """200: what would happen. 201: it has. 409: it is not what was shown, and this is what would happen now."""
    series = series_to_write(request, slug, Permission.MARK, TABLES)
    guide, rows, by = (
        guide_of(series, wanted.issue, wanted.page),
        rows_of(series, wanted),
        membership_of(request).user,
    )
    looked = look(guide=guide, rows=rows, by=by)
    if not wanted.shown:
        return api.create_response(request, said(looked), status=200)
    many, _ = bring_as_shown(guide=guide, rows=rows, by=by, key=new_key(), shown=wanted.shown)
    return api.create_response(request, said(looked, done=bool(many)), status=201 if many else 409)


def guide_of(series: Series, number: str, page: str) -> Guide:
    issue = as_of(series, number).issue
    guides = Guide.objects.filter(issue=issue, page=clean_label(page)).current()
    guide = guides.select_related("issue__series", "series").first()
    if guide is None:
        raise Http404("No such page.")
    return guide


def rows_of(series: Series, wanted: NewMarks) -> MarkRows:
    checked = [checked_row(mark.dict(), f"marks[{at}]", series.roles) for at, mark in enumerate(wanted.marks)]
    marks = [row for row in checked if isinstance(row, FileMark)]
    return MarkRows(marks, [row for row in checked if isinstance(row, Trouble)])


def said(looked: Look, *, done: bool = False) -> dict[str, Any]:
    brought, impact = looked.brought, looked.impact
    return {
        "done": done,
        "new": len(brought.rows),
        "already": len(brought.already),
        "troubles": [str(trouble) for trouble in brought.troubles],
        "opens": impact.opens,
        "closes": impact.closes,
        "reopens": [issue.number for issue in impact.reopened],
        "shown": looked.token,
    }


@api.post(
    "/series/{slug}/proposals",
    response={200: ProposalShape, 201: ProposalShape} | WRITE_REFUSALS | {409: WrongValues | Problem},
    operation_id="propose",
    summary="Propose a code for a part",
)
def new_proposal(request: HttpRequest, slug: Slug, wanted: NewProposal) -> HttpResponse:
    """201: it waits for a lead's answer. 200: the same one of this person waits already. 409: the series has no such
    role or issue, or its notation reads no tint from the code; 422 is for what no series would take."""
    series = series_to_write(request, slug, Permission.PROPOSE, PROPOSALS)
    parts = Part.objects.filter(costume__subject__series=series).select_related("costume__subject__series")
    part, by = get_object_or_404(parts, pk=wanted.part), membership_of(request).user
    form = ProposalForm(part, wanted.dict(exclude={"part"}))
    if not form.is_valid():
        return api.create_response(request, wrong_values(form), status=409)
    asked, is_new = propose_once(part=part, by=by, **form.asked())
    return api.create_response(request, proposal_shape(series, asked), status=201 if is_new else 200)


@api.post(
    "/series/{slug}/proofs",
    response={200: ProofShape, 201: ProofShape} | WRITE_REFUSALS,
    operation_id="bringProof",
    summary="Bring the scan of a printed page in as a proof of it",
    openapi_extra={"requestBody": {"content": {"multipart/form-data": PROOF_FORM}}},
)
def bring_proof(request: HttpRequest, slug: Slug, wanted: Form[NewProof], scan: File[UploadedFile]) -> HttpResponse:
    """201: it is kept and waits to be read; ask `proofs/{id}` how far it is. 200: just this scan is there already."""
    series = series_to_write(request, slug, Permission.CHECK_PROOFS, PICTURES)
    refuse_unknown(request, {*NewProof.model_fields, "scan"})
    guide, by = guide_of(series, wanted.issue, wanted.page), membership_of(request).user
    form = ProofForm(series, wanted.dict(), {"scan": scan})
    if form.is_valid():
        name = scan.name or ""
        try:
            picture = take_in(scan, name, who=sharer(by.pk), damaged=wanted.damaged)
            kept, is_new = bring_in_once(guide=guide, by=by, picture=picture, original=scan, filename=name)
            counted = Proof.objects.with_names().with_counts().get(pk=kept.pk)
            return api.create_response(request, proof_shape(counted), status=201 if is_new else 200)
        except (IntakeError, Refused) as refusal:
            if getattr(refusal, "reason", "") == "busy":
                return later(request, refusal, SOON)
            form.add_error("scan", str(refusal))
    return api.create_response(request, wrong_values(form), status=422)


def refuse_unknown(request: HttpRequest, known: set[str]) -> None:
    """A form's fields that nobody knows are refused as JSON's are: what is misspelt would be passed over else."""
    if unknown := sorted({*request.POST, *request.FILES} - known):
        message = "Extra inputs are not permitted"
        raise ValidationError(
            [{"type": "extra_forbidden", "loc": ["body", name], "msg": message} for name in unknown]
        )


def wrong_values(form: BaseForm) -> dict[str, Any]:
    """What the screen's form refuses, in the words of the screen."""
    problems = [
        {"type": "value_error", "loc": ["body", *([] if name == "__all__" else [name])], "msg": str(message)}
        for name, messages in form.errors.items()
        for message in messages
    ]
    return {"detail": problems}


def proposal_shape(series: Series, proposal: Proposal) -> dict[str, Any]:
    fields = {name: getattr(proposal, name) for name in ("id", "role", "written", "note", "state")}
    ends = {"tint": tint_shape(series, proposal.tint), "fades_to": tint_shape(series, proposal.to_tint)}
    return fields | ends | {"part": proposal.part_id}
