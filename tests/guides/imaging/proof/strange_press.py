"""Proofs as a stranger's press and scanner would make them: nothing here is shared with ``proof_printer``.

Inks are spectra: absorption bands on a paper that yellows, overprints multiply band by band less what the second ink
loses on the first (trapping). Dots are diamonds, ellipses or lines that spread; light goes into the paper in one place
and comes out beside it, so that dot gain is optical too (after Yule and Nielsen 1951). The observer is CIE 1931, D65.
The scanner has channels of its own, a tone curve, sharpening, glare and a lid of any grey; the sheet shrank unevenly.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

from tests.guides.imaging.proof.strange_slips import Slip, draw_slips
from tests.guides.imaging.strange_scenes import FINE, Float, Patch, Scene, draw_scene, paint_scene

Plane = npt.NDArray[np.float32]
WAVES = np.arange(400, 701, 10.0)
PAGE_MM = 255.0
SEEN = 0.025
"""Around a mark, in page heights: of what lies there of its area, a torn slip takes 40 to 85 %."""

BAND = 96
"""Rows of the scan that are printed at once."""


@dataclass
class Chance:
    """A press run and a scan. Lengths in mm; an entry an ink where there are three."""

    dpi: float = 170.0
    ruling: float = 70.0
    angles: tuple[float, float, float] = (15.0, 75.0, 0.0)
    dot: str = "diamond"
    film: Float = field(default_factory=lambda: np.ones(3))
    spread: Float = field(default_factory=lambda: np.full(3, 0.012))
    trapping: float = 0.9
    hue: Float = field(default_factory=lambda: np.zeros(3))
    yellowed: float = 0.5
    apart: Float = field(default_factory=lambda: np.zeros((3, 2)))
    swollen: Float = field(default_factory=lambda: np.zeros(3))
    through: float = 0.03
    turn: float = 0.5
    tilt: Float = field(default_factory=lambda: np.zeros(2))
    shrunk: Float = field(default_factory=lambda: np.ones(2))
    cockled: Float = field(default_factory=lambda: np.zeros((2, 4, 3)))
    lid: float = 0.9
    curve: float = 0.0
    glare: float = 0.01
    mix: Float = field(default_factory=lambda: np.eye(3))
    lamp: Float = field(default_factory=lambda: np.zeros(3))
    sharpen: float = 0.4
    noise: float = 1.5
    jpeg: int = 88
    dirt: int = 0
    torn: bool = False


def chance(seed: int, brutal: bool = False) -> Chance:
    """A page's luck."""
    rng = np.random.default_rng([seed, 503])
    worse = 1.8 if brutal else 1.0
    way, far = rng.uniform(0, 2 * np.pi, 3), (0.8 if brutal else 0.3) * rng.beta(2, 2, 3)
    film = np.clip(rng.normal(1, 0.05 * worse, 3), 0.75, 1.3)
    if rng.random() < 0.4:
        film[int(rng.integers(3))] *= rng.uniform(0.82, 1.2)
    return Chance(
        dpi=float(rng.choice([150, 170, 200, 220])),
        ruling=float(rng.uniform(60, 85)),
        angles=((15.0, 75.0, 0.0), (105.0, 75.0, 90.0), (45.0, 75.0, 90.0))[int(rng.integers(3))],
        dot=("diamond", "ellipse", "line")[int(rng.choice(3, p=[0.45, 0.45, 0.1]))],
        film=film,
        spread=rng.uniform(0.004, 0.02, 3),
        trapping=float(rng.uniform(0.78, 1.0)),
        hue=rng.normal(0, 5, 3),
        yellowed=float(rng.uniform(0, 1)),
        apart=np.stack([far * np.cos(way), far * np.sin(way)], 1),
        swollen=rng.normal(0, 0.0002 * worse, 3),
        through=float(rng.uniform(0, 0.05 * worse)),
        turn=float(rng.uniform(-2, 2) * worse + rng.choice([0, 0, 0, 90, 180])),
        tilt=rng.normal(0, 0.025 if brutal else 0.008, 2),
        shrunk=1 + rng.normal(0, 0.006, 2),
        cockled=rng.normal(0, 0.35 * worse, (2, 4, 3)),
        lid=float(rng.choice([0.95, 0.6, 0.03])),
        curve=float(rng.normal(0, 0.05)),
        glare=float(rng.uniform(0, 0.015 * worse)),
        mix=np.eye(3) + rng.normal(0, 0.015, (3, 3)),
        lamp=rng.normal(0, 0.02, 3),
        sharpen=float(rng.uniform(0, 0.8)),
        noise=float(rng.uniform(0.8, 2.5)) * worse,
        jpeg=int(rng.integers(60, 80)) if brutal else int(rng.integers(76, 95)),
        dirt=int(rng.integers(30, 120)) if brutal else 0,
        torn=brutal,
    )


