"""Looking a code up, fast: a question in, parts with their codes out. The page, the command and programs share it.

Every word has to fit: a name of the part, its costume or its subject, in whatever order; or the code it is locked to;
or what that colour is called. Where nothing fits, words are taken for slips of the keys.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import chain

from django.db.models import Q, prefetch_related_objects

from bible.locks.questions import Term, terms_of
from bible.locks.wording import IN_COSTUME, INSIDE, Names, cost_of, slips_of, words_in
from bible.models import Costume, Edition, Lock, Part, PartQuerySet, Series, matching_words

LOOKUP_LIMIT = 80
"""More answers than this help nobody with a brush in the other hand."""

WEARS_IT = 0.3
"""What a code that is locked now costs: nearer than a name that only begins so."""

WORE_IT = IN_COSTUME
"""What one costs that was locked, or will be, in other issues."""

SUCH_A_COLOUR = 0.6
"""What a word for the colour costs: a name that says so itself comes first (“Red Nan” before all that is red)."""

NAME_FIELDS = ("name_upper", "costume__name_upper", "costume__subject__name_upper")


@dataclass(frozen=True, slots=True)
class FoundPart:
    """One part that matches, with its locks in force, base first. ``wore``: where the question held a code, the locks
    of other issues that carry it."""

    part: Part
    locks: tuple[Lock, ...]
    in_use: bool
    wore: tuple[Lock, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What a question found, best first. ``read_as``: words that fitted nothing, each with what it was taken for."""

    found: list[FoundPart]
    terms: tuple[Term, ...] = ()
    read_as: tuple[tuple[str, str], ...] = ()


class _Asked:
    """A question's terms with the parts that each fits by its code or its colour, and at what cost."""

    def __init__(self, series: Series, terms: Sequence[Term], position: int, edition: Edition | None) -> None:
        self.series, self.terms, self.edition = series, terms, edition
        self.words = [term.word.upper() for term in terms]
        self.costs = [_holders(series, term, position, edition) for term in terms]

    def parts(self) -> PartQuerySet:
        """Parts that every term fits; without an order."""
        fits = Q()
        for term, holders in zip(self.terms, self.costs, strict=True):
            by_name = matching_words(term.word, *NAME_FIELDS)
            fits &= by_name | Q(pk__in=list(holders)) if holders else by_name
        return Part.objects.of_series(self.series).filter(fits)

    def rank(self, part: int, names: Names, *, worn: bool) -> tuple[float, bool, int]:
        """The least comes first."""
        cost = cost_of(self.words, names, [holders.get(part) for holders in self.costs])
        return cost, not worn, len(names.subject) + len(names.part)

    def rank_of(self, part: Part, position: int) -> tuple[float, bool, int]:
        names = Names(part.costume.subject.name_upper, part.costume.name_upper, part.name_upper)
        return self.rank(part.pk, names, worn=part.costume.in_use_at(position))


def _holders(series: Series, term: Term, position: int, edition: Edition | None) -> dict[int, float]:
    """What the parts cost that a term fits by the codes they are locked to."""
    costs: dict[int, float] = {}
    if not term.called and term.tint is None:
        return costs
    of_series = Lock.every_printing.filter(series=series).order_by()
    now = of_series.needed_in(edition, position)
    if term.called:
        called = now.filter(tint__in=[tint.packed for tint in term.called])
        costs = dict.fromkeys(called.values_list("part", flat=True), SUCH_A_COLOUR)
    if term.tint is not None:
        for part in of_series.of_printing(edition).standing().carrying(term.tint).values_list("part", flat=True):
            costs[part] = min(costs.get(part, INSIDE), WORE_IT)
        for part in now.carrying(term.tint).values_list("part", flat=True):
            costs[part] = min(costs[part], WEARS_IT)
    return costs


