"""What a page meets between plate and file, drawn from a seed, and where its proof lies on the scan for it.

Rulings and angles follow common practice (no source).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tests.guides.imaging.proof.proof_generator import Page

Float = npt.NDArray[np.float64]


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
