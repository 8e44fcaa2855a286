"""Plates in halftone: as much ink as the condition's dot gain says, at its ruling and angles, fades and key included.

Ruling and angles are the press condition's own file (common practice, no source); coverages are Murray-Davies of TR 002.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bible.colour import press as presses
from bible.colour.colorimetry import decode_srgb
from bible.colour.tints import INKS, Tint
from guides.imaging.press.plates import PAGE_INCHES, long_side, plate_picture
from guides.imaging.press.printed import FADE_STEPS, Area, Separation, separated
from tests.guides.imaging.press.test_printed import TINTS, page

# a coarse screen keeps the pictures small: 20 lines an inch, 800 px
COARSE = replace(presses.load("newsprint"), ruling_lpi=20.0)
SIDE = 800


def ink_share(picture: np.ndarray, ink: int) -> np.ndarray:
    """How much of each pixel a single ink covers, from its linear light between paper and solid."""
    solid = [100 if at == ink else 0 for at in range(4)]
    paper, inked = (decode_srgb(COARSE.srgb([tint]).rgb[0] / 255.0) for tint in ([0] * 4, solid))
    line = inked - paper
    return np.asarray((decode_srgb(picture / 255.0) - paper) @ line / (line @ line))


def effective(tint: Tint, ink: int) -> float:
    return float(COARSE.effective_coverage([tint.percentages]).coverage[0, ink] / 100)


def flat(*tints: Tint) -> Separation:
    """Areas side by side on a square page, without line art."""
    which = np.repeat(np.arange(len(tints)), 200 // len(tints))[None].repeat(200, axis=0)
    return Separation(np.array([t.percentages for t in tints], float), which, np.zeros((200, 200), np.float32))


@pytest.mark.parametrize("ink", range(4))
def test_each_area_holds_what_its_tint_prints_of_each_ink(ink: int) -> None:
    tints = [Tint(), Tint(25, 50, 75, 10), Tint(50, 75, 25, 30), Tint(100, 100, 100, 100)]
    share = ink_share(plate_picture(flat(*tints), COARSE, [ink]), ink)
    assert share.shape == (SIDE, SIDE)
    for n, tint in enumerate(tints):
        inner = share[:, n * 200 + 10 : n * 200 + 190].mean()
        assert inner == pytest.approx(effective(tint, ink), abs=0.015)


@pytest.mark.parametrize(("ink", "name"), list(enumerate(INKS)))
def test_ruling_and_angle_by_fourier_transform(ink: int, name: str) -> None:
    tint = Tint(*(30 if at == ink else 0 for at in range(4)))
    share = ink_share(plate_picture(flat(tint), COARSE, [ink]), ink)
    window = np.hanning(SIDE)[:, None] * np.hanning(SIDE)
    power = np.abs(np.fft.fftshift(np.fft.fft2((share - share.mean()) * window)))
    row, column = np.unravel_index(power.argmax(), power.shape)
    across, up = column - SIDE // 2, SIDE // 2 - row
    assert np.hypot(across, up) / PAGE_INCHES == pytest.approx(20.0, rel=0.03)
    off = (np.degrees(np.arctan2(up, across)) - COARSE.angles[name]) % 90
    assert min(off, 90 - off) < 1.0


def test_a_fade_grows_dot_by_dot() -> None:
    share = np.linspace(0, 1, FADE_STEPS)[:, None]
    table = share * np.array([[0, 100, 0, 0]])
    which = np.arange(256)[None].repeat(256, axis=0) * FADE_STEPS // 256
    picture = plate_picture(Separation(table, which, np.zeros((256, 256), np.float32)), COARSE, [1])
    found = ink_share(picture, 1).mean(axis=0).reshape(8, -1).mean(axis=1)
    wanted = COARSE.effective_coverage(table).coverage[:, 1].reshape(8, -1).mean(axis=1) / 100
    assert found == pytest.approx(wanted, abs=0.025)
    assert (np.diff(found) > 0).all()


def test_line_art_is_on_the_key_plate_alone() -> None:
    image, _, marks = page(height=400, width=270)
    areas = [Area(*mark, tint) for mark, tint in zip(marks, TINTS, strict=True)]
    separation, regions = separated(image, areas)
    key, cyan = (ink_share(plate_picture(separation, COARSE, [ink]), ink) for ink in (3, 0))
    assert key.mean() == pytest.approx(float(regions.line.mean()), abs=0.01)
    assert np.unique(separation.which).tolist() == [0, 1, 2, 3, 4]
    bare = separation.table[:, 0] == 0
    small = cyan.reshape(400, 2, -1, 2).mean(axis=(1, 3))
    assert small[bare[separation.which[:, : small.shape[1]]]].mean() < 0.02


def test_inks_laid_over_each_other_make_the_overprint() -> None:
    picture = plate_picture(flat(Tint(100, 0, 100), Tint(0, 0, 100)), COARSE, [2, 0])
    for n, tint in enumerate((Tint(100, 0, 100), Tint(0, 0, 100))):
        wanted = COARSE.srgb([tint.percentages]).rgb[0].astype(int)
        assert np.abs(picture[SIDE // 2, n * 400 + 200].astype(int) - wanted).max() <= 1


def test_no_plate_without_an_ink_and_none_twice() -> None:
    for inks in ([], [1, 1]):
        with pytest.raises(ValueError, match="ink"):
            plate_picture(flat(Tint()), COARSE, inks)


@pytest.mark.parametrize("name", [info.name for info in presses.available()])
def test_dots_can_be_drawn_for_every_condition(name: str) -> None:
    press = presses.load(name)
    assert long_side(press) / PAGE_INCHES / press.ruling_lpi > 2
