"""A crowded page for the marking flow: a cast whose parts two letters find, and forty places with what is written there."""

from __future__ import annotations

from dataclasses import dataclass

from bible.models import Series
from tests.factories import make_costume, make_lock, make_part, make_subject

CAST = {
    "Ada Penn": {"coat": "YR3B2", "boots": "YR3B3", "hair": "YR2", "skin": "Y2R2", "scarf": "R3"},
    "Bo Tarn": {"jacket": "Y3B2", "trousers": "B3", "beret": "YR", "gloves": "Y2B2", "pipe": "R2B2"},
    "Lantern": {"glass": "Y2", "frame": "YB2"},
    "Old Ferry": {"hull": "RB3", "deck": "Y3R2", "mast": "Y2B3", "wheel": "YR2B2"},
}
"""No real comic's cast: names and codes of our own."""


@dataclass(frozen=True, slots=True)
class Written:
    """A code at a place of the page; ``letters`` find its part, none for background."""

    x: float
    y: float
    code: str
    letters: str
    subject: str
    part: str


def make_cast(series: Series) -> None:
    for name, parts in CAST.items():
        costume = make_costume(make_subject(series, name=name), name="as drawn")
        for part, code in parts.items():
            make_lock(make_part(costume=costume, name=part), code)


def forty(backgrounds: int = 8) -> list[Written]:
    """Forty places in rows of eight: the cast part by part, again and again, and backgrounds among them."""
    named = [(subject, part, code) for subject, parts in CAST.items() for part, code in parts.items()]
    every = 40 // backgrounds
    found: list[Written] = []
    for at in range(40):
        x, y = 0.08 + 0.12 * (at % 8), 0.12 + 0.19 * (at // 8)
        if at % every == every - 1:
            found.append(Written(x, y, "b2", "", "", ""))
        else:
            subject, part, code = named[(at - at // every) % len(named)]
            found.append(Written(x, y, code.lower(), part[:2], subject, part))
    return found
