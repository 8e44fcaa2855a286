"""Let the paint speak: read the paint at a guide's marks, suggest codes, and say where paint and code disagree.

Nothing here changes a code. Suggestions carry probabilities that are meant to be believed; a mark is judged by a
model of the hand learnt from the *other* marks only, so a wrong code can't vouch for itself. A painted guide is a
picture of intent, a screen is not a press: none of this says how a tint prints.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from bible.colour.charts import CHART_64
from bible.colour.press import DEFAULT_PRESS
from bible.colour.tints import Tint
from guides.imaging.page.marks import KeptReadings, Readings, read_marks
from guides.imaging.page.page_map import PageMap
from guides.imaging.page.reading import read_page_map
from guides.imaging.page.scaling import Image
from guides.imaging.paint import problems
from guides.imaging.paint.model import HandModel
from guides.imaging.paint.odds import (
    BoolArray,
    FloatArray,
    IntArray,
    chance_of_wrong,
    code_prior,
    code_prior_without,
    doubted,
    misread,
    posterior,
)
from guides.imaging.paint.prior import PaintPrior, load_prior

NEW = "new"
"""The name of a place where no mark stands yet."""

SUGGESTED = 8
"""Suggestions per mark: what a person reads at a glance; more are as good as none."""

ODD = 0.6
"""Chance of a wrong code from which a mark is called odd. On simulated pages of three families 90 of 92 calls are
right from there on and all of 90 slips found; from 0.9 on as many are right and two slips fewer found."""

SET_ASIDE = 0.5
"""Chance of a wrong code from which a mark no longer teaches the hand."""

ROUNDS = 5
"""Times the wrong codes are set aside and the hand learnt again; it settles in two or three."""

SECOND_LOOKS = 2
"""Times the hand is learnt again with the marks that need a code as well, once most of them are fairly sure."""

SURE = 0.9
"""Chance from which a mark without a code teaches the hand."""

FEWEST = 5
"""Marks with codes below which guesses teach nothing: they would only confirm the prior."""

TRUST = 0.7
"""Weight of what is learnt that way: a wrong guess confirms itself, so the first look keeps a say. With 0.7 the
chances stay honest on simulated pages and the right code is first 2-4 points more often."""

GRADIENT_SPREAD = 0.15**2
"""Extra variance (density squared) of a gradient's reading: its code is that of one end, the mark lies somewhere."""

MISFIT = ((16, 0.3), (8, 0.18))
"""From how many marks with codes on, and below which mean chance that the paint gives those codes, it is the page
that is wrong and not the codes. On simulated pages with 20 codes the mean is 0.34 and more, mostly above 0.8, where
page and codes belong together and mostly below 0.2 where they do not; with 8 the two overlap, so doubt is kept for
the worst."""

TURNED = 0.6
"""The same mean from which codes clearly fit the page turned by 180°."""

DOUBT = 0.4
"""What is left of a chance where the patch under a mark is not its area's paint: one of the two is meant."""

MEANS_OTHER = 0.25
"""Chance that a mark on what may be writing means the area beneath or beside it: on simulated pages of three families
52 of 72 such marks carried their own reading's code."""

INSTEAD = 0.1
"""Chance that a mark in something narrow means a broader area around it: enough for a code that fits there never to
be called odd."""

UNSEEN, MISTAKEN, STILL_WRONG = 2.25, 0.25, 0.2
"""From how many pens away its area's paint first shows a mark hides what it stands on: the share of such marks that
are read in another area, and what is left of the chance that their codes are wrong. On 26 crowded pages 18 of 69 such
marks were read wrongly, 8 were called odd and none of the 8 was; of 2700 nearer ones 3 % and 9 of 156."""

LOCK_WEIGHT = 8.0
"""Odds given to a part's locked code before its paint is looked at."""


@dataclass(frozen=True, slots=True)
class PaintMark:
    """A place on a guide in pixels of its image. ``tint`` is what its code says or None; ``expected`` the tint its
    part is locked to, which weighs in; ``problem`` what was wrong with it before anything was read."""

    id: str | int
    x: float
    y: float
    tint: Tint | None = None
    gradient: bool = False
    expected: Tint | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Suggestion:
    tint: Tint
    p: float


@dataclass(frozen=True, slots=True)
class Opinion:
    """What the paint says at a mark: ``suggestions`` the likeliest first; ``odd`` where code and paint disagree;
    ``score`` the chance 0-1 that the written code is not what was painted; ``problem`` in words, or empty; ``area``
    the mark's area on the page's map, 0 where there is none; ``confidence`` the chance 0-1 that the first suggestion
    is what was painted, 0 where nothing is claimed."""

    id: str | int
    suggestions: tuple[Suggestion, ...]
    odd: bool
    score: float
    problem: str
    area: int = 0
    confidence: float = 0.0


