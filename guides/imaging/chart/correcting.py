"""A scan's patches correct the nearest press condition at hand, and say how sure the correction is for every tint.

What house and condition differ by is a Gaussian process over tints (Rasmussen and Williams 2006, chapter 2), in
CIELAB: the sixteen overprints of solids may each print otherwise, mixed as Demichel's equations mix them; each ink's
dot gain may; and a smooth rest. The condition is its mean, so a tint that was not on the sheet comes out as the
condition has it, moved as its neighbours moved. How large each share is, the scan's own patches say (largest marginal
likelihood). What varies over the sheet and not with the tint is fitted beside it and left out of the answer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import numpy.typing as npt

from bible.colour import press as shipped
from bible.colour.colorimetry import lab_to_xyz
from bible.colour.condition import PressCondition
from bible.colour.difference import delta_e_2000
from bible.colour.doubt import NodeDoubt
from bible.colour.neugebauer import YULE_NIELSEN_N, CellularModel
from bible.colour.pressfile import TONE_DIGITS, XYZ_DIGITS
from guides.imaging.chart.tone_moves import moved, tone_moves

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

PRIMARY_SD = (2.0, 5.0, 12.0)
"""CIELAB units that an overprint of solids may lie elsewhere than on the condition; which, the scan says."""

GAIN_SD = (1.5, 5.0, 10.0)
"""The same for a 50 % dot."""

REST_SD, REST_LENGTH = (0.4, 1.2, 3.0), 0.5
"""The same for whatever else; the length in coverage (0-1)."""

NOISE_SD = (0.3, 0.6, 1.2)
"""CIELAB units by which one patch differs from another of the same tint: press, paper and scanner."""

GAIN_LENGTH = 0.35
PLACE_SD = 0.5
"""CIELAB units that the sheet's corners may differ after the light was evened."""

NINETY = 1.44
"""Root of the sum of three variances to the distance that 90 of 100 stay within (chi squared, three degrees)."""

DARKEST = 0.02


@dataclass(frozen=True)
class Measured:
    """Patches as read: percentages (n, 4), CIELAB (n, 3), standard error (n,) of each in CIELAB units, and places
    (n, 2) on the sheet from −1 to 1."""

    tints: FloatArray
    lab: FloatArray
    error: FloatArray
    at: FloatArray


@dataclass(frozen=True)
class _Channel:
    """One of L*, a*, b*: its shares, and the process conditioned on the patches."""

    primary: float
    gain: float
    rest: float
    noise: float
    inverse: FloatArray
    alpha: FloatArray

    @property
    def shares(self) -> tuple[float, float, float, float]:
        return self.primary, self.gain, self.rest, self.noise


