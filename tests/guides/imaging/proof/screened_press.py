"""Sheets printed in screens of dots and scanned: a press, a paper and a scanner that share nothing with the others.

Dots are distances to the middle of their cell, by rank, so that areas come out as asked for: round, diamond, chained or
square. They are uneven from dot to dot, inks trap, the paper has fibres and spreads light (Yule and Nielsen 1951), the
other side shines through, inks fade and paper browns. Scanners see dots too coarsely or reduce them badly, so that
moiré stands in the scan. Measures are ours (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from bible.colour import press
from bible.colour.colorimetry import xyz_to_linear_srgb
from tests.guides.imaging.proof.patchwork_pages import GRAIN, Float, Image, Plane, packed, waves

FINE = 20
"""Pixels a millimetre of the printed sheet: six and more across a dot's cell."""

SOFT = 0.16
"""Share of a cell over which a dot's edge goes from ink to paper."""

INKS = np.array([[1.75, 0.46, 0.17], [0.16, 1.5, 0.62], [0.02, 0.11, 1.25]])
"""Densities (natural logarithm, red, green, blue) of a cyan, a magenta and a yellow solid."""

ANGLES = ((15, 45, 0), (75, 15, 0), (45, 75, 90), (105, 75, 90))


@dataclass(frozen=True, eq=False)
class Press:
    """One press, its inks and its paper.

    Attributes:
        rulings: cells a mm, an ink each; angles: degrees; shape: of the dots.
        gain: (3,) coverage added at half; film: (3, 3) density of the solids; trap: share of an ink that another takes.
        spread: of light in the paper, mm; paper: (3,) linear light; back: share of the other side that shines through.
        brown: how much darker the sheet is at its edges; shift: (3, 2) mm that the inks lie off.
    """

    rulings: Float
    angles: Float
    shape: str
    gain: Float
    film: Float
    trap: float
    spread: float
    paper: Float
    back: float
    brown: float
    shift: Float


def draw_press(rng: np.random.Generator, watched: bool) -> Press:
    """Watched ones have measured inks, coarser screens of other dots, and an older paper."""
    film = INKS * rng.normal(1, 0.08, (3, 1)) + rng.normal(0, 0.03, (3, 3))
    if watched:
        name = str(rng.choice(["newsprint", "uncoated-fogra29", "web-coated-tr005"]))
        light = xyz_to_linear_srgb(press.load(name).xyz(np.vstack([np.zeros(4), 100 * np.eye(4)[:3]])))
        film = -np.log(np.clip(light[1:] / light[0], 0.03, 1)) * rng.uniform(0.75, 1.05, (3, 1))
    low, high = (53, 72) if watched else (62, 86)
    age = rng.uniform(0.3, 1.0) if watched else rng.uniform(0.0, 0.7)
    return Press(
        rulings=rng.uniform(low, high) * (1 + rng.normal(0, 0.01, 3)) / 25.4,
        angles=np.array(ANGLES[int(rng.integers(4))]) + rng.normal(0, 1.0, 3),
        shape=str(rng.choice(["chain", "square"] if watched else ["round", "diamond"])),
        gain=np.clip(rng.normal(0.15, 0.035, 3), 0.05, 0.25),
        film=np.clip(film, 0.0, None) * (1 - age * rng.uniform(0, 0.16, (3, 1))),
        trap=rng.uniform(0.75, 0.97),
        spread=rng.uniform(0.03, 0.09),
        paper=np.array([0.93, 0.91, 0.86]) ** (1 + age * np.array([1.2, 2.2, 4.0])),
        back=rng.uniform(0.0, 0.09),
        brown=0.12 * age * rng.uniform(0, 1),
        shift=rng.normal(0, 0.06, (3, 2)),
    )


