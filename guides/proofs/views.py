"""The proof desk: scans of proofs come in, are laid over their guides, and every fault is decided on."""

from __future__ import annotations

import io
from typing import Any

from django.contrib import messages
from django.http import FileResponse, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from bible.exports.tables import answer, wanted
from bible.models import Issue, Job, Series
from bible.models.permissions import Permission
from bible.series.refusals import Refused
from bible.web.access import MemberRequest, member
from bible.web.limits import PAPER, PICTURES, PROOF_READINGS, limited
from bible.web.methods import FORM, POST, SAFE
from guides.core.labels import file_name
from guides.core.pictures import sharer
from guides.core.views import stored_picture
from guides.imaging.intake.rules import IntakeError
from guides.imaging.intake.take_in import take_in
from guides.models import Guide, Proof, ProofReading, ProofVerdict
from guides.paper.sizes import size_asked
from guides.preview.plates import PLATES
from guides.proofs.corrections import correction_sheet, write_corrections
from guides.proofs.exports import habits_table, proofs_table, readings_table
from guides.proofs.forms import PointsForm, ProofDecisionForm, ProofForm, ProofRunForm
from guides.proofs.habits import habits
from guides.proofs.services import (
    HOPELESS,
    StaleReading,
    changed_since,
    decide,
    set_points,
    set_run,
)
from guides.proofs.tasks import ask_for_reading, bring_in

CROP = 0.045
"""Half height of a fault's crop in page heights: about 11 mm, enough to see what surrounds the area."""


@member(Permission.READ, SAFE)
def proofs(request: MemberRequest, series: Series) -> HttpResponseBase:
    """Every proof of the series by issue, the newest issue first, with what is open."""
    every = Proof.objects.filter(series=series).select_related("guide__issue", "uploaded_by").with_counts()
    rows: Any = every.order_by("-guide__issue__position", "guide__page_order", "guide__page", "-number")
    for proof in rows:
        proof.series = proof.guide.issue.series = series
    if wanted(request):
        return answer(request, series, proofs_table(series, rows))
    context = {"series": series, "proofs": rows, "open": sum(proof.undecided_count for proof in rows)}
    return render(request, "guides/proofs/proofs.html", context)


@member(Permission.READ, SAFE)
def forgotten(request: MemberRequest, series: Series) -> HttpResponseBase:
    """What comes back wrong over the years, with rates."""
    recurring = habits(series)
    if wanted(request):
        return answer(request, series, habits_table(series, recurring))
    return render(request, "guides/proofs/proof_forgotten.html", {"series": series, "habits": recurring})