@dataclass(frozen=True, eq=False)
class Correction:
    """A condition corrected by patches.

    ``sd``: standard deviation in CIEDE2000 units, each way, of what the scanner says; patches lessen it not.
    """

    base: PressCondition
    measured: Measured
    sd: float
    _moves: FloatArray
    _cover: FloatArray
    _channels: tuple[_Channel, ...]

    def predict(self, tints: FloatArray) -> tuple[FloatArray, FloatArray]:
        """CIELAB (m, 3) of tints (m, 4), and its variance (m, 3), the scanner's left out."""
        asked = moved(self._moves, tints)
        cover = _cover(self.base, asked)
        lab, variance = self.base.lab(asked), np.empty((len(tints), 3))
        parts, own = _parts(cover, self._cover), _own(cover)
        for at, channel in enumerate(self._channels):
            cross = _mixed(parts, channel)
            lab[:, at] += cross @ channel.alpha
            variance[:, at] = _mixed(own, channel) - np.einsum("ij,jk,ik->i", cross, channel.inverse, cross)
        return lab, np.maximum(variance, 1e-4)

    def left_out(self) -> tuple[FloatArray, FloatArray]:
        """What each patch shows less what the others say of it (n, 3), and the variance (n, 3) of that."""
        miss, variance = np.empty_like(self.measured.lab), np.empty_like(self.measured.lab)
        for at, channel in enumerate(self._channels):
            own = np.diag(channel.inverse)
            miss[:, at], variance[:, at] = channel.alpha / own, 1.0 / own
        return miss, variance

    @property
    def noise(self) -> FloatArray:
        """Standard deviation (3,) of a patch beside another of its tint, CIELAB units."""
        return np.array([channel.noise for channel in self._channels])

    def doubts(self, tints: FloatArray) -> FloatArray:
        """CIEDE2000 (m,) within which 90 of 100 true colours lie."""
        lab, variance = self.predict(tints)
        return doubt(lab, variance, self.sd)

    def condition(self, *, name: str, title: str, source: str, paper: str = "") -> PressCondition:
        """The press condition, in the form of those that ship."""
        base, model = self.base, self.base.model
        places = np.array(list(product(*model.levels)), dtype=np.float64)
        lab, variance = self.predict(places)
        shape = tuple(len(steps) for steps in model.levels)
        nodes = np.round(np.maximum(lab_to_xyz(lab), DARKEST), XYZ_DIGITS).reshape(*shape, 3)
        doubts = NodeDoubt(model.levels, np.round(doubt(lab, variance, self.sd), 2).reshape(shape))
        count = len(self.measured.tints)
        notes = (
            f"{base.title} corrected by {count} patches of a scan",
            f"90 of 100 predictions lie within {self.mean_doubt:.1f} CIEDE2000 in the mean; made from a scan, "
            "not measured with an instrument",
        )
        fitted = CellularModel(model.levels, np.asarray(nodes, dtype=np.float64), self._tones())
        return replace(
            base,
            name=name,
            title=title,
            source=source,
            paper=paper or base.paper,
            model=fitted,
            notes=notes,
            doubt=doubts,
        )

    @property
    def mean_doubt(self) -> float:
        """Mean doubt of the sheet's own tints."""
        return float(self.doubts(np.unique(self.measured.tints, axis=0)).mean())

    def _tones(self) -> FloatArray:
        """Tone curves (4, 101, 3) of the inks printed alone, never falling."""
        tones = np.empty((4, 101, 3))
        for ink in range(4):
            ramp = np.zeros((101, 4))
            ramp[:, ink] = np.arange(101)
            root = np.maximum(lab_to_xyz(self.predict(ramp)[0]), DARKEST) ** (1.0 / YULE_NIELSEN_N)
            span = root[-1] - root[0]
            flat = np.abs(span) < 0.05 * root[0]  # an ink that hardly shows in a channel: the condition's own curve
            tone = np.where(flat, self.base.model.tones[ink], (root - root[0]) / np.where(flat, 1.0, span))
            tone = np.clip(np.maximum.accumulate(tone, axis=0), 0.0, 1.0)
            tone[0], tone[-1] = 0.0, 1.0
            tones[ink] = np.round(tone, TONE_DIGITS)
        return tones


def doubt(lab: FloatArray, variance: FloatArray, sd: float) -> FloatArray:
    """CIEDE2000 (m,) that 90 of 100 lie within: variances (m, 3) of CIELAB at colours (m, 3), and the scanner's."""
    size = np.sqrt(variance)
    steps = np.stack([delta_e_2000(lab, lab + np.eye(3)[axis] * size[:, axis, None]) for axis in range(3)])
    return np.asarray(NINETY * np.sqrt((steps**2).sum(axis=0) + 3 * sd**2))


def nearest_shipped(tints: FloatArray, lab: FloatArray) -> PressCondition:
    """The shipped condition that patches (n, 4) with CIELAB (n, 3) lie nearest to."""
    conditions = [shipped.load(info.name) for info in shipped.available()]
    return min(conditions, key=lambda condition: float(np.median(delta_e_2000(condition.lab(tints), lab))))


