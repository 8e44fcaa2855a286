"""Where a decision about a part would hold: in which roles, where it begins and ends, and what a rule makes of the
base between."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.db.models import Min

from bible.colour.charts import Chart
from bible.colour.gradients import TintOrGradient, shifted
from bible.colour.shifts import Shift
from bible.models import Edition, Issue, Lock, Part, Series
from bible.models.roles import BASE_ROLE
from bible.models.stretches import Stretch
from bible.series.refusals import Refused

Piece = tuple[int, int | None, TintOrGradient]
"""(from position, to position, tint or gradient)."""


def span(
    part: Part, role: str, from_position: int, to_position: int | None, edition: Edition | None = None
) -> tuple[int, int | None]:
    """Where a new decision begins and ends: what stands is asked for once.

    It ends as asked, else at the next change already decided. One for the first issue reaches as far back as what it
    replaces, which would else be left standing where there is no issue.

    Raises:
        Refused: it would end before any issue comes, so that it would be in force in none.
    """
    if to_position is not None and to_position <= from_position:
        raise Refused("A lock must end after the issue it begins with.")
    standing = Lock.every_printing.of_edition(edition).of(part.pk, role).standing().order_by("from_position")
    held = list(standing.values_list("from_position", "to_position"))
    first = first_position(part.costume.subject.series_id) if held else 0
    if to_position is None:
        to_position = next((begins for begins, _ in held if begins > max(from_position, first)), None)
    if to_position is not None and not _is_in_force(part, from_position, to_position):
        raise Refused("This lock would be in force in no issue: say from which issue on it holds.")
    if from_position > first:
        return from_position, to_position
    replaced = (begins for begins, ends in held if ends is None or ends > from_position)
    return min(from_position, next(replaced, from_position)), to_position


def until(
    part: Part, role: str, from_position: int, to_position: int | None, edition: Edition | None = None
) -> int | None:
    """Where a new decision ends that begins at a position; refuses as ``span`` does."""
    return span(part, role, from_position, to_position, edition)[1]


def first_position(series_id: int) -> int:
    """Where the running order begins; 0 without issues. At it or before it is one thing: no issue lies between."""
    return Issue.objects.filter(series=series_id).aggregate(first=Min("position"))["first"] or 0


def _is_in_force(part: Part, start: int, end: int) -> bool:
    """Whether a stretch covers an issue; in a series that has none yet there is nothing to say."""
    issues = Issue.objects.filter(series=part.costume.subject.series_id)
    return issues.filter(position__gte=start, position__lt=end).exists() or not issues.exists()


def rule_pieces(part: Part, rule: Shift, start: int, end: int | None, edition: Edition | None = None) -> list[Piece]:
    """What a rule makes of the base over a stretch; neighbours that come out the same are one piece. In an edition
    the base is its own where it has one."""
    chart = part.costume.subject.series.chart
    return pieces_of(_bases(part, start, end, edition), rule, chart, start, end)


def _bases(part: Part, start: int, end: int | None, edition: Edition | None) -> list[Piece]:
    """The base over a stretch, in running order."""
    bases = Lock.every_printing.of(part.pk, BASE_ROLE).overlapping(start, end).order_by("from_position")
    first = [(base.from_position, base.to_position, base.locked) for base in bases.of_edition(None)]
    if edition is None:
        return first
    own = [(base.from_position, base.to_position, base.locked) for base in bases.of_edition(edition)]
    taken = [(begins, ends) for begins, ends, _ in own]
    fallen_back = [
        (*free, tint)
        for begins, ends, tint in first
        for free in left_open(Stretch(begins, ends), taken)
        if (free.to_position is None or free.to_position > start) and (end is None or free.from_position < end)
    ]
    return sorted([*own, *fallen_back], key=lambda piece: piece[0])


def left_open(stretch: Stretch, taken: Iterable[tuple[int, int | None]]) -> list[Stretch]:
    """What of a stretch others do not cover, in running order."""
    free, begins = [], stretch.from_position
    for other_begins, other_ends in sorted(taken, key=lambda other: other[0]):
        if stretch.to_position is not None and other_begins >= stretch.to_position:
            break
        if other_begins > begins:
            free.append(Stretch(begins, other_begins))
        if other_ends is None:
            return free
        begins = max(begins, other_ends)
    if stretch.to_position is None or begins < stretch.to_position:
        free.append(Stretch(begins, stretch.to_position))
    return free


def pieces_of(bases: Sequence[Piece], rule: Shift, chart: Chart, start: int, end: int | None) -> list[Piece]:
    """A rule applied to stretches of base in running order, cut to ``start`` and ``end``."""
    pieces: list[Piece] = []
    for begins, ends, base in bases:
        tint = shifted(base, rule, chart)
        first = max(begins, start)
        last = ends if end is None else end if ends is None else min(ends, end)
        if pieces and pieces[-1][1] == first and pieces[-1][2] == tint:
            first = pieces.pop()[0]
        pieces.append((first, last, tint))
    return pieces


def why_no_role(series: Series, part: Part | None, role: str) -> str:
    """Why nothing may be said of a part in a role; empty where it may. A role is for the kinds of subject that the
    series says, but what has been locked in it before keeps it. Nothing is asked where a role is for every kind."""
    if part is None or not (entry := series.roles.get(role)) or not entry.kinds:
        return ""
    why = series.refused_role(role, part.costume.subject.kind)
    return "" if why and Lock.every_printing.of(part.pk, role).exists() else why