def look_up(
    series: Series,
    words: str,
    position: int,
    limit: int | None = LOOKUP_LIMIT,
    edition: Edition | None = None,
) -> list[FoundPart]:
    """What ``answer_to`` finds, alone."""
    return answer_to(series, words, position, limit, edition).found


def answer_to(
    series: Series,
    words: str,
    position: int,
    limit: int | None = LOOKUP_LIMIT,
    edition: Edition | None = None,
) -> Answer:
    """Parts that fit every word of a question as of a position, best first; with the codes that an edition needs
    where one is asked for.

    ``limit`` None: all of them. Without words there are no answers: the whole bible is another page.
    """
    terms = terms_of(series, words)
    if not terms:
        return Answer([])
    asked = _Asked(series, terms, position, edition)
    parts = _best(asked, limit, position)
    meant: dict[str, str] = {}
    if not parts and (meant := _meant(series, terms)):
        read = [replace(term, word=meant.get(term.word, term.word)) for term in terms]
        asked = _Asked(series, read, position, edition)
        parts = _best(asked, limit, position)
    return Answer(_with_locks(asked, parts, position), tuple(asked.terms), tuple(meant.items()) if parts else ())


def _best(asked: _Asked, limit: int | None, position: int) -> list[Part]:
    """The parts that fit, best first: among those that fit alike what is worn, then short names, then the bible's
    order. Where more fit than are shown, all are weighed by their names alone and the best are fetched."""
    few = LOOKUP_LIMIT if limit is None else limit
    parts = list(asked.parts().with_names()[: few + 1])
    if len(parts) <= few:
        prefetch_related_objects(parts, "costume__stretches")
        return sorted(parts, key=lambda part: asked.rank_of(part, position))
    worn = set(Costume.objects.in_use(position).filter(subject__series=asked.series).values_list("pk", flat=True))
    rows = asked.parts().in_names_order().values_list("pk", "costume", *reversed(NAME_FIELDS))
    ranked = sorted(
        (asked.rank(part, Names(*names), worn=costume in worn), at, part)
        for at, (part, costume, *names) in enumerate(rows)
    )
    best = [part for _, _, part in ranked[:limit]]
    fetched = {part.pk: part for part in Part.objects.filter(pk__in=best).with_names().with_times()}
    return [fetched[part] for part in best]


def _with_locks(asked: _Asked, parts: Iterable[Part], position: int) -> list[FoundPart]:
    parts = list(parts)
    tints = {term.tint for term in asked.terms if term.tint is not None}
    if not tints:
        needed = Lock.every_printing.needed_in(asked.edition, position)
        locks = needed.by_part([part.pk for part in parts], asked.series.roles)
        return [FoundPart(part, tuple(locks[part.pk]), part.costume.in_use_at(position)) for part in parts]
    every_lock = Lock.every_printing.of_printing(asked.edition).standing()
    standing = every_lock.by_part([part.pk for part in parts], asked.series.roles)
    rows = []
    for part in parts:
        here = [lock for lock in standing[part.pk] if lock.holds_at(position)]
        own = {lock.role for lock in here if lock.edition_id}
        now = tuple(lock for lock in here if lock.edition_id or lock.role not in own)
        wore = tuple(lock for lock in standing[part.pk] if lock.tint in tints and not lock.holds_at(position))
        rows.append(FoundPart(part, now, part.costume.in_use_at(position), wore))
    return rows


def _meant(series: Series, terms: Iterable[Term]) -> dict[str, str]:
    """What words that stand in no name may have been meant for; words that fit by something else stay."""
    parts = Part.objects.of_series(series).order_by()
    names = chain.from_iterable(
        parts.values_list(field, flat=True).distinct()
        for field in ("name", "costume__name", "costume__subject__name")
    )
    known = {word.upper(): word for word in sorted(words_in(names))}
    meant = {}
    for term in terms:
        word = term.word.upper()
        if term.tint is None and not term.called and not any(word in other for other in known):
            near = slips_of(word, known)
            if not near:
                return {}
            meant[term.word] = known[near[0]]
    return meant
