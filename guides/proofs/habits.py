"""Recurring proof faults: which parts, tints and pages come back wrong over the years, and how often of how many.

“Wrong” is what somebody has accepted as a fault; a share counts against every mark that was read or looked at. Few
readings say little, so shares are ranked by the lower end of their 95 % interval (Wilson 1927, J. Am. Stat. Assoc.
22).
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from math import sqrt
from typing import Any

from django.db.models import Count, Q, QuerySet

from bible.colour.tints import Tint
from bible.models import Part, Series
from guides.models import Guide, Mark, Proof, ProofDecision, ProofReading, ProofVerdict

Z = 1.959964
"""Standard normal quantile of a two-sided 95 % interval."""

FEWEST_WRONG = 2
"""One mishap is no habit."""

WRONG = Q(decision=ProofDecision.FAULT)

NamesOf = Callable[[Sequence[Any]], Mapping[Any, str]]
"""What things are called, by their keys."""


def lower_bound(wrong: int, read: int) -> float:
    """Lower end (0-1) of the Wilson score interval, 95 %, of ``wrong`` in ``read``; 0 where nothing was read."""
    if read <= 0:
        return 0.0
    share, z2 = wrong / read, Z * Z
    middle = share + z2 / (2 * read)
    spread = Z * sqrt(share * (1 - share) / read + z2 / (4 * read * read))
    return max(0.0, (middle - spread) / (1 + z2 / read))


@dataclass(frozen=True, slots=True)
class Habit:
    """Something that has come back wrong.

    Attributes:
        key: the part's key, the tint, or the page's label.
        thing: what it is called.
        wrong, read: how often of how many.
        kinds: the commonest verdicts with their counts, in words.
        is_habit: clearly more often than everything else in the series, and more than once.
    """

    key: Hashable
    thing: str
    wrong: int
    read: int
    kinds: str
    is_habit: bool

    @property
    def percent(self) -> float:
        return 100 * self.wrong / self.read

    @property
    def lowest(self) -> float:
        return 100 * lower_bound(self.wrong, self.read)

    @property
    def words(self) -> str:
        return f"{self.thing} came back wrong {self.wrong} of {self.read} times ({self.kinds})"


@dataclass(frozen=True, slots=True)
class Habits:
    """Of a series, worst first."""

    wrong: int
    read: int
    proofs: int
    parts: tuple[Habit, ...]
    tints: tuple[Habit, ...]
    pages: tuple[Habit, ...]

    @property
    def percent(self) -> float:
        return 100 * self.wrong / self.read if self.read else 0.0


def habits(series: Series) -> Habits:
    """Everything that has come back wrong, in as many queries whatever the number of proofs."""
    seen = _seen(series)
    total = seen.aggregate(read=Count("id"), wrong=Count("id", filter=WRONG))
    proofs = Proof.objects.filter(series=series).were_read().count()
    if not total["wrong"]:
        return Habits(0, total["read"], proofs, (), (), ())
    habits_of = partial(_found, seen, total["wrong"] / total["read"])
    return Habits(
        total["wrong"],
        total["read"],
        proofs,
        habits_of("mark__part", _part_names),
        habits_of("called", lambda tints: {tint: series.write(tint) for tint in tints if isinstance(tint, Tint)}),
        habits_of("proof__guide__page", lambda labels: {label: _page(label) for label in labels}),
    )


def _found(seen: QuerySet[ProofReading], rate: float, column: str, names: NamesOf) -> tuple[Habit, ...]:
    """What has come back wrong of the things in a column, the surest first.

    Args:
        rate: how often anything does, 0-1: what does so more often is a habit.
        names: what things are called; those it does not name are left out.
    """
    known = seen.exclude(**{f"{column}__isnull": True}).order_by()
    counts = list(
        known.values_list(column).annotate(read=Count("id"), wrong=Count("id", filter=WRONG)).filter(wrong__gt=0)
    )
    kinds: dict[Any, Counter[str]] = defaultdict(Counter)
    for key, verdict, ink, n in known.filter(WRONG).values_list(column, "verdict", "ink").annotate(n=Count("id")):
        kinds[key][_kind(verdict, ink)] += n
    called = names([key for key, _, _ in counts])
    made = [
        Habit(
            key,
            called[key],
            wrong,
            read,
            ", ".join(f"{word} {n}×" for word, n in kinds[key].most_common(3)),
            wrong >= FEWEST_WRONG and lower_bound(wrong, read) > rate,
        )
        for key, read, wrong in counts
        if key in called
    ]
    return tuple(sorted(made, key=lambda habit: (-lower_bound(habit.wrong, habit.read), habit.thing)))


def _seen(series: Series) -> Any:
    """Readings that say something: what could not be read counts once somebody has looked."""
    read = ProofReading.objects.filter(series=series, proof__state=Proof.State.READ)
    return read.exclude(verdict=ProofVerdict.CANNOT_TELL, decision="")


def _kind(verdict: str, ink: str) -> str:
    inks = {"c": "cyan", "m": "magenta", "y": "yellow", "k": "key"}
    word = (
        "seen by eye"
        if verdict in (ProofVerdict.AS_CALLED, ProofVerdict.CANNOT_TELL)
        else str(ProofVerdict(verdict).label)
    )
    if verdict in (ProofVerdict.INK_MISSING, ProofVerdict.WRONG_STRENGTH) and ink:
        return f"{inks[ink]} missing" if verdict == ProofVerdict.INK_MISSING else f"{inks[ink]} at the wrong strength"
    return word


def _part_names(keys: Iterable[int]) -> dict[int, str]:
    return {part.pk: part.full_name for part in Part.objects.filter(pk__in=keys).with_names()}


def _page(label: str) -> str:
    return f"page {label}" if label[:1].isdigit() else label


@dataclass(frozen=True, slots=True)
class Warning:
    """A habit that the pages to be handed off meet again. ``where`` names pages and marks."""

    habit: Habit
    where: str

    @property
    def words(self) -> str:
        return f"{self.habit.words}: here {self.where}"


def warnings(series: Series, guides: Iterable[Guide], marks: Iterable[Mark]) -> tuple[Warning, ...]:
    """What separators have forgotten before and these pages call for again."""
    known = habits(series)
    guides, marks = list(guides), list(marks)
    label = {guide.pk: str(guide) for guide in guides}
    made = []
    for habit in (*known.parts, *known.tints):
        if not habit.is_habit:
            continue
        hit = [mark for mark in marks if habit.key in (mark.part_id, mark.tint)]
        pages: dict[str, list[int]] = defaultdict(list)
        for mark in hit:
            pages[label[mark.guide_id]].append(mark.number)
        if pages:
            where = "; ".join(f"{page} {_marks(numbers)}" for page, numbers in pages.items())
            made.append(Warning(habit, where))
    for habit in known.pages:
        if habit.is_habit and any(guide.page == habit.key for guide in guides):
            made.append(Warning(habit, habit.thing))
    return tuple(made)


def _marks(numbers: list[int]) -> str:
    from guides.core.labels import runs

    return f"mark{'s' if len(numbers) > 1 else ''} {runs(numbers)}"
