"""Marks as JSON brings them, and opinions as JSON takes them away."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any

from bible.colour.notation import LETTERS_64, PERCENT, Notation, NotationError
from guides.imaging.paint import problems
from guides.imaging.paint.reading import Opinion, PaintMark

MAX_MARKS = 5_000
"""A page holds a hundred or so; beyond this it is no list of marks."""


class MarksError(ValueError):
    """The document is no list of marks; the message says why."""


def marks_from_json(document: object, notation: Notation = LETTERS_64) -> list[PaintMark]:
    """Marks from ``[{"id", "x", "y", "code", "gradient"}, …]`` or an object with such a list under "marks".

    A mark that can't be used keeps its place with its ``problem`` in words; a code that can't be read counts as none.

    Raises:
        MarksError: the document has another shape.
    """
    if isinstance(document, dict):
        document = document.get("marks")
    if not isinstance(document, list):
        raise MarksError("the marks must be a JSON list of objects with id, x, y and code")
    if len(document) > MAX_MARKS:
        raise MarksError(f"{len(document):,} marks are more than a page can hold ({MAX_MARKS:,})")
    marks = []
    for number, entry in enumerate(document, start=1):
        if not isinstance(entry, dict):
            raise MarksError(f"mark {number} is not an object with id, x, y and code")
        marks.append(_mark(entry, number, notation))
    return marks


def _mark(entry: dict[str, Any], number: int, notation: Notation) -> PaintMark:
    x, y = _number(entry.get("x")), _number(entry.get("y"))
    problem = problems.NO_PLACE if math.isnan(x) or math.isnan(y) else ""
    code, tint = entry.get("code"), None
    if isinstance(code, str) and code.strip():
        try:
            tint = notation.read(code)
        except NotationError as error:
            problem = "; ".join(filter(None, [problem, f"the code can't be read: {error}"]))
    elif code is not None and not isinstance(code, str):
        problem = "; ".join(filter(None, [problem, "the code is not a text"]))
    named = entry.get("id", number)
    mark_id = named if isinstance(named, (str, int)) else str(named)
    return PaintMark(mark_id, x, y, tint, entry.get("gradient") is True, problem=problem)


def _number(value: object) -> float:
    """A finite number, else NaN."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return math.nan
    try:
        number = float(value)
    except OverflowError:
        return math.nan
    return number if math.isfinite(number) else math.nan


_PERCENT_LOOK = re.compile(r"[CM]|\d\d|%", re.IGNORECASE)
_LETTERS_LOOK = re.compile(r"[BR]|(?<!\d)\d(?!\d)|^\s*Y\s*$", re.IGNORECASE)


def notation_of(document: object, otherwise: Notation = PERCENT) -> Notation:
    """The notation most of the written codes use, for writing suggestions; ``otherwise`` where none tells."""
    entries = document.get("marks") if isinstance(document, dict) else document
    codes = [entry.get("code") for entry in entries if isinstance(entry, dict)] if isinstance(entries, list) else []
    texts = [code for code in codes if isinstance(code, str)]
    percent = sum(bool(_PERCENT_LOOK.search(text)) for text in texts)
    letters = sum(bool(_LETTERS_LOOK.search(text)) and not _PERCENT_LOOK.search(text) for text in texts)
    if percent == letters:
        return otherwise
    return PERCENT if percent > letters else LETTERS_64


def opinions_to_json(opinions: Sequence[Opinion], notation: Notation) -> list[dict[str, Any]]:
    """What ``read_guide --json`` prints: one object a mark; "problem" only where there is one."""
    return [
        {
            "id": opinion.id,
            "suggestions": [{"code": notation.write(s.tint), "p": s.p} for s in opinion.suggestions],
            "odd": opinion.odd,
            "score": opinion.score,
            "area": opinion.area,
            "confidence": opinion.confidence,
        }
        | ({"problem": opinion.problem} if opinion.problem else {})
        for opinion in opinions
    ]
