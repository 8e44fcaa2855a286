"""Lines below a table that stand in the column of its parts, as who has checked it: asked, for a part may lack its
code. No Django in here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from guides.imports.grid import GridRow
from guides.imports.questions import Answers, Question, ask
from guides.imports.texts import listed


def feet_of(
    rows: Sequence[GridRow], columns: Mapping[str, int | None], coded: Iterable[int | None]
) -> dict[int, str]:
    """By line, what stands alone where parts do, below the last row that has a code."""
    at, coded = columns.get("part"), set(coded)
    with_code = [number for number, row in enumerate(rows) if any(row.cell(column) for column in coded)]
    if at is None or not with_code:
        return {}
    below = rows[with_code[-1] + 1 :]
    return {row.line: row.cell(at) for row in below if row.cell(at) and sum(map(bool, row.cells)) == 1}


def asked_of_feet(feet: Mapping[int, str], answers: Answers) -> list[Question]:
    if not feet:
        return []
    named = ", ".join(f"“{words[:40]}”" for words in list(dict.fromkeys(feet.values()))[:6])
    words = f"Below the last code something stands alone among the parts ({listed(feet)}): {named}. Is it a part?"
    choices = (("leave", "no: leave it out"), ("parts", "yes: a part that has no code yet"))
    return [ask("feet", words, choices, answers)]
