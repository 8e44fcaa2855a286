"""A condition's ICC profile, read by LittleCMS (littlecms.com, through Pillow's ImageCms), which had no part in it."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from PIL import Image, ImageCms

from bible.colour.condition import FloatArray, PressCondition
from bible.colour.output_profile import output_profile
from bible.colour.press import available, load

SHIPPED = [info.name for info in available()]
SIDE = 60
LAB = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB", 5000))


def profile_of(press: PressCondition) -> ImageCms.ImageCmsProfile:
    return ImageCms.ImageCmsProfile(io.BytesIO(output_profile(press)))


def tints(*, key: bool) -> Image.Image:
    """Any tints at all, as a picture of four inks."""
    values = np.random.default_rng(20).integers(0, 256, (SIDE * SIDE, 4)).astype(np.uint8)
    values[:, 3] *= key
    return Image.frombytes("CMYK", (SIDE, SIDE), values.tobytes())


def percent(picture: Image.Image) -> FloatArray:
    return np.frombuffer(picture.tobytes(), np.uint8).reshape(-1, 4) / 255 * 100


def through(profile: ImageCms.ImageCmsProfile, picture: Image.Image, intent: ImageCms.Intent) -> Image.Image:
    back = picture.mode == "LAB"
    ends = (LAB, profile, "LAB", "CMYK") if back else (profile, LAB, "CMYK", "LAB")
    made = ImageCms.applyTransform(picture, ImageCms.buildTransform(*ends, renderingIntent=intent))
    assert made is not None
    return made


def lab_of(picture: Image.Image) -> FloatArray:
    """8 bits: L* in 255 steps, a* and b* with a sign. A rounding of at most 0.2, 0.5 and 0.5."""
    raw = np.frombuffer(picture.tobytes(), np.uint8).reshape(-1, 3)
    return np.column_stack([raw[:, 0] / 2.55, raw[:, 1:].view(np.int8)])


@pytest.mark.parametrize("name", SHIPPED)
def test_a_tint_looks_through_the_profile_as_the_condition_says(name: str) -> None:
    """Absolute, paper included. CIE76 of 2 at 95 in 100, of which up to 0.75 is the rounding to 8 bits."""
    press = load(name)
    picture = tints(key=True)
    found = lab_of(through(profile_of(press), picture, ImageCms.Intent.ABSOLUTE_COLORIMETRIC))
    off = np.linalg.norm(found - press.lab(percent(picture)), axis=1)
    assert off.mean() < 0.8
    assert np.percentile(off, 95) < 2.0
    assert off.max() < 5.0


@pytest.mark.parametrize("name", SHIPPED)
def test_a_colour_of_the_chart_comes_back_as_inks_that_print_it(name: str) -> None:
    press, picture = load(name), tints(key=False)
    lab = through(profile_of(press), picture, ImageCms.Intent.RELATIVE_COLORIMETRIC)
    inks = percent(through(profile_of(press), lab, ImageCms.Intent.RELATIVE_COLORIMETRIC))
    off = np.linalg.norm(press.lab(inks) - press.lab(percent(picture)), axis=1)
    assert off.mean() < 1.2
    assert np.percentile(off, 95) < 3.0


def test_paper_is_no_ink_and_the_paper_is_the_white_point() -> None:
    press = load("newsprint")
    white = Image.new("LAB", (1, 1), (255, 128, 128))
    inks = percent(through(profile_of(press), white, ImageCms.Intent.RELATIVE_COLORIMETRIC))
    assert inks.max() <= 1.0
    paper = lab_of(through(profile_of(press), Image.new("CMYK", (1, 1)), ImageCms.Intent.ABSOLUTE_COLORIMETRIC))
    assert np.abs(paper - press.lab([[0, 0, 0, 0]])).max() < 1.0


def test_the_header_and_the_tags_are_those_of_an_output_profile() -> None:
    """ICC.1:2001-04, 6.1 and 6.3.3 (from memory): signature, class, spaces, size, and the tags a ``prtr`` must have."""
    data = output_profile(load("newsprint"))
    assert struct.unpack(">I", data[:4]) == (len(data),)
    assert (data[8:12], data[12:16], data[16:20], data[20:24], data[36:40]) == (
        b"\x02\x40\0\0", b"prtr", b"CMYK", b"Lab ", b"acsp",
    )  # fmt: skip
    (number,) = struct.unpack(">I", data[128:132])
    tags = {}
    for at in range(132, 132 + 12 * number, 12):
        name, begin, size = struct.unpack(">4sII", data[at : at + 12])
        assert begin % 4 == 0
        assert begin + size <= len(data)
        tags[name.decode()] = data[begin : begin + size]
    must = {"desc", "cprt", "wtpt", "A2B0", "A2B1", "A2B2", "B2A0", "B2A1", "B2A2", "gamt"}
    assert set(tags) == must
    opened = ImageCms.ImageCmsProfile(io.BytesIO(data))
    assert "TR 002" in ImageCms.getProfileDescription(opened), "its source is named"
    assert "TR 002" in ImageCms.getProfileCopyright(opened)
    assert ImageCms.isIntentSupported(opened, ImageCms.Intent.PERCEPTUAL, ImageCms.Direction.OUTPUT) == 1
    assert output_profile(load("newsprint")) == data
