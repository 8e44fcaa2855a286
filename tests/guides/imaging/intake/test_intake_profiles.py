"""Embedded profiles: the colours that were meant, checked against colour-science and real files."""

from __future__ import annotations

import importlib
import struct
import warnings
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image, ImageCms

from guides.imaging.intake.upright import NOTE_CMYK_WITHOUT_PROFILE, NOTE_PROFILE_IGNORED, read_upright
from tests.guides.imaging.intake.pictures import PACKAGE_PICTURES, PATCH, encoded, middles, patches, taken, tiff


# Profiles, built by the tests byte by byte from ICC.1:2001-04 (version 2.4), so that what they mean is known here.
def s15(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def xyz_tag(xyz: Any) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(s15(value) for value in xyz)


def curve_tag(gamma: float) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + bytes(2)


D50 = (0.9642, 1.0, 0.8249)


def icc(device_class: bytes, space: bytes, connection: bytes, tags: dict[bytes, bytes]) -> bytes:
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for name, value in tags.items():
        table += name + struct.pack(">II", start + len(body), len(value))
        body += value + bytes(-len(value) % 4)
    header = struct.pack(
        ">I4sI4s4s4s12s4s4sIIIQI12s", start + len(body), b"\0\0\0\0", 0x02400000, device_class, space, connection,
        struct.pack(">6H", 2020, 1, 1, 0, 0, 0), b"acsp", b"\0\0\0\0", 0, 0, 0, 0, 0,
        b"".join(s15(value) for value in D50),
    )  # fmt: skip
    return (header + bytes(128 - len(header)) + table + body)[: start + len(body)]


def colour_science() -> Any:
    with warnings.catch_warnings():  # it warns of optional packages that it does without
        warnings.simplefilter("ignore")
        return importlib.import_module("colour")


def adobe_rgb_profile() -> bytes:
    """Primaries and gamma of Adobe RGB (1998), adapted to D50 by colour-science's own Bradford transform."""
    colour = colour_science()
    space = colour.RGB_COLOURSPACES["Adobe RGB (1998)"]
    d65 = colour.xy_to_XYZ(space.whitepoint)
    columns = (
        colour.adaptation.matrix_chromatic_adaptation_VonKries(d65, np.asarray(D50), transform="Bradford")
        @ space.matrix_RGB_to_XYZ
    )
    tags = {b"wtpt": xyz_tag(D50)}
    for index, letter in enumerate((b"r", b"g", b"b")):
        tags[letter + b"XYZ"] = xyz_tag(columns[:, index])
        tags[letter + b"TRC"] = curve_tag(563 / 256)  # the gamma of Adobe RGB (1998), section 4.3.4.2
    return icc(b"mntr", b"RGB ", b"XYZ ", tags)


NEWSPRINT_SOLIDS = {
    (0, 0, 0, 0): (100, 0, 0),
    (1, 0, 0, 0): (56.6, -23.4, -26.5),
    (0, 1, 0, 0): (52.7, 44.1, -1.1),
    (0, 0, 1, 0): (76.6, -4.1, 54.7),
}
"""CIELAB, D50, of solid inks by CGATS/SNAP TR 002-2007, on a paper that stands for white here."""


def cmyk_profile() -> bytes:
    """Two points an ink: the solids above, middle grey for their overprints, and black wherever there is key."""
    grid = b""
    for cell in np.ndindex(2, 2, 2, 2):
        lightness, a, b = NEWSPRINT_SOLIDS.get(cell, (0, 0, 0) if cell[3] else (40, 0, 0))
        grid += bytes([round(lightness * 2.55), round(a + 128), round(b + 128)])
    identity = b"".join(s15(value) for value in np.eye(3).ravel())
    straight = bytes(range(256))
    table = b"mft1\0\0\0\0" + bytes([4, 3, 2, 0]) + identity + straight * 4 + grid + straight * 3
    return icc(b"prtr", b"CMYK", b"Lab ", {b"wtpt": xyz_tag(D50), b"A2B0": table})


def lab_to_srgb(lab: Any) -> npt.NDArray[Any]:
    """8-bit sRGB by colour-science."""
    colour = colour_science()
    white = colour.XYZ_to_xy(np.asarray(D50))
    xyz = colour.Lab_to_XYZ(np.asarray(lab, float), white)
    return 255 * np.clip(colour.XYZ_to_sRGB(xyz, white, chromatic_adaptation_transform="Bradford"), 0, 1)


def adobe_to_srgb(rgb: Any) -> npt.NDArray[Any]:
    """8-bit sRGB by colour-science, out-of-gamut values clipped."""
    colour = colour_science()
    converted = colour.RGB_to_RGB(
        np.asarray(rgb) / 255,
        colour.RGB_COLOURSPACES["Adobe RGB (1998)"],
        colour.RGB_COLOURSPACES["sRGB"],
        apply_cctf_decoding=True,
        apply_cctf_encoding=True,
    )
    return 255 * np.clip(converted, 0, 1)


ADOBE_COLOURS = [(128, 128, 128), (180, 90, 60), (110, 120, 160), (200, 190, 120), (255, 255, 255), (0, 0, 0)]


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "WEBP"])
def test_an_rgb_profile_is_followed(kind: str) -> None:
    best: dict[str, dict[str, Any]] = {"JPEG": {"quality": 98}, "WEBP": {"lossless": True}}
    options = best.get(kind, {})
    image = Image.fromarray(patches(ADOBE_COLOURS))
    intake = taken(encoded(image, kind, icc_profile=adobe_rgb_profile(), **options))
    np.testing.assert_allclose(middles(intake), adobe_to_srgb(ADOBE_COLOURS), atol=3)
    assert intake.notes == ()
    plain = middles(taken(encoded(image, kind, **options)))
    assert np.abs(plain - middles(intake)).max() > 15, "the profile made a difference"


