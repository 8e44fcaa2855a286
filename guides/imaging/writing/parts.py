"""Whose part each written code of a page is: one joint answer, with a chance for each and what differs.

A code whose area is in doubt is judged in each area that it may mean, and the part decides with it which one that is:
paint alone would lead a wrong code to a neighbour that is painted as written.

A code is never explained away: the figures are found through all codes of a panel, but each code's own part is judged
by its figure as it stands *without* that code (its place, its area's paint, what it touches). A code that another
subject's part would carry exactly has to outweigh that this subject is not there. Where a part that carries the code
and one that should carry another are both likely, the latter comes first unless it is far less likely (``MISSED``),
and both are told: a flag for nothing costs a key, a wrong code that nobody sees costs a plate.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import islice, takewhile

import numpy as np
import numpy.typing as npt

from bible.colour.tints import Tint
from guides.imaging.writing.bible_file import EarlierMark, PageBible, PartId
from guides.imaging.writing.casting import cast_page, costs_in, presence_of, rivals
from guides.imaging.writing.clues import Clue, ClueAgreement, agree, smallness
from guides.imaging.writing.figures import IN_FIGURE, DressedSubject, Figure, PanelCodes, figure_gains
from guides.imaging.writing.poses import FigureLayout
from guides.imaging.writing.usual import UsualPlaces, usual_places

FloatArray = npt.NDArray[np.float64]

TEMPERATURE = 1.5
"""Log odds are divided by this: clues that lean on each other count twice. The least log loss on ten crowded pages
read by the program with a bible of all their casts, 433 codes (0.52 at 1, 0.45 at 1.3, 0.44 at 1.5 and 1.7)."""

ANSWERS = 3.0
"""The same for whole answers to a panel, in which more clues lean on each other."""

TWO_OF_ONE = 2.0
"""What it costs (log odds) that a subject stands in a panel a second time, in another costume."""

USUAL_NOBODYS = 0.14
"""Share of codes that are nobody's part, on pages of our own; ``WORTH`` earlier marks weigh as much."""

WORTH = 60.0

MOST_BY_HABIT = 1.2
"""Log odds by which earlier marks may move it: a house may keep no marks of background at all."""

TOLD = 0.01
"""Parts less likely than this are left out of the alternatives."""

MOST_ALTERNATIVES = 6

MOST_ELSEWHERE = 9
"""Parts that carry the code read, told beside the alternatives."""

BIBLE_WEIGHT = 8.0
"""Odds given to the code that the bible expects before the writing is read; as much as a lock has before paint is."""

MISSED = 2.0
"""What a wrong code that nobody is told of costs, against a right one that is asked about (the one is seen on the
proof, if at all, the other costs a key: a guess, no source). Crowds, 125 wrong codes and 834 right ones: of the wrong
70 told at 1, 72 at 2, 74 at 3, of the right 2.5, 3.6 and 4.3 % asked about; watched, 125 and 851: 69, 72 and 73, 3.8,
4.1 and 4.8 %."""

CLEARLY_READ = 0.7
"""Chance of its reading from which a code is told as unlike the bible although another part is likelier."""

NOBODY = 0
"""Column of "nobody's part" in a table of chances; the bible's parts and roles follow."""


@dataclass(frozen=True, slots=True)
class PartChance:
    """A part in a role (both None: nobody's, background) with the chance that the code stands for it."""

    part: PartId | None
    role: str | None
    p: float


@dataclass(frozen=True)
class Belonging:
    """Whose part a code is.

    Attributes:
        alternatives: the one proposed, then the likeliest first; never empty.
        expected: the code the bible has for the first, as written there; None for nobody's.
        differs: the code read is another tint than the expected one, once the bible has weighed in.
        elsewhere: other parts whose code in the bible is what was read, likeliest first, however unlikely.
        readings: what the code says, likeliest first, once the bible has weighed in.
        areas: the areas that the code may mean with their chances, likeliest first; empty where there is no doubt.
    """

    alternatives: tuple[PartChance, ...]
    expected: str | None = None
    differs: bool = False
    elsewhere: tuple[PartChance, ...] = ()
    readings: tuple[tuple[Tint, float], ...] = ()
    areas: tuple[tuple[int, float], ...] = ()

    @property
    def part(self) -> PartId | None:
        return self.alternatives[0].part

    @property
    def role(self) -> str | None:
        return self.alternatives[0].role

    @property
    def p(self) -> float:
        return self.alternatives[0].p


