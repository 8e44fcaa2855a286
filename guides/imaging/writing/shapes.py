"""How one colourist's signs look to the reader: prototypes from confirmed codes, without any retraining.

A sign's prototype is the mean of what the reader says (log chances of all its signs) in the columns where that sign
stands. A hand whose R looks much like a 2 has an R that is neither the usual R nor its own 2: once some have been
confirmed, a reading is the likelier the nearer its signs lie to this hand's prototypes than to everybody's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from guides.imaging.writing.crops import Picture, Place, upright
from guides.imaging.writing.decode import Floats, likelihoods
from guides.imaging.writing.lexicon import SIGNS, Lexicon
from guides.imaging.writing.models import Models, models
from guides.imaging.writing.reader import say, together

FloatArray = npt.NDArray[np.float64]

CLIPPED = -9.0
"""Log chance below which nothing more is learnt."""

WORTH = 1.0
"""Confirmed signs that weigh as much as everybody's prototype."""

MOST_SEEN = 200
"""Sights of a sign that are counted: a hand changes over the years, and later pages must still move it."""

STRENGTH = 0.02
"""Log likelihood that a unit of squared distance is worth; chosen on watched hands."""

MOST_MOVED = 4.0
"""Log likelihood by which a reading may gain or lose."""

ASKED = 8
"""Readings of a code that are weighed anew."""


class HandShapesError(ValueError):
    """What was kept is no hand's shapes; the message says why."""


@dataclass(frozen=True)
class HandShapes:
    """What is known of one colourist's signs.

    Attributes:
        seen: how often each sign was seen in confirmed codes.
        means: for each of them the mean of the reader's log chances, ``len(SIGNS) + 1`` numbers, blank first.
        codes: how many codes it was learnt from.
    """

    seen: Mapping[str, int] = field(default_factory=dict)
    means: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    codes: int = 0

    def with_signs(self, sights: Sequence[tuple[str, FloatArray]], codes: int) -> HandShapes:
        """These shapes and further sights of signs, out of so many codes."""
        seen, means = dict(self.seen), {sign: np.array(mean) for sign, mean in self.means.items()}
        for sign, sight in sights:
            count = min(seen.get(sign, 0), MOST_SEEN - 1)
            means[sign] = (means.get(sign, 0.0) * count + sight) / (count + 1)
            seen[sign] = count + 1
        kept = {sign: tuple(round(float(v), 3) for v in mean) for sign, mean in means.items()}
        return HandShapes(seen, kept, self.codes + codes)

    def as_json(self) -> dict[str, Any]:
        """As it can be kept: ``{"codes", "signs": {sign: [how often, log chances …]}}``."""
        signs = {sign: [self.seen[sign], *self.means[sign]] for sign in sorted(self.seen)}
        return {"codes": self.codes, "signs": signs}

    @classmethod
    def from_json(cls, document: object) -> HandShapes:
        """What ``as_json`` gave.

        Raises:
            HandShapesError: it is none.
        """
        try:
            assert isinstance(document, dict)
            codes, rows = int(document["codes"]), dict(document["signs"])
            seen = {str(sign): int(row[0]) for sign, row in rows.items()}
            means = {str(sign): tuple(float(value) for value in row[1:]) for sign, row in rows.items()}
        except (AssertionError, KeyError, TypeError, ValueError, IndexError, OverflowError) as error:
            raise HandShapesError("this is no hand's shapes") from error
        whole = all(len(mean) == len(SIGNS) + 1 and all(map(math.isfinite, mean)) for mean in means.values())
        if codes < 0 or not whole or not set(seen) <= set(SIGNS) or min(seen.values(), default=1) < 1:
            raise HandShapesError("this is no hand's shapes")
        return cls(seen, means, codes)


