"""What codes are written with: pencils, ballpoint, ink, felt; and how each lies on paper and paint."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from guides.training.hands import Cover

Picture = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Medium:
    """``rgb`` 0-1; ``cover`` how much it hides; ``grain`` how far the paper's tooth breaks it; ``width`` in letter
    heights; ``over`` lies on top of paint (body colour) where others darken what is beneath."""

    name: str
    rgb: tuple[float, float, float]
    cover: float
    grain: float
    width: float
    over: bool = False


_INKS = {
    "pencil": ((0.18, 0.18, 0.2), (0.12, 0.18, 0.5), (0.65, 0.1, 0.12), (0.3, 0.2, 0.15), (0.1, 0.35, 0.15)),
    "ballpoint": ((0.08, 0.12, 0.5), (0.06, 0.06, 0.08), (0.7, 0.05, 0.1), (0.05, 0.35, 0.15)),
    "ink": ((0.05, 0.05, 0.07), (0.08, 0.1, 0.35), (0.25, 0.12, 0.06)),
    "felt": ((0.04, 0.04, 0.05), (0.05, 0.1, 0.55), (0.75, 0.04, 0.06), (0.05, 0.4, 0.12)),
    "light": ((0.98, 0.97, 0.94), (0.97, 0.93, 0.6), (0.8, 0.88, 0.98), (0.98, 0.75, 0.78)),
}
_SHARES = {"pencil": 0.45, "ballpoint": 0.2, "ink": 0.15, "felt": 0.2}


def medium(rng: np.random.Generator, *, dark_ground: bool) -> Medium:
    """A medium somebody would take on light or on dark paint; now and then it is the wrong one."""
    if dark_ground and rng.random() < 0.8:
        rgb = _INKS["light"][0] if rng.random() < 0.75 else _INKS["light"][int(rng.integers(4))]
        return Medium("light", rgb, float(rng.uniform(0.5, 1.0)), float(rng.uniform(0, 0.6)), _width(rng, 0.1), True)
    name = str(rng.choice(list(_SHARES), p=list(_SHARES.values())))
    choices = _INKS[name]
    base = np.array(choices[0 if rng.random() < 0.45 else int(rng.integers(len(choices)))])
    colour = np.clip(base + rng.normal(0, 0.04, 3), 0, 1)
    rgb = (float(colour[0]), float(colour[1]), float(colour[2]))
    if name == "pencil":
        return Medium(name, rgb, float(rng.uniform(0.35, 0.9)), float(rng.uniform(0.1, 0.8)), _width(rng, 0.09))
    cover = float(rng.uniform(0.7, 1.0))
    width = {"ballpoint": 0.075, "ink": 0.09, "felt": 0.16}[name]
    return Medium(name, rgb, cover, float(rng.uniform(0, 0.15)), _width(rng, width))


def pressed(kind: Medium, press: float) -> Medium:
    """The same medium from a hand that presses less (1 as usual): it hides less."""
    return replace(kind, cover=kind.cover * press)


def _width(rng: np.random.Generator, usual: float) -> float:
    return float(usual * rng.uniform(0.65, 1.5))


def lay(picture: Picture, cover: Cover, x: int, y: int, kind: Medium, rng: np.random.Generator) -> None:
    """Lay a cover (h, w) into a picture (H, W, 3) with its left top at (x, y); what runs over the edge is cut."""
    top, left = max(0, -y), max(0, -x)
    bottom = min(cover.shape[0], picture.shape[0] - y)
    right = min(cover.shape[1], picture.shape[1] - x)
    if top >= bottom or left >= right:
        return
    share = cover[top:bottom, left:right].astype(np.float32) * (kind.cover / 255)
    if kind.grain > 0.05:
        share *= _tooth(share.shape, kind.grain, rng)
    window = picture[y + top : y + bottom, x + left : x + right]
    ground = window.astype(np.float32)
    colour = np.asarray(kind.rgb, np.float32) * 255
    inked = np.broadcast_to(colour, ground.shape) if kind.over else ground * (0.25 + 0.75 * colour / 255) * 0.35
    if not kind.over:
        inked = 0.6 * inked + 0.4 * colour
    window[:] = np.clip(ground + (inked - ground) * share[..., None], 0, 255).astype(np.uint8)


def _tooth(shape: tuple[int, ...], grain: float, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    fine = rng.random((shape[0] // 2 + 1, shape[1] // 2 + 1), dtype=np.float32)
    coarse = cv2.resize(fine, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR)
    mixed = 0.6 * coarse + 0.4 * rng.random((shape[0], shape[1]), dtype=np.float32)
    return np.asarray(np.clip(1 - grain * 1.6 * (mixed - 0.25), 0.05, 1), np.float32)


def placed(cover: Cover, tall: float, drawn: int, turn: float) -> tuple[Cover, tuple[float, float, float, float]]:
    """Bring a drawn cover to letters ``tall`` pixels high, turned by ``turn`` radians (clockwise on the page).

    Returns:
        the cover, and its box in its own pixels: middle x, y, width and height along the turned axes.
    """
    scale = tall / drawn
    rows, columns = np.flatnonzero(cover.max(axis=1) > 40), np.flatnonzero(cover.max(axis=0) > 40)
    if not len(rows) or not len(columns):
        return np.zeros((4, 4), np.uint8), (2.0, 2.0, 1.0, 1.0)
    tight = cover[max(rows[0] - 3, 0) : rows[-1] + 4, max(columns[0] - 3, 0) : columns[-1] + 4]
    size = (max(3, round(tight.shape[1] * scale)), max(3, round(tight.shape[0] * scale)))
    small = cv2.resize(tight, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR)
    cos, sin = abs(np.cos(turn)), abs(np.sin(turn))
    wide, high = int(size[0] * cos + size[1] * sin) + 5, int(size[0] * sin + size[1] * cos) + 5
    matrix = cv2.getRotationMatrix2D((size[0] / 2, size[1] / 2), -np.degrees(turn), 1.0)
    matrix[:, 2] += (wide / 2 - size[0] / 2, high / 2 - size[1] / 2)
    turned = cv2.warpAffine(small, matrix, (wide, high), flags=cv2.INTER_LINEAR)
    return np.asarray(turned, np.uint8), (wide / 2, high / 2, float(size[0]), float(size[1]))
