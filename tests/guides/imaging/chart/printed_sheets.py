"""A house that prints the sheet and scans it: all simulated, and every figure made with it is a figure of simulation.

The house prints as one of the measured sets has it (tests/data/press, sources there). Spectra: inks' absorption bands
mixed by Demichel's equations, then bent smoothly until they have the measured XYZ to the last digit, so that what a
scanner sees is another metamer of the same print. The target's reflectances are those colour-science publishes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from bible.colour.cgats import ReferencePatches
from bible.colour.colorimetry import encode_srgb, xyz_to_lab
from bible.colour.press import PressCondition
from bible.colour.science import colour_science
from bible.colour.tints import Tint
from guides.imaging.chart.finding import mark_modules
from guides.imaging.chart.sheet import MARK_SIDE, SheetLayout

FloatArray = npt.NDArray[np.float64]
Light = npt.NDArray[Any]
Picture = npt.NDArray[np.uint8]

WAVES = np.arange(400.0, 701.0, 10.0)
BOARD = (104.0, 70.0)
"""Millimetres of the simulated target: 4 rows of 6 patches on a dark board."""


@lru_cache
def observer() -> FloatArray:
    """(31, 3): D50 times the 2° observer, scaled so that white has Y = 100 (CIE 15)."""
    colour = colour_science()
    shape = colour.SpectralShape(400, 700, 10)
    matching = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    light = colour.SDS_ILLUMINANTS["D50"].copy().align(shape).values
    weights = matching * light[:, None]
    return np.asarray(100.0 * weights / weights[:, 1].sum())


@lru_cache
def target_spectra() -> tuple[tuple[str, ...], FloatArray]:
    """Places A1 to D6 and reflectances (24, 31) of the colour target that colour-science publishes (N. Ohta)."""
    colour = colour_science()
    shape = colour.SpectralShape(400, 700, 10)
    spectra = [one.copy().align(shape).values for one in colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"].values()]
    names = tuple(f"{'ABCD'[at // 6]}{at % 6 + 1}" for at in range(24))
    return names, np.array(spectra)


def target_reference() -> ReferencePatches:
    names, spectra = target_spectra()
    return ReferencePatches(names, spectra @ observer())


def reference_text(reference: ReferencePatches) -> str:
    rows = [f"{name} {x:.4f} {y:.4f} {z:.4f}" for name, (x, y, z) in zip(reference.names, reference.xyz, strict=True)]
    head = ["CGATS.17", "BEGIN_DATA_FORMAT", "SAMPLE_NAME XYZ_X XYZ_Y XYZ_Z", "END_DATA_FORMAT"]
    return "\n".join([*head, f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA", *rows, "END_DATA"])


def _band(centre: float, width: float, depth: float, side: float) -> FloatArray:
    return np.exp(-depth * np.exp(-0.5 * ((WAVES - centre) / width) ** 2) - side)


INKS = np.stack(
    [
        _band(640.0, 70.0, 2.6, 0.12) * _band(350.0, 60.0, 0.3, 0.0),
        _band(545.0, 42.0, 2.4, 0.06),
        _band(425.0, 52.0, 2.5, 0.03),
        np.full(31, 0.03),
    ]
)


def print_spectra(press: PressCondition, tints: FloatArray) -> FloatArray:
    """Reflectances (n, 31) whose XYZ are the press's own."""
    wanted, cover = press.xyz(tints), press.effective_coverage(tints).coverage / 100.0
    mixed = np.prod(1 - cover[:, :, None] + cover[:, :, None] * INKS[None], axis=1) * 0.8
    bends = np.stack([np.exp(-0.5 * ((WAVES - centre) / 55.0) ** 2) for centre in (450.0, 545.0, 620.0)])
    logs, weights = np.log(mixed), observer()
    for _ in range(60):
        light = np.exp(logs)
        miss = wanted - light @ weights
        slope = np.einsum("nw,bw,wc->ncb", light, bends, weights)
        step = np.linalg.solve(slope + 1e-9 * np.eye(3), miss[:, :, None])[:, :, 0]
        logs = logs + np.clip(step, -0.7, 0.7) @ bends
    return np.exp(logs)


