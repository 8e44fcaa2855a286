"""The steps of a regrouping in an archive: the keys that stand inside them are moved with their tables.

What a step names may be gone since; its key is 0 then, which no row has, and taking the deed back refuses as it would
have before. The shapes are those of ``guides.regrouping.services.Steps``.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Move = Callable[[str, Any], int]
"""From a table's label and a key in it to the key elsewhere. Raises ``ValueError`` for what is no key."""

MODELS = {"subject": "bible.subject", "costume": "bible.costume", "part": "bible.part"}
GIVEN = {
    "locks": ("bible.part", "bible.lock"),
    "proposals": ("bible.part", "bible.proposal"),
    "things": ("bible.subject", "bible.ownership"),
}
"""Steps that give rows of one table from one row to another: the tables of both."""

ABOVE = {"subject_id": "bible.subject", "costume_id": "bible.costume"}
CHANGED = frozenset({*ABOVE, "rank", "archived_at"})


def moved(steps: Any, move: Move) -> list[list[Any]]:
    """Steps with every key in them moved.

    Raises:
        ValueError: they are none; nobody but who damaged an archive makes such.
    """
    try:
        return [_moved(step, move) for step in steps]
    except (KeyError, TypeError) as error:
        raise ValueError(f"a step of a regrouping is none: {error}") from error


def _moved(step: list[Any], move: Move) -> list[Any]:
    name, *rest = step
    match name, rest:
        case "change", [model, pk, dict(before), dict(after)]:
            return [name, model, move(MODELS[model], pk), _columns(before, move), _columns(after, move)]
        case "marks", [source, target, list(versions)]:
            given = [[move("guides.mark", pk), _whole(version)] for pk, version in versions]
            return [name, move("bible.part", source), move("bible.part", target), given]
        case (("locks" | "proposals" | "things"), [source, target, list(keys)]):
            whose, what = GIVEN[name]
            return [name, move(whose, source), move(whose, target), [move(what, pk) for pk in keys]]
        case "lights", [("subject" | "part") as model, source, target, list(keys)]:
            ends = (move(MODELS[model], pk) for pk in (source, target))
            return [name, model, *ends, [move("bible.scenetarget", pk) for pk in keys]]
        case "worn", [pk, list(before), list(after)]:
            return [name, move("bible.costume", pk), _stretches(before), _stretches(after)]
        case "made", ["subject", pk]:
            return [name, "subject", move("bible.subject", pk)]
    raise ValueError(f"“{str(name)[:40]}” is no step of a regrouping")


def _columns(columns: dict[str, Any], move: Move) -> dict[str, Any]:
    if strange := columns.keys() - CHANGED:
        raise ValueError(f"a regrouping changes no “{min(strange)[:40]}”")
    return {name: move(ABOVE[name], value) if name in ABOVE else value for name, value in columns.items()}


def _stretches(stretches: list[Any]) -> list[list[int | None]]:
    return [[_whole(begins), None if ends is None else _whole(ends)] for begins, ends in stretches]


def _whole(value: Any) -> int:
    if type(value) is not int or value < 0:
        raise ValueError(f"{str(value)[:40]!r} is no whole number")
    return value
