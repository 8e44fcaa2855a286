"""How bad a flag is, in words. CIEDE2000 between the two printed colours ranks flags; it never makes one."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Severity:
    """A band of difference in print: ``above`` it and up to the next band's."""

    rank: int
    word: str
    above: float
    meaning: str


WANDERING = 5.0
"""A run on coldset newsprint wanders by about as much itself: ISO 12647-3 tolerates 5 on the solids (from memory,
and there in CIE 1976 units)."""

GLARING = 12.0
"""Beyond nearly every step between neighbours on the classic chart; bare paper against 25 % cyan is 14.6 (TR 002)."""

SEVERITIES = (
    Severity(1, "slight", 0.0, "Hardly more than a run wanders by itself, but the code is still another one."),
    Severity(2, "plain", WANDERING, "A reader who has the last issue beside this one sees it."),
    Severity(3, "glaring", GLARING, "Nobody takes it for the same thing."),
)


def severity(delta_e: float) -> Severity:
    """The band of a CIEDE2000 difference (0 or more)."""
    return next(band for band in reversed(SEVERITIES) if delta_e >= band.above)