@dataclass(frozen=True)
class Scan:
    """How one scan is made. ``responses`` (31, 3): lamp times sensors; ``to_srgb`` the maker's own matrix."""

    responses: FloatArray
    to_srgb: FloatArray
    power: FloatArray = field(default_factory=lambda: np.ones(3))
    gain: FloatArray = field(default_factory=lambda: np.ones(3))
    glare: float = 0.008
    falloff: tuple[float, float, float] = (0.0, 0.0, 0.0)
    noise: float = 0.8
    turn: float = 0.5
    bend: float = 0.3
    keystone: float = 0.0
    blur: float = 0.7
    through: float = 0.01
    dpi: float = 200.0
    quality: int | None = None
    seed: int = 0

    def seen(self, spectra: FloatArray) -> FloatArray:
        """Linear light (n, 3) by the maker's own matrix, before glare."""
        return np.asarray(spectra @ self.responses @ self.to_srgb)


def makers_matrix(responses: FloatArray, spectra: FloatArray) -> FloatArray:
    """What a maker would build in: least squares from the sensors to linear sRGB over spectra of its own choice."""
    from bible.colour.colorimetry import xyz_to_linear_srgb

    return np.asarray(
        np.linalg.lstsq(spectra @ responses, xyz_to_linear_srgb(spectra @ observer()), rcond=None)[0],
        dtype=np.float64,
    )


@dataclass(frozen=True)
class Printed:
    """A sheet as a house printed it: what is really in each patch, and the truth of it."""

    sheet: SheetLayout
    press: PressCondition
    held: tuple[Tint, ...]

    @property
    def xyz(self) -> FloatArray:
        return self.press.xyz(np.array([one.percentages for one in self.held], dtype=np.float64))

    @property
    def lab(self) -> FloatArray:
        return xyz_to_lab(self.xyz)


def printed(sheet: SheetLayout, press: PressCondition, wrong: dict[int, Tint] | None = None) -> Printed:
    held = [patch.tint for patch in sheet.patches]
    for at, tint in (wrong or {}).items():
        held[at] = tint
    return Printed(sheet, press, tuple(held))


def scan_of(job: Printed, scan: Scan, *, with_target: bool = True) -> Picture:
    """The scan (h, w, 3) uint8."""
    rng = np.random.default_rng(scan.seed)
    sheet, dots = job.sheet, scan.dpi / 25.4
    tints = np.array([one.percentages for one in job.held], dtype=np.float64)
    light = scan.seen(print_spectra(job.press, tints)) * np.exp(rng.normal(0, 0.006, (len(tints), 1)))
    paper, black = scan.seen(print_spectra(job.press, np.array([[0.0, 0, 0, 0], [0, 0, 0, 100]])))
    height, width = round(sheet.height * dots), round(sheet.width * dots)
    canvas = np.empty((height, width, 3), np.float32)
    canvas[:] = paper
    for patch, tint, colour in zip(sheet.patches, tints, light, strict=True):
        x0, y0 = round(patch.x * dots), round(patch.y * dots)
        x1, y1 = round((patch.x + patch.width) * dots), round((patch.y + patch.height) * dots)
        canvas[y0:y1, x0:x1] = colour * _dots(job.press, tint, x0, x1, y0, y1, dots)
        if sheet.marked:  # the code beneath it
            canvas[y1 + 4 : y1 + 9, x0 : (x0 + x1) // 2 : 3] = black
    if sheet.marked:
        for number, corners in sheet.marks():
            _stamp(canvas, mark_modules(number), corners[0] * dots, MARK_SIDE * dots, black)
    if with_target and sheet.target:
        _lay_target(canvas, scan, sheet.target, dots, rng)
    return _scanned(canvas, scan, rng)


def _dots(press: PressCondition, tint: FloatArray, x0: int, x1: int, y0: int, y1: int, dots: float) -> Light:
    """A screen over a patch: light that swings around 1 as the dots of each ink come and go."""
    y, x = np.mgrid[y0:y1, x0:x1].astype(np.float32)
    out = np.ones((y1 - y0, x1 - x0, 3), np.float32)
    period = dots * 25.4 / press.ruling_lpi
    for ink, channel in enumerate((0, 1, 2, None)):
        share = tint[ink] / 100.0
        if not 0 < share < 1:
            continue
        angle = np.radians(press.angles["cmyk"[ink]])
        u, v = x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)
        wave = 0.5 * (np.cos(2 * np.pi * u / period) + np.cos(2 * np.pi * v / period))
        swing = 1.2 * share * (1 - share) * wave
        if channel is None:
            out *= 1 + swing[..., None]
        else:
            out[..., channel] *= 1 + swing
    return out


