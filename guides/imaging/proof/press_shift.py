"""How much heavier or lighter each ink ran over a whole page: the density of its solid against the condition's.

A film of ink 1 + f times as thick lets T ** (1 + f) through (Beer and Lambert). In the page's own fit f is one of
many ways for an ink to differ, each shrunk towards none, so that f read off there comes out at half its size. Here f
is asked for itself, by generalised least squares: unknown beforehand, with what else may differ as its noise. What
all inks show alike is then the scanner's contrast, since a press runs one ink wrong rather than all of them a little.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from guides.imaging.proof.page_press import PagePress, Run, Way, basis
from guides.imaging.proof.reading import FLARE

FloatArray = npt.NDArray[np.float64]

# Sizes tried on pages of the tests' own printing models with films that are known.

STRAY_LIGHT = 0.03
"""Light that a desktop scanner adds to every tone, flare and other channels', relative to white: never none."""

SHARE = {
    Way.STRENGTH: 0.0,
    Way.HUE: 0.0,
    Way.CONTRAST: 0.0,
    Way.OVERPRINT: 0.0,
    Way.FLARE: 0.5,
    Way.CROSSTALK: 0.1,
    Way.REST: 0.3,
    Way.DRIFT: 0.3,
}
"""Freedom left to what could explain a film away: none to what is the film by another name."""

COMMON_SD = 0.05
"""Scanner contrast: a share of every ink's density at once."""

FILM_SCALE, FILM_FREEDOM = 0.04, 1.0
"""Student t of the films: most within a few per cent, now and then one far off (common practice, no source)."""

OPEN = 0.25
"""Largest weight of that prior in the standard errors: an ink that is hardly there has a wide one."""

LEAST, MOST = -0.5, 0.7
"""Less ink than half or more than this is no press that runs."""

ROUNDS, SETTLING = 3, 15

TELLING, PART = 0.5, 0.33
"""Amount (0-1) of an ink from which a mark by itself can say how its film runs, and the part of the page's film that
it must show to agree."""


def films(page: PagePress) -> tuple[FloatArray, FloatArray]:
    """Relative density (3,) of the solids of C, M and Y against the condition's, and its standard errors (3,)."""
    film, error = np.zeros(3), np.full(3, FILM_SCALE)
    for _ in range(ROUNDS if len(page.tones) else 0):  # the answer is no straight line: again from the film found
        own = basis(page.condition, page.tints, Run(page.run.gain, film))
        answer = own.per_film.reshape(-1, 3)
        light = STRAY_LIGHT * (np.exp(-own.tone) - 1.0 / (1.0 + FLARE))
        rest = (page.tones - own.tone - light).ravel() + answer @ film
        weighed = np.linalg.solve(page.spread(own, SHARE), answer)
        precise = weighed.T @ answer + 1e-6 * np.eye(3)  # a page may lack an ink altogether
        spread = np.linalg.inv(precise)
        film, error = _sparse(np.asarray(spread @ (weighed.T @ rest)), np.asarray(spread + COMMON_SD**2))
        film = np.clip(film, LEAST, MOST)
    return film, error


def agreeing(page: PagePress, film: FloatArray) -> tuple[FloatArray, npt.NDArray[np.int64]]:
    """Of each ink's marks the share (3,) that by themselves show at least ``PART`` of its film, and how many (3,)
    marks can say so: a few wrong areas move a fit, but not most of the marks."""
    share, count = np.zeros(3), np.zeros(3, np.int64)
    for ink in range(3 if len(page.tones) else 0):
        own = basis(page.condition, page.tints, Run(page.run.gain, np.where(np.arange(3) == ink, 0.0, film)))
        light = STRAY_LIGHT * (np.exp(-own.tone) - 1.0 / (1.0 + FLARE))
        way = own.per_film[:, :, ink]
        telling = own.amounts[:, ink] >= TELLING
        count[ink] = telling.sum()
        if not count[ink]:
            continue
        alone = ((page.tones - own.tone - light) * way).sum(axis=1) / np.maximum((way**2).sum(axis=1), 1e-9)
        share[ink] = (alone[telling] * np.sign(film[ink]) > PART * abs(film[ink])).mean()
    return share, count


def _sparse(measured: FloatArray, spread: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The likeliest films behind ``measured`` (3,) with covariance ``spread`` (3, 3), and their standard errors."""
    precise = np.linalg.inv(spread)
    best: tuple[float, FloatArray, FloatArray] | None = None
    for start in (np.ones(3), *(1.0 - 0.98 * np.eye(3))):  # the posterior has a peak for each ink that may be off
        weight = start
        for _ in range(SETTLING):
            film = np.asarray(np.linalg.solve(precise + np.diag(weight) / FILM_SCALE**2, precise @ measured))
            weight = (FILM_FREEDOM + 1.0) / (FILM_FREEDOM + (film / FILM_SCALE) ** 2)
        miss = measured - film
        unlikely = (FILM_FREEDOM + 1.0) * np.log1p((film / FILM_SCALE) ** 2 / FILM_FREEDOM).sum()
        height = -0.5 * float(miss @ precise @ miss + unlikely)
        if best is None or height > best[0]:
            best = (height, film, weight)
    assert best is not None
    _, film, weight = best
    return film, np.sqrt(np.diag(np.linalg.inv(precise + np.diag(np.minimum(weight, OPEN)) / FILM_SCALE**2)))
