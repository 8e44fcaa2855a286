"""Prints drawn pages as halftone proofs and scans them badly: the other half of the tests' material.

Several printing models, so that nothing is tuned to one: see ``MODELS``. Rulings, angles and faults follow
common practice (no source); solids of the ``press`` models are TR 002's and FOGRA's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from copy import deepcopy
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from bible.colour import press
from bible.colour.colorimetry import decode_srgb, encode_srgb, xyz_to_linear_srgb
from bible.colour.tints import Tint
from tests.guides.imaging.proof.printing_models import MODELS
from tests.guides.imaging.proof.proof_conditions import Conditions, Geometry, geometry
from tests.guides.imaging.proof.proof_faults import Fault
from tests.guides.imaging.proof.proof_generator import SCALE, Fade, Page

Float = npt.NDArray[np.float64]
Small = npt.NDArray[np.float32]
STRIP = 64
KEY_INDEX, KEY = 8, 0.035
"""Line art: its index beside the eight overprints, and its linear value."""


@dataclass
class Proof:
    image: npt.NDArray[np.uint8]
    geometry: Geometry
    faults: dict[str, Fault]


@dataclass(frozen=True)
class Strip:
    """Some rows of the sheet in fine samples: the inks that lie there, what shows through, and the plates' labels."""

    rows: slice
    inks: npt.NDArray[np.uint8]
    shade: Small
    labels: npt.NDArray[np.intp] | None


@dataclass(frozen=True)
class Dots:
    """A page as its plates lay it down, before it is said how dense the inks are."""

    page: Page
    faults: dict[str, Fault]
    geometry: Geometry
    plates: list[Row]
    strips: Iterable[Strip]
    rng: np.random.Generator

    def kept(self) -> Dots:
        """The same for more than one print: whoever varies the density alone need not lay the dots again."""
        return replace(self, strips=tuple(self.strips))


def print_proof(page: Page, luck: Conditions, faults: dict[str, Fault], seed: int) -> Proof:
    """The scan (RGB uint8) of the page printed with these faults, keyed by mark id, under these conditions."""
    return print_dots(lay_dots(page, luck, faults, seed), luck)


