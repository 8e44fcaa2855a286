"""The press as it ran on one page: predictions of a press condition refitted to the page's own marks.

The condition says how a tint prints; this paper, this scan and this run differ. Everything that differs
page-wide is a Gaussian prior around the condition: scanner (white, contrast, flare, crosstalk), strength, hue and
dot gain of each ink, overprints, tone curves, and what varies slowly over the sheet. Fitting is then one Gaussian
process over the marks, made robust by trusting marks less the further they lie off (most of the page is right), and
left-out predictions with their full uncertainty are closed form (Rasmussen and Williams 2006, section 5.4.2).

All in the tones of ``proof_reading``: log(linear RGB relative to white + FLARE), three channels.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from bible.colour.colorimetry import xyz_to_linear_srgb
from bible.colour.press import PressCondition
from guides.imaging.proof.reading import FLARE

FloatArray = npt.NDArray[np.float64]

# Prior standard deviations, in tone units unless said otherwise. Sizes are what presses and desktop scanners of this
# kind are known to vary by (common practice, no source), generous rather than tight.
WHITE_SD = 0.35
CONTRAST_SD, CONTRAST_CHANNEL_SD = 0.10, 0.05
FLARE_SD = 0.012
CROSSTALK_SD = 0.03
STRENGTH_SD, STRENGTH_CHANNEL_SD = 0.12, 0.06
HUE_SD = 0.16
GAIN_SD = 0.07
OVERPRINT_SD = 0.10
TONE_SD, TONE_LENGTH = 0.035, 0.25
REST_SD, REST_LENGTH = 0.03, 0.6
SHEET_SD, SHEET_LENGTH = 0.025, 0.5
SPOT_SD, SPOT_LENGTH = 0.012, 0.10
INK_DRIFT_SD, INK_DRIFT_LENGTH = 0.03, 0.6
MARK_SD, MARK_COMMON_SD = 0.010, 0.012
DARK_NOISE = 0.0025
"""Noise of linear values that averaging does not remove (JPEG, stray light)."""

MAIN_CHANNEL = (0, 1, 2)
"""The channel each ink absorbs most: cyan red, magenta green, yellow blue."""


class Way(StrEnum):
    """What may differ from the condition."""

    GAIN = "gain"
    STRENGTH = "strength"
    HUE = "hue"
    SIDE = "side"  # strength and hue of an ink in the channels that are not its main one
    CONTRAST = "contrast"
    FLARE = "flare"
    WHITE = "white"
    CROSSTALK = "crosstalk"
    OVERPRINT = "overprint"
    REST = "rest"
    DRIFT = "drift"


Share = Mapping[Way, float]
"""Shares of the prior standard deviations above, 1 where a way is not named."""

WHOLE: Share = {}


@dataclass(frozen=True)
class Basis:
    """What the condition says about tints, and how its answers move. n tints, P parameters."""

    tone: FloatArray  # (n, 3)
    features: FloatArray  # (n, 3, P), prior standard deviation 1 each
    ways: tuple[Way, ...]  # (P,): what a parameter is about
    per_gain: FloatArray  # (n, 3 channels, 3 inks): d tone / d coverage of an ink, times 4a(1-a)
    per_ink: FloatArray  # (n, 3 channels, 3 inks): tone change by an ink alone
    amounts: FloatArray  # (n, 3): nominal 0-1
    cover: FloatArray  # (n, 3): effective coverage 0-1
    per_film: FloatArray  # (n, 3 channels, 3 inks): d tone / d relative density of an ink's solid
    noise: FloatArray  # (n, 3): irreducible noise of one reading


@dataclass(frozen=True)
class Run:
    """How the press ran, an entry an ink: what predictions are linear around.

    Attributes:
        gain: (3,) coverage added at 50 %, 0-1.
        film: (3,) relative change of the solid's density: 0.1 is a tenth more ink.
    """

    gain: FloatArray = field(default_factory=lambda: np.zeros(3))
    film: FloatArray = field(default_factory=lambda: np.zeros(3))


def basis(condition: PressCondition, tints: FloatArray, run: Run | None = None) -> Basis:
    """``tints`` (n, 4) percentages, printed by the condition as the press ran."""
    run = run or Run()

    def tone_of(values: FloatArray) -> FloatArray:
        linear = np.maximum(xyz_to_linear_srgb(condition.xyz(np.clip(values, 0.0, 100.0))), 0.002)
        return np.log(linear / white + FLARE)

    white = np.maximum(xyz_to_linear_srgb(condition.paper_xyz[None]), 0.01)[0]
    nominal = tints[:, :3] / 100.0
    bow = 4.0 * nominal * (1.0 - nominal)
    moved = tints.copy()
    moved[:, :3] = np.clip(nominal + run.gain * bow, 0.0, 1.0) * 100.0
    tone = tone_of(moved)
    paper = tone_of(np.zeros((1, 4)))[0]
    n = len(tints)
    per_gain, per_ink, solid_shift, per_film = np.zeros((4, n, 3, 3))
    for ink in range(3):
        up, down, alone, solid = moved.copy(), moved.copy(), np.zeros_like(moved), np.zeros((1, 4))
        up[:, ink] = np.minimum(up[:, ink] + 2.0, 100.0)
        down[:, ink] = np.maximum(down[:, ink] - 2.0, 0.0)
        width = np.maximum(up[:, ink] - down[:, ink], 1e-6) / 100.0
        per_gain[:, :, ink] = (tone_of(up) - tone_of(down)) / width[:, None] * bow[:, ink, None]
        alone[:, ink], solid[0, ink] = moved[:, ink], 100.0
        per_ink[:, :, ink] = tone_of(alone) - paper
        through = np.exp(tone_of(solid)[0] - paper)
        a = np.clip((1.0 - np.exp(per_ink[:, :, ink])) / np.maximum(1.0 - through, 0.05), 0.0, 1.0)
        # A film 1 + f times as thick lets T ** (1 + f) through (Beer and Lambert); between the dots is paper.
        thicker = through ** (1.0 + run.film[ink])
        screened = np.maximum(1.0 - a + a * thicker, 1e-3)
        tone += np.log(screened / np.maximum(1.0 - a + a * through, 1e-3))
        per_ink[:, :, ink] = np.log(screened)
        # d log(1 - a + a T) / d log T of a screen with solid transmittance T
        solid_shift[:, :, ink] = a * thicker / screened
        per_film[:, :, ink] = solid_shift[:, :, ink] * np.log(through)
    cover = np.clip(condition.effective_coverage(moved).coverage[:, :3] / 100.0, 0.0, 1.0)
    features, ways = _features(tone, paper, per_gain, per_ink, solid_shift, cover)
    linear = np.exp(tone) - FLARE
    noise = np.hypot(MARK_SD, DARK_NOISE / (np.maximum(linear, 0.0) + FLARE))
    return Basis(tone, features, ways, per_gain, per_ink, nominal, cover, per_film, noise)


def _features(
    tone: FloatArray,
    paper: FloatArray,
    per_gain: FloatArray,
    per_ink: FloatArray,
    shift: FloatArray,
    cover: FloatArray,
) -> tuple[FloatArray, tuple[Way, ...]]:
    columns: list[FloatArray] = []
    ways: list[Way] = []

    def add(value: FloatArray, size: float, way: Way) -> None:
        columns.append(size * value)
        ways.append(way)

    bright = np.exp(tone)
    for ink in range(3):
        add(per_gain[:, :, ink], GAIN_SD, Way.GAIN)  # the gains come first: ``relinearise`` reads them off
    for ink in range(3):
        add(per_ink[:, :, ink], STRENGTH_SD, Way.STRENGTH)
    add(tone - paper, CONTRAST_SD, Way.CONTRAST)
    add(1.0 / bright, FLARE_SD, Way.FLARE)
    for c in range(3):
        for value, size, way in _of_channel(c, bright, tone - paper, per_ink, shift, cover):
            of_all = np.zeros((len(tone), 3))
            of_all[:, c] = value
            add(of_all, size, way)
    return np.stack(columns, axis=2), tuple(ways)


def _of_channel(
    c: int,
    bright: FloatArray,
    contrast: FloatArray,
    per_ink: FloatArray,
    shift: FloatArray,
    cover: FloatArray,
) -> Iterator[tuple[FloatArray, float, Way]]:
    """What may be amiss with one channel of a scan alone: values (n,), how large it usually is, and in which way."""
    yield np.ones(len(bright)), WHITE_SD, Way.WHITE
    yield contrast[:, c], CONTRAST_CHANNEL_SD, Way.CONTRAST
    yield 1.0 / bright[:, c], FLARE_SD, Way.FLARE
    for other in range(3):
        if other != c:
            yield (bright[:, other] - bright[:, c]) / bright[:, c], CROSSTALK_SD, Way.CROSSTALK
    for ink in range(3):
        main = c == MAIN_CHANNEL[ink]
        yield per_ink[:, c, ink], STRENGTH_CHANNEL_SD, Way.STRENGTH if main else Way.SIDE
        yield shift[:, c, ink], HUE_SD, Way.HUE if main else Way.SIDE
    for first, second in ((0, 1), (0, 2), (1, 2)):
        yield cover[:, first] * cover[:, second], OVERPRINT_SD, Way.OVERPRINT
    yield cover.prod(axis=1), OVERPRINT_SD, Way.OVERPRINT


def covariance(a: Basis, b: Basis, at_a: FloatArray, at_b: FloatArray, share: Share = WHOLE) -> FloatArray:
    """Prior covariance (n, 3, m, 3) between tones of ``a`` at places ``at_a`` (n, 2; page heights) and ``b``."""
    inks = share.get(Way.DRIFT, 1.0) ** 2 * np.einsum("nci,mdi->ncmd", a.per_ink, b.per_ink)
    return _tint_covariance(a, b, share) + _place_covariance(inks, at_a, at_b)


def _tint_covariance(a: Basis, b: Basis, share: Share = WHOLE) -> FloatArray:
    n, m = len(a.tone), len(b.tone)
    size = a.features.shape[-1]  # said, not worked out: a page may have nothing that can be read
    kept = np.array([share.get(way, 1.0) ** 2 for way in a.ways])
    out = ((a.features.reshape(n * 3, size) * kept) @ b.features.reshape(m * 3, size).T).reshape(n, 3, m, 3)
    for ink in range(3):
        step = a.amounts[:, None, ink] - b.amounts[None, :, ink]
        alike = TONE_SD**2 * np.exp(-0.5 * (step / TONE_LENGTH) ** 2)
        out += alike[:, None, :, None] * a.per_gain[:, :, None, None, ink] * b.per_gain[None, None, :, :, ink]
    apart = ((a.cover[:, None] - b.cover[None]) ** 2).sum(axis=2)
    rest = (share.get(Way.REST, 1.0) * REST_SD) ** 2 * np.exp(-0.5 * apart / REST_LENGTH**2)
    for c in range(3):
        out[:, c, :, c] += rest
    return np.asarray(out)


def _place_covariance(inks: FloatArray, at_a: FloatArray, at_b: FloatArray) -> FloatArray:
    """What varies over the sheet; ``inks`` (n, 3, m, 3) are products of what the inks do to either tint."""
    squared = ((at_a[:, None] - at_b[None]) ** 2).sum(axis=2)
    sheet = SHEET_SD**2 * np.exp(-0.5 * squared / SHEET_LENGTH**2)
    spot = SPOT_SD**2 * np.exp(-0.5 * squared / SPOT_LENGTH**2)
    drift = INK_DRIFT_SD**2 * np.exp(-0.5 * squared / INK_DRIFT_LENGTH**2)
    out = drift[:, None, :, None] * inks + (0.5 * sheet + spot)[:, None, :, None]
    for c in range(3):
        out[:, c, :, c] += sheet + 0.5 * spot
    return np.asarray(out)


def noise_block(noise: FloatArray, reading: FloatArray) -> FloatArray:
    """Noise covariance (n, 3, 3) of single readings."""
    out = np.zeros((len(noise), 3, 3))
    out[:, range(3), range(3)] = noise**2 + reading**2
    return out + MARK_COMMON_SD**2


@dataclass(frozen=True)
class Prepared:
    """Candidate tints against the marks of a page: what does not depend on where a mark lies."""

    wanted: Basis
    static: FloatArray  # (m, 3, n, 3)
    inks: FloatArray  # (m, 3, n, 3)
    own: FloatArray  # (m, 3, 3)


@dataclass
class PagePress:
    """A condition fitted to the readings of one page.

    ``tones`` and ``reading_noise`` (n, 3), ``tints`` (n, 4) as called, ``at`` (n, 2) in page heights, ``trust``
    (n,) 0-1: how sure it is that a mark printed as called; ``scatter``: how many times the variance foretold the
    marks have in fact, 1 where the model holds.
    """

    condition: PressCondition
    tones: FloatArray
    reading_noise: FloatArray
    tints: FloatArray
    at: FloatArray
    trust: FloatArray
    run: Run = field(default_factory=Run)
    scatter: float = 1.0

    def solve(self, widen: float = 0.0) -> None:
        """Condition the process on the readings; ``widen`` adds scatter (tone units) while starts are rough."""
        self.own = basis(self.condition, self.tints, self.run)
        self.noise = noise_block(self.own.noise, np.hypot(self.reading_noise, widen)) / self.trust[:, None, None]
        self.inverse = np.linalg.inv(self.spread(self.own))
        self.alpha = self.inverse @ (self.tones - self.own.tone).ravel()

    def spread(self, own: Basis, share: Share = WHOLE) -> FloatArray:
        """Covariance (3n, 3n) of the readings, noise included, when as much as ``share`` may differ."""
        n = len(self.tones)
        prior = covariance(own, own, self.at, self.at, share)
        prior[range(n), :, range(n), :] += self.noise
        return prior.reshape(3 * n, 3 * n)

    def relinearise(self) -> None:
        """Move the dot gain to where the marks put it, so that large gains are computed and not extrapolated."""
        weights = self.own.features.reshape(-1, self.own.features.shape[2])[:, :3]
        gain = np.clip(self.run.gain + GAIN_SD * (weights.T @ self.alpha), -0.2, 0.2)
        self.run = replace(self.run, gain=gain)

    def _by_others(self) -> tuple[FloatArray, FloatArray]:
        """How far (n, 3) each mark is off what the others predict for it, and the covariances (n, 3, 3) of that."""
        n = len(self.tones)
        covariances = np.linalg.inv(self.inverse.reshape(n, 3, n, 3)[range(n), :, range(n), :])
        return np.einsum("nij,nj->ni", covariances, self.alpha.reshape(n, 3)), covariances

    def astray(self) -> FloatArray:
        """How far (n, 3) each mark is off what the others predict for it."""
        return self._by_others()[0]

    def left_out(self) -> FloatArray:
        """Squared Mahalanobis distance (n,) of each mark from what the others predict for it, noise included."""
        miss, covariances = self._by_others()
        untrusted = covariances - self.noise + self.noise * self.trust[:, None, None]
        return np.asarray(np.einsum("ni,ni->n", miss, np.linalg.solve(untrusted, miss[..., None])[..., 0]))

    def predict(self, tints: FloatArray, at: FloatArray) -> tuple[FloatArray, FloatArray, Basis]:
        """Mean (m, 3) and joint covariance (3m, 3m) of tones of ``tints`` (m, 4) at places ``at`` (m, 2)."""
        wanted = basis(self.condition, tints, self.run)
        m, n = len(tints), len(self.tones)
        prior = covariance(wanted, wanted, at, at).reshape(3 * m, 3 * m)
        cross = covariance(wanted, self.own, at, self.at).reshape(3 * m, 3 * n)
        mean = wanted.tone + (cross @ self.alpha).reshape(m, 3)
        return mean, prior - cross @ self.inverse @ cross.T, wanted

    def prepare(self, tints: FloatArray) -> Prepared:
        """The part of ``left_out_blocks`` that all marks share, for candidate tints (m, 4)."""
        wanted = basis(self.condition, tints, self.run)
        static = _tint_covariance(wanted, self.own)
        inks = np.einsum("nci,mdi->ncmd", wanted.per_ink, self.own.per_ink)
        own = np.einsum("ncp,ndp->ncd", wanted.features, wanted.features)
        own += TONE_SD**2 * np.einsum("nci,ndi->ncd", wanted.per_gain, wanted.per_gain)
        own += np.eye(3) * (REST_SD**2 + SHEET_SD**2 + 0.5 * SPOT_SD**2) + 0.5 * SHEET_SD**2 + SPOT_SD**2
        own += INK_DRIFT_SD**2 * np.einsum("nci,ndi->ncd", wanted.per_ink, wanted.per_ink)
        return Prepared(wanted, static, inks, own)

    def left_out_blocks(
        self, ready: Prepared, rows: npt.NDArray[np.intp], at: FloatArray, without: int | None
    ) -> tuple[FloatArray, FloatArray]:
        """Mean (m, 3) and covariance (m, 3, 3) of prepared tints ``rows`` at one place (2,), one mark left out."""
        m, n = len(rows), len(self.tones)
        cross = ready.static[rows] + _place_covariance(ready.inks[rows], at[None], self.at)
        cross = cross.reshape(3 * m, 3 * n)
        alpha, spread = self.alpha, cross @ self.inverse
        reduced = spread.reshape(m, 3, -1) @ cross.reshape(m, 3, -1).swapaxes(1, 2)
        if without is not None:
            gone = slice(3 * without, 3 * without + 3)
            block = np.linalg.inv(self.inverse[gone, gone])
            alpha = alpha - self.inverse[:, gone] @ (block @ alpha[gone])
            lost = spread[:, gone].reshape(m, 3, 3)
            reduced -= np.einsum("mci,ij,mdj->mcd", lost, block, lost)
        return ready.wanted.tone[rows] + (cross @ alpha).reshape(m, 3), ready.own[rows] - reduced


ANNEAL = (0.25, 0.12, 0.06, 0.03, 0.0, 0.0, 0.0)
"""Extra scatter allowed in the rounds of the robust fit, tone units: another paper and scanner start far off."""

TRUST_FREEDOM = 3.0
"""Degrees of freedom of the Student t whose weights the robust fit uses: a few marks may be anywhere."""

MIN_TRUST = 1e-3

SCATTER_MARKS, MOST_SCATTER = 16, 4.0
"""Marks that tell how far a page's marks scatter, and the most variance they may have, in what is foretold."""