class Sample(NamedTuple):
    """One reading: density (3,) and its covariance (3, 3)."""

    density: FloatArray
    cov: FloatArray


@dataclass(frozen=True, eq=False)
class PaintSamples:
    """Readings with known tints, from this page or others by the same hand: ``density`` (n, 3), ``tints`` (n,) places
    on the 64-tint chart, ``cov`` (n, 3, 3)."""

    density: FloatArray
    tints: IntArray
    cov: FloatArray

    @classmethod
    def of(cls, samples: Sequence[tuple[Tint, Sample]]) -> PaintSamples:
        """Readings kept from other pages; tints off the chart teach nothing."""
        kept = [(CHART_64.index(tint), sample) for tint, sample in samples if tint in CHART_64]
        if not kept:
            return cls.none()
        density, cov = (np.array(part) for part in zip(*(sample for _, sample in kept), strict=True))
        return cls(density, np.array([place for place, _ in kept]), cov)

    @classmethod
    def none(cls) -> PaintSamples:
        return cls(np.zeros((0, 3)), np.zeros(0, dtype=np.int_), np.zeros((0, 3, 3)))

    def joined(self, other: PaintSamples) -> PaintSamples:
        """Both together."""
        return PaintSamples(
            np.concatenate([self.density, other.density]),
            np.concatenate([self.tints, other.tints]),
            np.concatenate([self.cov, other.cov]),
        )


def read_paint(
    image: Image,
    marks: Sequence[PaintMark],
    *,
    known: PaintSamples | None = None,
    press: str = DEFAULT_PRESS,
    page_map: PageMap | None = None,
    kept: KeptReadings | None = None,
) -> list[Opinion]:
    """An opinion on every mark, in their order: ``read_page`` without the samples."""
    return read_page(image, marks, known=known, press=press, page_map=page_map, kept=kept)[0]


def read_page(
    image: Image,
    marks: Sequence[PaintMark],
    *,
    known: PaintSamples | None = None,
    press: str = DEFAULT_PRESS,
    page_map: PageMap | None = None,
    kept: KeptReadings | None = None,
) -> tuple[list[Opinion], list[Sample | None]]:
    """An opinion on every mark, in their order, and what each can teach of its hand: None off the page, and where
    the page can't be read.

    Args:
        image: the upright guide, uint8 sRGB (h, w, 3).
        marks: those with a tint teach the hand; all are judged.
        known: further samples of the same hand from other pages (see ``samples_of``).
        press: the press condition whose printed chart is one of the priors.
        kept: what places of this picture showed before; what is read now is added.

    Raises:
        ValueError, UnknownPress: the image is no such array; there is no such condition.
    """
    page = page_map or read_page_map(image)
    points = np.array([[mark.x, mark.y] for mark in marks], dtype=np.float64).reshape(-1, 2)
    gradient = np.array([mark.gradient for mark in marks], dtype=bool)
    readings = read_marks(page, image, points, gradient, kept)
    tints, known = _places(marks), known or PaintSamples.none()
    prior = load_prior(press).with_paper_error(page.paper.error)
    judged = _judge(prior, readings, tints, gradient, known)
    trouble = problems.of_page(page)
    if not trouble and judged.misfit:
        turned = read_marks(page, image, np.array(page.size) - points, gradient)
        fits_turned = _judge(prior, turned, tints, gradient, known).agreement > TURNED
        trouble = problems.UPSIDE_DOWN if fits_turned else problems.WRONG_PAGE
    inside = readings.inside.tolist()
    about = problems.about(page)
    opinions = [_opinion(mark, place, judged, inside[place], trouble, about) for place, mark in enumerate(marks)]
    read = zip(inside, readings.density, readings.cov, strict=True)
    samples = [None if trouble or not on else Sample(value, cov) for on, value, cov in read]
    return _with_areas(opinions, readings), samples


def _with_areas(opinions: Sequence[Opinion], readings: Readings) -> list[Opinion]:
    """Each opinion with the area it is about; where an area has two paints nothing is claimed of it."""
    areas, two_paints = readings.area.tolist(), readings.two_paints.tolist()
    return [
        replace(_doubted(opinion) if two and opinion.confidence else opinion, area=area)
        for opinion, area, two in zip(opinions, areas, two_paints, strict=True)
    ]