# --- light -------------------------------------------------------------------------------------------------


@cache
def _observer() -> tuple[Float, Float]:
    """CIE 1931 2 degree colour matching functions times D65, (31, 3), and its XYZ to linear sRGB, both as published."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it would like matplotlib
        import colour

    shape = colour.SpectralShape(400, 700, 10)
    seen = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    weights = seen * light[:, None]
    return weights / weights[:, 1].sum(), np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB)


def _bands(luck: Chance) -> Float:
    """Optical density (3, 31) of the solids of C, M and Y: wide bands with a tail, as process inks roughly have."""

    def bump(middle: float, width: float) -> Float:
        return np.asarray(np.exp(-(((WAVES - middle) / width) ** 2)))

    c, m, y = luck.hue
    cyan = 0.95 * bump(640 + c, 75) + 0.16 * bump(420, 60) + 0.1
    magenta = 0.95 * bump(540 + m, 42) + 0.35 * bump(430, 45) + 0.05
    yellow = 0.92 / (1 + np.exp((WAVES - 492 - y) / 11)) + 0.03
    return np.asarray(np.stack([cyan, magenta, yellow]) * luck.film[:, None])


def _pairs(luck: Chance) -> Plane:
    """Linear sRGB (8, 8, 3) of light that goes in under one set of inks and comes out under another."""
    dense = _bands(luck)
    through = np.empty((8, len(WAVES)))
    for inks in range(8):
        laid = [ink for ink in (2, 1, 0) if inks >> ink & 1]  # yellow first, cyan last
        through[inks] = 10.0 ** (-0.5 * sum(dense[ink] * luck.trapping**n for n, ink in enumerate(laid)))
    paper = 0.82 - (0.1 + 0.22 * luck.yellowed) / (1 + np.exp((WAVES - 470) / 35))
    weights, to_rgb = _observer()
    spectra = paper * through[:, None] * through[None]
    return np.asarray(np.clip(spectra @ weights @ to_rgb.T, 0.001, None), dtype=np.float32)


# --- dots --------------------------------------------------------------------------------------------------


@cache
def _cell(kind: str, size: int = 48) -> Plane:
    """Thresholds 0-1 of a screen cell: which part of it is inked from which coverage on."""
    across = np.abs(np.linspace(-1, 1, size, endpoint=False) + 1 / size)
    x, y = across[:, None], across[None]
    far = {"diamond": x + y, "ellipse": (x / 1.25) ** 2 + y**2, "line": y + 0.15 * x}[kind] + 0 * x * y
    order = np.empty(size * size)
    order[np.argsort(far.ravel(), kind="stable")] = (np.arange(size * size) + 0.5) / size**2
    return order.reshape(size, size).astype(np.float32)


class _Press:
    def __init__(
        self, scene: Scene, luck: Chance, labels: npt.NDArray[np.int32], laid: list[tuple[Patch, float | None]]
    ) -> None:
        self.scene, self.luck, self.laid = scene, luck, laid
        self.labels = labels.astype(np.float32)  # whole numbers: the kind that can be looked up at places
        self.per_mm = scene.height / PAGE_MM
        self.pairs, self.cell = _pairs(luck), _cell(luck.dot)
        self.flat = np.array([patch.tint.percentages[:3] for patch, _ in laid], np.float32) / 100
        self.to = np.array([(patch.to or patch.tint).percentages[:3] for patch, _ in laid]) / 100
        self.fading = np.array([patch.to is not None for patch, _ in laid])
        self.start = np.array([patch.start for patch, _ in laid])
        self.way = np.array([patch.end if patch.to else (1.0, 1.0) for patch, _ in laid]) - self.start
        self.jump = np.array([np.nan if jump is None else jump for _, jump in laid])
        self.key = cv2.GaussianBlur(scene.lines, (0, 0), 0.6)

    def inked(self, where: Plane, ink: int) -> Plane:
        """Coverage called for (rows, columns) at page places, on the plate of an ink."""
        luck, shift = self.luck, (self.luck.apart[ink] * self.per_mm).astype(np.float32)
        middle = np.array([self.scene.width, self.scene.height], np.float32) / 2
        x, y = (
            (where[..., n] - middle[n]) * np.float32(1 + luck.swollen[ink]) + middle[n] + shift[n] for n in range(2)
        )
        label = cv2.remap(self.labels, x * FINE + 0.5, y * FINE + 0.5, cv2.INTER_NEAREST).astype(np.intp).ravel()
        asked = self.flat[:, ink].take(label)
        fading = np.flatnonzero(self.fading.take(label))
        if len(fading):
            asked[fading] = self._faded(x.ravel()[fading], y.ravel()[fading], label[fading], ink)
        return np.asarray(asked.reshape(x.shape), dtype=np.float32)

    def _faded(self, x: Plane, y: Plane, label: npt.NDArray[np.intp], ink: int) -> Float:
        """What fades call for at places (n,) that belong to them, and what jumps put there."""
        start, way, jump = self.start[label], self.way[label], self.jump[label]
        far = ((x - start[:, 0]) * way[:, 0] + (y - start[:, 1]) * way[:, 1]) / (way**2).sum(axis=1)
        share = np.where(np.isnan(jump), np.clip(far, 0.0, 1.0), np.clip(far, 0.0, 1.0) > jump)
        first = np.array([patch.tint.percentages[ink] / 100 for patch, _ in self.laid])[label]
        return np.asarray(first + (self.to[label, ink] - first) * share)

    def print(self, where: Plane, fine: float) -> Plane:
        """Linear light (rows, columns, 3) of the sheet; ``fine`` are samples a mm."""
        size = len(self.cell)
        index = np.zeros(where.shape[:2], np.uint8)
        x, y = cv2.split(where)
        for ink in range(3):
            asked = self.inked(where, ink)
            turn = np.deg2rad(self.luck.angles[ink])
            lines = self.luck.ruling / 25.4 / self.per_mm * size
            across = _within(((x * np.cos(turn) + y * np.sin(turn)) * lines).astype(np.int32), size)
            along = _within(((y * np.cos(turn) - x * np.sin(turn)) * lines).astype(np.int32), size)
            dots = (self.cell.ravel().take(across * size + along) < asked).astype(np.float32)
            # Ink spreads: the dot's soft edge is cut lower than half way.
            soft = cv2.GaussianBlur(dots, (0, 0), 0.03 * fine)
            index |= (soft > 0.5 - 8 * self.luck.spread[ink]).astype(np.uint8) << ink
        light = [np.zeros(where.shape[:2], np.float32) for _ in range(3)]
        out = np.zeros((3, 256), np.float32)
        for inks in range(8):
            under = cv2.GaussianBlur((index == inks).astype(np.float32), (0, 0), 0.045 * fine)
            if under.any():
                out[:, :8] = self.pairs[:, inks].T
                for channel in range(3):
                    light[channel] += under * cv2.LUT(index, out[channel])
        at = where * FINE + 0.5
        key = cv2.remap(self.key, at, None, cv2.INTER_LINEAR).astype(np.float32) / 255
        dark = 1 - 0.94 * np.clip(1.6 * key - 0.3, 0, 1)
        return np.asarray(cv2.merge([channel * dark for channel in light]))


def _within(values: npt.NDArray[np.int32], size: int) -> npt.NDArray[np.int32]:
    """``values % size``; numpy divides in vectors, remainders it does not."""
    return values - values // size * size


# --- sheet and scanner -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Lie:
    """How the sheet lay: from scan px to guide px, and back by iteration."""

    forward: Float
    cockled: Float
    size: tuple[int, int]
    page: tuple[int, int]

    def off(self, at: Float) -> Float:
        """Stretch (n, 2) in guide px at guide px (n, 2): low waves of Bernstein and cosine kind."""
        u = at / np.array(self.page)
        wave = np.stack([u[:, 0] ** 2, u[:, 0] * u[:, 1], np.cos(4 * u[:, 1]), np.cos(3 * u[:, 0] + 2)], 1)
        more = np.stack([np.ones(len(u)), u[:, 1] ** 2, np.sin(5 * u[:, 1])], 1)
        return np.asarray(np.einsum("ni,nj,kij->nk", wave, more, self.cockled) * self.page[1] / 1500)

    def to_scan(self, at: Float) -> Float:
        moved = np.c_[at + self.off(at), np.ones(len(at))] @ self.forward.T
        return np.asarray(moved[:, :2] / moved[:, 2:])

    def to_guide(self, at: Float) -> Float:
        back = np.c_[at, np.ones(len(at))] @ np.linalg.inv(self.forward).T
        goal = back[:, :2] / back[:, 2:]
        found = goal.copy()
        for _ in range(5):
            found = goal - self.off(found)
        return np.asarray(found)


def _lie(scene: Scene, luck: Chance) -> Lie:
    scale = luck.dpi * PAGE_MM / 25.4 / scene.height
    turn = np.deg2rad(luck.turn)
    c, s = np.cos(turn) * scale, np.sin(turn) * scale
    linear = np.array([[c, -s], [s, c]]) * luck.shrunk
    ends = np.abs(linear) @ np.array([scene.width, scene.height])
    size = (int(ends[0] * 1.03), int(ends[1] * 1.03))
    centred = np.array([[1, 0, -scene.width / 2], [0, 1, -scene.height / 2], [0, 0, 1.0]])
    middle = np.eye(3)
    middle[:2, :2], middle[2, :2] = linear, luck.tilt / scene.height * 2
    placed = np.array([[1, 0, size[0] / 2], [0, 1, size[1] / 2], [0, 0, 1.0]])
    return Lie(placed @ middle @ centred, luck.cockled, size, (scene.width, scene.height))


@dataclass
class Sheet:
    image: npt.NDArray[np.uint8]
    lie: Lie
    slips: dict[str, Slip]


def print_scene(scene: Scene, luck: Chance, slips: dict[str, Slip], seed: int) -> Sheet:
    """The scan of the scene printed with these slips (mark id to slip)."""
    rng = np.random.default_rng([seed, 504])
    labels, laid = _cut(scene, slips, luck.torn, rng)
    lie, press = _lie(scene, luck), _Press(scene, luck, labels, laid)
    fine = max(2, round(420 / luck.dpi))
    width, height = lie.size
    back = cv2.GaussianBlur(rng.random((24, 16)).astype(np.float32), (0, 0), 0.8)
    back = cv2.resize(np.round(back * 4) / 4, (width, height), interpolation=cv2.INTER_LINEAR)
    out = np.empty((height, width, 3), np.float32)
    for top in range(0, height, BAND):
        rows = np.arange(max(top - 4, 0) * fine, min(top + BAND + 4, height) * fine)
        where = _places(lie, rows, width, fine)
        light = press.print(where, fine * luck.dpi / 25.4)
        x, y = cv2.split(where)
        light[(x < -0.5) | (x > scene.width - 0.5) | (y < -0.5) | (y > scene.height - 0.5)] = luck.lid
        small = cv2.resize(light, (width, len(rows) // fine), interpolation=cv2.INTER_AREA)
        kept = small[min(top, 4) :][: min(BAND, height - top)]
        out[top : top + BAND] = kept * (
            1 - luck.through * back[top : top + BAND, :, None] * np.array([0.9, 1.0, 1.1], np.float32)
        )
    return Sheet(_scan(out, luck, rng), lie, slips)


def _places(lie: Lie, rows: npt.NDArray[np.int_], width: int, fine: int) -> Plane:
    """Guide px (rows, width * fine, 2) of fine samples: exact on a grid of 16, linear between."""
    xs, ys = np.arange(0, width * fine + 16, 16), np.arange(rows[0], rows[-1] + 17, 16)
    grid = np.stack(np.meshgrid((xs + 0.5) / fine - 0.5, (ys + 0.5) / fine - 0.5), -1)
    exact = lie.to_guide(grid.reshape(-1, 2)).reshape(grid.shape).astype(np.float32)
    u, v = np.meshgrid(np.arange(width * fine, dtype=np.float32) / 16, (rows - rows[0]).astype(np.float32) / 16)
    return np.asarray(cv2.remap(exact, u, v, cv2.INTER_LINEAR))


def _cut(
    scene: Scene, slips: dict[str, Slip], torn: bool, rng: np.random.Generator
) -> tuple[npt.NDArray[np.int32], list[tuple[Patch, float | None]]]:
    """The label map and what each label prints; ``torn``: a slip may hold for part of its area only."""
    labels = scene.labels.copy()
    laid: list[tuple[Patch, float | None]] = [(patch, None) for patch in scene.patches]
    for name, slip in slips.items():
        x, y, label = scene.spots[name]
        if torn and slip.jump is None and rng.random() < 0.6:
            rows, columns = np.nonzero(labels == label)
            turn = rng.uniform(0, 2 * np.pi)
            across = (columns / FINE - x) * np.cos(turn) + (rows / FINE - y) * np.sin(turn)
            seen = np.hypot(columns / FINE - x, rows / FINE - y) < SEEN * scene.height
            gone = across < np.quantile(across[seen], rng.uniform(0.4, 0.85))
            labels[rows[gone], columns[gone]] = len(laid)
            laid.append((slip.patch, None))
        else:
            laid[label] = (slip.patch, slip.jump)
    return labels, laid


def _scan(light: Plane, luck: Chance, rng: np.random.Generator) -> npt.NDArray[np.uint8]:
    height, width = light.shape[:2]
    image = light @ luck.mix.T.astype(np.float32)
    image *= (1 + luck.lamp * np.linspace(-1, 1, height)[:, None, None]).astype(np.float32)
    for _ in range(luck.dirt):
        at, size = (int(rng.integers(width)), int(rng.integers(height))), rng.uniform(1, 12, 2) * luck.dpi / 170
        axes = (int(size[0]) + 1, int(size[1]) + 1)
        ring = np.array(cv2.ellipse2Poly(at, axes, int(rng.integers(180)), 0, 360, 30), dtype=np.int32)
        cv2.fillPoly(
            image,
            [(ring + rng.integers(-1, 2, ring.shape)).astype(np.int32)],
            tuple(float(v) for v in rng.uniform(0.03, 0.8) * np.array([1, 0.9, 0.75])),
            cv2.LINE_AA,
        )
    image = cv2.GaussianBlur(image, (0, 0), 0.35 * luck.dpi / 170, sigmaY=0.5 * luck.dpi / 170)
    image += np.float32(luck.sharpen) * (image - cv2.GaussianBlur(image, (0, 0), 1.2))
    image = (
        image * np.float32(1 - luck.glare)
        + np.float32(luck.glare) * cv2.GaussianBlur(image, (0, 0), 30)
        + np.float32(0.3 * luck.glare)
    )
    image = np.clip(image, 0, 1)
    coded = np.where(image <= 0.0031308, 12.92 * image, 1.055 * np.maximum(image, 1e-6) ** (1 / 2.4) - 0.055)
    coded = coded + luck.curve * np.sin(2 * np.pi * coded) / 4
    coded = coded * 255 + rng.normal(0, luck.noise, coded.shape) * (0.6 + 0.8 * np.sqrt(image))
    eight = np.clip(coded + 0.5, 0, 255).astype(np.uint8)
    packed = cv2.imencode(".jpg", eight[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, luck.jpeg])[1]
    return np.ascontiguousarray(np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), dtype=np.uint8)[..., ::-1])


def strange_proof(
    seed: int, brutal: bool = False, marks: int = 50, height: int = 1500
) -> tuple[Scene, npt.NDArray[np.uint8], Sheet]:
    """A scene, its guide, and its proof with slips, all from the seed."""
    rng = np.random.default_rng([seed, 506])
    levels = (0, 25, 50, 75, 100) if seed % 6 == 0 else (0, 25, 50, 100)
    scene = draw_scene(seed, int(height * rng.uniform(0.63, 0.75)), height, marks, levels)
    slips = draw_slips(scene, seed, levels=levels)
    return scene, paint_scene(scene, seed), print_scene(scene, chance(seed, brutal), slips, seed)