CHI_SQUARED_MEDIAN = 2.366
"""Median of chi-squared with three degrees of freedom: half of all marks lie within it where the model holds."""


def fit(
    condition: PressCondition,
    tones: FloatArray,
    noise: FloatArray,
    tints: FloatArray,
    at: FloatArray,
    belief: FloatArray,
) -> PagePress:
    """Robust fit. ``belief`` (n,) 0-1 caps the trust in marks that may not be what they are called."""
    page = PagePress(condition, tones, noise, tints, at, belief.copy())
    for widen in ANNEAL:
        page.solve(widen)
        miss = page.left_out()
        weight = np.minimum(1.0, (TRUST_FREEDOM + 3.0) / (TRUST_FREEDOM + miss))
        page.trust = np.clip(belief * np.where(weight < 0.5, weight**3, weight), MIN_TRUST, 1.0)
        if widen:
            page.relinearise()
    page.solve()
    page.scatter = _scatter(page)
    return page


def _scatter(page: PagePress) -> float:
    """How many times the variance that is foretold the page's marks have, by the middle one of them, at least 1."""
    if len(page.tones) < SCATTER_MARKS:
        return 1.0
    return float(np.clip(np.median(page.left_out()) / CHI_SQUARED_MEDIAN, 1.0, MOST_SCATTER))
