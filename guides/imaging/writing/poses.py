"""How a figure stands in its panel, judged by where some of its parts lie, and where its other parts should lie then.

All functions take a stack of k poses at once: a look at a panel tries dozens.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

TALL, TALL_SPREAD = 0.8, 0.45
"""Height of a figure in heights of its panel, and its spread: from far off to a face cut by the frame."""

CROWN, CROWN_SPREAD = 0.2, 0.28
"""Where the crown of its head lies, in heights of the panel, and its spread."""

MIDDLE_SPREAD = 0.3
"""Spread of its middle about the panel's, in widths of the panel."""

LEAST_TALL = 0.12
"""No figure whose parts carry codes is smaller, in heights of its panel."""

SLACK = 0.012
"""Spread in heights of the panel that is in every place: codes are written where there is room."""

OUTLIER = 0.06
"""Share of codes that lie anywhere in the panel, whatever the pose: raised arms, people lying down."""


TURNS = 2
"""Times a pose is fitted: the places' spreads follow its height."""


@dataclass(frozen=True)
class Poses:
    """Figures' crowns (k,) y, heights (k,) and middles (k,) x in pixels of the picture, and how sure they are:
    ``cov`` (k, 2, 2) of crown and height, ``var_x`` (k,)."""

    crown: FloatArray
    tall: FloatArray
    x: FloatArray
    cov: FloatArray
    var_x: FloatArray


@dataclass(frozen=True)
class FigureLayout:
    """Expected heights (n,) of parts in their figure and the spreads of their places, in heights of the figure."""

    v: FloatArray
    spread_v: FloatArray
    spread_u: FloatArray

    def of(self, places: npt.NDArray[np.intp]) -> FigureLayout:
        return FigureLayout(self.v[places], self.spread_v[places], self.spread_u[places])


def fit_poses(layout: FigureLayout, where: FloatArray, panel: FloatArray) -> Poses:
    """The poses of figures whose parts (k, m) lie at ``where`` (k, m, 2); m may be 0: what is usual in the panel.

    Bayesian least squares on y = crown + height * v, with the panel's size as the prior.
    """
    x0, y0, x1, y1 = panel
    high, count = y1 - y0, len(where)
    mean_crown, mean_tall = y0 + CROWN * high, TALL * high
    weigh_crown, weigh_tall = 1 / (CROWN_SPREAD * high) ** 2, 1 / (TALL_SPREAD * high) ** 2
    tall, crown = np.full(count, mean_tall), np.full(count, mean_crown)
    v, y = layout.v, where[..., 1]
    if not where.shape[1]:
        cov = np.tile(np.diag([1 / weigh_crown, 1 / weigh_tall]), (count, 1, 1))
    for _ in range(TURNS if where.shape[1] else 0):
        noise = 1 / ((tall[:, None] * layout.spread_v) ** 2 + (SLACK * high) ** 2)
        # The normal equations of a line, solved by hand: there are thousands of them on a page.
        a, b, c = weigh_crown + noise.sum(axis=1), (noise * v).sum(axis=1), weigh_tall + (noise * v * v).sum(axis=1)
        right = weigh_crown * mean_crown + (noise * y).sum(axis=1)
        slope = weigh_tall * mean_tall + (noise * v * y).sum(axis=1)
        det = a * c - b * b
        crown, tall = (c * right - b * slope) / det, (a * slope - b * right) / det
        tall = np.maximum(tall, LEAST_TALL * high)
    if where.shape[1]:
        cov = np.moveaxis(np.array([[c, -b], [-b, a]]) / det, 2, 0)
    sides = 1 / ((tall[:, None] * layout.spread_u) ** 2 + (SLACK * high) ** 2)
    prior_x = 1 / (MIDDLE_SPREAD * (x1 - x0)) ** 2
    precise = prior_x + sides.sum(axis=1)
    x = (prior_x * (x0 + x1) / 2 + (sides * where[..., 0]).sum(axis=1)) / precise
    return Poses(crown, tall, x, cov, 1 / precise)


def place_gains(poses: Poses, layout: FigureLayout, where: FloatArray, panel: FloatArray) -> FloatArray:
    """Log chance (k, n, parts) of places (n, 2) for each part (parts,) of figures in k poses, over their chance if
    they lay anywhere in the panel."""
    wide, high = panel[2] - panel[0], panel[3] - panel[1]
    v = layout.v[None]
    var_y = (poses.tall[:, None] * layout.spread_v) ** 2 + (SLACK * high) ** 2
    var_y = var_y + poses.cov[:, :1, 0] + 2 * v * poses.cov[:, :1, 1] + v**2 * poses.cov[:, 1:, 1]
    var_x = (poses.tall[:, None] * layout.spread_u) ** 2 + (SLACK * high) ** 2 + poses.var_x[:, None]
    away_y = where[None, :, None, 1] - (poses.crown[:, None] + poses.tall[:, None] * v)[:, None]
    away_x = where[None, :, None, 0] - poses.x[:, None, None]
    near = -0.5 * (away_y**2 / var_y[:, None] + away_x**2 / var_x[:, None])
    scale = wide * high / (2 * np.pi * np.sqrt(var_y * var_x))
    return np.asarray(np.log((1 - OUTLIER) * np.exp(near) * scale[:, None] + OUTLIER))


def panel_gains(layout: FigureLayout, where: FloatArray, panel: FloatArray) -> FloatArray:
    """The same (1, n, parts) for pieces of a place, whose frame is the panel itself: only their height speaks."""
    away = (where[:, None, 1] - panel[1]) / (panel[3] - panel[1]) - layout.v[None]
    near = np.exp(-0.5 * (away / layout.spread_v) ** 2) / (layout.spread_v * np.sqrt(2 * np.pi))
    return np.asarray(np.log((1 - OUTLIER) * near + OUTLIER))[None]
