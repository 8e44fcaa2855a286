"""Gradients: the printed path between two tints, whether it holds its hue, and what to write instead.

A fade is two codes and an arrow. Dropping both inks of a two-ink colour together keeps its hue and only washes it
out; dropping one turns it. The turn is measured as the press prints it, relative to the paper: the hue part of
CIEDE2000 between the start and each colour of the path, after giving the latter the start's lightness and chroma,
so that only the hue counts. A fade that starts neutral (from bare paper, say) is measured from its end instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bible.colour.difference import delta_e_2000, hue_part, severity
from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array

FloatArray = npt.NDArray[np.float64]

STEPS = 17
"""Colours along a path, both ends counted: a step of 6 % at most, finer than the eye follows in a fade."""

NEUTRAL_CHROMA = 6.0
"""Below this chroma (relative to the paper) a colour has no hue to hold: nearly white, grey or black."""

HOLDS_BELOW = 4.0
"""Largest hue part of CIEDE2000 that still counts as holding the hue. It divided fades that drop both inks
together from fades that drop one."""

SUGGESTIONS = 3

BETTER_BY = 0.5
"""Where nothing on the chart holds the hue, an end is still worth naming if it turns it half as far."""


@dataclass(frozen=True, slots=True)
class HardStep:
    """The same two tints without a fade, as interiors often got them: where the step lies and how it looks."""

    difference: float
    severity: str

    @property
    def words(self) -> str:
        return f"as a hard step: {self.severity} ({self.difference:.1f} CIEDE2000)"


@dataclass(frozen=True, slots=True)
class EndSuggestion:
    """Another end for the fade: how far its hue turns, and how far the end lies from the one asked for."""

    tint: Tint
    turn: float
    difference: float


@dataclass(frozen=True, eq=False)
class PrintedGradient:
    """A fade under a press condition.

    Attributes:
        start, end: the two tints, in the direction of the arrow.
        tints: percentages along the path, (n, 4), both ends included.
        lab: printed CIELAB along the path, (n, 3), D50 absolute.
        turn: the largest hue part of CIEDE2000 along the path, 0 or more.
        at: place of the largest turn, 0 (start) to 1 (end).
        towards: name of the hue it turns towards, or None if it holds its hue.
        neutral: True where neither end has a hue, so that there is none to hold.
        hard_step: the two tints side by side without a fade.
    """

    start: Tint
    end: Tint
    tints: FloatArray
    lab: FloatArray
    turn: float
    at: float
    towards: str | None
    neutral: bool
    hard_step: HardStep

    @property
    def holds_hue(self) -> bool:
        return self.towards is None

    @property
    def words(self) -> str:
        if self.neutral:
            return "no hue to hold"
        return "holds its hue" if self.towards is None else f"turns towards {self.towards}"


def gradient(press: PressCondition, start: Tint, end: Tint, steps: int = STEPS) -> PrintedGradient:
    """The fade from ``start`` to ``end``; every ink changes evenly. ValueError for fewer than two steps."""
    if steps < 2:
        raise ValueError("a path has at least its two ends")
    ends = as_array([start, end])
    path = _paths(ends[:1], ends[1:], steps)[0]
    lab = press.lab(path)
    turns = _Turns.of(press, path[None])
    turn, at = float(turns.largest[0]), int(turns.at[0])
    towards = None
    if turn > HOLDS_BELOW:
        towards = _hue_name(press, float(turns.reference[0]), float(turns.signed[0, at]))
    step = float(delta_e_2000(lab[0], lab[-1]))
    return PrintedGradient(
        start=start,
        end=end,
        tints=path,
        lab=lab,
        turn=turn,
        at=at / (steps - 1),
        towards=towards,
        neutral=bool(turns.neutral[0]),
        hard_step=HardStep(step, severity(step).word),
    )


def hue_turns(press: PressCondition, starts: npt.ArrayLike, ends: npt.ArrayLike, steps: int = STEPS) -> FloatArray:
    """Largest hue part of CIEDE2000 along each of n fades.

    Args:
        press: the condition they are printed under.
        starts, ends: percentages (n, 4).
        steps: colours along a path.

    Returns:
        (n,), 0 where there is no hue to hold.
    """
    return _Turns.of(press, _paths(np.asarray(starts, float), np.asarray(ends, float), steps)).largest


def suggest_ends(
    press: PressCondition, start: Tint, end: Tint, chart: Sequence[Tint], count: int = SUGGESTIONS
) -> tuple[EndSuggestion, ...]:
    """Chart tints that hold the start's hue better as the end of this fade.

    Those that hold it come first, then those that at least halve the turn, each nearest to the wanted end first.
    Only ends that keep the fade a fade are offered: those for which no ink goes against the direction it, or the
    fade as a whole, was asked to go. Empty if the fade holds its hue already or nothing on the chart does better.
    """
    asked = float(hue_turns(press, as_array([start]), as_array([end]))[0])
    if asked <= HOLDS_BELOW:
        return ()
    fading_out = end.total_ink <= start.total_ink
    candidates = [tint for tint in chart if tint not in (start, end) and _goes_with(start, tint, fading_out)]
    if not candidates:
        return ()
    there = as_array(candidates)
    turns = hue_turns(press, np.repeat(as_array([start]), len(there), axis=0), there)
    differences = delta_e_2000(press.lab(there), press.lab(as_array([end])))
    order = np.lexsort((differences, turns > HOLDS_BELOW))
    better = [at for at in order if turns[at] <= max(HOLDS_BELOW, BETTER_BY * asked)]
    return tuple(EndSuggestion(candidates[at], float(turns[at]), float(differences[at])) for at in better[:count])


def _goes_with(start: Tint, tint: Tint, fading_out: bool) -> bool:
    pairs = list(zip(start.percentages, tint.percentages, strict=True))
    return all(there <= here for here, there in pairs) if fading_out else all(there >= here for here, there in pairs)


def _paths(starts: FloatArray, ends: FloatArray, steps: int) -> FloatArray:
    """(n, steps, 4)"""
    share = np.linspace(0.0, 1.0, steps)[:, None]
    # Written so that rounding cannot lead beyond the ends, to 100.00000000000001 %.
    return np.clip(starts[:, None, :] * (1 - share) + ends[:, None, :] * share, 0.0, 100.0)


@dataclass(frozen=True, eq=False)
class _Turns:
    signed: FloatArray
    largest: FloatArray
    at: npt.NDArray[np.intp]
    reference: FloatArray
    neutral: npt.NDArray[np.bool_]

    @classmethod
    def of(cls, press: PressCondition, paths: FloatArray) -> _Turns:
        """Hue turns along paths (n, steps, 4)."""
        count, steps = paths.shape[:2]
        lab = press.relative_lab(paths.reshape(-1, 4)).reshape(count, steps, 3)
        chroma = np.hypot(lab[..., 1], lab[..., 2])
        anchor = np.where(chroma[:, 0] >= NEUTRAL_CHROMA, 0, steps - 1)
        rows = np.arange(count)
        reference = lab[rows, anchor][:, None, :]
        reference_chroma = chroma[rows, anchor][:, None]
        scale = reference_chroma / np.maximum(chroma, 1e-9)
        alike = np.stack(
            [np.broadcast_to(reference[..., 0], chroma.shape), lab[..., 1] * scale, lab[..., 2] * scale], axis=-1
        )
        coloured = (chroma >= NEUTRAL_CHROMA) & (reference_chroma >= NEUTRAL_CHROMA)
        signed = np.where(coloured, hue_part(reference, alike), 0.0)
        at = np.abs(signed).argmax(axis=1)
        angle = np.degrees(np.arctan2(reference[:, 0, 2], reference[:, 0, 1]))
        return cls(signed, np.abs(signed[rows, at]), at, angle, reference_chroma[:, 0] < NEUTRAL_CHROMA)


_HUES = {
    "cyan": (100, 0, 0, 0),
    "violet": (100, 100, 0, 0),
    "magenta": (0, 100, 0, 0),
    "red": (0, 100, 100, 0),
    "yellow": (0, 0, 100, 0),
    "green": (100, 0, 100, 0),
}
"""The six hues a press is made of: its solids and their overprints."""

_AT_HOME = 5.0
"""Degrees within which a colour already has one of the six hues, so that it turns towards the next one."""


def _hue_name(press: PressCondition, from_angle: float, sign: float) -> str:
    """The first of the press's own hues met when turning from an angle; positive turns anticlockwise."""
    lab = press.relative_lab(np.array(list(_HUES.values()), dtype=np.float64))
    angles = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
    ahead = (angles - from_angle) * (1.0 if sign > 0 else -1.0) % 360.0
    ahead = np.where(ahead < _AT_HOME, ahead + 360.0, ahead)
    return list(_HUES)[int(np.argmin(ahead))]
