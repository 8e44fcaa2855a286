"""The bible as a page's reader needs it: every part with its codes in force at the issue; and marks of earlier pages.

Both come as plain JSON (``manage.py read_page --bible --earlier``), so that reading a page needs no database.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bible.colour.notation import LETTERS_64, PERCENT, Notation, NotationError, NotationSettingError
from bible.colour.tints import Tint

PartId = str | int

MOST_SLOTS = 20_000
"""Parts and roles of a bible; a long series has a few thousand."""

MOST_EARLIER = 200_000
"""Marks of earlier pages: some thousands of pages."""

NOTATIONS = {"letters": LETTERS_64, "percent": PERCENT}


class BibleFileError(ValueError):
    """The document is no bible or no list of earlier marks; the message says what is wrong with it, and where."""


@dataclass(frozen=True, slots=True)
class PartRole:
    """A part in a role with the code in force.

    Attributes:
        subject, costume: numbers of both in the bible's order, from 0.
        part: the part's id as the bible has it; ``name`` its name.
        role: "base", "shade" or whatever the series calls it.
        code: as written in the bible; ``tint`` what it means, None where it can't be read.
    """

    subject: int
    costume: int
    part: PartId
    name: str
    role: str
    code: str
    tint: Tint | None


@dataclass(frozen=True, slots=True)
class KnownSubject:
    """A character, prop or place: its id and name as the bible has them, its kind in lower case."""

    id: PartId
    name: str
    kind: str


@dataclass(frozen=True)
class PageBible:
    """What is in force at a page's issue. ``shared`` holds the numbers of costumes that are worn under others,
    ``out_of_use`` of those that should not be worn there."""

    subjects: tuple[KnownSubject, ...]
    parts: tuple[PartRole, ...]
    notation: Notation
    shared: frozenset[int] = frozenset()
    out_of_use: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class EarlierMark:
    """A confirmed mark of an earlier page: its place in that page's own units, whose part it is (None: nobody's)."""

    page: str
    x: float
    y: float
    tint: Tint | None
    part: PartId | None
    role: str


def notation_from(value: object) -> Notation:
    """The notation a document names: "letters", "percent", or a series' own settings.

    Raises:
        BibleFileError: it is none of these.
    """
    if value is None:
        return LETTERS_64
    if isinstance(value, str) and value in NOTATIONS:
        return NOTATIONS[value]
    if isinstance(value, dict):
        try:
            return Notation.from_dict(value)
        except (NotationSettingError, KeyError, TypeError, ValueError) as error:
            raise BibleFileError(f"the bible's notation can't be used: {error}") from error
    raise BibleFileError('the notation must be "letters", "percent" or a notation\'s settings')


def bible_from_json(document: object, notation: Notation | None = None) -> PageBible:
    """A bible from ``{"notation", "subjects": [{"id", "name", "kind", "costumes": [{"id", "name", "parts": [{"id",
    "name", "roles": {role: code}}]}]}]}``. A code that can't be read keeps its part, without a tint. A costume with
    ``"in_use": false`` should not be worn at the issue.

    Args:
        notation: reads the codes instead of the document's own.

    Raises:
        BibleFileError: the document has another shape.
    """
    if not isinstance(document, dict) or not isinstance(document.get("subjects"), list):
        raise BibleFileError('a bible is an object with a list of "subjects"')
    reads = notation or notation_from(document.get("notation"))
    subjects: list[KnownSubject] = []
    parts: list[PartRole] = []
    shared: set[int] = set()
    unused: set[int] = set()
    costumes = 0
    for entry in document["subjects"]:
        subject = _object(entry, f"subject {len(subjects) + 1}")
        where = f"subject {subject.get('name') or len(subjects) + 1}"
        first = costumes
        for worn in _list(subject, "costumes", where):
            _read_costume(_object(worn, f"a costume of {where}"), len(subjects), costumes, reads, parts)
            unused |= {costumes} if worn.get("in_use") is False else set()
            costumes += 1
        shared |= _worn_under(parts, first, costumes)
        kind = str(subject.get("kind") or "character").lower()
        subjects.append(KnownSubject(_id(subject, where), str(subject.get("name") or ""), kind))
        if len(parts) > MOST_SLOTS:
            raise BibleFileError(f"a bible of more than {MOST_SLOTS:,} parts and roles can't be read")
    return PageBible(tuple(subjects), tuple(parts), reads, frozenset(shared), frozenset(unused))


def _worn_under(parts: list[PartRole], first: int, after: int) -> set[int]:
    """Which of a subject's costumes share no part's name with any other: skin and hair go with every coat."""
    names: dict[int, set[str]] = {number: set() for number in range(first, after)}
    for part in parts:
        if part.costume in names:
            names[part.costume].add(part.name.casefold())
    return {
        number
        for number, own in names.items()
        if len(names) > 1 and not any(own & other for place, other in names.items() if place != number)
    }


def _read_costume(
    costume: Mapping[str, Any], subject: int, number: int, notation: Notation, parts: list[PartRole]
) -> None:
    for entry in _list(costume, "parts", "a costume"):
        part = _object(entry, "a part")
        part_id, name = _id(part, "a part"), str(part.get("name") or "")
        roles = part.get("roles", {})
        if not isinstance(roles, dict):
            raise BibleFileError(f"the roles of part {name or part_id} are no object of role and code")
        # A part nobody has locked yet can still be the one a code stands for.
        for role, code in (roles or {"base": ""}).items():
            parts.append(
                PartRole(subject, number, part_id, name, str(role), str(code), _tint_of(code, notation))
            )  # fmt: skip


def earlier_from_json(document: object, notation: Notation) -> tuple[EarlierMark, ...]:
    """Marks of pages before from ``[{"page", "x", "y", "code", "part", "role"}]``, or such a list under "marks".

    Raises:
        BibleFileError: the document has another shape, or a mark has no place.
    """
    if isinstance(document, dict):
        document = document.get("marks")
    if not isinstance(document, list):
        raise BibleFileError("earlier marks are a list of objects with page, x, y, code, part and role")
    if len(document) > MOST_EARLIER:
        raise BibleFileError(f"more than {MOST_EARLIER:,} earlier marks can't be read")
    marks = []
    for number, entry in enumerate(document, 1):
        mark = _object(entry, f"earlier mark {number}")
        part = mark.get("part")
        if part is not None and (isinstance(part, bool) or not isinstance(part, (str, int))):
            raise BibleFileError(f"the part of earlier mark {number} is no id")
        x, y = (_number(mark.get(name), f"{name} of earlier mark {number}") for name in ("x", "y"))
        role, page = str(mark.get("role") or "base"), str(mark.get("page"))
        marks.append(EarlierMark(page, x, y, _tint_of(mark.get("code"), notation), part, role))
    return tuple(marks)


def told_in(
    form: str | None, bible: Path | None, earlier: Path | None
) -> tuple[Notation, PageBible | None, tuple[EarlierMark, ...]]:
    """What files say of a page's series: the notation on the page (``form`` names it, else the bible's own, else
    letters), the bible, and marks of pages before. The bible's codes are read in the bible's own notation.

    Raises:
        BibleFileError: a file can't be opened or has another shape.
    """
    known = bible_from_json(load_document(bible)) if bible else None
    own = known.notation if known else LETTERS_64
    marks = earlier_from_json(load_document(earlier), own) if earlier else ()
    return NOTATIONS[form] if form else own, known, marks


def load_document(path: Path) -> object:
    """A JSON file's content.

    Raises:
        BibleFileError: it can't be opened or is no JSON.
    """
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise BibleFileError(f"{path.name}: {error.strerror or error}") from error
    except (ValueError, RecursionError) as error:
        raise BibleFileError(f"{path.name} is no JSON: {error}") from error


def _tint_of(code: object, notation: Notation) -> Tint | None:
    if not isinstance(code, str) or not code.strip():
        return None
    try:
        return notation.read(code)
    except NotationError:
        return None


def _object(value: object, what: str) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise BibleFileError(f"{what} is no object")
    return value


def _list(owner: Mapping[str, Any], key: str, where: str) -> list[Any]:
    value = owner.get(key, [])
    if not isinstance(value, list):
        raise BibleFileError(f"the {key} of {where} are no list")
    return value


def _id(owner: Mapping[str, Any], what: str) -> PartId:
    value = owner.get("id")
    if isinstance(value, bool) or not isinstance(value, (str, int)):
        raise BibleFileError(f"{what} has no id")
    return value


def _number(value: object, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise BibleFileError(f"{what} is no number")
    return float(value)