def _stamp(canvas: Light, modules: Light, at: FloatArray, side: float, black: FloatArray) -> None:
    edges = np.round(np.linspace(0, side, 8)).astype(int)
    x0, y0 = np.round(at).astype(int)
    for row in range(7):
        for column in range(7):
            if modules[row, column]:
                canvas[y0 + edges[row] : y0 + edges[row + 1], x0 + edges[column] : x0 + edges[column + 1]] = black


def target_picture(scan: Scan, dots: float) -> Light:
    """The target's board (h, w, 3), linear light."""
    _, spectra = target_spectra()
    colours = scan.seen(spectra)
    height, width = round(BOARD[1] * dots), round(BOARD[0] * dots)
    board = np.empty((height, width, 3), np.float32)
    board[:] = scan.seen(np.full((1, 31), 0.045))[0]
    step = (BOARD[0] - 4) / 6
    for at, colour in enumerate(colours):
        row, column = divmod(at, 6)
        x, y = (2 + column * step + 1.5) * dots, (2.0 + row * (BOARD[1] - 4) / 4 + 1.5) * dots
        x1, y1 = x + (step - 3) * dots, y + ((BOARD[1] - 4) / 4 - 3) * dots
        board[round(y) : round(y1), round(x) : round(x1)] = colour
    return board


def _lay_target(canvas: Light, scan: Scan, place: tuple[float, ...], dots: float, rng: np.random.Generator) -> None:
    board = target_picture(scan, dots)
    x = (place[0] + place[2] / 2 + rng.uniform(-1.0, 1.0)) * dots
    y = (place[1] + place[3] / 2 + rng.uniform(-0.5, 0.5)) * dots
    angle = rng.uniform(-0.6, 0.6) + 180 * rng.integers(2)
    matrix = cv2.getRotationMatrix2D((board.shape[1] / 2, board.shape[0] / 2), angle, 1.0)
    matrix[:, 2] += [x - board.shape[1] / 2, y - board.shape[0] / 2]
    cv2.warpAffine(
        board, matrix, canvas.shape[1::-1], dst=canvas, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_TRANSPARENT
    )


def _scanned(canvas: Light, scan: Scan, rng: np.random.Generator) -> Picture:
    height, width = canvas.shape[:2]
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j].astype(np.float32)
    if scan.through:
        back = cv2.resize(
            rng.uniform(-1, 1, (24, 17)).astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC
        )
        canvas *= (1 - scan.through * np.clip(back, 0, 1))[..., None]
    around = cv2.blur(cv2.resize(canvas, (width // 16, height // 16), interpolation=cv2.INTER_AREA), (25, 25))
    canvas = canvas * (1 - scan.glare) + scan.glare * cv2.resize(around, (width, height))
    tilt_x, tilt_y, bow = scan.falloff
    canvas *= (1 + tilt_x * x + tilt_y * y - bow * (x * x + y * y))[..., None]
    canvas = np.clip(canvas * scan.gain.astype(np.float32), 0, None) ** scan.power.astype(np.float32)
    pad = round(0.05 * width)
    out_y, out_x = np.mgrid[-pad : height + pad, -pad : width + pad].astype(np.float32)
    turn = np.radians(scan.turn)
    cx, cy = out_x - width / 2, out_y - height / 2
    depth = 1 + scan.keystone * cy / height
    from_x = (cx * np.cos(turn) + cy * np.sin(turn)) * depth + width / 2
    from_y = (cy * np.cos(turn) - cx * np.sin(turn)) * depth + height / 2
    reach = scan.bend * scan.dpi / 25.4
    from_y += reach * np.sin(np.pi * cx / width * 1.3)
    from_x += 0.5 * reach * (2 * cy / height) ** 2
    lid = (0.5, 0.5, 0.5)
    where = from_x.astype(np.float32), from_y.astype(np.float32)
    canvas = cv2.remap(canvas, *where, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=lid)
    canvas = cv2.GaussianBlur(canvas, (0, 0), scan.blur)
    coded = encode_srgb(np.clip(canvas, 0, 1)) * 255.0
    coded += rng.normal(0, scan.noise, coded.shape[:2]).astype(np.float32)[..., None] * 0.6
    coded += rng.standard_normal(coded.shape, dtype=np.float32) * np.float32(scan.noise)
    picture = np.clip(np.rint(coded), 0, 255).astype(np.uint8)
    if scan.quality is not None:
        kept = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, scan.quality])[1]
        picture = np.ascontiguousarray(np.asarray(cv2.imdecode(kept, cv2.IMREAD_COLOR))[..., ::-1])
    return picture
