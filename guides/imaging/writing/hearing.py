"""What the reader makes of the places the finder gives it: readings, likelihoods, the facts that odds are made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from guides.imaging.writing.crops import Picture, Place, upright
from guides.imaging.writing.decode import Floats, FreeReading, freely, likelihoods
from guides.imaging.writing.finder import Found, both
from guides.imaging.writing.lexicon import Lexicon
from guides.imaging.writing.models import Models
from guides.imaging.writing.odds import Doubles, facts, posteriors
from guides.imaging.writing.parting import HARDLY_A_CODE, parted
from guides.imaging.writing.reader import say, together
from guides.imaging.writing.shapes import HandShapes, reweighed

LOOKED_AT_AGAIN = 0.97
"""Readings less likely than this, among all codes, are looked at once more."""

ILLEGIBLE = -20.0
"""Log likelihood below which that is not done: what reads as no code at all is none."""

TILT, TALLER = 0.04, 1.05
"""How the writing is turned for the second look, radians: no surer than the finder knows its turn; and how much
higher its box is taken. On the family that chooses two further looks read no more than one (of 478 faint codes in a
crowd 92.8 % both, of 880 others 91.7 and 91.8), and cost a seventh of the page's time."""

ALIKE, IN_LINE, OVER, GAP = 1.7, 0.4, -0.6, 0.5
"""Pieces of one code: how far their heights differ, and, in heights, how far one lies below the other, how far it
runs over it, and how wide the gap may be."""

AS_LIKELY = 1.0
"""Log likelihood that one code may be less likely than two and is believed all the same."""

ASKED_BOTH_WAYS = 10
"""Words that are read upside down as well, to see how the page lies."""

TURNED = 0.6
"""Share of them that must read better upside down before that is said of the page."""

CLEARLY = 1.0
"""Difference of log likelihoods from which a word reads better one way."""

LEGIBLE = -10.0
"""Log likelihood from which a word reads as some code: what is no writing at all reads as nothing either way."""

OFF_LEXICON = 6.0
"""What a reading outside the lexicon loses, in log likelihood, when both ways are compared."""


@dataclass(frozen=True)
class Heard:
    """For the places ``asked``: free readings, log likelihoods and posteriors (n, codes), best spellings, facts."""

    asked: tuple[Found, ...]
    free: list[FreeReading]
    shares: Doubles
    spellings: npt.NDArray[np.intp]
    facts: Doubles


def hear(
    page: Picture, items: Sequence[Found], lexicon: Lexicon, nets: Models, temperature: float,
    hand: HandShapes | None = None,
) -> Heard:  # fmt: skip
    """Read places of a page; boxes that hold two codes side by side are parted and read again. A ``hand`` whose
    shapes are known is asked about the likeliest readings."""
    whole, answers = joined(
        page, items, say(nets.reader, [upright(page, item.place) for item in items]), lexicon, nets
    )
    asked, kept = parted(page, whole, answers, lexicon, nets)
    shares_of = together(kept)
    free = freely(shares_of)
    logs, spellings = likelihoods(shares_of, lexicon)
    maybe = np.array([item.kinds[1] < HARDLY_A_CODE for item in asked])
    maybe &= logs.max(axis=1, initial=-np.inf) > ILLEGIBLE
    unsure = np.flatnonzero(maybe & (posteriors(logs, temperature).max(axis=1) < LOOKED_AT_AGAIN))
    if len(unsure):
        logs[unsure] = _looked_at_again(page, [asked[place] for place in unsure], logs[unsure], lexicon, nets)
    if hand is not None:
        logs = reweighed(logs, shares_of, spellings, lexicon, hand, nets)
    chances = posteriors(logs, temperature)
    known = facts(
        chances, logs, np.array([reading.log for reading in free], np.float32),
        np.array([len(shares) for shares in kept], float),
        np.array([item.kinds[0] + item.kinds[2] for item in asked]),
        np.array([item.place.high for item in asked]),
        np.array([item.place.turn for item in asked]),
        np.array([len(reading.text) for reading in free], float),
        np.array([item.sure for item in asked]),
    )  # fmt: skip
    return Heard(tuple(asked), free, chances, spellings, known)


