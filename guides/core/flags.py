"""Flags with what people need beside them: what was expected, how far off, how bad.

Whether there is a flag is decided by ``Mark.objects.flagged()`` alone; CIEDE2000 only ranks it.

The list filters by severity through the few distinct pairs of tints among the flags, since the database knows no
CIEDE2000.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from bible.colour.difference import SeverityBand, delta_e_2000, severity
from bible.colour.notation import NotationError
from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array
from bible.models import Series
from bible.models.fields import NoTint
from bible.series.forms import explain
from guides.models import FlagKind, Mark, MarkQuerySet


@dataclass(frozen=True, slots=True)
class Flag:
    """One mark's disagreement. ``delta_e`` (CIEDE2000 in print) and ``severity`` only where two tints differ: those
    it begins with, or where these agree those it fades to. ``also`` are marks that disagree in just the same way,
    where the list has gathered them."""

    mark: Mark
    kind: FlagKind
    delta_e: float | None = None
    severity: SeverityBand | None = None
    also: tuple[Mark, ...] = ()

    @property
    def verdict(self) -> str:
        """The flag as the desk says it."""
        part = self.mark.part
        return self.kind.verdict.format(costume=part and part.costume.name, issue=self.mark.guide.issue.number)

    def as_dict(self) -> dict[str, object]:
        """What ``check --json`` prints."""
        mark = self.mark
        expected = None if isinstance(mark.expectation, NoTint) else mark.expectation
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
            "written": mark.both_written,
            "expected": mark.series.write(expected) if expected else None,
            "delta_e": None if self.delta_e is None else round(self.delta_e, 2),
            "severity": self.severity.word if self.severity else None,
        }


def flags_of(marks: Iterable[Mark], press: PressCondition) -> list[Flag]:
    """The flags among marks, in their order, with differences computed for all of them at once."""
    flagged = [(mark, kind) for mark in marks if (kind := mark.flag_kind)]
    pairs = [_apart(mark, kind) for mark, kind in flagged if kind in APART]
    differences = iter(differences_of(pairs, press))
    return [
        Flag(mark, kind, delta := next(differences), severity(delta)) if kind in APART else Flag(mark, kind)
        for mark, kind in flagged
    ]


def gathered(flags: Iterable[Flag]) -> list[Flag]:
    """A line for each thing that is wrong, where it was first, with the other marks of it; whatever has a note or a
    waiver keeps a line of its own."""
    lines: dict[tuple[object, ...], list[Flag]] = {}
    for flag in flags:
        mark = flag.mark
        own = mark.pk if mark.waived or getattr(mark, "read_notes", False) else 0
        same = (mark.part_id, mark.role, flag.kind, mark.both_written, mark.expected, mark.expected_to, own)
        lines.setdefault(same, []).append(flag)
    return [replace(first, also=tuple(flag.mark for flag in others)) for first, *others in lines.values()]


APART = (FlagKind.DIFFERS, FlagKind.FADES)
"""Kinds of flags where there are two tints, which print so far apart."""


def _apart(mark: Mark, kind: FlagKind) -> tuple[Tint, Tint]:
    if kind is FlagKind.DIFFERS:
        return mark.tint, mark.expected
    return ends_apart(mark.tint, mark.to_tint, mark.expected_to)


def ends_apart(tint: Tint, to_tint: Tint | NoTint | None, expected_to: Tint | NoTint) -> tuple[Tint, Tint]:
    """What a mark that begins as it should comes to, and what it should come to; flat, it stays what it is."""
    ends = (to_tint, expected_to)
    return tuple(end if isinstance(end, Tint) else tint for end in ends)  # type: ignore[return-value]


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

    def such(pairs: list[tuple[Tint, Tint]]) -> list[bool]:
        return [severity(delta) == wanted for delta in differences_of(pairs, press)]

    pairs, ends = marks.pairs(), marks.end_pairs()
    differing = [pair for pair, chosen in zip(pairs, such(pairs), strict=True) if chosen]
    fading = [end for end, chosen in zip(ends, such([ends_apart(*end) for end in ends]), strict=True) if chosen]
    return marks.with_flags_in(differing, fading)


def reading_trouble(series: Series, written: str) -> str:
    """Why a code cannot be read, with the nearest readings; empty where it can."""
    try:
        series.read(written)
    except NotationError as error:
        return explain(error)
    return ""