def learnt_from(
    page: Picture, confirmed: Sequence[tuple[Place, str]], lexicon: Lexicon, hand: HandShapes | None = None
) -> HandShapes:
    """A hand's shapes, with what confirmed codes of a page show of it.

    Args:
        page: (h, w, 3) uint8 sRGB. confirmed: places of codes and what a person says they say, as the series'
            notation writes it; a code that is not in the lexicon is passed over.
        hand: what was known before.

    Raises:
        WritingModelError: the networks can't be used.
    """
    known = {code: number for number, code in enumerate(lexicon.codes)}
    asked = [(place, known[code]) for place, code in confirmed if code in known]
    if not asked:
        return hand or HandShapes()
    shares = together(say(models().reader, [upright(page, place) for place, _ in asked]))
    _, spellings = likelihoods(shares, lexicon)
    sights: list[tuple[str, FloatArray]] = []
    for number, (_, code) in enumerate(asked):
        text = lexicon.spellings[int(spellings[number, code])].text
        sights += zip(text, said_at(shares[number], text), strict=True)
    return (hand or HandShapes()).with_signs(sights, len(asked))


def reweighed(logs: Floats, shares: Floats, spellings: npt.NDArray[np.intp], lexicon: Lexicon, hand: HandShapes,
              nets: Models) -> Floats:  # fmt: skip
    """Log likelihoods (n, codes) once a hand's shapes have been asked about the likeliest readings of each word.

    Args:
        shares: what the reader says, (n, columns, signs). spellings: (n, codes) the best of each code.
    """
    usual = everybody(nets)
    if not usual or not hand.seen:
        return logs
    moved = logs.copy()
    for word in range(len(logs)):
        for code in np.argsort(-logs[word])[:ASKED].tolist():
            text = lexicon.spellings[int(spellings[word, code])].text
            gain = sum(
                nearer(sign, sight, hand, usual)
                for sign, sight in zip(text, said_at(shares[word], text), strict=True)
            )
            moved[word, code] += float(np.clip(gain, -MOST_MOVED, MOST_MOVED))
    return moved


def nearer(sign: str, sight: FloatArray, hand: HandShapes, usual: Mapping[str, FloatArray]) -> float:
    """Log likelihood that a sign gains by this hand's prototype over everybody's."""
    count = hand.seen.get(sign, 0)
    if not count or sign not in usual:
        return 0.0
    own = (WORTH * usual[sign] + count * np.array(hand.means[sign])) / (WORTH + count)
    return float(STRENGTH * (((sight - usual[sign]) ** 2).sum() - ((sight - own) ** 2).sum()))


def everybody(nets: Models) -> dict[str, FloatArray]:
    """Everybody's prototypes, as ``weights.json`` keeps them; empty where it has none."""
    return {sign: np.array(mean) for sign, mean in nets.ledger.get("shapes", {}).items()}


def said_at(shares: Floats, text: str) -> FloatArray:
    """What the reader says (signs of text, signs + 1), log chances, in the columns where each sign of a text stands,
    by the likeliest way that its signs, with blanks between, fill the columns (columns, signs + 1)."""
    logs = np.maximum(np.log(np.maximum(shares, 1e-30)), CLIPPED).astype(np.float64)
    channels = [0]
    for sign in text:
        channels += [SIGNS.index(sign) + 1, 0]
    states, columns = len(channels), len(logs)
    emitted = logs[:, channels]
    skips = np.array([s >= 2 and channels[s] != 0 and channels[s] != channels[s - 2] for s in range(states)])
    best, came = np.full(states, -np.inf), np.zeros((columns, states), np.intp)
    best[:2] = emitted[0, :2]
    for column in range(1, columns):
        step, skip = np.r_[-np.inf, best[:-1]], np.where(skips, np.r_[-np.inf, -np.inf, best[:-2]], -np.inf)
        ways = np.stack([best, step, skip])
        came[column] = ways.argmax(axis=0)
        best = ways.max(axis=0) + emitted[column]
    state = states - 1 if best[-1] >= best[-2] else states - 2
    held = np.zeros((columns, states), bool)
    for column in range(columns - 1, -1, -1):
        held[column, state] = True
        state -= int(came[column, state])
    signs = held[:, 1::2].astype(np.float64)
    return np.asarray(signs.T @ logs / np.maximum(signs.sum(axis=0), 1.0)[:, None])
