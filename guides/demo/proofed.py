"""The demo's proofs: brought in and read as any scan is, and decided on as far as an editor has come.

They are printed from the plates the drawing code knows, in the processes that draw, and read by the proof desk's
own services; the tests' generators, which judge the engine, share nothing with it.
"""

from __future__ import annotations

import io
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction

from bible.models import Series
from guides.imaging.intake.take_in import take_in
from guides.models import ChartScan, Guide, Proof, ProofDecision, ProofReading, ProofVerdict
from guides.proofs.services import add_proof, decide, read_proof


def bring_in(guide: Guide, jpeg: bytes, by: User, run: ChartScan | None = None) -> Proof:
    """A scan comes in like any upload and is read at once, against the run of its issue where the chart shows it."""
    scan, name = io.BytesIO(jpeg), f"proof-{guide.issue.number}-{guide.page}.jpg".replace(" ", "-")
    sent: dict[str, Any] = {"picture": take_in(scan, name), "original": scan, "filename": name, "run": run}
    return read_proof(proof=add_proof(guide=guide, by=by, **sent))


@transaction.atomic
def decide_some(series: Series, by: User) -> None:
    """Once only: whatever lost an ink is a fault on every proof, the slightest on the newest printed fine; older ones
    are done, the newest still has something open."""
    if ProofReading.objects.filter(series=series).exclude(decision="").exists():
        return
    proofs = list(Proof.objects.filter(series=series).current().in_order())
    for proof in proofs:
        named = list(proof.readings.undecided().with_names().worst_first())
        for place, reading in enumerate(named):
            if reading.verdict == ProofVerdict.INK_MISSING:
                decide(reading=reading, decision=ProofDecision.FAULT, note=_note(reading), by=by)
            elif proof == proofs[-1] and place == len(named) - 1:
                decide(reading=reading, decision=ProofDecision.FINE, by=by)
            elif proof != proofs[-1]:
                decide(reading=reading, decision=ProofDecision.FAULT, by=by)


def _note(reading: ProofReading) -> str:
    name = reading.mark.part.name if reading.mark.part else "area"
    return f"The {name} was not cut on the {reading.ink_name} plate. Please cut it and send a new proof."
