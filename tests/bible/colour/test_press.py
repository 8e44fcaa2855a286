"""Printed colour on the screen: conditions at hand, conversions, checks and the trade's facts."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms

from bible.colour import colorimetry, press
from bible.colour.cgats import CharacterizationData
from bible.colour.difference import delta_e_2000
from bible.colour.press import PressCondition, UnknownPress
from bible.colour.tints import PAPER, Tint


@pytest.fixture(scope="module")
def newsprint() -> PressCondition:
    return press.load(press.DEFAULT_PRESS)


@pytest.fixture(scope="module")
def coated() -> PressCondition:
    return press.load("web-coated-tr003")


def test_conditions_at_hand_name_their_report() -> None:
    infos = press.available()
    assert infos[0].name == press.DEFAULT_PRESS == "newsprint"
    reports = {"newsprint": "TR 002-2007", "web-coated-tr003": "TR 003-2007", "web-coated-tr005": "TR 005-2007"}
    reports |= {"sheet-coated-tr006": "TR 006-2007", "uncoated-fogra29": "FOGRA29", "coated-fogra39": "FOGRA39L"}
    assert {info.name for info in infos} == set(reports)
    for info in infos:
        assert reports[info.name] in info.source
        assert info == press.load(info.name).info


def test_a_shared_condition_cannot_be_changed_in_passing(newsprint: PressCondition) -> None:
    with pytest.raises(ValueError, match="read-only"):
        newsprint.paper_xyz[0] = 0.0


def test_an_unknown_condition_lists_the_known() -> None:
    with pytest.raises(UnknownPress, match=r"no press condition 'gravure'.*newsprint"):
        press.load("gravure")
    with pytest.raises(LookupError):
        press.load("../newsprint")


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        ([[0, 0, 0]], "shape"),
        ([0, 0, 0, 0], "shape"),
        ([[0, 0, 0, 0], [0, 101, 0, 0]], "magenta of tint 2 is 101.0"),
        ([[0, 0, -0.1, 0]], "yellow of tint 1"),
        ([[0, 0, 0, float("nan")]], "key of tint 1 is nan"),
        ([[float("inf"), 0, 0, 0]], "cyan of tint 1"),
    ],
)
def test_percentages_out_of_range_are_refused(newsprint: PressCondition, bad: list, words: str) -> None:
    for call in (newsprint.xyz, newsprint.lab, newsprint.srgb, newsprint.relative_lab, newsprint.effective_coverage):
        with pytest.raises(ValueError, match=words):
            call(bad)


def test_solids_are_those_the_report_measured(newsprint: PressCondition) -> None:
    """Solids of TR 002 as stated in the trade's notes, each the first of two patches that differ by up to 1."""
    solids = newsprint.lab(np.eye(4)[:3] * 100)
    stated = [[56.6, -23.4, -26.5], [52.7, 44.1, -1.1], [76.6, -4.1, 54.7]]
    assert delta_e_2000(solids, stated).max() < 0.5


# --- conversions, against reference libraries ---


def test_bradford_is_colour_sciences(colour_science: ModuleType) -> None:
    wanted = colour_science.adaptation.matrix_chromatic_adaptation_VonKries(
        colorimetry.D50_XYZ / 100, colorimetry.D65_XYZ / 100, transform="Bradford"
    )
    np.testing.assert_allclose(colorimetry.D50_TO_D65, wanted, atol=1e-9)


def test_lab_is_colour_sciences(colour_science: ModuleType) -> None:
    xyz = np.random.default_rng(0).uniform(0, 100, (2000, 3))
    xyz[:500] /= 200  # the straight part near black
    white = colour_science.XYZ_to_xy(colorimetry.D50_XYZ / 100)
    lab = colorimetry.xyz_to_lab(xyz)
    np.testing.assert_allclose(lab, colour_science.XYZ_to_Lab(xyz / 100, white), atol=2e-4)
    np.testing.assert_allclose(colorimetry.lab_to_xyz(lab), xyz, atol=1e-9)


