"""Boxes that hold several codes side by side, parted where that reads likelier: ``parted``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from guides.imaging.writing.crops import Picture, part_of, upright
from guides.imaging.writing.decode import Floats, FreeReading, freely, likelihoods
from guides.imaging.writing.finder import Found
from guides.imaging.writing.lexicon import Lexicon
from guides.imaging.writing.models import Models
from guides.imaging.writing.reader import COLUMN, say, together

HARDLY_A_CODE = 0.7
"""The finder's chance of other writing from which no further look is spent on a word."""

SHORTEST = 2
"""Signs of the shortest code."""

LIKELIER = 5.0
"""Log likelihood that two codes in one box must have more than one code there. At 3 as many codes were found on two
families that choose (954), and four more that were none."""

HALF_SIGN = 11
"""Pixels of a crop from the middle of a sign to the edge of its code."""

MOST_CODES = 3
"""Codes that are looked for in one box."""


@dataclass(frozen=True)
class _Cut:
    """A box ``number`` cut before its sign ``sign``, the log likelihood of the ``whole`` and what is gained."""

    number: int
    sign: int
    whole: float
    gain: float


def parted(
    page: Picture, items: Sequence[Found], answers: Sequence[Floats], lexicon: Lexicon, nets: Models
) -> tuple[list[Found], list[Floats]]:
    """The places and what the reader says of each (columns, signs); boxes that hold several codes as several: those
    whose pieces, read by themselves, are ``LIKELIER`` than the whole, since one letter misread makes no code of a
    long one."""
    asked, heard = list(items), list(answers)
    fresh = range(len(asked))
    for _ in range(MOST_CODES - 1):
        readings = freely(together([heard[number] for number in fresh]))
        texts = dict(zip(fresh, readings, strict=True))
        cuts = _cuts({n: r for n, r in texts.items() if _may_hold_two(asked[n], r, lexicon)}, heard, lexicon)
        if not cuts:
            break
        pieces = [piece for cut in cuts for piece in _pieces(asked[cut.number], texts[cut.number], cut.sign)]
        read = say(nets.reader, [upright(page, piece.place) for piece in pieces])
        logs = _best(read, lexicon)
        gains = [first + second - cut.whole for cut, first, second in zip(cuts, logs[::2], logs[1::2], strict=True)]
        two = {cut.number: place for place, cut in enumerate(cuts) if gains[place] > LIKELIER}
        chosen = [n for place in two.values() for n in (2 * place, 2 * place + 1)]
        asked = [item for number, item in enumerate(asked) if number not in two] + [pieces[n] for n in chosen]
        heard = [shares for number, shares in enumerate(heard) if number not in two] + [read[n] for n in chosen]
        fresh = range(len(asked) - len(chosen), len(asked))
        if not chosen:
            break
    return asked, heard


def _may_hold_two(item: Found, reading: FreeReading, lexicon: Lexicon) -> bool:
    """Whether a box's text is no code and long enough for two."""
    long = len(reading.text) >= 2 * SHORTEST
    return long and reading.text not in lexicon.by_text and item.kinds[1] < HARDLY_A_CODE


def _cuts(readings: dict[int, FreeReading], heard: Sequence[Floats], lexicon: Lexicon) -> list[_Cut]:
    """For every box the place between two signs where it falls apart into the likeliest two codes, if these are
    ``LIKELIER`` than the whole already as far as the whole's own columns say."""
    places, shares = list[tuple[int, int]](), list[Floats]()
    for number, reading in readings.items():
        for sign in range(SHORTEST, len(reading.text) - SHORTEST + 1):
            column = (reading.columns[sign - 1] + reading.columns[sign] + 1) // 2
            places.append((number, sign))
            shares += [heard[number][:column], heard[number][column:]]
    if not places:
        return []
    logs = _best([*(heard[number] for number in readings), *shares], lexicon)
    whole = dict(zip(readings, logs, strict=False))
    best: dict[int, _Cut] = {}
    for place, (number, sign) in enumerate(places):
        first = len(readings) + 2 * place
        gain = logs[first] + logs[first + 1] - whole[number]
        if gain > LIKELIER and (number not in best or gain > best[number].gain):
            best[number] = _Cut(number, sign, whole[number], gain)
    return list(best.values())


def _best(answers: Sequence[Floats], lexicon: Lexicon) -> list[float]:
    """How likely the likeliest code is for each answer."""
    logs: list[float] = likelihoods(together(answers), lexicon)[0].max(axis=1).tolist()
    return logs


def _pieces(item: Found, reading: FreeReading, sign: int) -> list[Found]:
    """A box cut before one of its signs."""
    left, right = (reading.columns[n] * COLUMN for n in (sign - 1, sign))
    middle = (left + right) / 2
    first = part_of(item.place, 0.0, min(left + HALF_SIGN, middle + COLUMN))
    second = part_of(item.place, max(right - HALF_SIGN, middle - COLUMN), reading.columns[-1] * COLUMN + HALF_SIGN)
    return [replace(item, place=first), replace(item, place=second)]
