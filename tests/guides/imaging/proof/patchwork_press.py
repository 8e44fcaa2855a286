"""Proofs of the patchwork: press and scan by a third hand that shares nothing with the other two.

Inks are the eight solids and the tone curves of a *measured* condition, often not the one that is assumed; dots are
round and put on paper as areas (Demichel 1924), each ink with its own film, gain, shift and unevenness. Scans shine
through from the back; brutal ones are lit like a telephone's picture, blotted and torn. Measures are ours (common
practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from bible.colour import press
from bible.colour.colorimetry import xyz_to_linear_srgb
from bible.colour.tints import as_array
from tests.guides.imaging.proof.patchwork_pages import (
    GRAIN,
    SHEET,
    Fault,
    Float,
    Image,
    Plane,
    Sheet,
    along,
    draw,
    draw_faults,
    packed,
    paint,
    places_of,
    waves,
)

PRESSES = ("newsprint", "uncoated-fogra29", "newsprint", "web-coated-tr005", "newsprint", "web-coated-tr003")


@dataclass(frozen=True, eq=False)
class PatchworkProof:
    """``marks`` as ``check_proof`` takes them; ``faults`` by their ids; ``radius`` (mm) of each mark's area."""

    guide: Image
    proof: Image
    marks: list[dict[str, Any]]
    faults: dict[str, Fault]
    radius: dict[str, float]


