"""Which looks are in which panel: figures added while the page gains by them, panels speaking for each other."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from guides.imaging.writing.bible_file import EarlierMark, PageBible, PartId
from guides.imaging.writing.figures import DressedSubject, Figure, PanelCodes, figure_gains, find_look, shared_out

FloatArray = npt.NDArray[np.float64]

PASSES = 2
"""Times the panels are looked at: the second knows who is on the page."""

MOST_FIGURES = 12
"""Of one panel; few of a crowd's people carry codes of their own."""

SELDOM = 0.12
"""Chance that a subject stands in a panel of which nothing is known."""

ON_PAGE = 0.40
"""The same for one who stands in another panel of the page in the same costume."""

ANOTHER_COSTUME = 0.03
"""The same for one who stands in another panel in another costume."""

NOT_ON_PAGE = 0.4
"""What the chance of one who has been found in no other panel is multiplied by."""

IN_CAST, NOT_IN_CAST = 0.45, 0.004
"""The same where a person has said who is on the page."""

EARLIER_PAGES = 3.0
"""Pages of the past that weigh as much as not knowing."""

FADING = 0.8
"""Weight of a page of the past against the one after it: a scene goes on from page to page."""

LONG_AGO = 0.3
"""Share of the whole past in what is expected; the rest is the last pages'."""

OUT_OF_USE = 0.1
"""What the chance of a costume is multiplied by that should not be worn at the issue (a guess: no source)."""

OF_PAGE = 0.5
"""Chance that who is on a page stands in one of its panels."""


FAR_SHORT = 5.0
"""Log odds by which another answer for a panel may fall short and still be told."""


@dataclass(frozen=True)
class Presence:
    """How likely looks are in a panel, before it is looked at: ``chance`` (looks,); ``cast`` the subjects said to be
    on the page by a person, by number, None where nobody said."""

    chance: FloatArray
    cast: frozenset[int] | None


def presence_of(
    bible: PageBible, looks: Sequence[DressedSubject], earlier: Sequence[EarlierMark], cast: Collection[PartId] | None
) -> Presence:
    """Who is likely, by the pages before and by what a person has said."""
    of_subject = np.bincount([look.subject for look in looks], minlength=len(bible.subjects))
    subjects, looked = _seen(bible, looks, earlier)
    named = None if cast is None else frozenset(n for n, s in enumerate(bible.subjects) if s.id in cast)
    chances = []
    for number, look in enumerate(looks):
        here = subjects[look.subject] if named is None else IN_CAST if look.subject in named else NOT_IN_CAST
        here *= OUT_OF_USE if look.costume in bible.out_of_use else 1.0
        own = looked[number] + 0.5
        all_of_subject = sum(looked[n] + 0.5 for n, other in enumerate(looks) if other.subject == look.subject)
        chances.append(min(here * own / all_of_subject, 0.9) if of_subject[look.subject] > 1 else min(here, 0.9))
    return Presence(np.array(chances), named)


def _seen(
    bible: PageBible, looks: Sequence[DressedSubject], earlier: Sequence[EarlierMark]
) -> tuple[FloatArray, FloatArray]:
    """Chance of each subject in a panel by the pages before, and how many late pages each look was seen on."""
    where = {part.part: (part.subject, part.costume) for part in bible.parts}
    pages = {page: age for age, page in enumerate(reversed(list(dict.fromkeys(m.page for m in earlier))))}
    on = {(where[m.part], m.page) for m in earlier if m.part in where}
    late = np.array([FADING**age for age in range(len(pages))])
    subjects, looked = np.zeros((2, len(bible.subjects))), np.zeros(len(looks))
    for subject, page in {(subject, page) for (subject, _), page in on}:
        subjects[:, subject] += (1.0, late[pages[page]])
    numbers = {(look.subject, look.costume): number for number, look in enumerate(looks)}
    for key, page in on:
        if key in numbers:
            looked[numbers[key]] += late[pages[page]]
    total = np.array([len(pages), late.sum()])[:, None]
    shares = (EARLIER_PAGES * SELDOM + OF_PAGE * subjects) / (EARLIER_PAGES + total)
    return LONG_AGO * shares[0] + (1 - LONG_AGO) * shares[1], looked


def cast_page(
    scenes: Sequence[PanelCodes], looks: Sequence[DressedSubject], presence: Presence
) -> list[list[Figure]]:
    """The figures of every panel."""
    base = presence.chance
    by_panel: list[list[Figure]] = [[] for _ in scenes]
    for turn in range(PASSES):
        by_panel = [
            _cast_panel(scene, looks, _costs(looks, by_panel, number, presence) if turn else _odds(base))
            for number, scene in enumerate(scenes)
        ]
    return by_panel


def costs_in(
    panel: int, by_panel: Sequence[Sequence[Figure]], looks: Sequence[DressedSubject], presence: Presence
) -> FloatArray:
    """What each look costs in a panel (log odds against it), once the page is cast."""
    return _costs(looks, by_panel, panel, presence)


