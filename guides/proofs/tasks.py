"""Proofs are read in the background: a reading takes seconds, and nobody's page waits for it."""

from __future__ import annotations

from typing import IO, TYPE_CHECKING, Any

from django.db import transaction

from bible.series.refusals import Refused
from bible.tasks.backend import background
from bible.tasks.progress import Progress
from bible.tasks.services import enqueue
from guides.core.holding import hold_pages
from guides.imaging.intake.take_in import Intake
from guides.models import ChartScan, Guide, Proof
from guides.proofs.services import add_proof, read_proof

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@background(words="being read", kind="proof", priority=10)
def read(context: Progress, *, proof: int) -> None:
    """Read a proof."""
    to_read = Proof.objects.with_names().filter(pk=proof).first()
    if to_read is None:
        raise Refused("The proof is not there any more.")
    read_proof(proof=to_read, progress=context)


@transaction.atomic
def bring_in(
    *, guide: Guide, picture: Intake, original: IO[bytes], filename: str, run: ChartScan | None = None, by: User
) -> Proof:
    """``add_proof``, and its reading is asked for."""
    proof = add_proof(guide=guide, picture=picture, original=original, filename=filename, run=run, by=by)
    ask_for_reading(proof=proof, by=by)
    return proof


@transaction.atomic
def bring_in_once(*, guide: Guide, picture: Intake, by: User, **sent: Any) -> tuple[Proof, bool]:
    """``bring_in``, unless just this scan is a proof of the page already; and whether it has been brought in now.
    Whoever sends it at the same moment waits, and finds it."""
    hold_pages(series_id=guide.series_id, issues=[], guides=[guide.pk])
    there = Proof.objects.of_page(guide).filter(guide=guide, sha256=picture.sha256).first()
    return (there, False) if there else (bring_in(guide=guide, picture=picture, by=by, **sent), True)


def ask_for_reading(*, proof: Proof, by: User) -> None:
    """Have it read, once more where somebody's points came while it is being read."""
    guide = proof.guide
    enqueue(
        read,
        key=proof.job_key,
        by=by,
        series=guide.series,
        about=f"{proof} of issue {guide.issue.number}, {guide}",
        page=proof.get_absolute_url(),
        afresh=True,
        proof=proof.pk,
    )
