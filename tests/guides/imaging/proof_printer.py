"""Prints drawn pages as halftone proofs and scans them badly: the other half of the tests' material.

Several printing models, so that nothing is tuned to one: see ``MODELS``. Rulings, angles and faults follow
common practice (no source); solids of the ``press`` models are TR 002's and FOGRA's.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from bible.colour import press
from bible.colour.colorimetry import decode_srgb, encode_srgb, xyz_to_linear_srgb
from bible.colour.tints import Tint
from tests.guides.imaging.printing_models import MODELS, Model
from tests.guides.imaging.proof_generator import SCALE, Fade, Page, fade_position

Float = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Fault:
    """What the plate got instead. ``step`` is where along a fade (0-1) it jumps."""

    kind: str
    tint: Tint
    ink: str | None = None
    step: float | None = None
    to: Tint | None = None


@dataclass
class Conditions:
    """Everything that may go wrong between plate and file. Lengths in mm, colours linear."""

    model: str = "press"
    dpi: float = 200.0
    page_mm: float = 250.0
    ruling: float = 65.0
    angles: tuple[float, float, float] = (105.0, 75.0, 90.0)
    misregister: Float = field(default_factory=lambda: np.zeros((3, 2)))
    gain: Float = field(default_factory=lambda: np.zeros(3))
    density: Float = field(default_factory=lambda: np.ones(3))
    rotation: float = 0.0
    quarter_turns: int = 0
    perspective: Float = field(default_factory=lambda: np.zeros(2))
    stretch: Float = field(default_factory=lambda: np.zeros((2, 6)))
    paper: Float = field(default_factory=lambda: np.array([1.0, 1.0, 1.0]))
    paper_drift: float = 0.0
    show_through: float = 0.0
    scanner_gain: Float = field(default_factory=lambda: np.ones(3))
    scanner_flare: float = 0.0
    scanner_gamma: float = 1.0
    scanner_mix: Float = field(default_factory=lambda: np.eye(3))
    blur: float = 0.5
    noise: float = 0.01
    jpeg: int = 88
    dirt: int = 0
    partial: bool = False


def conditions(seed: int, model: str = "press", brutal: bool = False, dpi: float | None = None) -> Conditions:
    """A page's luck, drawn from the seed."""
    rng = np.random.default_rng(seed + 4321)
    hard = 2.0 if brutal else 1.0
    reach = (0.3 if not brutal else 0.55) * np.sqrt(rng.uniform(0, 1, 3))
    way = rng.uniform(0, 2 * np.pi, 3)
    shift = 0.0 if rng.random() < 0.6 else rng.uniform(-0.16, 0.16)
    density = np.clip(rng.normal(1, 0.06 * hard**0.5, 3), 0.75, 1.25)
    density[int(rng.integers(3))] += shift
    yellow = rng.uniform(0, 1)
    return Conditions(
        model=model,
        dpi=dpi or float(rng.choice([150, 200, 240])),
        ruling=float(rng.uniform(60, 85)),
        angles=((105.0, 75.0, 90.0), (15.0, 75.0, 0.0), (75.0, 45.0, 90.0))[int(rng.integers(3))],
        misregister=np.stack([reach * np.cos(way), reach * np.sin(way)], 1),
        gain=rng.normal(0, 0.035 * hard**0.5, 3),
        density=density,
        rotation=float(rng.normal(0, 1.2 * hard)),
        quarter_turns=int(rng.choice([0, 0, 0, 0, 0, 1, 2, 3])),
        perspective=rng.normal(0, 0.006 * hard**1.5, 2),
        stretch=rng.normal(0, 0.5 * hard, (2, 6)),
        paper=np.array([1.0, 1 - 0.05 * yellow, 1 - 0.22 * yellow]) * rng.uniform(0.92, 1.0),
        paper_drift=float(rng.uniform(0, 0.06 * hard)),
        show_through=float(rng.uniform(0, 0.06 * hard)),
        scanner_gain=rng.uniform(0.94, 1.03, 3),
        scanner_flare=float(rng.uniform(0, 0.02 * hard)),
        scanner_gamma=float(rng.normal(1, 0.04)),
        scanner_mix=np.eye(3) * 0.97 + rng.uniform(-0.01, 0.03, (3, 3)),
        blur=float(rng.uniform(0.3, 0.8)),
        noise=float(rng.uniform(0.004, 0.015)) * hard,
        jpeg=int(rng.integers(80, 95)) if not brutal else int(rng.integers(62, 85)),
        dirt=0 if not brutal else int(rng.integers(10, 40)),
        partial=brutal,
    )


