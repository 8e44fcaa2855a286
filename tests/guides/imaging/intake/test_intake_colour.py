"""Depth, colour space, profiles, transparency and orientation: what a person sees is what was meant."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

from guides.imaging.intake.rules import IntakeError
from guides.imaging.intake.upright import NOTE_CMYK_WITHOUT_PROFILE, NOTE_DEPTH, read_upright
from tests.guides.imaging.intake.pictures import PATCH, encoded, middles, patches, taken, tiff

# Orientation. Exif 2.3 (and TIFF 6.0), tag 274, says which visual sides the stored first row and first column are.
EXIF_SIDES = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def stored_as(seen: npt.NDArray[Any], orientation: int) -> npt.NDArray[Any]:
    """The array to store so that a reader who follows the table above sees `seen`."""
    row, column = EXIF_SIDES[orientation]
    stored = seen.swapaxes(0, 1) if row in ("left", "right") else seen
    if row in ("bottom", "right"):
        stored = stored[::-1]
    if column in ("bottom", "right"):
        stored = stored[:, ::-1]
    return np.ascontiguousarray(stored)


CORNERS = {(0, 0): (230, 30, 40), (0, -1): (40, 160, 60), (-1, 0): (40, 60, 200), (-1, -1): (240, 220, 40)}


def four_corners() -> npt.NDArray[np.uint8]:
    seen = np.full((128, 192, 3), 250, np.uint8)
    for (row, column), colour in CORNERS.items():
        rows = slice(0, 48) if row == 0 else slice(80, 128)
        columns = slice(0, 64) if column == 0 else slice(128, 192)
        seen[rows, columns] = colour
    return seen


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "TIFF compressed"])
def test_every_orientation_comes_out_upright(kind: str, orientation: int) -> None:
    image = Image.fromarray(stored_as(four_corners(), orientation))
    if kind.startswith("TIFF"):
        compression = "tiff_adobe_deflate" if kind.endswith("compressed") else None
        data = encoded(image, "TIFF", tiffinfo={274: orientation}, compression=compression)
    else:
        exif = Image.Exif()
        exif[274] = orientation
        lossless = {"lossless": True} if kind == "WEBP" else {}
        data = encoded(image, kind, exif=exif, **lossless)
    intake = taken(data)
    assert (intake.width, intake.height) == (192, 128)
    assert intake.screen_size == intake.thumb_size == (192, 128)
    for derivative in (intake.screen, intake.thumb):
        pixels = np.asarray(Image.open(io.BytesIO(derivative)))
        for (row, column), colour in CORNERS.items():
            np.testing.assert_allclose(
                pixels[row * 9 + 8 * (row == 0), column * 9 + 8 * (column == 0)], colour, atol=8
            )


def test_orientation_of_a_big_jpeg_that_is_decoded_small() -> None:
    seen = np.kron(four_corners()[::8, ::8], np.ones((300, 300, 1), np.uint8))  # 7200 × 4800
    exif = Image.Exif()
    exif[274] = 6
    intake = taken(encoded(Image.fromarray(stored_as(seen, 6)), "JPEG", exif=exif))
    assert (intake.width, intake.height) == (7200, 4800)
    assert intake.screen_size == (2400, 1600)
    pixels = np.asarray(Image.open(io.BytesIO(intake.screen)))
    for corner, colour in CORNERS.items():
        np.testing.assert_allclose(pixels[corner], colour, atol=8)


def test_a_nonsense_orientation_is_ignored() -> None:
    exif = Image.Exif()
    exif[274] = 77
    intake = taken(encoded(Image.fromarray(four_corners()), "JPEG", exif=exif))
    assert (intake.width, intake.height) == (192, 128)


# Depth. Every value of 16 bits scaled to 8 is value / 257, give or take one for readers that keep the high byte.
RAMP_16 = [0, 257, 5000, 20000, 32768, 40000, 60000, 65535]


@pytest.mark.parametrize("container", [".png", ".tif", "tifffile little", "tifffile big"])
def test_16_bit_grey_is_scaled_not_clipped(container: str) -> None:
    ramp = patches(RAMP_16, np.uint16)
    if container.startswith("."):
        data = cv2.imencode(container, ramp)[1].tobytes()  # OpenCV as an independent writer
    else:
        data = tiff(ramp, byteorder="<" if "little" in container else ">", photometric="minisblack")
    intake = taken(data)
    np.testing.assert_allclose(middles(intake), np.repeat(np.asarray(RAMP_16)[:, None] / 257, 3, axis=1), atol=2)
    assert intake.notes == (NOTE_DEPTH,)


def test_16_bit_grey_where_zero_is_white() -> None:
    intake = taken(tiff(patches(RAMP_16, np.uint16), photometric="miniswhite"))
    np.testing.assert_allclose(middles(intake)[:, 0], 255 - np.asarray(RAMP_16) / 257, atol=2)


@pytest.mark.parametrize("container", [".png", ".tif", "tifffile"])
def test_16_bit_colour_is_scaled_not_clipped(container: str) -> None:
    colours = [(value, 65535 - value, 30000) for value in RAMP_16]
    if container.startswith("."):
        data = cv2.imencode(container, patches(colours, np.uint16)[..., ::-1])[1].tobytes()
    else:
        data = tiff(patches(colours, np.uint16), photometric="rgb")
    intake = taken(data)
    np.testing.assert_allclose(middles(intake), np.asarray(colours) / 257, atol=3)
    assert intake.notes == (NOTE_DEPTH,)


def test_16_bit_cmyk() -> None:
    inks = [(0, 0, 0, 0), (65535, 0, 0, 0), (0, 32768, 65535, 0), (0, 0, 0, 65535), (20000, 0, 0, 30000)]
    intake = taken(tiff(patches(inks, np.uint16), photometric="separated"))
    share = np.asarray(inks) / 65535
    np.testing.assert_allclose(middles(intake), 255 * (1 - share[:, :3]) * (1 - share[:, 3:]), atol=4)
    assert set(intake.notes) == {NOTE_DEPTH, NOTE_CMYK_WITHOUT_PROFILE}


@pytest.mark.parametrize("dtype", [np.uint32, np.int32, np.float32])
def test_32_bits_a_channel_are_refused(dtype: Any) -> None:
    with pytest.raises(IntakeError) as caught:
        taken(tiff(patches([0, 1, 100], dtype), photometric="minisblack"))
    assert caught.value.reason == "unsupported"
    assert "16" in caught.value.message


# Modes without a profile
def test_grey_and_bilevel() -> None:
    ramp = [0, 60, 128, 200, 255]
    for kind in ("PNG", "JPEG", "TIFF"):
        np.testing.assert_allclose(middles(taken(encoded(Image.fromarray(patches(ramp)), kind)))[:, 1], ramp, atol=2)
    bilevel = Image.fromarray(patches([0, 255])).convert("1")
    for options in ({}, {"compression": "group4"}):
        np.testing.assert_allclose(middles(taken(encoded(bilevel, "TIFF", **options)))[:, 0], [0, 255], atol=2)
    np.testing.assert_allclose(middles(taken(encoded(bilevel, "PNG")))[:, 0], [0, 255], atol=2)


def test_palette_with_and_without_transparency_on_white() -> None:
    image = Image.fromarray(patches([0, 1, 2]), "L").convert("P")
    image.putpalette([200, 40, 60, 30, 90, 160, 10, 200, 30])
    opaque = [(200, 40, 60), (30, 90, 160), (10, 200, 30)]
    np.testing.assert_allclose(middles(taken(encoded(image, "PNG"))), opaque, atol=3)
    np.testing.assert_allclose(middles(taken(encoded(image, "TIFF"))), opaque, atol=3)
    veiled = encoded(image, "PNG", transparency=bytes([255, 0, 128]))
    seen = [(200, 40, 60), (255, 255, 255), (132, 227, 142)]  # the last half way to white
    np.testing.assert_allclose(middles(taken(veiled)), seen, atol=3)


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_transparency_is_flattened_on_white(kind: str) -> None:
    colours = [(200, 40, 60, 255), (30, 90, 160, 0), (10, 200, 30, 128), (0, 0, 0, 64)]
    options = {"lossless": True, "exact": True} if kind == "WEBP" else {}
    got = middles(taken(encoded(Image.fromarray(patches(colours)), kind, **options)))
    rgba = np.asarray(colours, float)
    opacity = rgba[:, 3:] / 255
    np.testing.assert_allclose(got, rgba[:, :3] * opacity + 255 * (1 - opacity), atol=3)


def test_transparent_areas_do_not_bleed_into_their_neighbours_when_shrunk() -> None:
    image = np.zeros((100, 4800, 4), np.uint8)  # invisible black
    image[:, ::2] = (255, 255, 255, 255)  # between columns of white
    intake = taken(encoded(Image.fromarray(image), "PNG"))
    assert np.asarray(Image.open(io.BytesIO(intake.screen))).min() >= 250


def test_grey_with_transparency_and_a_single_transparent_colour() -> None:
    grey = np.dstack([patches([0, 0, 120]), patches([255, 0, 128])])
    np.testing.assert_allclose(middles(taken(encoded(Image.fromarray(grey), "PNG")))[:, 0], [0, 255, 187], atol=3)
    keyed = encoded(Image.fromarray(patches([(1, 2, 3), (90, 30, 20)])), "PNG", transparency=(1, 2, 3))
    np.testing.assert_allclose(middles(taken(keyed)), [(255, 255, 255), (90, 30, 20)], atol=3)


@pytest.mark.parametrize("kind", ["JPEG", "TIFF"])
def test_cmyk_without_a_profile_falls_back_and_says_so(kind: str) -> None:
    inks = [(0, 0, 0, 0), (255, 0, 0, 0), (0, 128, 255, 0), (0, 0, 0, 255), (0, 0, 0, 128)]
    image = Image.frombytes("CMYK", (PATCH * len(inks), PATCH), patches(inks).tobytes())
    options = {"quality": 98} if kind == "JPEG" else {}
    intake = taken(encoded(image, kind, **options))
    share = np.asarray(inks) / 255
    np.testing.assert_allclose(middles(intake), 255 * (1 - share[:, :3]) * (1 - share[:, 3:]), atol=5)
    assert intake.notes == (NOTE_CMYK_WITHOUT_PROFILE,)
    assert "hint" in intake.notes[0]


def test_reading_an_accepted_original_gives_full_pixels(tmp_path: Path) -> None:
    seen = four_corners()
    path = tmp_path / "stored"
    path.write_bytes(encoded(Image.fromarray(stored_as(seen, 6)), "TIFF", tiffinfo={274: 6}))
    np.testing.assert_array_equal(np.asarray(read_upright(path).image), seen)
    with path.open("rb") as stream:
        stream.seek(5)
        assert read_upright(stream, 96).image.size == (96, 64)