def _spot(shape: str, across: Plane, down: Plane) -> Plane:
    """How far (h, w) places within cells lie from the dot's middle, in the dots' own measure."""
    if shape == "round":
        return np.hypot(across, down)
    if shape == "diamond":
        return np.abs(across) + np.abs(down)
    if shape == "chain":
        return np.abs(across) + np.float32(0.62) * np.abs(down)
    return np.maximum(np.abs(across), np.abs(down))


def _screened(cover: Plane, ruling: float, angle: float, shape: str, rng: np.random.Generator) -> Plane:
    """Where (h, w) there is ink, 0-1, of a plate with coverages 0-1."""
    high, wide = cover.shape
    c, s = ruling / FINE * np.cos(np.deg2rad(angle)), ruling / FINE * np.sin(np.deg2rad(angle))
    x, y = np.arange(wide, dtype=np.float32)[None], np.arange(high, dtype=np.float32)[:, None]
    u, v = np.float32(c) * x + np.float32(s) * y, np.float32(-s) * x + np.float32(c) * y
    column, row = np.rint(u), np.rint(v)
    grid = ((np.arange(64) + 0.5) / 64 - 0.5).astype(np.float32)
    ranks = np.sort(_spot(shape, grid[None], grid[:, None]).ravel())
    far = _spot(shape, u - column, v - row)
    table = np.searchsorted(ranks, np.linspace(0, 1.5, 1024)).astype(np.float32) / len(ranks)
    rank = table[np.minimum((far * np.float32(1023 / 1.5)).astype(np.int32), 1023)]
    uneven = rng.normal(0, 1, (61, 67)).astype(np.float32)
    own = uneven[column.astype(np.int32) % 61, row.astype(np.int32) % 67]
    asked = np.clip(cover + np.float32(0.14) * own * cover * (1 - cover), 0, 1) * (1 + SOFT) - SOFT / 2
    return np.asarray(np.clip((asked - rank) / SOFT + 0.5, 0, 1), np.float32)