def samples_of(image: Image, marks: Sequence[PaintMark]) -> PaintSamples:
    """The readings of a page's marks with codes, to teach the same hand's other pages (``known``)."""
    kept = [mark for mark in marks if mark.tint is not None and mark.tint in CHART_64 and not mark.gradient]
    points = np.array([[mark.x, mark.y] for mark in kept], dtype=np.float64).reshape(-1, 2)
    readings = read_marks(read_page_map(image), image, points, np.zeros(len(kept), dtype=bool))
    inside = readings.inside
    return PaintSamples(readings.density[inside], _places(kept)[inside], readings.cov[inside])


@dataclass(frozen=True, eq=False)
class _Judged:
    """``posterior`` (n, 64) before any locked code weighs in, ``wrong`` (n,) chance of a wrong code (0 without one),
    ``learnt`` how many marks taught the hand, ``agreement`` the mean chance of the written codes, ``misfit``
    whether that is too little for this page to be theirs."""

    posterior: FloatArray
    wrong: FloatArray
    learnt: int
    agreement: float
    misfit: bool


def _judge(
    prior: PaintPrior, readings: Readings, tints: IntArray, gradient: BoolArray, known: PaintSamples
) -> _Judged:
    """Learn the hand from the marks with codes, setting wrong ones aside, and judge every mark by the others."""
    y, inside = readings.density, readings.inside
    cov = readings.cov + (gradient * GRADIENT_SPREAD)[:, None, None] * np.eye(3)
    coded = (tints >= 0) & inside
    unseen = readings.away > UNSEEN
    doubtful = readings.perhaps | unseen
    sound = coded.copy()
    wrong = np.zeros(len(tints))
    for _ in range(ROUNDS):
        model, likelihood = _learn(prior, y, cov, tints, sound & ~doubtful, known, coded)
        used = np.concatenate([tints[sound], known.tints])
        as_written = _as_written(model, likelihood, readings, tints, coded & gradient)
        others = code_prior_without(used, tints[coded])
        wrong[coded] = chance_of_wrong(likelihood[coded], as_written[coded], tints[coded], others)
        before, sound = sound, coded & (wrong <= SET_ASIDE)
        if (before == sound).all():
            break
    likelihood[~coded] = model.log_likelihood(y[~coded], cov[~coded])
    meant = _meant_instead(model, readings)[np.arange(len(tints)), tints]
    narrow = coded & np.isfinite(meant)
    fits = np.logaddexp(as_written, np.log(INSTEAD) + meant)[narrow]
    wrong[narrow] = chance_of_wrong(likelihood[narrow], fits, tints[narrow], code_prior_without(used, tints[narrow]))
    wrong[unseen] *= STILL_WRONG
    chances = posterior(likelihood, codes := code_prior(used))
    agreement = float(chances[coded, tints[coded]].mean()) if coded.any() else 1.0
    misfit = agreement < next((least for count, least in MISFIT if coded.sum() >= count), 0.0)
    if not misfit and (inside & ~coded).sum() > 1 and sound.sum() + len(known.tints) >= FEWEST:
        first = chances
        for _ in range(SECOND_LOOKS):
            guess = np.where(coded, tints, chances.argmax(axis=1))
            sure = sound | (~coded & inside & ~gradient & (chances.max(axis=1) > SURE))
            _, likelihood = _learn(prior, y, cov, guess, sure & ~doubtful, known)
            second = posterior(likelihood, codes)
            chances = np.where((coded & ~gradient)[:, None], first, TRUST * second + (1 - TRUST) * first)
    share = np.maximum(misread(wrong[coded]), MISTAKEN * unseen)[:, None]
    chances = doubted(_shared_with_others(chances, model, readings, codes), share)
    return _Judged(chances, wrong, int(sound.sum()) + len(known.tints), agreement, misfit)


def _as_written(
    model: HandModel, likelihood: FloatArray, readings: Readings, tints: IntArray, fades: BoolArray
) -> FloatArray:
    """Log likelihood (n,) of every reading if its written code is right; those that fade may lie on the way."""
    as_written = likelihood[np.arange(len(tints)), tints]
    if fades.any():
        on_the_way = model.log_likelihood_of_fades(readings.density[fades], readings.cov[fades], tints[fades])
        as_written[fades] = np.logaddexp(as_written[fades], on_the_way) - np.log(2.0)
    return np.asarray(as_written)


def _meant_instead(model: HandModel, readings: Readings) -> FloatArray:
    """Log likelihoods (n, 64) of what lies around marks in something narrow, the likeliest of it for each tint; -inf
    where there is nothing."""
    likeliest = np.full((len(readings.area), len(CHART_64)), -np.inf)
    mark, slot = np.nonzero(np.isfinite(readings.around[..., 0]))
    if len(mark):
        each = model.log_likelihood(readings.around[mark, slot], readings.around_cov[mark, slot])
        np.maximum.at(likeliest, mark, each)
    return likeliest