def lay_dots(page: Page, luck: Conditions, faults: dict[str, Fault], seed: int) -> Dots:
    """All of ``print_proof`` but the inks and the scanner."""
    rng = np.random.default_rng(seed + 999)
    shape = geometry(page, luck)
    labels, rows = _plates(page, faults, rng, luck.partial)
    through = cv2.GaussianBlur(page.lines[::-1, ::-1].astype(np.float32) / 255, (0, 0), 5 * page.height / 1000)
    blocks = rng.random((page.height // 40, page.width // 40)).astype(np.float32)
    through = 0.5 * through + 0.5 * cv2.resize(blocks, through.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return Dots(page, faults, shape, rows, _PressRun(page, luck, labels, rows).strips(shape, through), rng)


def print_dots(dots: Dots, luck: Conditions) -> Proof:
    """The scan of dots in inks as dense as ``luck`` says, which otherwise is what they were laid under."""
    model = MODELS[luck.model]
    width, height = dots.geometry.size
    out = np.empty((height, width, 3), np.float32)
    colours = np.full((1, 256, 3), KEY, np.float32)
    colours[0, :8] = np.clip(model.primaries(luck.density), 0.002, 1)
    ratio = _exact_ratio(dots.plates, luck) if model.exact else None
    for strip in dots.strips:
        block = cv2.LUT(cv2.merge([strip.inks] * 3), colours)
        if (
            ratio is not None and strip.labels is not None
        ):  # texture of the dots around the condition's own mean colour
            block = np.where((strip.inks < KEY_INDEX)[..., None], block * ratio[strip.labels], block)
        block *= strip.shade[..., None]
        if model.encoded:
            block = encode_srgb(np.clip(block, 0, 1)).astype(np.float32)
        grid = cv2.resize(block, (width, strip.rows.stop - strip.rows.start), interpolation=cv2.INTER_AREA)
        out[strip.rows] = decode_srgb(grid) if model.encoded else grid
    return Proof(_scan(out, luck, deepcopy(dots.rng)), dots.geometry, dots.faults)


def _fine_map(shape: Geometry, top: int, bottom: int, width: int, fine: int) -> Small:
    """Page position (rows, columns, 2) of every fine sample: exact every 8 samples, bilinear between."""
    coarse = 8
    xs = (np.arange(0, width * fine + coarse, coarse) + 0.5) / fine - 0.5
    ys = (np.arange(top * fine, bottom * fine + coarse, coarse) + 0.5) / fine - 0.5
    gx, gy = np.meshgrid(xs, ys)
    exact = shape.to_page(np.stack([gx.ravel(), gy.ravel()], 1)).reshape(*gx.shape, 2).astype(np.float32)
    u, v = np.meshgrid(np.arange(width * fine) / coarse, np.arange((bottom - top) * fine) / coarse)
    return np.asarray(cv2.remap(exact, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR))


def _look(image: npt.NDArray[np.generic], where: Small) -> npt.NDArray[np.generic]:
    at = where * SCALE + (0.5 * SCALE - 0.5)
    return np.asarray(cv2.remap(image, at, None, cv2.INTER_NEAREST, borderValue=0))


class _PressRun:
    def __init__(self, page: Page, luck: Conditions, labels: npt.NDArray[np.uint16], rows: list[Row]) -> None:
        model = MODELS[luck.model]
        self.luck, self.labels, self.exact = luck, labels, bool(model.exact)
        self.per_mm = page.height / luck.page_mm
        self.lines = cv2.GaussianBlur(page.lines, (0, 0), 0.7)
        self.curves = _curves(luck)
        self.start = np.array([row.tint.percentages[:3] for row in rows]) / 100.0
        self.end = np.array([row.to.percentages[:3] for row in rows]) / 100.0
        self.coverage = _printed(self.curves, self.start).astype(np.float32)
        self.graded = np.array([row.fade is not None for row in rows])
        ends = np.array([(row.fade.start, row.fade.end) if row.fade else ((0, 0), (1, 1)) for row in rows], float)
        self.origin, self.way = ends[:, 0], ends[:, 1] - ends[:, 0]
        self.jump = np.array([np.nan if row.step is None else row.step for row in rows])

    def strips(self, shape: Geometry, through: Small) -> Iterator[Strip]:
        fine = max(2, round(500 / self.luck.dpi))
        width, height = shape.size
        for top in range(0, height, STRIP):
            bottom = min(height, top + STRIP)
            where = _fine_map(shape, top, bottom, width, fine)
            shade = 1 - self.luck.show_through * np.asarray(_look(through, where), np.float32)
            labels = np.asarray(_look(self.labels, where), np.intp) if self.exact else None
            yield Strip(slice(top, bottom), self.inks(where), shade, labels)

    def inks(self, where: Small) -> npt.NDArray[np.uint8]:
        """Which inks lie at these page positions (rows, columns), a bit an ink, or KEY_INDEX."""
        index = np.zeros(where.shape[:2], np.uint8)
        for ink in range(3):
            moved = cv2.add(where, (*self.luck.misregister[ink] * self.per_mm, 0.0, 0.0))
            label = np.asarray(_look(self.labels, moved), np.intp).ravel()
            printed = self.coverage[:, ink].take(label)
            fading = np.flatnonzero(self.graded.take(label))
            if len(fading):
                printed[fading] = self._faded(moved.reshape(-1, 2)[fading], label[fading], ink)
            index |= (self._screen(where, ink).ravel() < printed).reshape(index.shape).view(np.uint8) << ink
        index[np.asarray(_look(self.lines, where)) > 110] = KEY_INDEX
        return index

    def _faded(self, at: Small, label: npt.NDArray[np.intp], ink: int) -> Float:
        """What fades and steps print at page positions (n, 2) that belong to them."""
        off, way = at - self.origin[label], self.way[label]
        t = np.clip((off[:, 0] * way[:, 0] + off[:, 1] * way[:, 1]) / (self.way**2).sum(axis=1)[label], 0, 1)
        jump = self.jump[label]
        t = np.where(np.isnan(jump), t, t > jump)
        start, end = self.start[label, ink], self.end[label, ink]
        return np.asarray(self.curves[ink][np.rint((start + (end - start) * t) * 1000).astype(np.intp)])

    def _screen(self, where: Small, ink: int) -> Small:
        angle = np.deg2rad(self.luck.angles[ink])
        per_cell = len(_TILE) / (25.4 / self.luck.ruling * self.per_mm)
        c, s = np.float32(np.cos(angle) * per_cell), np.float32(np.sin(angle) * per_cell)
        a = np.floor(where[..., 0] * c + where[..., 1] * s).astype(np.int32) & (len(_TILE) - 1)
        b = np.floor(where[..., 1] * c - where[..., 0] * s).astype(np.int32) & (len(_TILE) - 1)
        return _TILE.ravel().take(a * len(_TILE) + b)


def _curves(luck: Conditions) -> Float:
    """What a plate's coverage of so many thousandths prints as, an entry an ink."""
    grid = np.linspace(0, 1, 1001)
    return np.stack([MODELS[luck.model].curve(_vary(grid, luck.gain[ink]), ink) for ink in range(3)])


def _printed(curves: Float, nominal: Float) -> Float:
    at = np.rint(nominal * 1000).astype(np.intp)
    return np.stack([curves[ink][at[..., ink]] for ink in range(3)], -1)


def _exact_ratio(rows: list[Row], luck: Conditions) -> Small:
    """The condition's own mean colour of every flat label over that of its dots."""
    primaries = np.clip(MODELS[luck.model].primaries(luck.density), 0.002, 1).astype(np.float32)
    nominal = np.array([row.tint.percentages[:3] for row in rows]) / 100.0
    coverage = _printed(_curves(luck), nominal).astype(np.float32)
    bits = (np.arange(8)[:, None] >> np.arange(3)) & 1
    shares = np.where(bits, coverage[:, None, :], 1 - coverage[:, None, :]).prod(2)
    ratio = (_exact_colours(rows, luck) / (shares @ primaries)).astype(np.float32)
    ratio[[n for n, row in enumerate(rows) if row.fade is not None]] = 1
    return ratio


def _round_dot(size: int = 64) -> Small:
    """Thresholds 0-1 of one screen cell whose share below t is t: the spot function through its own ranks."""
    wave = np.cos(2 * np.pi * (np.arange(size) + 0.5) / size)
    spot = -(wave[:, None] + wave[None, :])
    ranks = np.empty(size * size)
    ranks[np.argsort(spot.ravel(), kind="stable")] = (np.arange(size * size) + 0.5) / size**2
    return ranks.reshape(size, size).astype(np.float32)


_TILE = _round_dot()


@dataclass
class Row:
    """What the plates hold for one label: a tint, or a fade to another (``step``: hard, at that place)."""

    tint: Tint
    to: Tint
    fade: Fade | None = None
    step: float | None = None


def _plates(
    page: Page, faults: dict[str, Fault], rng: np.random.Generator, partial: bool
) -> tuple[npt.NDArray[np.uint16], list[Row]]:
    """The label map as cut, and what each label prints."""
    labels = page.labels.copy()
    rows = [Row(area.tint, area.fade.to if area.fade else area.tint, area.fade) for area in page.areas]
    for mark in page.marks:
        fault = faults.get(mark.id)
        if fault is None:
            continue
        fade = page.areas[mark.label].fade
        row = Row(fault.tint, fault.to or fault.tint, fade if fault.to else None, fault.step)
        if partial and fade is None and rng.random() < 0.6:
            ys, xs = np.nonzero(labels == mark.label)
            angle = rng.uniform(0, 2 * np.pi)
            along = (xs / SCALE - mark.x) * np.cos(angle) + (ys / SCALE - mark.y) * np.sin(angle)
            keep = along > -max(0.3 * np.abs(along).max(), 6 * page.height / 1000)
            if keep.mean() > 0.45:
                labels[ys[keep], xs[keep]] = len(rows)
                rows.append(row)
                continue
        rows[mark.label] = row
    return labels, rows


def _exact_colours(rows: list[Row], luck: Conditions) -> Float:
    """Mean colour of every flat label by the press condition itself, with this page's gain and density."""
    condition = press.load("newsprint")
    tints = np.array([row.tint.percentages for row in rows], float)
    moved = tints.copy()
    moved[:, :3] = _vary(tints[:, :3] / 100, luck.gain) * 100
    linear = np.clip(xyz_to_linear_srgb(condition.xyz(moved)), 0.004, None)
    white = xyz_to_linear_srgb(condition.xyz([[0, 0, 0, 0]]))[0]
    for ink in range(3):
        alone = np.zeros_like(moved)
        alone[:, ink] = moved[:, ink]
        single = np.log(np.clip(xyz_to_linear_srgb(condition.xyz(alone)), 0.004, None) / white)
        linear *= np.exp(single * (luck.density[ink] - 1))
    return np.asarray(linear)


def _vary(coverage: Float, gain: npt.ArrayLike) -> Float:
    return np.asarray(np.clip(coverage + np.asarray(gain) * 4 * coverage * (1 - coverage), 0, 1))


def _scan(linear: npt.NDArray[np.float32], luck: Conditions, rng: np.random.Generator) -> npt.NDArray[np.uint8]:
    height, width = linear.shape[:2]
    ramp = np.linspace(-1, 1, width)[None, :] * rng.uniform(-1, 1) + np.linspace(-1, 1, height)[
        :, None
    ] * rng.uniform(-1, 1)
    image: npt.NDArray[Any] = linear * luck.paper.astype(np.float32)
    image *= (1 + luck.paper_drift * ramp[..., None] * np.array([0.6, 0.8, 1.3]) / 2).astype(np.float32)
    mottle = cv2.resize(rng.normal(0, 1, (height // 6, width // 6)).astype(np.float32), (width, height))
    image *= 1 + 0.012 * mottle[..., None]
    for _ in range(luck.dirt):
        centre = (int(rng.integers(width)), int(rng.integers(height)))
        size = (int(rng.integers(2, 18) * luck.dpi / 200), int(rng.integers(1, 7) * luck.dpi / 200) + 1)
        mask = np.zeros((height, width), np.uint8)
        cv2.ellipse(mask, centre, size, float(rng.uniform(0, 180)), 0, 360, 255, -1, cv2.LINE_AA)
        alpha = mask[..., None].astype(np.float32) / 255 * float(rng.uniform(0.4, 1))
        image = image * (1 - alpha) + alpha * (0.7 if rng.random() < 0.4 else 0.08)
    image = np.asarray(cv2.GaussianBlur(image, (0, 0), luck.blur * luck.dpi / 200))
    image = image @ luck.scanner_mix.T.astype(np.float32)
    image = image * luck.scanner_gain.astype(np.float32) * (1 - luck.scanner_flare) + luck.scanner_flare
    image = np.clip(image, 0, 1) ** luck.scanner_gamma
    encoded = encode_srgb(image) + rng.normal(0, luck.noise, image.shape)
    eight = np.asarray(np.clip(encoded * 255 + 0.5, 0, 255), np.uint8)
    _, data = cv2.imencode(".jpg", eight[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, luck.jpeg])
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))[..., ::-1]