# --- geometry ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Geometry:
    """Where proof pixels come from; ``to_page`` is exact, ``to_proof`` its inverse by iteration."""

    size: tuple[int, int]
    inverse: Float
    stretch: Float
    page_size: tuple[int, int]

    def to_page(self, points: Float) -> Float:
        p = points @ self.inverse[:, :2].T + self.inverse[:, 2]
        q = p[:, :2] / p[:, 2:]
        u = q / np.array(self.page_size) - 0.5
        basis = np.stack(
            [
                np.sin(np.pi * u[:, 0]), np.sin(np.pi * u[:, 1]), np.cos(2 * np.pi * u[:, 0]),
                np.cos(2 * np.pi * u[:, 1]), np.sin(2 * np.pi * u[:, 0]) * np.cos(np.pi * u[:, 1]),
                4 * u[:, 0] * u[:, 1],
            ],
            1,
        )  # fmt: skip
        return np.asarray(q + basis @ self.stretch.T * self.page_size[1] / 1000)

    def to_proof(self, points: Float) -> Float:
        forward = np.linalg.inv(self.inverse)
        target = points.copy()
        for _ in range(12):
            p = target @ forward[:, :2].T + forward[:, 2]
            guess = p[:, :2] / p[:, 2:]
            target += points - self.to_page(guess)
        return np.asarray(guess)


def geometry(page: Page, luck: Conditions) -> Geometry:
    scale = luck.dpi * luck.page_mm / 25.4 / page.height
    w, h = page.width * scale, page.height * scale
    pad = 0.02 * h
    centre = np.array([[1, 0, -page.width / 2], [0, 1, -page.height / 2], [0, 0, 1.0]])
    angle = np.deg2rad(luck.rotation + 90 * luck.quarter_turns)
    c, s = np.cos(angle) * scale, np.sin(angle) * scale
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    tilt = np.eye(3)
    tilt[2, :2] = luck.perspective / (h / 2)
    out = (h, w) if luck.quarter_turns % 2 else (w, h)
    size = (int(out[0] + 2 * pad), int(out[1] + 2 * pad))
    back = np.array([[1, 0, size[0] / 2], [0, 1, size[1] / 2], [0, 0, 1.0]])
    forward = back @ tilt @ turn @ centre
    return Geometry(size, np.linalg.inv(forward), luck.stretch, (page.width, page.height))


# --- printing ----------------------------------------------------------------------------------------------

Small = npt.NDArray[np.float32]


@dataclass
class Proof:
    image: npt.NDArray[np.uint8]
    geometry: Geometry
    faults: dict[str, Fault]