def find_parts(
    clues: Sequence[Clue],
    panels: FloatArray,
    touching: Collection[tuple[int, int]],
    bible: PageBible,
    *,
    earlier: Sequence[EarlierMark] = (),
    cast: Collection[PartId] | None = None,
) -> list[Belonging]:
    """Whose part each code is, in their order.

    Args:
        clues: every code of the page, read or not; ``panels`` (k, 4) boxes that their panel numbers point into.
        touching: pairs of area ids, the smaller first, that have a border in common.
        bible: what is in force at the page's issue; ``earlier`` confirmed marks of pages before.
        cast: ids of the subjects on the page where a person has said so; believed.
    """
    if not clues:
        return []
    rows, code, odds = _rows(clues)
    agreement = agree(rows, [part.tint for part in bible.parts])
    looks = _looks(bible, usual_places(bible, earlier), agreement)
    presence = presence_of(bible, looks, earlier, cast)
    members = [np.flatnonzero([clue.panel == number for clue in clues]) for number in range(len(panels))]
    nobody = nobodys(earlier)
    scenes = [_scene(clues, own, panels[number], agreement, touching, nobody) for number, own in enumerate(members)]
    by_panel = cast_page(scenes, looks, presence)
    belongings: dict[int, Belonging] = {}
    for number, (scene, own, figures) in enumerate(zip(scenes, members, by_panel, strict=True)):
        if not len(own):
            continue
        here = np.concatenate([own, len(clues) + np.flatnonzero(np.isin(code[len(clues) :], own))])
        wide = _scene(rows, here, panels[number], agreement, touching, nobody, code)
        answers = rivals(scene, figures, looks, costs := costs_in(number, by_panel, looks, presence))
        chances, worth = _chances(wide, answers, looks, costs, len(bible.parts))
        for clue_number in own.tolist():
            mine = np.flatnonzero(code[here] == clue_number)
            share = _softmax((worth[mine] + odds[here[mine]])[None])[0]
            belongings[clue_number] = _told([rows[row] for row in here[mine]], share, share @ chances[mine], bible)
    return [belongings.get(at) or _of_no_panel(clue, bible) for at, clue in enumerate(clues)]


def _of_no_panel(clue: Clue, bible: PageBible) -> Belonging:
    """A page looked through again may have fewer panels than codes answered before speak of: these have no part."""
    return _told([clue], np.ones(1), np.zeros(len(bible.parts) + 1), bible)


def _rows(clues: Sequence[Clue]) -> tuple[list[Clue], npt.NDArray[np.intp], FloatArray]:
    """The clues and, behind them, what else their codes may mean; which clue each is about, and its log odds."""
    doubts = [(number, doubt) for number, clue in enumerate(clues) for doubt in clue.doubts]
    code = np.array([*range(len(clues)), *(number for number, _ in doubts)], np.intp)
    odds = np.array([*np.zeros(len(clues)), *(doubt.odds for _, doubt in doubts)])
    return [*clues, *(doubt.clue for _, doubt in doubts)], code, odds


def nobodys(earlier: Sequence[EarlierMark]) -> float:
    """Log odds of a code's being nobody's rather than some part's, by the house's earlier marks."""
    share = (WORTH * USUAL_NOBODYS + sum(m.part is None for m in earlier)) / (WORTH + len(earlier))
    moved = np.log(share / (1 - share)) - np.log(USUAL_NOBODYS / (1 - USUAL_NOBODYS))
    return IN_FIGURE + float(np.clip(moved, -MOST_BY_HABIT, MOST_BY_HABIT))


def _looks(bible: PageBible, usual: UsualPlaces, agreement: ClueAgreement) -> list[DressedSubject]:
    """Every subject in each of its costumes, with what it wears under any."""
    layout = FigureLayout(usual.v, usual.spread_v, usual.spread_u)
    tints = np.array([-1 if p.tint is None else agreement.tints[p.tint] for p in bible.parts], np.intp)
    of_subject: dict[int, list[int]] = {}
    for part in bible.parts:
        of_subject.setdefault(part.subject, [])
        if part.costume not in of_subject[part.subject]:
            of_subject[part.subject].append(part.costume)
    looks = []
    for subject, costumes in of_subject.items():
        under = [c for c in costumes if c in bible.shared]
        outer = [c for c in costumes if c not in bible.shared] or under[:1]
        for costume in outer:
            worn = {costume, *under}
            slots = np.array([n for n, p in enumerate(bible.parts) if p.costume in worn], np.intp)
            is_place = bible.subjects[subject].kind == "place"
            count = len({bible.parts[n].part for n in slots})
            looks.append(DressedSubject(subject, costume, slots, layout.of(slots), tints[slots], is_place, count))
    return looks