def _asked(sheet: Sheet, faults: dict[int, Fault], rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """Percentages (h, w, 3) on the plates."""
    tints = list(sheet.tints)
    for label, fault in faults.items():
        tints[label] = fault.tint if fault.share == 1.0 else tints[label]
    plates = (as_array(tints)[:, :3] / 100).astype(np.float32)[sheet.labels]
    for label, (to, start, end) in sheet.fades.items():
        rows, columns = np.nonzero(sheet.labels == label)
        share = along(np.stack([columns, rows], 1) / GRAIN, start, end)[:, None]
        if label in faults:
            share = (share > rng.uniform(0.25, 0.75)).astype(float)
        first, last = as_array([sheet.tints[label], to])[:, :3] / 100
        plates[rows, columns] = first * (1 - share) + last * share
    for label, fault in faults.items():
        if fault.share < 1.0:
            rows, columns = np.nonzero(sheet.labels == label)
            way = columns * np.cos(turn := rng.uniform(0, 6.3)) + rows * np.sin(turn)
            gone = way < np.quantile(way, fault.share)
            plates[rows[gone], columns[gone]] = as_array([fault.tint])[0, :3] / 100
    return plates


def _printed(sheet: Sheet, plates: Plane, name: str, dots: float, rng: np.random.Generator, worse: float) -> Plane:
    """Linear light (h, w, 3) of the flat sheet at ``dots`` pixels a mm."""
    condition = press.load(name)
    corners = np.array([[100.0 * (n >> i & 1) for i in range(3)] + [0.0] for n in range(8)])
    solids = np.clip(xyz_to_linear_srgb(condition.xyz(corners)), 0.003, None)
    film = np.clip(rng.normal(1, 0.07 * worse, 3), 0.7, 1.35)
    if rng.random() < 0.35:
        film[int(rng.integers(3))] *= rng.choice([0.82, 1.2])
    bits = corners[:, :3] / 100
    alone = np.log(solids[[1, 2, 4]] / solids[0])
    solids = solids * np.exp(bits @ ((film - 1)[:, None] * alone))
    ramp = np.zeros((101, 4))
    curves = []
    for ink in range(3):
        ramp[:] = 0
        ramp[:, ink] = np.arange(101)
        nominal = np.arange(101) / 100
        curve = condition.effective_coverage(ramp).coverage[:, ink] / 100
        curves.append(np.clip(curve + rng.normal(0, 0.03 * worse) * 4 * nominal * (1 - nominal), 0, 1))
    fine, size = 2 * dots, (round(SHEET[0] * dots * 2), round(SHEET[1] * dots * 2))
    angles = np.deg2rad(np.array([15, 75, 0]) + rng.choice([0, 30, 45]))
    ruling = rng.uniform(60, 90) / 25.4
    column, row = (
        np.arange(size[0], dtype=np.float32) / np.float32(fine),
        np.arange(size[1], dtype=np.float32) / np.float32(fine),
    )
    index = np.zeros(size[::-1], np.uint8)
    for ink in range(3):
        shift = rng.normal(0, 0.07 * worse, 2) * GRAIN
        plate = cv2.warpAffine(
            plates[..., ink],
            np.array([[1, 0, shift[0]], [0, 1, shift[1]]]),
            plates.shape[1::-1],
            flags=cv2.INTER_NEAREST,
            borderMode=cv2.BORDER_REPLICATE,
        )
        uneven = 1 + 0.02 * worse * waves(rng, plate.shape, 500)
        cover = np.interp(plate, np.arange(101) / 100, curves[ink]).astype(np.float32)
        cover = cv2.resize(np.clip(cover * uneven, 0, 1), size, interpolation=cv2.INTER_NEAREST)
        c, s = 2 * np.pi * ruling * np.cos(angles[ink]), 2 * np.pi * ruling * np.sin(angles[ink])
        spot = _wave(c * column, s * row) + _wave(-s * column, c * row)
        # Which part of a cell is inked from which height on: by rank, so that areas come out as asked for.
        ranks = np.sort(spot[::37, ::41].ravel())
        height = np.interp(1 - np.linspace(0, 1, 257), np.linspace(0, 1, len(ranks)), ranks).astype(np.float32)
        height[0], height[-1] = 9, -9
        index |= (spot > height[np.rint(cover * 256).astype(np.int32)]).astype(np.uint8) << ink
    light = solids.astype(np.float32)[index]
    small = cv2.resize(
        cv2.GaussianBlur(light, (0, 0), 1.2), (size[0] // 2, size[1] // 2), interpolation=cv2.INTER_AREA
    )
    key = cv2.resize(sheet.line, (size[0] // 2, size[1] // 2), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    black = np.clip(xyz_to_linear_srgb(condition.xyz(np.array([[0.0, 0, 0, 100]])))[0] / solids[0], 0.01, 1)
    return np.asarray(small * (1 - key[..., None] * (1 - black.astype(np.float32))), np.float32)


def _wave(across: Plane, down: Plane) -> Plane:
    """cos(across + down) on the grid of both."""
    even, odd = np.cos(across)[None] * np.cos(down)[:, None], np.sin(across)[None] * np.sin(down)[:, None]
    return np.asarray(even - odd, np.float32)


def _scanned(light: Plane, back: Plane, dots: float, rng: np.random.Generator, brutal: bool) -> Image:
    worse = 1.8 if brutal else 1.0
    through = cv2.GaussianBlur(back[:, ::-1].mean(axis=2), (0, 0), 0.3 * dots)
    light = light * (1 - rng.uniform(0, 0.06 * worse) * (1 - through / through.max()))[..., None]
    high, wide = light.shape[:2]
    for _ in range(int(rng.integers(20, 60)) if brutal else 2):
        at = (int(rng.integers(wide)), int(rng.integers(high)))
        axes = tuple(int(v) for v in rng.uniform(0.1, 0.9, 2) * dots + 1)
        cv2.ellipse(
            light,
            at,
            axes,
            float(rng.uniform(0, 180)),
            0,
            360,
            tuple(float(v) for v in rng.uniform(0.05, 0.6) * np.array([1, 0.9, 0.7])),
            -1,
            cv2.LINE_AA,
        )
    size = (round(wide * 1.05), round(high * 1.05))
    y, x = np.mgrid[0 : size[1] : 32, 0 : size[0] : 32].astype(np.float32)
    turn = np.deg2rad(rng.normal(0, 0.8 * worse) + rng.choice([0, 0, 0, 180]))
    c, s = np.cos(turn), np.sin(turn)
    u, v = x - size[0] / 2, y - size[1] / 2
    tilt = rng.normal(0, (0.03 if brutal else 0.004), 2)
    depth = 1 + tilt[0] * u / size[0] + tilt[1] * v / size[1]
    off = [waves(rng, x.shape, 12) * rng.uniform(0, 0.12) * worse * dots for _ in range(2)]
    mx, my = (c * u + s * v) / depth + wide / 2 + off[0], (-s * u + c * v) / depth + high / 2 + off[1]
    grid = [
        np.asarray(
            cv2.resize(m.astype(np.float32), (m.shape[1] * 32, m.shape[0] * 32), interpolation=cv2.INTER_LINEAR)
        )[: size[1], : size[0]]
        for m in (mx, my)
    ]
    taken = cv2.remap(light, grid[0], grid[1], cv2.INTER_LINEAR, borderValue=(0.7, 0.7, 0.7))
    if brutal:
        fy, fx = np.mgrid[-1 : 1 : size[1] * 1j, -1 : 1 : size[0] * 1j].astype(np.float32)
        lamp = rng.uniform(-0.8, 0.8, 2)
        taken = taken * np.exp(-rng.uniform(0.05, 0.2) * ((fx - lamp[0]) ** 2 + (fy - lamp[1]) ** 2))[..., None]
        taken = taken * rng.uniform(0.85, 1.0, 3)
    taken = taken * rng.uniform(0.9, 1.15) * (1 + rng.normal(0, 0.02, 3)) + rng.uniform(0, 0.012 * worse)
    taken = cv2.GaussianBlur(taken.astype(np.float32), (0, 0), rng.uniform(0.4, 0.9) * (1.3 if brutal else 1))
    coded = np.clip(taken, 0, 1) ** (1 / rng.uniform(2.05, 2.35)) * 255
    coded += rng.normal(0, rng.uniform(1, 2.5) * worse, coded.shape)
    return packed(coded, int(rng.integers(62, 82) if brutal else rng.integers(78, 94)))


def patchwork_proof(seed: int, brutal: bool = False, marks: int = 70, least: float = 0.8) -> PatchworkProof:
    """A guide and the scan of its proof. ``least``: radius (mm) of the smallest area that is marked."""
    rng = np.random.default_rng([seed, 7117, int(brutal)])
    sheet = draw(rng)
    spots = places_of(sheet, marks, least, rng)
    faults = draw_faults(sheet, spots, rng, brutal)
    guide, to_px = paint(sheet, spots, rng)
    dots = rng.uniform(190, 300) / 25.4
    light = _printed(
        sheet, _asked(sheet, faults, rng), PRESSES[seed % len(PRESSES)], dots, rng, 1.8 if brutal else 1.0
    )
    proof = _scanned(light, np.roll(light, 311, axis=0), dots, rng, brutal)

    def px(at: Float) -> list[float]:
        return [float(v) for v in to_px[:, :2] @ at + to_px[:, 2]]

    listed: list[dict[str, Any]] = []
    for n, (at, label, _) in enumerate(spots):
        fade = None
        if label in sheet.fades:
            to, start, end = sheet.fades[label]
            fade = {"to": str(to), "from_xy": px(start), "to_xy": px(end)}
        x, y = px(at)
        code = str(sheet.tints[label])
        listed.append(
            {
                "id": f"q{n}",
                "x": x,
                "y": y,
                "code": code if not sheet.tints[label].is_paper else "W",
                "gradient": fade,
            }
        )
    named = {f"q{n}": faults[label] for n, (_, label, _) in enumerate(spots) if label in faults}
    return PatchworkProof(guide, proof, listed, named, {f"q{n}": r for n, (_, _, r) in enumerate(spots)})
