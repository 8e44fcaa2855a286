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
            reading.mark.number, *(reading.mark.part.names if reading.mark.part else (None, None, None)),
            reading.verdict, reading.said, *tint_cells(series, reading.called),
            *tint_cells(series, reading.called_to), *tint_cells(series, reading.printed),
            reading.why, None if reading.delta_e is None else round(reading.delta_e, 2), round(reading.p, 3),
            reading.decision or None, reading.note, person_cell(reading.decided_by), reading.decided_at,
        )
        for reading in readings
    )  # fmt: skip
    columns = (
        "mark", "subject", "costume", "part", "verdict", "said", *tint_columns("called"),
        *tint_columns("called_fade_to"), *tint_columns("printed"), "why", "ciede2000", "confidence", "decision",
        "note", "decided_by", "decided_at",
    )  # fmt: skip
    named = {"issue": proof.guide.issue.number, "page": proof.guide.page, "proof": proof.number}
    facts = about(series, press_of(proof), **named)
    if proof.run:
        facts["run"] = proof.run.run
    facts["caution"] = "What a scan shows is a reason to look at the proof, not a measurement."
    return Table(f"proof-{proof.pk}-readings", columns, rows, facts)


def habits_table(series: Series, habits: Habits) -> Table:
    rows = (
        (
            what, series.write(habit.key) if isinstance(habit.key, Tint) else habit.thing, habit.wrong, habit.read,
            round(habit.percent, 2), round(habit.lowest, 2), habit.kinds, habit.is_habit,
        )
        for what, group in (("part", habits.parts), ("tint", habits.tints), ("page", habits.pages))
        for habit in group
    )  # fmt: skip
    columns = ("what", "thing", "wrong", "read", "share_percent", "at_least_percent", "kinds", "hand_off_warns")
    return Table("forgotten", columns, rows, about(series))
