"""Pages whose proofs are real halftones, and guides that are: what a press's dots do to the proof desk.

A guide is painted, or it is itself the scan of a printed page, whose areas shade and hold amounts that no code says: it
is coded with the nearest tints. The proof is that very printing with some areas recoloured, or another run of it; or all
is a picture, nowhere flat and with few lines, of that run.
Two families: ``tune`` may choose thresholds, ``watch`` (other drawing, inks, dots, rulings, age) is only looked at.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import cv2
import numpy as np

from bible.colour.charts import CHART_64
from bible.colour.colorimetry import encode_srgb, srgb_to_lab, xyz_to_linear_srgb
from bible.colour.press import DEFAULT_PRESS, load
from bible.colour.tints import Tint, as_array
from guides.imaging.proof.proofing import ProofMark
from tests.guides.imaging.proof.patchwork_pages import (
    GRAIN,
    Float,
    Image,
    Plane,
    Sheet,
    draw,
    paint,
    places_of,
    waves,
)
from tests.guides.imaging.proof.proof_generator import draw_page
from tests.guides.imaging.proof.screened_press import draw_press, draw_scanner, print_sheet, scan_sheet

SEEN, MOST_SEEN = 10.0, 50.0
"""CIE76 distances in print of a recolouring: less is the same colour to the eye, more nobody overlooks."""

CODED = 14.0
"""CIE76 distance within which a printed area can be called by a tint's code."""


class Guide(StrEnum):
    PAINTED = "painted"
    SAME = "same run"
    OTHER = "other run"
    PICTURE = "picture"


@dataclass(frozen=True, eq=False)
class ScreenedProof:
    """A guide, the scan of its proof, its marks, and what was printed instead, by their ids."""

    kind: Guide
    guide: Image
    proof: Image
    marks: list[ProofMark]
    faults: dict[str, Tint]


def lab_of(light: Float) -> Float:
    """CIELAB of linear light, the paper 1."""
    return srgb_to_lab(np.rint(255 * encode_srgb(np.clip(light, 0.004, 1))).astype(np.uint8))


def chart_light() -> Float:
    """Linear light (64, 3) of the chart's tints printed, the paper 1."""
    light = xyz_to_linear_srgb(load(DEFAULT_PRESS).xyz(CHART_64.array))
    return np.asarray(light / light[0])


def _table() -> tuple[Float, Float]:
    """Amounts (64, 3) of the chart's tints, and CIELAB (64, 3) of them printed, the paper white."""
    return CHART_64.array[:, :3] / 100, lab_of(chart_light())


def _drawn(rng: np.random.Generator, seed: int, watched: bool) -> Sheet:
    if not watched:
        sheet = draw(rng)
        sheet.fades.clear()
        return sheet
    page = draw_page(seed + 60_000, 675, 950, 70)
    labels = page.labels[: page.labels.shape[0], :].astype(np.int32)
    return Sheet(labels, page.lines, [area.tint for area in page.areas], {})


def _plates(sheet: Sheet, amounts: Float, shading: Plane) -> Plane:
    """What the plates hold (h, w, 3): an area's amounts, lighter and darker from place to place."""
    flat = amounts.astype(np.float32)[sheet.labels]
    return np.asarray(np.clip(flat * (1 + shading), 0, 1), np.float32)


def replated(held: Float, before: Float, after: Float) -> Float:
    """What plates that hold about ``before`` hold (..., 3) once they are cut for ``after``: dots shrink or grow in
    proportion to the ink or to the paper that there is."""
    shrunk = held * after / np.maximum(before, 0.01)
    grown = 1 - (1 - held) * (1 - after) / np.maximum(1 - before, 0.01)
    return np.asarray(np.clip(np.where(after < before, shrunk, np.where(after > before, grown, held)), 0, 1))


def _slips(called: dict[int, int], rate: float, rng: np.random.Generator) -> dict[int, int]:
    """By label the tint of the chart that is printed instead: another step, an ink less, or another colour."""
    amounts, lab = _table()
    slips: dict[int, int] = {}
    for label, tint in called.items():
        if rng.random() > rate:
            continue
        far = np.linalg.norm(lab - lab[tint], axis=1)
        fits = (far > SEEN) & (far < MOST_SEEN)
        changed = (amounts != amounts[tint]).sum(axis=1)
        if rng.random() < 0.6 and (fits & (changed == 1)).any():
            fits &= changed == 1
        if fits.any():
            slips[label] = int(rng.choice(np.flatnonzero(fits)))
    return slips