def print_sheet(plates: Plane, line: Image, run: Press, seed: int, back: Plane | None = None) -> Plane:
    """Linear light (h, w, 3) of a sheet, FINE pixels a mm.

    Args:
        plates: (h, w, 3) what the plates hold, 0-1, GRAIN pixels a mm; line: the key plate, 255 is ink.
        back: (h, w) density of the other side, as one would see it from there.
    """
    rng = np.random.default_rng([seed, 90])
    size = (round(line.shape[1] * FINE / GRAIN), round(line.shape[0] * FINE / GRAIN))
    depth = np.zeros((size[1], size[0], 3), np.float32)
    beneath = np.zeros(size[::-1], np.float32)
    for ink in (2, 1, 0):  # yellow first, as most presses ran
        off = np.array([[1, 0, run.shift[ink, 0] * GRAIN], [0, 1, run.shift[ink, 1] * GRAIN]])
        plate = cv2.warpAffine(plates[..., ink], off, line.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
        grown = plate + np.float32(4 * run.gain[ink]) * plate * (1 - plate)
        grown = grown * (1 + np.float32(0.02) * waves(rng, grown.shape, 400))
        cover = cv2.resize(np.clip(grown, 0, 1), size, interpolation=cv2.INTER_LINEAR)
        inked = _screened(cover, float(run.rulings[ink]), float(run.angles[ink]), run.shape, rng)
        taken = inked * (1 - np.float32(1 - run.trap) * beneath)
        depth += taken[..., None] * run.film[ink].astype(np.float32)
        beneath = np.maximum(beneath, inked)
    key = cv2.resize(line, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    through = np.exp(-0.5 * depth) * (1 - np.float32(0.72) * key[..., None])
    light = through * cv2.GaussianBlur(through, (0, 0), run.spread * FINE)
    light *= run.paper.astype(np.float32)
    return _aged(light, run, rng, back, size)


def _aged(light: Plane, run: Press, rng: np.random.Generator, back: Plane | None, size: tuple[int, int]) -> Plane:
    shade = 1 + np.float32(0.012) * waves(rng, size[::-1], 3) + np.float32(0.012) * waves(rng, size[::-1], 25)
    if back is not None:
        other = cv2.GaussianBlur(back[:, ::-1], (0, 0), 0.35 * GRAIN)
        shade *= 1 - np.float32(run.back) * cv2.resize(other, size, interpolation=cv2.INTER_LINEAR)
    y, x = np.mgrid[-1:1:48j, -1:1:48j]
    edge = cv2.resize((np.maximum(abs(x), abs(y)) ** 4).astype(np.float32), size)
    return np.asarray(
        light * shade[..., None] * np.exp(-run.brown * edge[..., None] * np.array([0.6, 1.0, 1.7])), np.float32
    )


@dataclass(frozen=True, eq=False)
class Scanner:
    """``dpi`` it takes, ``reduced`` by which its picture is made smaller and how badly, ``to_px`` (2, 3) from mm."""

    dpi: float
    reduced: float
    soft: float
    turn: float
    gain: Float
    flare: float
    gamma: float
    noise: float
    quality: int


def draw_scanner(rng: np.random.Generator, watched: bool) -> Scanner:
    dpi = float(rng.choice([150, 200, 300, 300, 400, 600] if watched else [150, 200, 250, 300, 300, 400]))
    return Scanner(
        dpi=dpi,
        reduced=float(rng.choice([1.0, 1.0, 0.72, 0.58])) if dpi >= 300 else 1.0,
        soft=rng.uniform(0.3, 0.8),
        turn=rng.normal(0, 0.8),
        gain=rng.uniform(0.95, 1.25) * (1 + rng.normal(0, 0.02, 3)),
        flare=rng.uniform(0, 0.02),
        gamma=rng.uniform(2.0, 2.4),
        noise=rng.uniform(0.8, 2.5),
        quality=int(rng.integers(70, 93)),
    )


def scan_sheet(light: Plane, by: Scanner, seed: int) -> tuple[Image, Float]:
    """The scan and the map (2, 3) from mm of the sheet to its pixels, a tenth of a millimetre's warp aside."""
    rng = np.random.default_rng([seed, 91])
    high, wide = light.shape[:2]
    dots = by.dpi / 25.4
    size = (round(wide / FINE * dots * 1.05), round(high / FINE * dots * 1.05))
    turn = np.deg2rad(by.turn)
    c, s = dots * np.cos(turn), dots * np.sin(turn)
    to_px = np.array([[c, -s, 0.0], [s, c, 0.0]])
    to_px[:, 2] = np.array(size) / 2 - to_px[:, :2] @ (np.array([wide, high]) / FINE / 2)
    back = cv2.invertAffineTransform(to_px)
    column, row = np.meshgrid(np.arange(0, size[0] + 40, 40.0), np.arange(0, size[1] + 40, 40.0))
    mm = np.stack([column, row], 2) @ back[:, :2].T + back[:, 2]
    mm += 0.05 * np.stack([waves(rng, column.shape, 9), waves(rng, column.shape, 9)], 2)
    where = [
        cv2.resize((mm[..., k] * FINE).astype(np.float32), (column.shape[1] * 40, column.shape[0] * 40))[
            20 : size[1] + 20, 20 : size[0] + 20
        ]
        for k in (0, 1)
    ]
    seen = cv2.GaussianBlur(light, (0, 0), max(0.3, by.soft * FINE / dots))
    taken = cv2.remap(seen, where[0], where[1], cv2.INTER_LINEAR, borderValue=(0.75, 0.75, 0.75))
    if by.reduced < 1:  # between pixels, without averaging: that is where moiré comes from
        taken = cv2.resize(taken, None, fx=by.reduced, fy=by.reduced, interpolation=cv2.INTER_LINEAR)
        to_px = to_px * by.reduced
    coded = np.clip(taken * by.gain.astype(np.float32) + by.flare, 0, 1) ** (1 / by.gamma) * 255
    return packed(coded + rng.normal(0, by.noise, coded.shape), by.quality), to_px