def print_proof(page: Page, luck: Conditions, faults: dict[str, Fault], seed: int) -> Proof:
    """The scan (RGB uint8) of the page printed with these faults, keyed by mark id, under these conditions."""
    rng = np.random.default_rng(seed + 999)
    shape = geometry(page, luck)
    model = MODELS[luck.model]
    labels, rows = _plates(page, faults, rng, luck.partial)
    fine = max(2, round(500 / luck.dpi))
    width, height = shape.size
    out = np.empty((height, width, 3), np.float32)
    press_run = _PressRun(page, luck, model, labels, rows)
    through = cv2.GaussianBlur(page.lines[::-1, ::-1].astype(np.float32) / 255, (0, 0), 5 * page.height / 1000)
    blocks = rng.random((page.height // 40, page.width // 40)).astype(np.float32)
    through = 0.5 * through + 0.5 * cv2.resize(blocks, through.shape[::-1], interpolation=cv2.INTER_NEAREST)
    step = 64
    for top in range(0, height, step):
        bottom = min(height, top + step)
        where = _fine_map(shape, top, bottom, width, fine)
        block = press_run.print(where)
        block *= 1 - luck.show_through * np.asarray(_look(through, where), np.float32)[..., None]
        if model.encoded:
            block = encode_srgb(np.clip(block, 0, 1)).astype(np.float32)
        grid = cv2.resize(block, (width, bottom - top), interpolation=cv2.INTER_AREA)
        out[top:bottom] = decode_srgb(grid) if model.encoded else grid
    return Proof(_scan(out, luck, rng), shape, faults)


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
    return np.asarray(cv2.remap(image, at[..., 0], at[..., 1], cv2.INTER_NEAREST, borderValue=0))


class _PressRun:
    def __init__(
        self,
        page: Page,
        luck: Conditions,
        model: Model,
        labels: npt.NDArray[np.uint16],
        rows: list[Row],
    ) -> None:
        self.luck, self.labels, self.rows = luck, labels, rows
        self.per_mm = page.height / luck.page_mm
        self.lines = cv2.GaussianBlur(page.lines, (0, 0), 0.7)
        self.primaries = np.clip(model.primaries(luck.density), 0.002, 1).astype(np.float32)
        grid = np.linspace(0, 1, 1001)
        self.curves = np.stack([model.curve(_vary(grid, luck.gain[ink]), ink) for ink in range(3)])
        nominal = np.array([row.tint.percentages[:3] for row in rows]) / 100.0
        self.coverage = self._printed(nominal).astype(np.float32)
        self.graded = [n for n, row in enumerate(rows) if row.fade is not None]
        self.ratio: Small | None = None
        if model.exact:
            bits = (np.arange(8)[:, None] >> np.arange(3)) & 1
            shares = np.where(bits, self.coverage[:, None, :], 1 - self.coverage[:, None, :]).prod(2)
            self.ratio = (_exact_colours(rows, luck) / (shares @ self.primaries)).astype(np.float32)
            self.ratio[self.graded] = 1

    def _printed(self, nominal: Float) -> Float:
        at = np.rint(nominal * 1000).astype(np.intp)
        return np.stack([self.curves[ink][at[..., ink]] for ink in range(3)], -1)

    def print(self, where: Small) -> Small:
        """Linear colours (rows, columns, 3) of the sheet at these page positions: dots, overprints and key."""
        luck = self.luck
        index = np.zeros(where.shape[:2], np.uint8)
        for ink in range(3):
            moved = where + (luck.misregister[ink] * self.per_mm).astype(np.float32)
            label = np.asarray(_look(self.labels, moved), np.intp)
            printed = self.coverage[label, ink]
            for n in self.graded:
                inside = label == n
                if inside.any():
                    row = self.rows[n]
                    assert row.fade is not None
                    t = fade_position(row.fade, moved[inside][:, 0], moved[inside][:, 1])
                    t = t if row.step is None else (t > row.step).astype(float)
                    start, end = row.tint.percentages[ink] / 100, row.to.percentages[ink] / 100
                    at = np.rint((start + (end - start) * t) * 1000).astype(np.intp)
                    printed[inside] = self.curves[ink][at]
            index += (self._screen(where, ink) < printed).astype(np.uint8) << ink
        block = self.primaries[index]
        if self.ratio is not None:  # texture of the dots around the condition's own mean colour
            block *= self.ratio[np.asarray(_look(self.labels, where), np.intp)]
        block[np.asarray(_look(self.lines, where)) > 110] = 0.035
        return block

    def _screen(self, where: Small, ink: int) -> Small:
        angle = np.deg2rad(self.luck.angles[ink])
        per_cell = len(_TILE) / (25.4 / self.luck.ruling * self.per_mm)
        c, s = np.float32(np.cos(angle) * per_cell), np.float32(np.sin(angle) * per_cell)
        a = np.floor(where[..., 0] * c + where[..., 1] * s).astype(np.int32) & (len(_TILE) - 1)
        b = np.floor(where[..., 1] * c - where[..., 0] * s).astype(np.int32) & (len(_TILE) - 1)
        return _TILE[a, b]


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


def draw_faults(
    page: Page, seed: int, rate: float = 0.08, levels: tuple[int, ...] = (0, 25, 50, 100)
) -> dict[str, Fault]:
    """Faults for about ``rate`` of the marks, of every kind, each an actual change of ink."""
    rng = np.random.default_rng(seed + 55)
    faults: dict[str, Fault] = {}
    for mark in page.marks:
        area = page.areas[mark.label]
        if rng.random() >= (rate if area.fade is None else max(rate, 0.35)):
            continue
        present = [ink for ink in "cmy" if getattr(area.tint, ink)]
        if area.fade:
            faults[mark.id] = Fault("gradient_step", area.tint, step=float(rng.uniform(0.08, 0.92)), to=area.fade.to)
        elif present:
            faults[mark.id] = _flat_fault(area.tint, present, rng, levels)
    return faults


def _flat_fault(tint: Tint, present: list[str], rng: np.random.Generator, levels: tuple[int, ...]) -> Fault:
    kind = str(
        rng.choice(["colour_missing", "ink_missing", "wrong_strength", "other_colour"], p=[0.3, 0.25, 0.35, 0.1])
    )
    ink = str(rng.choice(present))
    if kind == "ink_missing" and len(present) > 1:
        return Fault(kind, replace(tint, **{ink: 0}), ink)
    if kind == "wrong_strength":
        other = [level for level in levels if level not in (0, getattr(tint, ink))]
        return Fault(kind, replace(tint, **{ink: int(rng.choice(other))}), ink)
    if kind == "other_colour":
        while True:
            drawn = Tint(*(int(v) for v in rng.choice(levels, 3)))
            changed = [i for i in "cmy" if getattr(drawn, i) != getattr(tint, i)]
            if len(changed) >= 2 and not drawn.is_paper:
                return Fault(kind, drawn)
    return Fault("colour_missing", Tint())