def screened_proof(seed: int, watched: bool = False, marks: int = 60) -> ScreenedProof:
    kind = list(Guide)[seed % len(Guide)]
    rng = np.random.default_rng([seed, 4411, int(watched)])
    sheet = _drawn(rng, seed, watched)
    spots = places_of(sheet, marks, 1.0, rng)
    run, scanner = draw_press(rng, watched), draw_scanner(rng, watched)
    held = as_array(sheet.tints)[:, :3] / 100
    shading = np.zeros((1, 1, 1), np.float32)
    if kind is not Guide.PAINTED:
        held = np.where(
            held > 0, np.clip(held + rng.normal(0, 0.07, held.shape), 0.04, 1), rng.uniform(0, 0.05, held.shape)
        )
        held[[n for n, tint in enumerate(sheet.tints) if tint.is_paper]] = 0
        plane = sheet.labels.shape
        wide, near = (0.3, 0.15) if kind is Guide.PICTURE else (0.06, 0.05)
        shading = np.stack([wide * waves(rng, plane, 60) + near * waves(rng, plane, 14) for _ in range(3)], 2)
        if kind is Guide.PICTURE:
            sheet.line[waves(rng, plane, 120) > -0.2] = 0
    plates = _plates(sheet, held, shading)
    other = np.roll(plates.mean(axis=2) + sheet.line / np.float32(255), 523, axis=0)
    if kind is Guide.PAINTED:
        guide, to_px = paint(sheet, spots, rng)
        called = {
            label: CHART_64.tints.index(sheet.tints[label]) for _, label, _ in spots if sheet.tints[label] in CHART_64
        }
    else:
        light = print_sheet(plates, sheet.line, run, seed, other)
        guide, to_px = scan_sheet(light, draw_scanner(rng, watched), seed)
        called = _called(guide, to_px, sheet, spots)
    slips = _slips(called, 0.12 if kind is Guide.PAINTED else 0.2, rng)
    amounts, _ = _table()
    for label, to in slips.items():
        held[label] = replated(held[label], amounts[called[label]], amounts[to])
    if kind is Guide.OTHER:
        run = replace(run, gain=run.gain + rng.normal(0, 0.02, 3), film=run.film * rng.normal(1, 0.08, (3, 1)),
                      shift=rng.normal(0, 0.06, (3, 2)), back=run.back * 0.5)  # fmt: skip
    printed = print_sheet(_plates(sheet, held, shading), sheet.line, run, seed + 7 * (kind is Guide.OTHER), other)
    proof, _ = scan_sheet(printed, scanner, seed + 1)
    listed = []
    for n, (at, label, _) in enumerate(spots):
        if label in called:
            x, y = to_px[:, :2] @ at + to_px[:, 2]
            listed.append((label, ProofMark(f"h{n}", float(x), float(y), CHART_64.tints[called[label]])))
    named = {str(mark.id): CHART_64.tints[slips[label]] for label, mark in listed if label in slips}
    return ScreenedProof(kind, guide, proof, [mark for _, mark in listed], named)


def _called(guide: Image, to_px: Float, sheet: Sheet, spots: list[tuple[Float, int, float]]) -> dict[int, int]:
    """By label the tint that a reader of the printed guide would call it: the nearest in print, if any is near."""
    _, lab = _table()
    linear = (guide / 255.0) ** 2.2
    white = np.percentile(linear[::3, ::3].reshape(-1, 3), 97, axis=0)
    onto = to_px.copy()
    onto[:, :2] /= GRAIN
    inside = cv2.erode((sheet.line < 60).astype(np.uint8), np.ones((5, 5)))
    flat = cv2.warpAffine(
        sheet.labels.astype(np.float32) * inside, onto, guide.shape[1::-1], flags=cv2.INTER_NEAREST
    ).astype(np.int32)
    called: dict[int, int] = {}
    reach = round(2.0 * float(np.hypot(*to_px[:, 0])))
    for at, label, _ in spots:
        x, y = np.rint(to_px[:, :2] @ at + to_px[:, 2]).astype(int)
        near = np.s_[max(y - reach, 0) : y + reach + 1, max(x - reach, 0) : x + reach + 1]
        own = linear[near][flat[near] == label]
        if len(own) < 40:
            continue
        colour = lab_of((own.mean(axis=0) / white)[None])
        far = np.linalg.norm(lab - colour, axis=1)
        if far.min() < CODED:
            called[label] = int(far.argmin())
    return called