def correct(
    base: PressCondition,
    measured: Measured,
    sd: float,
    trusted: BoolArray | None = None,
    like: Correction | None = None,
) -> Correction:
    """Correct a condition by patches; those not ``trusted`` (n,) are left out. ``like``: take its shares."""
    if trusted is not None:
        kept = (measured.tints, measured.lab, measured.error, measured.at)
        measured = Measured(*(values[trusted] for values in kept))
    moves = like._moves if like else tone_moves(base, measured.tints, lab_to_xyz(measured.lab), measured.error)
    asked = moved(moves, measured.tints)
    cover = _cover(base, asked)
    parts = _parts(cover, cover)
    rest = measured.lab - base.lab(asked)
    place = _place(measured.at)
    shares = _SHARES if like is None else ()
    channels = tuple(
        _channel(parts, place, measured.error, rest[:, at], shares or (like._channels[at].shares,))  # type: ignore[union-attr]
        for at in range(3)
    )
    return Correction(base, measured, sd, moves, cover, channels)


_SHARES = tuple(product(PRIMARY_SD, GAIN_SD, REST_SD, NOISE_SD))


def _channel(
    parts: tuple[FloatArray, ...],
    place: FloatArray,
    error: FloatArray,
    rest: FloatArray,
    shares: tuple[tuple[float, ...], ...],
) -> _Channel:
    """Choose the shares under which this channel's differences are likeliest."""
    from scipy.linalg import solve_triangular

    best: tuple[float, _Channel] | None = None
    for primary, gain, smooth, noise in shares:
        trial = _Channel(primary, gain, smooth, noise, place, rest)
        spread = _mixed(parts, trial) + place
        spread[np.diag_indices_from(spread)] += noise**2 + error**2
        lower = np.linalg.cholesky(spread)
        white = solve_triangular(lower, rest, lower=True, check_finite=False)
        likely = -0.5 * float(white @ white) - float(np.log(np.diag(lower)).sum())
        if best is None or likely > best[0]:
            best = (likely, replace(trial, inverse=np.asarray(lower, dtype=np.float64), alpha=np.asarray(white)))
    assert best is not None
    chosen = best[1]
    half = np.linalg.inv(chosen.inverse)
    inverse = half.T @ half
    return replace(chosen, inverse=inverse, alpha=inverse @ rest)


def _cover(base: PressCondition, tints: FloatArray) -> FloatArray:
    """Effective coverage (n, 4), 0-1, on the condition."""
    return np.clip(base.effective_coverage(tints).coverage / 100.0, 0.0, 1.0)


def _parts(first: FloatArray, second: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Covariances (n, m) of unit size: overprints, dot gains, rest."""
    a, b = first[:, None, :], second[None, :, :]
    mixed = a * b + (1 - a) * (1 - b)
    apart = (a - b) ** 2
    bow = 16 * a * (1 - a) * b * (1 - b) * np.exp(-0.5 * apart / GAIN_LENGTH**2)
    gains = sum(bow[..., ink] * np.delete(mixed, ink, axis=2).prod(axis=2) for ink in range(4))
    return mixed.prod(axis=2), np.asarray(gains), np.exp(-0.5 * apart.sum(axis=2) / REST_LENGTH**2)


def _own(cover: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """``_parts`` of each tint with itself (n,)."""
    mixed = cover**2 + (1 - cover) ** 2
    bow = 16 * (cover * (1 - cover)) ** 2
    gains = sum(bow[:, ink] * np.delete(mixed, ink, axis=1).prod(axis=1) for ink in range(4))
    return mixed.prod(axis=1), np.asarray(gains), np.ones(len(cover))


def _mixed(parts: tuple[FloatArray, ...], channel: _Channel) -> FloatArray:
    overprints, gains, rest = parts
    return np.asarray(channel.primary**2 * overprints + channel.gain**2 * gains + channel.rest**2 * rest)


def _place(at: FloatArray) -> FloatArray:
    """Covariance (n, n) of what varies over the sheet: planes and bows."""
    x, y = at[:, 0], at[:, 1]
    terms = PLACE_SD * np.stack([x, y, x * y, x * x - 0.5, y * y - 0.5], axis=1)
    return np.asarray(terms @ terms.T)
