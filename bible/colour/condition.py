"""One press condition: what a tint looks like on its paper, from its press and with its inks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from bible.colour.colorimetry import D50_XYZ, xyz_to_lab, xyz_to_srgb
from bible.colour.doubt import NodeDoubt
from bible.colour.neugebauer import CellularModel
from bible.colour.tints import INK_NAMES, INKS, Tint, as_array

FloatArray = npt.NDArray[np.float64]

DEFAULT_RELATIVE = False
"""Screens show colours absolute: the paper's own grey and yellow stay visible against the neutral surround,
and two conditions can be compared. Paper-relative (paper becomes the screen's white) is for judging as the
adapted eye does on a page that fills the view."""


class PressInfo(NamedTuple):
    name: str
    title: str
    source: str


class SRGB(NamedTuple):
    """Screen colours: ``rgb`` (n, 3) uint8, and ``out_of_gamut`` (n,) True where the screen had to clip."""

    rgb: npt.NDArray[np.uint8]
    out_of_gamut: npt.NDArray[np.bool_]


class EffectiveCoverage(NamedTuple):
    """Per-ink coverage in percent, (n, 4) in ink order: what prints, and how far that is above nominal."""

    coverage: FloatArray
    gain: FloatArray


@dataclass(frozen=True, eq=False)
class PressCondition:
    """Paper, inks and dot gain, fitted from measured patches.

    Attributes:
        name: short slug, the key of ``press.load``.
        title: what people call it.
        source: where the characterization data come from; show it wherever the condition is shown.
        paper: the paper in words.
        ruling_lpi: screen ruling of the halftone view, lines per inch.
        angles: ink -> screen angle in degrees.
        model: the fitted printing model.
        notes: lines about the fit: which patches it saw, how well it predicts the others.
        doubt: how far its predictions may be off; None where nobody has said so.
    """

    name: str
    title: str
    source: str
    paper: str
    ruling_lpi: float
    angles: Mapping[str, float]
    model: CellularModel = field(repr=False)
    notes: tuple[str, ...] = ()
    doubt: NodeDoubt | None = field(default=None, repr=False)

    @property
    def info(self) -> PressInfo:
        return PressInfo(self.name, self.title, self.source)

    @property
    def paper_xyz(self) -> FloatArray:
        """XYZ (3,) of the bare paper."""
        return np.asarray(self.model.nodes[0, 0, 0, 0])

    def xyz(self, tints: npt.ArrayLike) -> FloatArray:
        """Printed XYZ (n, 3), D50 2°, absolute with Y = 100 for the perfect diffuser.

        Args:
            tints: percentages 0-100, shape (n, 4) in the order C, M, Y, K.

        Raises:
            ValueError: wrong shape, NaN, or a percentage out of range.
        """
        return self.model.xyz(checked_percentages(tints))

    def lab(self, tints: npt.ArrayLike) -> FloatArray:
        """Printed CIELAB (n, 3), D50 2°, absolute. Arguments and errors as ``xyz``."""
        return xyz_to_lab(self.xyz(tints))

    def relative_xyz(self, tints: npt.ArrayLike) -> FloatArray:
        """XYZ scaled so that the paper is the D50 white (media-relative as ISO 15076-1 has it)."""
        return self.xyz(tints) * (D50_XYZ / self.paper_xyz)

    def relative_lab(self, tints: npt.ArrayLike) -> FloatArray:
        """CIELAB relative to the paper: paper is L* 100, a* 0, b* 0."""
        return xyz_to_lab(self.relative_xyz(tints))

    def srgb(self, tints: npt.ArrayLike, relative: bool = DEFAULT_RELATIVE) -> SRGB:
        """Screen colours of tints, adapted from D50 to D65 by Bradford.

        Args:
            tints: percentages 0-100, shape (n, 4).
            relative: True maps the paper to the screen's white; False keeps the paper's own colour.
        """
        return SRGB(*xyz_to_srgb(self.relative_xyz(tints) if relative else self.xyz(tints)))

    def hex(self, tint: Tint, relative: bool = DEFAULT_RELATIVE) -> str:
        """Screen colour of one tint as ``#rrggbb``; remembered, as pages draw the same swatches again."""
        return _hex(self, tint, relative)

    def hexes(self, tints: Sequence[Tint], relative: bool = DEFAULT_RELATIVE) -> list[str]:
        """Screen colours of many tints at once, in their order: a chart in one go."""
        rgb = self.srgb(as_array(tints), relative).rgb
        return [f"#{red:02x}{green:02x}{blue:02x}" for red, green, blue in rgb.tolist()]

    def doubts(self, tints: npt.ArrayLike) -> FloatArray | None:
        """CIEDE2000 (n,) within which 90 of 100 true colours lie; None where nobody knows. Errors as ``xyz``."""
        return None if self.doubt is None else self.doubt.at(checked_percentages(tints))

    def effective_coverage(self, tints: npt.ArrayLike) -> EffectiveCoverage:
        """Murray-Davies coverage of each ink printed alone on this paper.

        Taken in the channel an ink absorbs most: X for cyan, Y for magenta and key, Z for yellow.
        """
        percentages = checked_percentages(tints)
        coverage = np.empty_like(percentages)
        for ink, channel in enumerate(_DENSITY_CHANNEL):
            alone = np.zeros((len(percentages) + 2, 4))
            alone[:-2, ink] = percentages[:, ink]
            alone[-1, ink] = 100.0
            value = self.model.xyz(alone)[:, channel]
            coverage[:, ink] = 100.0 * murray_davies(value[:-2], value[-2], value[-1])
        return EffectiveCoverage(coverage, coverage - percentages)


_DENSITY_CHANNEL = (0, 1, 2, 1)


def murray_davies(tint: npt.ArrayLike, paper: npt.ArrayLike, solid: npt.ArrayLike) -> FloatArray:
    """Coverage 0-1 that mixes paper and solid to the tint's reflectance (Murray 1936)."""
    white = np.asarray(paper, dtype=np.float64)
    return (white - np.asarray(tint)) / (white - np.asarray(solid))


def yule_nielsen(tint: npt.ArrayLike, paper: npt.ArrayLike, solid: npt.ArrayLike, n: float) -> FloatArray:
    """Coverage 0-1 with light spread in the paper taken out: Murray-Davies on n-th roots (Yule, Nielsen 1951).

    n = 1 is Murray-Davies itself; the more the paper spreads light, the larger n, up to 2 in theory.
    """
    return murray_davies(*(np.asarray(value, dtype=np.float64) ** (1.0 / n) for value in (tint, paper, solid)))


def checked_percentages(tints: npt.ArrayLike) -> FloatArray:
    """Percentages as a float array (n, 4); ValueError for another shape, NaN, or a value outside 0-100."""
    array = np.asarray(tints, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != 4:
        raise ValueError(f"tints are an array of shape (n, 4), not {array.shape}")
    if len(array) and not (array.min() >= 0.0 and array.max() <= 100.0):  # NaN fails both
        row = int(np.flatnonzero(~((array >= 0.0) & (array <= 100.0)).all(axis=1))[0])
        ink = int(np.flatnonzero(~((array[row] >= 0.0) & (array[row] <= 100.0)))[0])
        raise ValueError(f"{INK_NAMES[INKS[ink]]} of tint {row + 1} is {array[row, ink]}, not within 0-100 %")
    return array


@lru_cache(maxsize=65536)
def _hex(condition: PressCondition, tint: Tint, relative: bool) -> str:
    return condition.hexes([tint], relative)[0]
