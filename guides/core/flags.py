"""Flags with what people need beside them: what was expected, how far off, how bad.

Whether there is a flag is decided by ``Mark.objects.flagged()`` alone; CIEDE2000 only ranks it.

The list filters by severity through the few distinct pairs of tints among the flags, since the database knows no
CIEDE2000.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bible.colour.difference import SeverityBand, delta_e_2000, severity
from bible.colour.notation import NotationError
from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array
from bible.models import Series
from bible.series.forms import explain
from guides.models import FlagKind, Mark, MarkQuerySet


@dataclass(frozen=True, slots=True)
class Flag:
    """One mark's disagreement. ``delta_e`` (CIEDE2000 in print) and ``severity`` only where two tints differ."""

    mark: Mark
    kind: FlagKind
    delta_e: float | None = None
    severity: SeverityBand | None = None

    @property
    def verdict(self) -> str:
        """The flag as the desk says it."""
        part = self.mark.part
        return self.kind.verdict.format(costume=part and part.costume.name, issue=self.mark.guide.issue.number)

    def as_dict(self) -> dict[str, object]:
        """What ``check --json`` prints."""
        mark = self.mark
        expected = mark.expected if isinstance(mark.expected, Tint) else None
        assert mark.part is not None
        return {
            "issue": mark.guide.issue.number,
            "page": mark.guide.page,
            "mark": mark.number,
            "kind": self.kind.value,
            "subject": mark.part.costume.subject.name,
            "costume": mark.part.costume.name,
            "part": mark.part.name,
            "role": mark.role,
            "written": mark.written,
            "expected": mark.series.write(expected) if expected else None,
            "delta_e": None if self.delta_e is None else round(self.delta_e, 2),
            "severity": self.severity.word if self.severity else None,
        }


def flags_of(marks: Iterable[Mark], press: PressCondition) -> list[Flag]:
    """The flags among marks, in their order, with differences computed for all of them at once."""
    flagged = [(mark, kind) for mark in marks if (kind := mark.flag_kind)]
    pairs = [(mark.tint, mark.expected) for mark, kind in flagged if kind is FlagKind.DIFFERS]
    differences = iter(differences_of(pairs, press))
    return [
        Flag(mark, kind, delta := next(differences), severity(delta))
        if kind is FlagKind.DIFFERS
        else Flag(mark, kind)
        for mark, kind in flagged
    ]


def differences_of(pairs: list[tuple[Tint, Tint]], press: PressCondition) -> list[float]:
    """CIEDE2000 between the printed colours of each pair of tints."""
    if not pairs:
        return []
    first, second = (press.lab(as_array(side)) for side in zip(*pairs, strict=True))
    return [float(delta) for delta in delta_e_2000(first, second)]


def of_severity(marks: MarkQuerySet, wanted: SeverityBand, press: PressCondition) -> MarkQuerySet:
    """Those of some flagged marks whose difference in print falls into a band of severity.

    The database knows no CIEDE2000, but among any number of marks there are few distinct pairs of tints.
    """
    pairs = marks.pairs()
    chosen = [
        pair for pair, delta in zip(pairs, differences_of(pairs, press), strict=True) if severity(delta) == wanted
    ]
    return marks.of_kind(FlagKind.DIFFERS).with_pair_in(chosen)


def reading_trouble(series: Series, written: str) -> str:
    """Why a code cannot be read, with the nearest readings; empty where it can."""
    try:
        series.read(written)
    except NotationError as error:
        return explain(error)
    return ""