def test_srgb_is_colour_sciences(colour_science: ModuleType, newsprint: PressCondition) -> None:
    """IEC 61966-2-1 with Bradford, as colour-science has it (whose matrices are rounded to four places)."""
    tints = np.random.default_rng(0).integers(0, 101, (2000, 4))
    white = colour_science.XYZ_to_xy(colorimetry.D50_XYZ / 100)
    wanted = colour_science.XYZ_to_sRGB(newsprint.xyz(tints) / 100, white, "Bradford")
    shown = newsprint.srgb(tints, relative=False).rgb
    assert np.abs(shown - np.clip(wanted, 0, 1) * 255).max() < 1.0


def test_srgb_is_littlecms() -> None:
    """LittleCMS, through Pillow: its Lab (D50) to sRGB, relative colorimetric, for every Lab that 8 bits can say."""
    lightness, a, b = np.meshgrid(np.arange(0, 256, 5), np.arange(-100, 101, 10), np.arange(-100, 101, 10))
    eight_bit = np.stack([lightness, a + 128, b + 128], axis=-1).reshape(-1, 1, 3).astype(np.uint8)
    transform = ImageCms.buildTransform(
        ImageCms.createProfile("LAB"),
        ImageCms.createProfile("sRGB"),
        "LAB",
        "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags=ImageCms.Flags.NOOPTIMIZE,  # or it would interpolate in a table of its own
    )
    picture = Image.frombytes("LAB", (1, len(eight_bit)), _pillow_lab(eight_bit))
    wanted = np.asarray(ImageCms.applyTransform(picture, transform)).reshape(-1, 3).astype(int)
    lab = np.stack([lightness * 100 / 255, a, b], axis=-1).reshape(-1, 3).astype(float)
    rgb, outside = colorimetry.xyz_to_srgb(colorimetry.lab_to_xyz(lab))
    difference = np.abs(rgb.astype(int) - wanted)[~outside]
    assert len(difference) > 1500
    assert difference.max() <= 2
    assert (difference > 1).mean() < 0.01


def _pillow_lab(values: np.ndarray) -> bytes:
    """Pillow reads a* and b* as signed bytes, as TIFF's CIELab has them."""
    return (values ^ np.array([0, 128, 128], dtype=np.uint8)).tobytes()


def test_srgb_there_and_back() -> None:
    rgb = np.random.default_rng(1).integers(0, 256, (3000, 3)).astype(np.uint8)
    back, outside = colorimetry.xyz_to_srgb(colorimetry.srgb_to_xyz(rgb))
    np.testing.assert_array_equal(back, rgb)
    assert not outside.any()
    white = colorimetry.srgb_to_lab(np.array([255, 255, 255], dtype=np.uint8))
    np.testing.assert_allclose(white, [100, 0, 0], atol=0.02)


def test_what_the_screen_cannot_show_is_said(newsprint: PressCondition) -> None:
    """Solid process cyan on coated stock lies outside sRGB (common practice, no source); newsprint's is inside."""
    fogra = press.load("coated-fogra39")
    assert fogra.srgb([[100, 0, 0, 0], [0, 0, 0, 0]]).out_of_gamut.tolist() == [True, False]
    assert not newsprint.srgb([[100, 0, 0, 0]]).out_of_gamut.any()
    assert fogra.srgb([[100, 0, 0, 0]]).rgb[0, 0] == 0


def test_relative_makes_the_paper_white_and_absolute_keeps_it(newsprint: PressCondition) -> None:
    assert newsprint.hex(PAPER, relative=True) == "#ffffff"
    np.testing.assert_allclose(newsprint.relative_lab([[0, 0, 0, 0]])[0], [100, 0, 0], atol=1e-4)
    red, green, blue = newsprint.srgb([[0, 0, 0, 0]], relative=False).rgb[0].astype(int)
    assert 190 < red < 215  # TR 002's paper has L* 80
    assert red > green > blue  # and is yellowish
    assert press.DEFAULT_RELATIVE is False
    assert newsprint.hex(PAPER) == newsprint.hex(PAPER, relative=False)


