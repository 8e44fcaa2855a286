"""The halftone view: as much ink as the dot gain says, at the condition's ruling and angles."""

from __future__ import annotations

import numpy as np
import pytest

from bible.colour import press
from bible.colour.colorimetry import decode_srgb, linear_srgb_to_xyz, xyz_to_lab, xyz_to_srgb
from bible.colour.difference import delta_e_2000
from bible.colour.halftone import MAX_PIXELS, halftone, line_pixels
from bible.colour.press import PressCondition
from bible.colour.tints import PAPER, Tint


@pytest.fixture(scope="module")
def newsprint() -> PressCondition:
    return press.load("newsprint")


def mean_lab(picture: np.ndarray) -> np.ndarray:
    return xyz_to_lab(linear_srgb_to_xyz(decode_srgb(picture / 255.0).reshape(-1, 3).mean(axis=0)))


def ink_share(picture: np.ndarray, condition: PressCondition, solid: list[int]) -> np.ndarray:
    """How much of each pixel a single ink covers, from its linear light between paper and solid."""
    paper, ink = (decode_srgb(condition.srgb([tint]).rgb[0] / 255.0) for tint in ([0] * 4, solid))
    line = ink - paper
    return (decode_srgb(picture / 255.0) - paper) @ line / (line @ line)


@pytest.mark.parametrize("percent", [3, 10, 25, 40, 50, 75, 90, 97])
@pytest.mark.parametrize("ink", [0, 1, 2, 3])
def test_dots_cover_what_dot_gain_says(newsprint: PressCondition, ink: int, percent: int) -> None:
    values = [percent if at == ink else 0 for at in range(4)]
    picture = halftone(newsprint, Tint(*values), 500, 500, pixels_per_mm=30)
    share = ink_share(picture, newsprint, [100 if at == ink else 0 for at in range(4)]).mean()
    wanted = newsprint.effective_coverage([values]).coverage[0, ink] / 100
    assert share == pytest.approx(wanted, abs=0.012)


@pytest.mark.parametrize("tint", [Tint(25, 25, 100), Tint(50, 50, 50), Tint(0, 50, 100, 25), Tint(100, 50, 25)])
def test_from_afar_it_is_about_the_printed_colour(newsprint: PressCondition, tint: Tint) -> None:
    """Neugebauer's mixing of the measured overprints; the rest is light spread, which dots leave out."""
    picture = halftone(newsprint, tint, 600, 600)
    assert delta_e_2000(mean_lab(picture), newsprint.lab([tint.percentages])[0]) < 3.5


def test_only_paper_and_overprint_colours_occur(newsprint: PressCondition) -> None:
    """Away from the edges of dots every pixel is one of the Neugebauer primaries."""
    picture = halftone(newsprint, Tint(c=50, m=50), 400, 400, pixels_per_mm=60).reshape(-1, 3).astype(int)
    primaries = xyz_to_srgb(newsprint.xyz([[0, 0, 0, 0], [100, 0, 0, 0], [0, 100, 0, 0], [100, 100, 0, 0]]))[0]
    away = np.abs(picture[:, None] - primaries.astype(int)).max(axis=2).min(axis=1)
    assert (away <= 2).mean() > 0.8
    assert {int(np.abs(picture - primary).max(axis=1).argmin() >= 0) for primary in primaries.astype(int)} == {1}
    for primary in primaries.astype(int):
        assert (np.abs(picture - primary).max(axis=1) <= 2).mean() > 0.03


def test_paper_and_solids_are_flat(newsprint: PressCondition) -> None:
    for tint in (PAPER, Tint(c=100), Tint(m=100, y=100), Tint(100, 100, 100, 100)):
        picture = halftone(newsprint, tint, 60, 40)
        assert picture.shape == (40, 60, 3)
        assert picture.dtype == np.uint8
        assert np.ptp(picture.reshape(-1, 3), axis=0).max() == 0
        assert np.abs(picture[0, 0].astype(int) - newsprint.srgb([tint.percentages]).rgb[0]).max() <= 1
    assert (halftone(newsprint, PAPER, 8, 8, relative=True) == 255).all()


@pytest.mark.parametrize(("ink", "name"), [(0, "c"), (1, "m"), (2, "y"), (3, "k")])
def test_ruling_and_angle_are_the_conditions(newsprint: PressCondition, ink: int, name: str) -> None:
    """The strongest frequency of the picture, by Fourier transform: so many lines per inch at that angle."""
    size, per_mm = 512, 20.0
    picture = halftone(newsprint, Tint(*(30 if at == ink else 0 for at in range(4))), size, size, per_mm)
    share = ink_share(picture, newsprint, [100 if at == ink else 0 for at in range(4)])
    window = np.hanning(size)[:, None] * np.hanning(size)
    power = np.abs(np.fft.fftshift(np.fft.fft2((share - share.mean()) * window)))
    row, column = np.unravel_index(power.argmax(), power.shape)
    across, up = column - size // 2, size // 2 - row
    lines_per_inch = np.hypot(across, up) / size * per_mm * 25.4
    assert lines_per_inch == pytest.approx(newsprint.ruling_lpi, rel=0.03)
    angle = np.degrees(np.arctan2(up, across))
    apart = (angle - newsprint.angles[name] + 45) % 90 - 45  # a square screen looks the same every 90°
    assert abs(apart) < 2.5


def test_dots_are_round_in_the_lights_and_holes_round_in_the_shadows(newsprint: PressCondition) -> None:
    """One cell, large: a dot of 10 % is a disc of that area, whatever the direction it is measured in."""
    line = line_pixels(newsprint, 250.0)
    picture = halftone(newsprint, Tint(k=3), int(3 * line), int(3 * line), 250.0)
    share = ink_share(picture, newsprint, [0, 0, 0, 100]) > 0.5
    import cv2

    count, _, stats, _ = cv2.connectedComponentsWithStats(share.astype(np.uint8))
    whole = [
        s for s in stats[1:count] if s[0] > 0 and s[1] > 0 and s[0] + s[2] < len(share) and s[1] + s[3] < len(share)
    ]
    assert whole
    for _, _, width, height, area in whole:
        assert width == pytest.approx(height, rel=0.08)
        assert area == pytest.approx(np.pi / 4 * width * height, rel=0.06)


def test_magnification_is_true_to_the_paper(newsprint: PressCondition) -> None:
    """Lines per inch of different presses compare at the same magnification."""
    assert line_pixels(newsprint, 40.0) == pytest.approx(40 * 25.4 / 65)
    assert line_pixels(press.load("web-coated-tr003"), 40.0) == pytest.approx(40 * 25.4 / 133)


@pytest.mark.parametrize(
    ("size", "per_mm", "words"),
    [
        ((0, 10), 40, "pixels, not 0 x 10"),
        ((10, -1), 40, "pixels"),
        ((MAX_PIXELS, 2), 40, "pixels"),
        ((10, 10), 0.1, "too small for dots"),
        ((10, 10), 0, "too small"),
        ((10, 10), float("nan"), "too small"),
    ],
)
def test_impossible_pictures_are_refused(
    newsprint: PressCondition, size: tuple[int, int], per_mm: float, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        halftone(newsprint, Tint(c=50), *size, per_mm)