def test_a_profile_on_a_palette_and_on_transparent_colour() -> None:
    profile = adobe_rgb_profile()
    image = Image.fromarray(patches(ADOBE_COLOURS))
    palette = taken(encoded(image.quantize(16, dither=Image.Dither.NONE), "PNG", icc_profile=profile))
    np.testing.assert_allclose(middles(palette), adobe_to_srgb(ADOBE_COLOURS), atol=3)
    image.putalpha(128)
    veiled = taken(encoded(image, "PNG", icc_profile=profile))
    np.testing.assert_allclose(middles(veiled), adobe_to_srgb(ADOBE_COLOURS) * 128 / 255 + 127, atol=3)


def test_a_real_photograph_in_adobe_rgb() -> None:
    path = PACKAGE_PICTURES / "rocket.jpg"  # carries "Adobe RGB (1998)"
    expected = adobe_to_srgb(np.asarray(Image.open(path)))
    got = np.asarray(read_upright(path).image, float)
    assert np.abs(got - expected).mean() < 0.7
    assert np.percentile(np.abs(got - expected), 99) <= 3


def test_a_real_scan_with_a_dot_gain_profile() -> None:
    path = PACKAGE_PICTURES / "page.png"  # grey, "Dot Gain 20%"
    stored = np.asarray(Image.open(path))
    result = read_upright(path)
    seen = np.asarray(result.image)
    assert result.notes == ()
    assert np.ptp(seen, axis=2).max() <= 1, "grey stays grey"
    order = np.argsort(stored, axis=None, kind="stable")
    assert (np.diff(seen[..., 1].ravel()[order].astype(int)) >= 0).all(), "darker stays darker"
    # A 50 % dot (stored 127) gains 20 % and covers 70 %: Murray-Davies gives Y = 0.3, which is L* 61.7,
    # less than the plain reading of the same byte as sRGB.
    lut = {int(value): int(seen[..., 1][stored == value][0]) for value in np.unique(stored)}
    middle = min(lut, key=lambda value: abs(value - 127))
    assert lut[middle] == pytest.approx(lab_to_srgb((61.7, 0, 0))[1], abs=8)


def test_a_grey_profile_is_followed() -> None:
    ramp = [0, 64, 128, 192, 255]
    profile = icc(b"mntr", b"GRAY", b"XYZ ", {b"wtpt": xyz_tag(D50), b"kTRC": curve_tag(1.0)})
    intake = taken(encoded(Image.fromarray(patches(ramp)), "PNG", icc_profile=profile))
    linear = np.asarray(ramp) / 255
    # IEC 61966-2-1, the encoding of sRGB
    srgb = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    np.testing.assert_allclose(middles(intake)[:, 1], 255 * srgb, atol=3)


@pytest.mark.parametrize("kind", ["JPEG", "TIFF", "TIFF 16"])
def test_a_cmyk_profile_is_followed(kind: str) -> None:
    inks = [[255 * part for part in cell] for cell in [*NEWSPRINT_SOLIDS, (0, 0, 0, 1)]]
    if kind == "TIFF 16":
        data = tiff(patches(inks, np.uint16) * 257, photometric="separated", iccprofile=cmyk_profile())
    else:
        image = Image.frombytes("CMYK", (PATCH * len(inks), PATCH), patches(inks).tobytes())
        data = encoded(image, kind, icc_profile=cmyk_profile(), **({"quality": 98} if kind == "JPEG" else {}))
    intake = taken(data)
    np.testing.assert_allclose(middles(intake), lab_to_srgb([*NEWSPRINT_SOLIDS.values(), (0, 0, 0)]), atol=5)
    assert NOTE_CMYK_WITHOUT_PROFILE not in intake.notes


def test_lab_tiff() -> None:
    labs = [(100, 0, 0), (50, 0, 0), (52.7, 44.1, -1.1), (76.6, -4.1, 54.7)]
    stored = [(round(lightness * 2.55), round(a) % 256, round(b) % 256) for lightness, a, b in labs]
    intake = taken(tiff(patches(stored), photometric="cielab"))
    np.testing.assert_allclose(middles(intake), lab_to_srgb(labs), atol=5)


@pytest.mark.parametrize("profile", ["noise", "other space", "cut"])
def test_a_profile_that_can_not_be_used_is_ignored_with_a_word(profile: str) -> None:
    whole = adobe_rgb_profile()
    data = {"noise": b"not a profile" * 20, "other space": cmyk_profile(), "cut": whole[:200]}[profile]
    intake = taken(encoded(Image.fromarray(patches(ADOBE_COLOURS)), "PNG", icc_profile=data))
    np.testing.assert_allclose(middles(intake), ADOBE_COLOURS, atol=3)
    assert intake.notes == (NOTE_PROFILE_IGNORED,)


def test_an_srgb_profile_changes_nothing() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    intake = taken(encoded(Image.fromarray(patches(ADOBE_COLOURS)), "PNG", icc_profile=profile))
    np.testing.assert_allclose(middles(intake), ADOBE_COLOURS, atol=3)