def _scene(
    clues: Sequence[Clue], own: npt.NDArray[np.intp], panel: FloatArray, agreement: ClueAgreement,
    touching: Collection[tuple[int, int]], nobody: float, code: npt.NDArray[np.intp] | None = None,
) -> PanelCodes:  # fmt: skip
    """The codes of a panel, and behind them what else they may mean where rows are told apart by ``code``."""
    here = [clues[number] for number in own]
    areas = [clue.area for clue in here]
    pairs = np.array([[(min(a, b), max(a, b)) in touching for b in areas] for a in areas], bool)
    where = np.array([(clue.x, clue.y) for clue in here]).reshape(-1, 2)
    side = float(np.sqrt((panel[2] - panel[0]) * (panel[3] - panel[1])))
    small = smallness(np.array([clue.size for clue in here]) / side)
    pairs = pairs.reshape(len(own), len(own))
    about = None if code is None else np.searchsorted(own[: len(set(code[own].tolist()))], code[own])
    if about is not None:
        pairs[np.arange(len(own)), about] = False
    return PanelCodes(panel, where, agreement.gain[own], pairs, small, nobody, about)


def _chances(
    scene: PanelCodes, answers: Sequence[tuple[list[Figure], float]], looks: Sequence[DressedSubject],
    costs: FloatArray, parts: int,
) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Chances (n, parts + 1) of each row, all likely answers for the panel weighed together, and how much speaks for
    its being anybody's, or nobody's, at all (log odds)."""
    weights = np.exp(np.array([short for _, short in answers]) / ANSWERS)
    absent = np.full((len(scene.where), parts + 1), -np.inf)
    absent[:, NOBODY] = 0.0
    _newcomers(scene, (), list(zip(looks, costs, strict=True)), absent)
    weights /= weights.sum()
    energies = np.array([_energies(scene, answer, looks, costs, absent) for answer, _ in answers]) / TEMPERATURE
    tables = np.array([_softmax(energy) for energy in energies])
    return np.asarray(np.tensordot(weights, tables, axes=1)), weights @ np.logaddexp.reduce(energies, axis=2)


def _energies(
    scene: PanelCodes, figures: Sequence[Figure], looks: Sequence[DressedSubject], costs: FloatArray,
    absent: FloatArray,
) -> FloatArray:  # fmt: skip
    """Log odds (n, parts + 1) of each code for nobody and for every part, all else in the panel at its best;
    ``absent`` what they are where nobody is there."""
    count = len(scene.where)
    energy = absent.copy()
    cost_of = {(look.subject, look.costume): float(cost) for look, cost in zip(looks, costs, strict=True)}
    subjects = {figure.look.subject for figure in figures}
    own_looks = [(look, cost) for look, cost in zip(looks, costs, strict=True) if look.subject in subjects]
    for look, _ in own_looks:
        energy[:, look.slots + 1] = -np.inf
    _newcomers(scene, figures, own_looks, energy)
    tables = figure_gains(scene, figures)
    own = np.zeros(count)
    about = np.arange(count) if scene.code is None else scene.code
    for figure, table in zip(figures, tables, strict=True):
        own[figure.codes] = table[figure.codes, figure.slots]
    for figure, table in zip(figures, tables, strict=True):
        cost = cost_of[figure.look.subject, figure.look.costume]
        total = own[figure.codes].sum() - figure.look.bare
        others = np.where(np.isin(about, figure.codes), total - own[about], total)
        # Where the rest of the figure would not pay for its being there, this code has to.
        value = table + np.minimum(0.0, others - cost)[:, None] - _taken(scene, figure, table, own)
        columns = figure.look.slots + 1
        energy[:, columns] = np.maximum(energy[:, columns], value)
    return energy


def _taken(scene: PanelCodes, figure: Figure, table: FloatArray, own: FloatArray) -> FloatArray:
    """What it costs a code to take a slot (n, slots) from the code that has it: that one's loss, or a second use."""
    cost = np.zeros_like(table)
    free = np.ones(table.shape[1], bool)
    free[figure.slots] = False
    for code, slot in zip(figure.codes, figure.slots, strict=True):
        choices = table[code][free]
        second = max(0.0, float(choices.max()) if len(choices) else 0.0)
        loss = min(max(own[code] - second, 0.0), 3.0)
        cost[:, slot] = loss
        cost[scene.rows_of(int(code)), slot] = 0.0
    return cost


