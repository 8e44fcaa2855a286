"""Proofs, what they say, and what is forgotten, as tables to take along."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from bible.colour.tints import Tint
from bible.exports.tables import Table, about, person_cell, tint_cells, tint_columns
from bible.models import Series
from guides.models import Proof, ProofReading
from guides.proofs.habits import Habits
from guides.proofs.services import press_of


def proofs_table(series: Series, proofs: Iterable[Any]) -> Table:
    rows = (
        (
            proof.guide.issue.number, proof.guide.page, proof.number, proof.is_current, proof.state,
            proof.undecided_count, proof.fault_count, proof.unsure_count, proof.mark_count,
            person_cell(proof.uploaded_by), proof.uploaded_at,
        )
        for proof in proofs
    )  # fmt: skip
    columns = (
        "issue", "page", "proof", "is_current", "state", "undecided", "faults", "not_read", "marks", "uploaded_by",
        "uploaded_at",
    )  # fmt: skip
    return Table("proofs", columns, rows, about(series))


def readings_table(proof: Proof, readings: Iterable[ProofReading]) -> Table:
    """What a proof says of each mark, worst first, and what was decided."""
    series = proof.series
    rows = (
        (
            one.mark.number, *(one.mark.part.names if one.mark.part else (None, None, None)), one.verdict, one.said,
            *tint_cells(series, one.called), *tint_cells(series, one.called_to), *tint_cells(series, one.printed),
            one.why, None if one.delta_e is None else round(one.delta_e, 2), round(one.p, 3), one.decision or None,
            one.note, person_cell(one.decided_by), one.decided_at,
        )
        for one in readings
    )  # fmt: skip
    columns = (
        "mark", "subject", "costume", "part", "verdict", "said", *tint_columns("called"),
        *tint_columns("called_fade_to"), *tint_columns("printed"), "why", "ciede2000", "confidence", "decision",
        "note", "decided_by", "decided_at",
    )  # fmt: skip
    named = {"issue": proof.guide.issue.number, "page": proof.guide.page, "proof": proof.number}
    told = about(series, press_of(proof), **named)
    if proof.run:
        told["run"] = proof.run.run
    told["caution"] = "What a scan shows is a reason to look at the proof, not a measurement."
    return Table(f"proof-{proof.pk}-readings", columns, rows, told)


def habits_table(series: Series, habits: Habits) -> Table:
    rows = (
        (
            what, series.write(one.key) if isinstance(one.key, Tint) else one.thing, one.wrong, one.read,
            round(one.percent, 2), round(one.lowest, 2), one.kinds, one.is_habit,
        )
        for what, found in (("part", habits.parts), ("tint", habits.tints), ("page", habits.pages))
        for one in found
    )  # fmt: skip
    columns = ("what", "thing", "wrong", "read", "share_percent", "at_least_percent", "kinds", "hand_off_warns")
    return Table("forgotten", columns, rows, about(series))
