"""Whose part each code is, asked again once somebody has answered some of them: without the picture, in a moment.

The finder of parts takes no answers, so they are put to it as facts: a part that somebody confirmed gets a slot of
its own whose code is no tint of any chart, and its code says exactly that. So the code goes there, its figure stands
in that panel, and everything else is weighed as before.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from bible.colour.tints import Tint
from guides.imaging.writing.bible_file import EarlierMark, PageBible, PartId
from guides.imaging.writing.clues import Clue, Doubt
from guides.imaging.writing.parts import Belonging, find_parts

Owner = tuple[PartId | None, str]
"""A part and role, or None: nobody's."""


@dataclass(frozen=True)
class PageLayout:
    """Panels of a page (k boxes x0, y0, x1, y1 in pixels) and the pairs of areas that border on each other."""

    panels: Sequence[Sequence[float]]
    bordering: Collection[tuple[int, int]]


def stored(clue: Clue | None) -> dict[str, Any]:
    """A clue as JSON keeps it; empty where there is none."""
    if clue is None:
        return {}
    record: dict[str, Any] = {"x": round(clue.x, 1), "y": round(clue.y, 1), "area": clue.area, "panel": clue.panel}
    for name in ("readings", "paint"):
        record[name] = [[tint.packed, round(p, 5)] for tint, p in getattr(clue, name)]
    doubts = [stored(doubt.clue) | {"odds": round(doubt.odds, 3)} for doubt in clue.doubts]
    return record | {"size": round(clue.size, 1)} | ({"doubts": doubts} if doubts else {})


def restored(record: Mapping[str, Any]) -> Clue | None:
    """The inverse of ``stored``."""
    if not record:
        return None
    readings, paint = (tuple((Tint.from_packed(t), p) for t, p in record[name]) for name in ("readings", "paint"))
    others = ((restored(doubt), doubt["odds"]) for doubt in record.get("doubts", ()))
    doubts = tuple(Doubt(clue, odds) for clue, odds in others if clue is not None)
    return Clue(record["x"], record["y"], record["area"], record["panel"], readings, paint, record["size"], doubts)


def ask_again(
    clues: Sequence[Clue],
    layout: PageLayout,
    bible: PageBible,
    *,
    answered: Mapping[int, Owner] | None = None,
    earlier: Sequence[EarlierMark] = (),
    cast: Collection[PartId] | None = None,
) -> list[Belonging | None]:
    """Whose part each code is, in their order.

    Args:
        answered: by a clue's place among them, the part and role that a person gave it.
        earlier, cast: as for ``find_parts``.

    Returns:
        None for clues that were answered, and for those in a bible without parts.
    """
    answered = answered or {}
    owners: list[Belonging | None] = [None] * len(clues)
    if not bible.parts:
        return owners
    known, facts = _with_facts(bible, {owner for owner in answered.values() if owner[0] is not None})
    asked: list[tuple[int, Clue]] = []
    for place, clue in enumerate(clues):
        owner = answered.get(place)
        if owner is None:
            asked.append((place, clue))
        elif owner in facts:
            certain = ((facts[owner], 1.0),)
            asked.append((place, replace(clue, readings=certain, paint=certain, doubts=())))
    panels = np.array(layout.panels, float).reshape(-1, 4)
    belongings = find_parts([c for _, c in asked], panels, layout.bordering, known, earlier=earlier, cast=cast)
    for (place, _), owner_found in zip(asked, belongings, strict=True):
        if place not in answered:
            owners[place] = owner_found
    return owners


def _with_facts(bible: PageBible, owners: Collection[Owner]) -> tuple[PageBible, dict[Owner, Tint]]:
    """The bible with a further slot for each owner that it knows, and the tint by which each of those is told."""
    facts: dict[Owner, Tint] = {}
    more = []
    for part in bible.parts:
        owner = (part.part, part.role)
        if owner in owners and owner not in facts:
            # No chart has a black of 99 % with these: the slot is this code's alone.
            number = len(facts) + 1
            facts[owner] = Tint(number % 97 + 1, 98, number // 97 + 1, 99)
            more.append(replace(part, tint=facts[owner]))
    return replace(bible, parts=(*bible.parts, *more)), facts