def _looked_at_again(page: Picture, items: Sequence[Found], logs: Floats, lexicon: Lexicon, nets: Models) -> Floats:
    """Mean log likelihoods (n, codes) of two looks: as they were, and turned a little."""
    places = [replace(item.place, turn=item.place.turn + TILT, high=item.place.high * TALLER) for item in items]
    again, _ = likelihoods(together(say(nets.reader, [upright(page, place) for place in places])), lexicon)
    return np.asarray((logs + again) / 2, np.float32)


def joined(
    page: Picture, places: Sequence[Found], answers: Sequence[Floats], lexicon: Lexicon, nets: Models
) -> tuple[list[Found], list[Floats]]:
    """The places, pieces of one code that were found apart put together, and what the reader says of each: two that
    follow each other without a gap are one code where that is about as likely as two."""
    items, heard = list(places), list(answers)
    for _ in range(2):  # so that three pieces come together
        pairs = [
            pair
            for pair in following([item.place for item in items])
            if all(items[number].kinds[1] < HARDLY_A_CODE for number in pair)
        ]
        if not pairs:
            break
        wholes = [_whole(items[first], items[second]) for first, second in pairs]
        read = say(nets.reader, [upright(page, item.place) for item in wholes])
        pieces = sorted({number for pair in pairs for number in pair})
        logs = likelihoods(together([*(heard[number] for number in pieces), *read]), lexicon)[0].max(axis=1)
        alone = dict(zip(pieces, logs, strict=False))
        gain = logs[len(pieces) :] - [alone[first] + alone[second] for first, second in pairs]
        gone = set[int]()
        for number in np.argsort(-gain).tolist():
            if gain[number] > -AS_LIKELY and not gone & set(pairs[number]):
                gone |= set(pairs[number])
                items.append(wholes[number])
                heard.append(read[number])
        if not gone:
            break
        items = [item for number, item in enumerate(items) if number not in gone]
        heard = [shares for number, shares in enumerate(heard) if number not in gone]
    return items, heard


def following(places: Sequence[Place]) -> list[tuple[int, int]]:
    """Numbers of places of which the second goes on where the first ends: on its line, hardly apart or over it."""
    if not places:
        return []
    x, y, wide, high, turn = np.array([(p.x, p.y, p.wide, p.high, p.turn) for p in places]).T[:, :, None]
    cos, sin = np.cos(turn), np.sin(turn)
    along, down = (x.T - x) * cos + (y.T - y) * sin, (y.T - y) * cos - (x.T - x) * sin
    low, gap = np.minimum(high, high.T), along - (wide + wide.T) / 2
    alike = (np.maximum(high, high.T) < ALIKE * low) & (abs(turn - turn.T) < 0.2)
    near = (along > 0) & (abs(down) < IN_LINE * low) & (gap > OVER * low) & (gap < GAP * low)
    return [(int(first), int(second)) for first, second in np.argwhere(alike & near)]


def _whole(first: Found, second: Found) -> Found:
    kinds = np.average([first.kinds, second.kinds], axis=0, weights=[first.place.wide, second.place.wide])
    return Found(both(first.place, second.place), max(first.sure, second.sure), (*kinds.tolist(),))


def lies_on_its_head(page: Picture, asked: Sequence[Found], lexicon: Lexicon, nets: Models) -> bool:
    """Whether most of the largest words read better upside down."""
    chosen = sorted(asked, key=lambda item: -item.place.wide * item.sure)[:ASKED_BOTH_WAYS]
    if len(chosen) < 3:
        return False
    ways, legible = [], np.zeros(len(chosen), bool)
    for upside_down in (False, True):
        crops = [upright(page, item.place, upside_down=upside_down) for item in chosen]
        shares = together(say(nets.reader, crops))
        free = np.array([reading.log for reading in freely(shares)])
        logs, _ = likelihoods(shares, lexicon)
        ways.append(np.maximum(logs.max(axis=1), free - OFF_LEXICON))
        legible = logs.max(axis=1) > LEGIBLE
    return float((legible & (ways[1] > ways[0] + CLEARLY)).mean()) >= TURNED
