"""Deciding what happened to a mark: likelihoods of what the plates may have held instead of what was called."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from bible.colour.tints import INK_NAMES, INKS, PAPER, Tint, as_array
from guides.imaging.proof.page_press import PagePress, Prepared, noise_block

FloatArray = npt.NDArray[np.float64]


class Verdict(StrEnum):
    AS_CALLED = "as_called"
    COLOUR_MISSING = "colour_missing"
    INK_MISSING = "ink_missing"
    WRONG_STRENGTH = "wrong_strength"
    OTHER_COLOUR = "other_colour"
    GRADIENT_STEP = "gradient_step"
    CANNOT_TELL = "cannot_tell"

    @property
    def is_fault(self) -> bool:
        return self not in (Verdict.AS_CALLED, Verdict.CANNOT_TELL)


PRIOR = {
    Verdict.AS_CALLED: 0.94,
    Verdict.COLOUR_MISSING: 0.018,
    Verdict.INK_MISSING: 0.014,
    Verdict.WRONG_STRENGTH: 0.02,
    Verdict.OTHER_COLOUR: 0.008,
}
"""How often each happens before anything is seen: a few marks in a hundred come back wrong (common practice, no
source). A kind's share is split over the tints it can lead to."""

OUTER, OUTER_PRIOR = 0.08, 0.1
"""Share of a fade at either end where a step is that much rarer: fades start late or end early there."""

STRAY = 1e-8
"""Density (per cubic tone unit, times its prior) of a colour that no tint of the chart explains: dirt, a tear, a
mark whose area was not found. Pages of strange presses bear no more: their faults lie off the chart a little, too."""

FREEDOM = 7.0
"""Degrees of freedom of the Student t likelihood: readings are Gaussian until they are not."""

LANDS, LANDS_ON = 0.3, 0.06
"""Where areas hold amounts between those of codes, a step of an ink misses its mark by a share of its length: this
much where it is asked whether there was one, and that much where it is asked which."""

STRAY_SAID = "it prints like no tint of the chart: dirt, a tear, or an area that was not found"

DECIDED = 0.6
"""Below this probability of its best verdict a mark is not decided."""


@dataclass(frozen=True)
class Hypothesis:
    tint: Tint
    verdict: Verdict
    ink: str | None
    prior: float


def hypotheses(called: Tint, chart: Sequence[Tint], levels: Sequence[int]) -> list[Hypothesis]:
    """What the plates may hold where ``called`` was called; one hypothesis a tint, the called tint first."""
    seen = {called}
    candidates = [Hypothesis(called, Verdict.AS_CALLED, None, PRIOR[Verdict.AS_CALLED])]
    present = [ink for ink in INKS if getattr(called, ink)]

    def add(tints: list[tuple[Tint, str | None]], verdict: Verdict) -> None:
        new = [(tint, ink) for tint, ink in dict.fromkeys(tints) if tint not in seen]
        seen.update(tint for tint, _ in new)
        candidates.extend(Hypothesis(tint, verdict, ink, PRIOR[verdict] / len(new)) for tint, ink in new)

    if present:
        only = present[0] if len(present) == 1 else None
        add([(PAPER if only else Tint(k=called.k), only)], Verdict.COLOUR_MISSING)
    add([(replace(called, **{ink: 0}), ink) for ink in present], Verdict.INK_MISSING)
    changed = [(replace(called, **{ink: level}), ink) for ink in present for level in levels if level]
    add([entry for entry in changed if entry[0] != called], Verdict.WRONG_STRENGTH)
    add([(tint, None) for tint in chart], Verdict.OTHER_COLOUR)
    return candidates


@dataclass(frozen=True)
class Decision:
    verdict: Verdict
    ink: str | None
    p: float
    tints: tuple[Tint, ...]
    why: str
    p_as_called: float


def step_odds(edges: FloatArray) -> FloatArray:
    """Chances (n,), together 1, that a step instead of a fade lies at each place 0-1 along it."""
    odds = np.where(abs(edges - 0.5) > 0.5 - OUTER, OUTER_PRIOR, 1.0)
    return np.asarray(odds / odds.sum())


def log_t(miss: FloatArray, log_det: FloatArray, size: int = 3) -> FloatArray:
    """Log density of a multivariate Student t up to a constant of ``size`` and FREEDOM, scaled to unit covariance."""
    return -0.5 * log_det - 0.5 * (FREEDOM + size) * np.log1p(miss / (FREEDOM - 2.0))


def _log_likelihood(miss: FloatArray, blocks: FloatArray) -> FloatArray:
    """Log density (n,) of misses (n, 3) with covariances (n, 3, 3)."""
    squared = np.einsum("ni,ni->n", miss, np.linalg.solve(blocks, miss[..., None])[..., 0])
    return log_t(squared, np.linalg.slogdet(blocks)[1])