def rivals(
    scene: PanelCodes, figures: Sequence[Figure], looks: Sequence[DressedSubject], costs: FloatArray
) -> list[tuple[list[Figure], float]]:
    """Other answers for a panel, each with one figure gone or another in its place, and what each falls short of the
    answer given (log odds, 0 or less for most). The answer itself is the first; what falls far short is left out.
    """
    cost_of = {(look.subject, look.costume): float(c) for look, c in zip(looks, costs, strict=True)}
    total = _total(figures, cost_of)
    answers: list[tuple[list[Figure], float]] = [(list(figures), 0.0)]
    for out in figures:
        rest = shared_out(scene, [f for f in figures if f is not out])
        without = _total(rest, cost_of)
        if without - total > -FAR_SHORT:
            answers.append((rest, without - total))
        held = _held(scene, rest)
        there = {f.look.subject for f in rest}
        has_place = any(f.look.is_place for f in rest)
        for number, look in enumerate(looks):
            taken = look is out.look or (has_place if look.is_place else look.subject in there)
            if taken or scene.may_gain(look) - costs[number] + without - total < -FAR_SHORT:
                continue
            figure = find_look(scene, look, held)
            if figure is None or figure.gain - costs[number] + without - total < -FAR_SHORT:
                continue
            answer = shared_out(scene, [*rest, figure])
            short = _total(answer, cost_of) - total
            if short > -FAR_SHORT:
                answers.append((answer, short))
    return answers


def _total(figures: Sequence[Figure], costs: dict[tuple[int, int], float]) -> float:
    return sum(f.gain - costs[f.look.subject, f.look.costume] for f in figures)


def _odds(chances: Sequence[float] | FloatArray) -> FloatArray:
    p = np.array(chances)
    return np.asarray(np.log(1 - p) - np.log(p))


def _costs(
    looks: Sequence[DressedSubject], by_panel: Sequence[Sequence[Figure]], panel: int, presence: Presence
) -> FloatArray:
    others = [f.look for number, figures in enumerate(by_panel) if number != panel for f in figures]
    worn = {(look.subject, look.costume) for look in others}
    there = {look.subject for look in others}
    chances = []
    for look, before in zip(looks, presence.chance.tolist(), strict=True):
        if (look.subject, look.costume) in worn:
            chances.append(max(before, ON_PAGE))
        elif look.subject in there and not look.is_place:
            chances.append(min(before, ANOTHER_COSTUME))
        elif presence.cast is None:
            chances.append(before * NOT_ON_PAGE)
        else:
            chances.append(before)
    return _odds(chances)


def _cast_panel(scene: PanelCodes, looks: Sequence[DressedSubject], costs: FloatArray) -> list[Figure]:
    """Figures added one by one, the most telling first, then judged together and dropped where one doesn't pay."""
    if not len(scene.where):
        return []
    figures: list[Figure] = []
    waiting = {number: np.inf for number, look in enumerate(looks) if scene.may_gain(look) > costs[number]}
    for _ in range(MOST_FIGURES):
        best = _most_telling(scene, looks, costs, waiting, _held(scene, figures))
        if best is None:
            break
        figures = shared_out(scene, [*figures, best])
        taken = {f.look.subject for f in figures}
        has_place = any(f.look.is_place for f in figures)
        waiting = {
            n: worth for n, worth in waiting.items()
            if looks[n].subject not in taken and not (has_place and looks[n].is_place)
        }  # fmt: skip
    return _pruned(scene, figures, {(k.subject, k.costume): float(c) for k, c in zip(looks, costs, strict=True)})


def _most_telling(
    scene: PanelCodes, looks: Sequence[DressedSubject], costs: FloatArray, waiting: dict[int, float], held: FloatArray
) -> Figure | None:
    """The figure by which the panel gains most; ``waiting`` keeps what each look gained when it was last tried.

    What is held only grows, so a look that gained little before gains less now and isn't tried again.
    """
    best, worth = None, 0.0
    for number in sorted(waiting, key=lambda n: -waiting[n]):
        if waiting[number] <= worth:
            break
        figure = find_look(scene, looks[number], held)
        waiting[number] = -np.inf if figure is None else figure.gain - float(costs[number])
        if figure is not None and waiting[number] > worth:
            best, worth = figure, waiting[number]
    return best


def _held(scene: PanelCodes, figures: Sequence[Figure]) -> FloatArray:
    """What each code gains already."""
    held = np.zeros(len(scene.where))
    for figure, table in zip(figures, figure_gains(scene, figures), strict=True):
        held[figure.codes] = np.maximum(table[figure.codes, figure.slots], 0)
    return held


def _pruned(scene: PanelCodes, figures: list[Figure], costs: dict[tuple[int, int], float]) -> list[Figure]:
    """Without the figures by which the panel loses."""
    while figures:
        total = _total(figures, costs)
        fewer = [shared_out(scene, [f for f in figures if f is not out]) for out in figures]
        totals = [_total(kept, costs) for kept in fewer]
        best = int(np.argmax(totals))
        if totals[best] <= total:
            break
        figures = fewer[best]
    return figures
