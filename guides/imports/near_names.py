"""New names of a table that are nearly those that are there, or nearly one another: perhaps typed wrongly. No Django
in here."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache

from guides.imports.questions import Answers, Question, ask
from guides.imports.texts import alike
from guides.imports.texts import listed as lines_told

ALIKE = 0.8
"""Of difflib's ratio: one letter wrong, missing or changed in a name of four letters and more. Only a question hangs
on it."""
MOST_NEAR = 40
MOST_ASKED = 300
"""New names within one thing that are compared; a table that has more begins a bible, where everything is new."""
MOST_BETWEEN = 150
"""New names within one thing that are compared with one another."""
SORTS = ("subject", "costume", "part")
_FIGURES = re.compile(r"\d+")
_SIDES = re.compile(r"\b(?:left|right|links|rechts|linke[rs]?|rechte[rs]?|upper|lower|inner|outer|l|r)\b")

_LOOK_ALIKES = str.maketrans("аеорсухіѕјһкмтвнαορντικχεμβζ", "aeopcyxisjhkmtbhaopvtikxembz")
"""Letters of other alphabets that cannot be told from Latin ones in small or in capitals (after Unicode Technical
Standard 39, “confusables”)."""
_BRACKETS = re.compile(r"\s*[(\[][^()\[\]]*[)\]]$")
_MARKS = re.compile("[\u0300-\u036f]")

Known = Mapping[tuple[str, ...], Sequence[str]]
"""Names that are there, by the compared names of what they belong to: () for subjects."""
Names = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class NearName:
    """``name`` would be new; ``there`` is the one it nearly is, in the bible or, where ``within_table``, in the same
    table. ``place``: 0 of a subject, 1 of a costume, 2 of a part; ``within``: what it belongs to, as compared."""

    place: int
    within: tuple[str, ...]
    name: str
    there: str
    lines: tuple[int, ...]
    within_table: bool = False

    def __str__(self) -> str:
        where = "stands in the table too" if self.within_table else "is there already"
        lines = lines_told(self.lines)
        sort = SORTS[self.place]
        return f"{lines.capitalize()}: the {sort} “{self.name}” would be new, and “{self.there}” {where}."


def near_names(rows: Iterable[tuple[int, Names]], known: Known) -> list[NearName]:
    """Each new name that is nearly another in the same place; of two of the same table the rarer one.

    Args:
        rows: line and names of each row.
    """
    by_place: dict[tuple[int, tuple[str, ...]], dict[str, list[tuple[int, str]]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for line, names in rows:
        keys = tuple(map(alike, names))
        for place, name in enumerate(names):
            if name:
                by_place[place, keys[:place]][keys[place]].append((line, name))
    nearly: list[NearName] = []
    for (place, within), names_here in by_place.items():
        there = {alike(other): other for other in known.get(within, ())}
        for key, seen in list(names_here.items())[:MOST_ASKED]:
            if key in there or len(nearly) >= MOST_NEAR:
                continue
            lines, name = tuple(line for line, _ in seen), seen[0][1]
            if near := _nearest(key, name, there):
                nearly.append(NearName(place, within, name, there[near], lines))
                continue
            commoner = {
                other: lines_of[0][1]
                for other, lines_of in names_here.items()
                if _rank(lines_of) < _rank(seen) and other not in there
            }
            if len(names_here) <= MOST_BETWEEN and (near := _nearest(key, name, commoner)):
                nearly.append(NearName(place, within, name, names_here[near][0][1], lines, within_table=True))
    return nearly


def _rank(seen: Sequence[tuple[int, str]]) -> tuple[int, int]:
    """What is named more often, or else first, is the one that is meant."""
    return -len(seen), seen[0][0]


def _nearest(key: str, name: str, others: Mapping[str, str]) -> str:
    """The name most like it; two that differ by a figure or a side (“stripe 1”, “left boot”) are meant to.

    Args:
        others: names by how they are compared.
    """
    plain = _plain(name)
    twins = [other for other, written in others.items() if _twins(plain, _plain(written))]
    for near in (*twins, *get_close_matches(key, list(others), 3, ALIKE)):
        other = _plain(others[near])
        if _FIGURES.findall(other) == _FIGURES.findall(plain) and _SIDES.findall(other) == _SIDES.findall(plain):
            return near
    return ""


@lru_cache(10_000)
def _plain(name: str) -> str:
    """What a name has in common with itself without accents, in letters of another alphabet that look the same, or
    in UTF-8 that was read as Windows-1252."""
    with suppress(UnicodeError):
        name = name.encode("cp1252").decode("utf-8")
    return _MARKS.sub("", unicodedata.normalize("NFKD", alike(name))).translate(_LOOK_ALIKES)


def _twins(name: str, other: str) -> bool:
    """Whether only the places of letters behind the first tell two names apart, or a remark in brackets that one of
    them ends with."""
    swapped = name[:1] == other[:1] and len(name) == len(other) and sorted(name) == sorted(other)
    return swapped or name == _BRACKETS.sub("", other) or other == _BRACKETS.sub("", name)


def near_question(near: Sequence[NearName], answers: Answers) -> list[Question]:
    """One question for all of them."""
    if not near:
        return []
    single = len(near) == 1
    words = "A new name is nearly another one. Is it the same?"
    if not single:
        words = f"{len(near)} new names are nearly others. Are they the same?"
    choices = (
        ("same", "the same: take what is there" if single else "all the same: take what is there"),
        ("new", "another one: it is new" if single else "all others: they are new"),
    )
    return [ask("near", words, choices, answers, about=tuple(map(str, near)))]


def as_meant(names: Names, near: Iterable[NearName]) -> Names:
    """The names of a row, each that is nearly another replaced by it."""
    meant = list(names)
    keys = [alike(name) for name in names]
    for near_name in near:
        if keys[near_name.place] == alike(near_name.name) and tuple(keys[: near_name.place]) == near_name.within:
            meant[near_name.place] = near_name.there
    return (meant[0], meant[1], meant[2])
