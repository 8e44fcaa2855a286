"""Names that stand alone: below a table among its parts, as who has checked it, or without part and code, as a
printed page's title. Asked, for a part may lack its code and a subject its parts. No Django in here."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import zip_longest

from guides.imports.grid import GridRow
from guides.imports.issue_numbers import number_key
from guides.imports.questions import Answers, Question, ask
from guides.imports.texts import alike, listed


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


def alone_of(
    rows: Sequence[GridRow], columns: Mapping[str, int | None], coded: Iterable[int | None]
) -> dict[int, str]:
    """By line, names with nothing beside or below them, and in no other row, in a bible that has codes: a printed
    page's title or number as often as a subject."""
    at, coded = columns.get("subject"), set(coded)
    if at is None or columns.get("part") is None or not any(row.cell(column) for row in rows for column in coded):
        return {}
    known = {alike(row.cell(at)) for row in rows if sum(map(bool, row.cells)) > 1}
    return {
        row.line: row.cell(at)
        for row, below in zip_longest(rows, rows[1:])
        if sum(map(bool, row.cells)) == 1 and alike(row.cell(at)) not in known
        if row.cell(at) and (below is None or below.cell(at))
    }


def asked_of_the_alone(alone: Mapping[int, str], left_out: Collection[int], answers: Answers) -> list[Question]:
    """
    Args:
        left_out: lines that are totals, or explain the table.
    """
    names = {line: name for line, name in alone.items() if line not in left_out}
    if not names:
        return []
    named = ", ".join(f"“{name[:40]}”" for name in list(dict.fromkeys(names.values()))[:6])
    words = f"A name stands alone, without part and code ({listed(names)}): {named}. Is it a subject?"
    choices = [
        ("page", "no, it belongs to the printed page: leave it out"),
        ("subjects", "yes: each is a subject without parts"),
    ]
    if any(map(issue_in, names.values())):
        choices.insert(0, ("issues", "no, it is an issue: what stands below holds from it on"))
        choices.insert(1, ("issue", "no, it is an issue: what stands below holds in it alone"))
    return [ask("alone", words, tuple(choices), answers)]


def issue_in(name: str) -> str:
    """The number of the issue that a line's only cell names; empty where it names none."""
    key = number_key(name)
    return key if key.isdecimal() else ""
