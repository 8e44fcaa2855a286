"""How well words fit names, and slips of the keys. Texts alone: nothing is asked of a database.

A word may fit a name, the code that is locked or what that looks like (``bible/colour/colour_words.py``); only
where nothing fits is a word read as a slip, and then it is said. More parts than are shown are weighed by their
names alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

WORD = re.compile(r"\w+")

IN_PART, IN_SUBJECT, IN_COSTUME = 0.0, 0.2, 1.0
"""What a word costs by the name that it fits: people ask for a part of somebody, rarely for a costume, and a
costume is often called for its main part (“work coat”), whose every part would come first."""

BEGINS_A_WORD = 0.5
"""A word's beginning instead of all of it: the usual thing while somebody types."""

INSIDE = 4.0
"""In the middle of a word (“oat” in “coat”): found, but behind everything that begins so."""

NOWHERE = 9.0
"""More than any place costs: a word that fits by its code or colour alone says what that costs."""

NO_PART = 1.0
"""Nothing that was typed names the part: who has asked for a costume gets it, after the parts of that name."""

NO_SUBJECT = 0.5
"""The same for whom it is of, where several words were typed: “ta co” is somebody's coat, no table cover."""

SHORT = 4
LONG = 8
"""From so many letters on a word may have one slip, and two: shorter words are too near to each other."""


WEIGHTS = {
    "subject": IN_SUBJECT,
    "costume": IN_COSTUME,
    "begins": BEGINS_A_WORD,
    "inside": INSIDE,
    "no_part": NO_PART,
    "no_subject": NO_SUBJECT,
    "short": SHORT,
    "long": LONG,
}
"""For a look-up without connection, which weighs in the browser."""


class Names(NamedTuple):
    """Of a part, in capitals."""

    subject: str
    costume: str
    part: str


@lru_cache(maxsize=16_384)
def _cost(word: str, name: str) -> float:
    """How far a name is from being what was typed; ``NOWHERE`` where it does not hold the word."""
    at = name.find(word)
    if at < 0:
        return NOWHERE
    best = INSIDE
    while at >= 0:
        if at == 0 or not name[at - 1].isalnum():
            end = at + len(word)
            if end == len(name) or not name[end].isalnum():
                return 0.0
            best = BEGINS_A_WORD
        at = name.find(word, at + 1)
    return best


def cost_of(words: Iterable[str], names: Names, given: Iterable[float | None]) -> float:
    """How far a part is from what was asked for; the least comes first.

    Args:
        words: in capitals.
        given: for each word what it costs by its code or its colour; None where it fits by name alone.
    """
    total, several, names_part, names_subject = 0.0, 0, False, False
    for word, other in zip(words, given, strict=True):
        in_part = IN_PART + _cost(word, names.part)
        in_subject = IN_SUBJECT + _cost(word, names.subject)
        best = min(in_part, in_subject, IN_COSTUME + _cost(word, names.costume))
        names_part |= in_part < INSIDE
        names_subject |= in_subject < INSIDE
        if other is not None and other < best:
            best = other
        total += best
        several += 1
    if several > 1 and not names_subject:
        total += NO_SUBJECT
    return total if names_part else total + NO_PART


def words_in(names: Iterable[str]) -> set[str]:
    """The words that names are made of, as they are written."""
    words: set[str] = set()
    for name in names:
        words.update(WORD.findall(name))
    return words


def slips_of(word: str, known: Iterable[str]) -> list[str]:
    """The known words that somebody may have meant, nearest first: one slip of the keys away, two from a long word.
    A slip is a letter too many, too few, another one, or two that changed places."""
    if len(word) < SHORT:
        return []
    most = 2 if len(word) >= LONG else 1
    near = []
    for other in known:
        if len(other) < len(word) - most:
            continue
        # A word that is still being typed is compared with as much of a longer one.
        away, unfinished = min(
            (slips_between(word, part, most), part != other) for part in (other, other[: len(word)])
        )
        if away <= most:
            near.append((away, unfinished, other))
    return [other for _, _, other in sorted(near)]


def slips_between(word: str, other: str, most: int) -> int:
    """How many slips lie between two words, ``most + 1`` where they are more than that: the optimal string alignment
    distance (L. Boytsov, Indexing Methods for Approximate Dictionary Searching, 2011)."""
    # What both begin and end with needs no looking at, and most pairs differ at once.
    begin, end_word, end_other = 0, len(word), len(other)
    while begin < min(end_word, end_other) and word[begin] == other[begin]:
        begin += 1
    while end_word > begin and end_other > begin and word[end_word - 1] == other[end_other - 1]:
        end_word, end_other = end_word - 1, end_other - 1
    word, other = word[begin:end_word], other[begin:end_other]
    longest = max(len(word), len(other))
    if not word or not other or (most == 1 and longest > 2):
        return min(longest, most + 1)
    before, row = [0] * (len(other) + 1), list(range(len(other) + 1))
    for at, letter in enumerate(word, 1):
        earlier, before, row = before, row, [at]
        for place, facing in enumerate(other, 1):
            step = min(before[place] + 1, row[-1] + 1, before[place - 1] + (letter != facing))
            if at > 1 and place > 1 and letter == other[place - 2] and word[at - 2] == facing:
                step = min(step, earlier[place - 2] + 1)
            row.append(step)
    return min(row[-1], most + 1)