@dataclass(frozen=True)
class Judge:
    """Likelihoods of tints at marks of one page. ``known`` are the tints prepared, in order; ``between`` says that
    areas hold amounts between those that codes name."""

    page: PagePress
    ready: Prepared
    index: dict[Tint, int]
    between: bool = False

    @classmethod
    def of(cls, page: PagePress, tints: Iterable[Tint], between: bool = False) -> Judge:
        known = list(dict.fromkeys(tints))
        return cls(page, page.prepare(as_array(known)), {tint: place for place, tint in enumerate(known)}, between)

    def likelihoods(
        self, tone: FloatArray, reading: FloatArray, at: FloatArray, tints: Sequence[Tint], without: int | None
    ) -> FloatArray:
        """Log likelihood (n,) of a tone (3,) under each tint, the one that was called first.

        ``reading`` (3,) is its standard error, ``at`` (2,) the place in page heights, ``without`` the mark's own row
        in the fit, which is left out.
        """
        rows = np.array([self.index[tint] for tint in tints])
        mean, spread = self.page.left_out_blocks(self.ready, rows, at, without)
        blocks = (spread + noise_block(self.ready.wanted.noise[rows], reading[None])) * self.page.scatter
        if not self.between:
            return _log_likelihood(tone - mean, blocks)
        step = self.ready.wanted.per_ink[rows] - self.ready.wanted.per_ink[rows[:1]]
        missed = np.einsum("nci,ndi->ncd", step, step)
        whether, which = (_log_likelihood(tone - mean, blocks + share**2 * missed) for share in (LANDS, LANDS_ON))
        which[1:] += np.logaddexp.reduce(whether[1:]) - np.logaddexp.reduce(which[1:])
        return which

    def expected(self, tint: Tint, at: FloatArray, without: int | None) -> FloatArray:
        """Tone (3,) this page makes of ``tint`` at a place, a mark left out."""
        return self.page.left_out_blocks(self.ready, np.array([self.index[tint]]), at, without)[0][0]


def decide(candidates: Sequence[Hypothesis], log_likelihood: FloatArray) -> Decision:
    """The verdict whose tints together are likeliest, with its probability and the nearest tints."""
    logs = log_likelihood + np.log([candidate.prior for candidate in candidates])
    stray = np.log(STRAY) + 3.0 * np.log(10.0)
    top = max(float(logs.max()), stray)
    weights = np.exp(logs - top)
    lost = float(np.exp(stray - top))
    total = float(weights.sum()) + lost
    order = np.argsort(-weights)
    nearest = tuple(candidates[i].tint for i in order[:3])
    grouped: dict[tuple[Verdict, str | None], float] = {}
    for candidate, weight in zip(candidates, weights, strict=True):
        key = (candidate.verdict, candidate.ink)
        grouped[key] = grouped.get(key, 0.0) + float(weight)
    as_called = float(weights[0]) / total
    sure_fault = 1.0 - as_called - lost / total
    if sure_fault > DECIDED:  # a fault, even where its kind is open
        grouped.pop((Verdict.AS_CALLED, None))
    (verdict, ink), weight = max(grouped.items(), key=lambda item: item[1])
    p = weight / total
    if lost > weight:
        return Decision(Verdict.CANNOT_TELL, None, lost / total, nearest, STRAY_SAID, as_called)
    called = candidates[0].tint
    if p < DECIDED and sure_fault <= DECIDED:
        rival = next(candidates[i].tint for i in order if candidates[i].tint != called)
        words = f"it may be {called} as called or {rival}: they print too much alike here"
        return Decision(Verdict.CANNOT_TELL, None, 1.0 - p, nearest, words, as_called)
    best = next(candidates[i].tint for i in order if candidates[i].verdict == verdict)
    return Decision(verdict, ink, p, nearest, explain(verdict, ink, called, best), as_called)


def explain(verdict: Verdict, ink: str | None, called: Tint, printed: Tint) -> str:
    """One sentence for people."""
    if verdict is Verdict.AS_CALLED:
        return "prints as called, within what this page's press does"
    if verdict is Verdict.COLOUR_MISSING:
        return f"bare paper where {called} was called"
    if verdict is Verdict.INK_MISSING and ink:
        return f"{INK_NAMES[ink]} is missing: prints like {printed}, called was {called}"
    if verdict is Verdict.WRONG_STRENGTH and ink:
        return f"{INK_NAMES[ink]} prints like {getattr(printed, ink)} %, called was {getattr(called, ink)} %"
    return f"prints like {printed}, called was {called}"
