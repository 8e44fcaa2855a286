"""The 64 tints of the demo's chart under their letter codes, the greys of key beside them, and how a tint is spelt.

Nothing is parsed here: a code is looked up in a table built from the tints themselves, so that text
still turns into a tint in one place only (``bible.colour.notation``).
"""

from __future__ import annotations

from itertools import product

from bible.colour.notation import Notation
from bible.colour.tints import Tint

STEP_FIGURES = {100: "", 50: "3", 25: "2"}
"""Letter alone = solid, 3 = 50 %, 2 = 25 % (the trade's spelling; common practice, no source)."""

STEPS = (0, 25, 50, 100)

NOTATION = Notation(key_steps=(("", 100), ("3", 50)))
"""The classic letters; solid and half key have codes of their own, for what is black or iron."""


def code_of(tint: Tint) -> str:
    """The letter code of a tint of the box, yellow first and key last; ``W`` is bare paper.

    Raises:
        KeyError: the tint has a percentage that is no step of the chart.
    """
    letters = (("Y", tint.y), ("R", tint.m), ("B", tint.c), ("K", tint.k))
    return "".join(letter + STEP_FIGURES[percent] for letter, percent in letters if percent) or "W"


CHART: dict[str, Tint] = {
    code_of(tint): tint for tint in (Tint(c=c, m=m, y=y) for y, m, c in product(STEPS, repeat=3))
}
"""Every code of the 64-tint chart in its canonical spelling, and the tint it stands for."""

BOX: dict[str, Tint] = CHART | {code_of(tint): tint for tint in (Tint(k=100), Tint(k=50))}
"""The chart, and what key prints alone."""


def step_by(tint: Tint, *, c: int = 0, m: int = 0, y: int = 0) -> Tint:
    """The tint some steps of the chart further on per ink (negative: weaker), held inside the chart."""

    def moved(percent: int, steps: int) -> int:
        return STEPS[min(max(STEPS.index(percent) + steps, 0), len(STEPS) - 1)]

    return Tint(c=moved(tint.c, c), m=moved(tint.m, m), y=moved(tint.y, y), k=tint.k)