def _newcomers(
    scene: PanelCodes, figures: Sequence[Figure], looks: Sequence[tuple[DressedSubject, float]], energy: FloatArray
) -> None:
    """Chances of looks that are not in the panel: a code alone would have to bring them in."""
    there = {(figure.look.subject, figure.look.costume) for figure in figures}
    subjects = {figure.look.subject for figure in figures}
    for look, cost in looks:
        if (look.subject, look.costume) in there:
            continue
        dearer = TWO_OF_ONE if look.subject in subjects else 0.0
        value = scene.usual_gain(look) - cost - dearer - look.bare
        columns = look.slots + 1
        energy[:, columns] = np.maximum(energy[:, columns], value)


def _softmax(energy: FloatArray) -> FloatArray:
    chances = np.exp(energy - energy.max(axis=1, keepdims=True))
    return np.asarray(chances / chances.sum(axis=1, keepdims=True))


def _told(clues: Sequence[Clue], share: FloatArray, chances: FloatArray, bible: PageBible) -> Belonging:
    """What is told of a code that is one of some clues, each with its share."""
    likeliest = np.argsort(-share, kind="stable").tolist()
    clue = clues[likeliest[0]]
    areas = tuple((clues[k].area, float(share[k])) for k in likeliest) if len(clues) > 1 else ()
    order = np.argsort(-chances, kind="stable").tolist()
    first = _proposed(clue, chances, order, bible)

    def chance(column: int) -> PartChance:
        p = round(float(chances[column]), 4)
        if column == NOBODY:
            return PartChance(None, None, p)
        return PartChance(bible.parts[column - 1].part, bible.parts[column - 1].role, p)

    likely = [c for c in order[:MOST_ALTERNATIVES] if c != first and chances[c] >= TOLD]
    alternatives = tuple(chance(column) for column in (first, *likely[: MOST_ALTERNATIVES - 1]))
    readings, differs = _against_bible(clue, first, chances, bible)
    read = readings[0][0] if readings else None
    carry = (c for c in order if c not in (NOBODY, first) and bible.parts[c - 1].tint == read)
    elsewhere = tuple(chance(column) for column in islice(carry, MOST_ELSEWHERE)) if read is not None else ()
    expected = None if first == NOBODY else bible.parts[first - 1].code
    return Belonging(alternatives, expected, differs, elsewhere, readings, areas)


def _proposed(clue: Clue, chances: FloatArray, order: Sequence[int], bible: PageBible) -> int:
    """The column that comes first: the likeliest, or one that is almost as likely and by which the code is wrong."""
    first = order[0]
    if not clue.readings or clue.readings[0][1] < CLEARLY_READ:
        return first
    likely = takewhile(lambda column: chances[column] * MISSED > chances[first], order)
    return next((column for column in likely if _against_bible(clue, column, chances, bible)[1]), first)


def _against_bible(
    clue: Clue, column: int, chances: FloatArray, bible: PageBible
) -> tuple[tuple[tuple[Tint, float], ...], bool]:
    """What a code reads as if it is a column's, and whether that is another tint than the bible's."""
    held = None if column == NOBODY else bible.parts[column - 1].tint
    if held is None:
        return clue.readings, False
    readings = weighed_by_bible(clue.readings, held, round(float(chances[column]), 4))
    return readings, bool(readings) and readings[0][0] != held


def weighed_by_bible(
    readings: Sequence[tuple[Tint, float]], expected: Tint | None, p_part: float
) -> tuple[tuple[Tint, float], ...]:
    """Readings once the code expected of the part has weighed in, as far as the part is sure; their sum stays.

    The weight is far below what the share of right codes would give it: a code that is wrong and clearly written has
    to stay wrong.
    """
    raised = [(t, p * (1 + (BIBLE_WEIGHT - 1) * p_part * (t == expected))) for t, p in readings]
    before, total = sum(p for _, p in readings), sum(p for _, p in raised)
    scale = before / total if total > 0 else 1.0
    return tuple(sorted(((t, p * scale) for t, p in raised), key=lambda item: -item[1]))