def _shared_with_others(chances: FloatArray, model: HandModel, readings: Readings, codes: FloatArray) -> FloatArray:
    """Chances (n, 64) where a mark on what may be writing can mean the area beneath or beside it as well."""
    either = readings.perhaps & np.isfinite(readings.around[:, 0, 0])
    if not either.any():
        return chances
    other = model.log_likelihood(readings.around[either, 0], readings.around_cov[either, 0])
    shared = chances.copy()
    shared[either] = (1.0 - MEANS_OTHER) * chances[either] + MEANS_OTHER * posterior(other, codes)
    return shared


def _learn(
    prior: PaintPrior, y: FloatArray, cov: FloatArray, tints: IntArray, sound: BoolArray, known: PaintSamples,
    asked: BoolArray | None = None,
) -> tuple[HandModel, FloatArray]:  # fmt: skip
    """The hand by its ``sound`` marks, and log likelihoods (n, 64) of all marks, or of those ``asked`` (the rest are
    0), each by the others only."""
    taught = np.flatnonzero(sound)
    model = HandModel.learn(
        prior,
        np.concatenate([y[taught], known.density]),
        np.concatenate([tints[taught], known.tints]),
        np.concatenate([cov[taught], known.cov]),
    )
    likelihood, others = np.zeros((len(y), len(CHART_64))), ~sound if asked is None else asked & ~sound
    likelihood[others] = model.log_likelihood(y[others], cov[others])
    likelihood[taught] = model.log_likelihood_without(np.arange(len(taught)))
    return model, likelihood


def weigh_lock(chances: Sequence[tuple[Tint, float]], expected: Tint) -> list[tuple[Tint, float]]:
    """Suggestions with their chances once a part's locked code has weighed in, the likeliest first.

    A code too unlikely to be among them stays out: a lock is no paint.
    """
    raised = [(tint, p * (LOCK_WEIGHT if tint == expected else 1.0)) for tint, p in chances]
    total = sum(p for _, p in raised) + max(0.0, 1.0 - sum(p for _, p in chances))
    return sorted(((tint, p / total) for tint, p in raised), key=lambda pair: -pair[1])


def _opinion(mark: PaintMark, place: int, judged: _Judged, inside: bool, trouble: str, about: str) -> Opinion:
    if not inside:
        return Opinion(mark.id, (), False, 0.0, mark.problem or problems.OUTSIDE)
    chances = judged.posterior[place]
    if mark.expected is not None and mark.expected in CHART_64:
        chances = chances * np.where(np.arange(len(CHART_64)) == CHART_64.index(mark.expected), LOCK_WEIGHT, 1.0)
        chances = chances / chances.sum()
    if trouble:
        chances = np.full(len(CHART_64), 1.0 / len(CHART_64))
    best = np.argsort(-chances, kind="stable")[:SUGGESTED]
    suggestions = tuple(Suggestion(CHART_64.tints[i], round(float(chances[i]), 4)) for i in best)
    if trouble:
        return Opinion(mark.id, suggestions, False, 0.0, "; ".join(filter(None, [mark.problem, trouble])))
    score = float(judged.wrong[place])
    words = [mark.problem, "" if judged.learnt else problems.NOTHING_KNOWN, about]
    if mark.tint is not None and mark.tint not in CHART_64:
        words.append(problems.OFF_CHART)
    problem = "; ".join(filter(None, words))
    return Opinion(mark.id, suggestions, score > ODD, round(score, 4), problem, confidence=suggestions[0].p)


def _doubted(opinion: Opinion) -> Opinion:
    """An opinion on a mark under which another paint lies than in its area: the same order, and nothing claimed."""
    flat = tuple(Suggestion(s.tint, round(DOUBT * s.p + (1 - DOUBT) / len(CHART_64), 4)) for s in opinion.suggestions)
    problem = "; ".join(filter(None, [opinion.problem, problems.TWO_PAINTS]))
    return Opinion(opinion.id, flat, False, 0.0, problem, confidence=flat[0].p)


def _places(marks: Sequence[PaintMark]) -> IntArray:
    """Places (n,) of the marks' tints on the 64-tint chart, -1 where there is none."""
    return np.array(
        [CHART_64.index(m.tint) if m.tint is not None and m.tint in CHART_64 else -1 for m in marks], dtype=np.int_
    )