@given(st.builds(Tint, *[st.integers(0, 100)] * 4), st.booleans())
def test_hex_is_srgb_in_letters(tint: Tint, relative: bool) -> None:
    condition = press.load("newsprint")
    rgb = condition.srgb([tint.percentages], relative).rgb[0]
    assert bytes.fromhex(condition.hex(tint, relative)[1:]) == rgb.tobytes()
    assert condition.hexes([tint, PAPER], relative) == [condition.hex(tint, relative), condition.hex(PAPER, relative)]


# --- dot gain ---


def test_effective_coverage_runs_from_paper_to_solid(newsprint: PressCondition) -> None:
    steps = np.arange(101.0)[:, None].repeat(4, axis=1)
    coverage, gain = newsprint.effective_coverage(steps)
    np.testing.assert_allclose(coverage[[0, 100]], [[0] * 4, [100] * 4], atol=1e-3)
    np.testing.assert_allclose(gain, coverage - steps)
    assert (np.diff(coverage, axis=0) > -1e-3).all()
    assert (gain[1:-1] > 0).all()


def test_effective_coverage_is_murray_davies_of_the_measured_ramps(
    newsprint: PressCondition, newsprint_data: CharacterizationData
) -> None:
    """From the patches of TR 002 themselves."""
    tints, xyz = newsprint_data.averaged()
    lookup = {tuple(tint): value for tint, value in zip(tints.astype(int).tolist(), xyz, strict=True)}
    for ink, channel in enumerate((0, 1, 2, 1)):
        for step in (10, 25, 50, 70):
            patch = lookup[tuple(step if at == ink else 0 for at in range(4))][channel]
            solid = lookup[tuple(100 if at == ink else 0 for at in range(4))][channel]
            paper = lookup[(0, 0, 0, 0)][channel]
            wanted = 100 * (paper - patch) / (paper - solid)
            assert newsprint.effective_coverage([[step] * 4]).coverage[0, ink] == pytest.approx(wanted, abs=0.1)


def test_fifty_percent_gains_as_the_trade_says(newsprint: PressCondition, coated: PressCondition) -> None:
    """A nominal 50 % prints as about 73 % on newsprint (TR 002, Murray-Davies); coated stock gains less."""
    on_newsprint = newsprint.effective_coverage([[50] * 4]).coverage[0]
    assert np.abs(on_newsprint - 73).max() < 4
    assert (coated.effective_coverage([[50] * 4]).coverage[0] < on_newsprint).all()


# --- the trade's facts ---


def test_yellows_are_closer_on_newsprint_than_on_coated(
    newsprint: PressCondition, coated: PressCondition, newsprint_data: CharacterizationData
) -> None:
    """Solid against 50 % yellow: 5.3 on newsprint, 11.5 on coated stock (the trade's notes)."""
    pair = [[0, 0, 100, 0], [0, 0, 50, 0]]
    apart = {name: delta_e_2000(*condition.lab(pair)) for name, condition in (("n", newsprint), ("c", coated))}
    assert apart["n"] == pytest.approx(5.3, abs=0.4)
    assert apart["c"] == pytest.approx(11.5, abs=0.4)
    # The report's own patches: solid yellow was measured twice, 50 % once (samples 3, 363 and 57).
    assert newsprint_data.lab is not None
    measured = delta_e_2000(newsprint_data.lab[[2, 362]], newsprint_data.lab[56])
    assert measured.min() - 0.1 <= apart["n"] <= measured.max() + 0.1


def test_paper_beside_a_quarter_of_cyan_is_a_jump(
    newsprint: PressCondition, newsprint_data: CharacterizationData
) -> None:
    """14.6 by the trade's notes; the patches of TR 002 (samples 26 and 183 against 34) give 15.3 and 15.4."""
    jump = delta_e_2000(*newsprint.lab([[0, 0, 0, 0], [25, 0, 0, 0]]))
    assert jump == pytest.approx(14.6, abs=1.0)
    assert newsprint_data.lab is not None
    measured = delta_e_2000(newsprint_data.lab[[25, 182]], newsprint_data.lab[33])
    assert measured.min() - 0.1 <= jump <= measured.max() + 0.1