@member(Permission.CHECK_PROOFS, FORM)
@limited(PICTURES)
def new_proof(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Take the scan of a page's proof in; it is read on its own page, where one can see how far it is."""
    guide = get_object_or_404(Guide.objects.select_related("series", "issue"), series=series, pk=pk)
    form = ProofForm(series, *((request.POST, request.FILES) if request.method == "POST" else ()))
    if form.is_valid():
        scan, run = form.cleaned_data["scan"], form.cleaned_data.get("run")
        name = scan.name or ""
        try:
            picture = take_in(scan, name, who=sharer(request.user.pk), damaged=form.cleaned_data["damaged"])
            sent = {"picture": picture, "original": scan, "filename": name, "run": run}
            return redirect(bring_in(guide=guide, by=request.user, **sent))
        except (IntakeError, Refused) as refusal:
            form.add_error("scan", f"{name}: {refusal}{form.asked(refusal)}")
    context = {"series": series, "guide": guide, "form": form}
    return render(request, "guides/proofs/proof_new.html", context, status=422 if form.errors else 200)


def _proof(series: Series, pk: int) -> Proof:
    proof = get_object_or_404(Proof.objects.with_names(), series=series, pk=pk)
    proof.series = proof.guide.series = series
    return proof


@member(Permission.READ, SAFE)
def proof(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """Guide, prediction and proof at the same place, and what is wrong, worst first."""
    proof = _proof(series, pk)
    readings = list(proof.readings.with_names().worst_first())
    if wanted(request):
        return answer(request, series, readings_table(proof, readings))
    return _desk(request, proof, readings, ProofRunForm(series, initial={"run": proof.run_id}))


def _desk(request: MemberRequest, proof: Proof, readings: list[ProofReading], form: ProofRunForm) -> HttpResponse:
    for reading in readings:
        dress(reading, proof)
    context = desk_context(request, proof) | {
        "named": [reading for reading in readings if reading.is_named and not reading.decision],
        "decided": [reading for reading in readings if reading.decision],
        "unsure": [
            reading for reading in readings if reading.verdict == ProofVerdict.CANNOT_TELL and not reading.decision
        ],
        "as_called": [
            reading for reading in readings if reading.verdict == ProofVerdict.AS_CALLED and not reading.decision
        ],
        "changed": changed_since(proof, readings) if proof.state == Proof.State.READ else 0,
        "others": Proof.objects.of_page(proof.guide).exclude(pk=proof.pk).in_order(),
        "form": form,
        "mendable": proof.refusal not in HOPELESS,
        "hand_points": proof.hand_points,
        "plates": PLATES.values(),
    }
    return render(request, "guides/proofs/proof.html", context, status=422 if form.errors else 200)


def dress(reading: ProofReading, proof: Proof) -> None:
    """Give a reading what its row shows: the crop's window in the guide's pixels, and where its mark is."""
    guide = proof.guide
    half = CROP * max(guide.width, guide.height)
    centre = (reading.x * guide.width, reading.y * guide.height)
    row: Any = reading
    row.crop = f"{centre[0] - half:.1f} {centre[1] - half:.1f} {2 * half:.1f} {2 * half:.1f}"
    row.ring = (round(centre[0], 1), round(centre[1], 1), round(half / 6, 1))
    reading.proof, reading.mark.series, reading.mark.guide = proof, proof.series, guide


def desk_context(request: MemberRequest, proof: Proof) -> dict[str, Any]:
    """What the page and its pieces share."""
    counted = Proof.objects.with_counts().get(pk=proof.pk)
    return {
        "series": proof.series,
        "proof": proof,
        "guide": proof.guide,
        "counted": counted,
        "may_decide": request.membership.may(Permission.CHECK_PROOFS),
        "job": Job.objects.of(proof.job_key).with_run().first(),
    }


@member(Permission.CHECK_PROOFS, POST)
@limited(PROOF_READINGS)
def read(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Read it, again where it was read before. It takes seconds; the page shows how far it is."""
    proof = _proof(series, pk)
    form = ProofRunForm(series, request.POST)
    if not form.is_valid():
        return _desk(request, proof, list(proof.readings.with_names().worst_first()), form)
    if "run" in request.POST:
        set_run(proof=proof, run=form.cleaned_data.get("run"))
    if request.POST.get("forget_points"):
        set_points(proof=proof, points=None)
    ask_for_reading(proof=proof, by=request.user)
    messages.info(request, "It is in line to be read: this page says how far that is.")
    return redirect(proof)


@member(Permission.CHECK_PROOFS, FORM)
@limited(PROOF_READINGS)
def points(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """Four places on both pictures, set by hand; then it is read from there."""
    proof = _proof(series, pk)
    form = PointsForm(proof, request.POST if request.method == "POST" else None)
    if form.is_valid():
        set_points(proof=proof, points=form.points)
        ask_for_reading(proof=proof, by=request.user)
        return redirect(proof)
    context = desk_context(request, proof) | {"form": form}
    return render(request, "guides/proofs/proof_points.html", context, status=422 if form.errors else 200)


@member(Permission.CHECK_PROOFS, POST)
def decide_reading(request: MemberRequest, series: Series, pk: int) -> HttpResponse:
    """A fault for the separator, printed fine, or undecided again."""
    reading = get_object_or_404(ProofReading.objects.with_names(), series=series, pk=pk)
    proof = _proof(series, reading.proof_id)
    form, refusal = ProofDecisionForm(request.POST), ""
    if form.is_valid():
        try:
            decide(reading=reading, by=request.user, **form.cleaned_data)
        except StaleReading as stale:
            refusal = str(stale)
    else:
        refusal = " ".join(str(error) for errors in form.errors.values() for error in errors)
    if not request.htmx and not refusal:
        return redirect(f"{proof.get_absolute_url()}#reading-{pk}")
    reading = ProofReading.objects.with_names().get(pk=pk)
    dress(reading, proof)
    context = desk_context(request, proof)
    context |= {"reading": reading, "refusal": refusal, "typed": request.POST.get("note", "") if refusal else ""}
    template = "guides/proofs/_proof_answer.html" if request.htmx else "guides/proofs/proof_decide.html"
    return render(request, template, context, status=422 if refusal else 200)


@member(Permission.READ, SAFE)
def picture(request: MemberRequest, series: Series, pk: int, kind: str) -> HttpResponseBase:
    """A proof's picture, to members only, by the rules of the guides' pictures."""
    proof = get_object_or_404(Proof, series=series, pk=pk)
    files = {"original": proof.original, "screen": proof.screen, "thumb": proof.thumb, "laid": proof.laid}
    return stored_picture(request, files[kind])


@member(Permission.READ, SAFE)
@limited(PAPER, "GET")
def page_corrections(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    proof = _proof(series, pk)
    return _corrections(request, proof.guide.issue, [proof], f"-{file_name(proof.guide.page)}")


@member(Permission.READ, SAFE)
@limited(PAPER, "GET")
def issue_corrections(request: MemberRequest, series: Series, pk: int) -> HttpResponseBase:
    """The correction sheet of every page of an issue that has a current proof."""
    issue = get_object_or_404(series.issues, pk=pk)
    current = Proof.objects.filter(series=series, guide__issue=issue).current().with_names().in_order()
    return _corrections(request, issue, list(current), "")


def _corrections(request: MemberRequest, issue: Issue, proofs: list[Proof], page: str) -> HttpResponseBase:
    out = io.BytesIO()
    sheet = correction_sheet(issue, proofs)
    write_corrections(sheet, timezone.now(), out, size_asked(request))
    out.seek(0)
    name = f"{sheet.series.slug}-{file_name(issue.number)}{page}-corrections.pdf"
    return FileResponse(out, as_attachment=True, filename=name, content_type="application/pdf")
