"""Scans of every kind through the upload page itself; the colours that come out against littleCMS (Pillow's ImageCms),
asked directly and not through our intake."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import tifffile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image, ImageCms

from bible.models import Series
from guides.models import Guide
from tests.factories import make_issue
from tests.guides.imaging.intake.test_intake_profiles import adobe_rgb_profile, cmyk_profile

pytestmark = pytest.mark.django_db

Picture = npt.NDArray[np.uint8]

PATCH = 64
LOSS = 5
"""8-bit steps by which the middle of a flat patch may be off: JPEG of the screen picture, and rounding."""

RGB = [(255, 255, 255), (200, 60, 40), (40, 120, 60), (60, 70, 160), (230, 210, 80), (120, 120, 120)]
CMYK = [(0, 0, 0, 0), (255, 0, 0, 0), (0, 255, 0, 0), (0, 0, 255, 0), (64, 128, 0, 0), (0, 64, 128, 0)]


def patches(colours: Sequence[tuple[int, ...]]) -> Picture:
    """Flat squares, two rows of three."""
    grid = np.array(colours, np.uint8).reshape(2, 3, -1)
    return np.asarray(np.repeat(np.repeat(grid, PATCH, axis=0), PATCH, axis=1))


def middles(picture: Picture) -> npt.NDArray[np.int16]:
    half = PATCH // 2
    return np.asarray(picture[half::PATCH, half::PATCH].reshape(-1, 3), np.int16)


def sent(client: Client, series: Series, name: str, data: bytes) -> tuple[Guide, Picture]:
    issue = make_issue(series)
    answer = client.post(
        reverse("upload", args=[series.slug, issue.pk]), {"scans": SimpleUploadedFile(name, data), "page": "7"}
    )
    assert answer.status_code == 302, answer.content.decode()[-2000:]
    guide = Guide.objects.get(issue=issue)
    with Image.open(io.BytesIO(b"".join(client.get(_address(guide)).streaming_content))) as opened:  # type: ignore[attr-defined]
        return guide, np.asarray(opened.convert("RGB"))


def _address(guide: Guide) -> str:
    return reverse("picture", args=[guide.series.slug, guide.pk, "screen"])


def saved(image: Image.Image, kind: str, **options: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def by_littlecms(image: Image.Image, profile: bytes) -> Picture:
    """What littleCMS makes of a picture in sRGB, relative colorimetric with black point compensation."""
    found = ImageCms.profileToProfile(
        image,
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB",
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )
    assert found is not None
    return np.asarray(found)


@pytest.mark.parametrize("compression", [None, "tiff_lzw", "tiff_adobe_deflate"])
def test_a_tiff(fill_in_client: Client, series: Series, compression: str | None) -> None:
    image = Image.fromarray(patches(RGB))
    _, screen = sent(fill_in_client, series, "7.tif", saved(image, "TIFF", compression=compression))
    assert np.abs(middles(screen) - middles(patches(RGB))).max() <= LOSS


def test_a_tiff_of_16_bits(fill_in_client: Client, series: Series) -> None:
    """Written by tifffile, a library of its own; 257 takes 8 bits to 16 exactly."""
    out = io.BytesIO()
    tifffile.imwrite(out, patches(RGB).astype(np.uint16) * 257, photometric="rgb")
    guide, screen = sent(fill_in_client, series, "7.tif", out.getvalue())
    assert np.abs(middles(screen) - middles(patches(RGB))).max() <= LOSS
    assert guide.original.read() == out.getvalue(), "the original is kept byte for byte"


@pytest.mark.parametrize("kind", ["TIFF", "JPEG"])
def test_cmyk_with_its_profile(fill_in_client: Client, series: Series, kind: str) -> None:
    image = Image.frombytes("CMYK", (3 * PATCH, 2 * PATCH), patches(CMYK).tobytes())
    profile = cmyk_profile()
    options = {"quality": 98, "subsampling": 0} if kind == "JPEG" else {}
    name = {"TIFF": "7.tif", "JPEG": "7.jpg"}[kind]
    _, screen = sent(fill_in_client, series, name, saved(image, kind, icc_profile=profile, **options))
    assert np.abs(middles(screen) - middles(by_littlecms(image, profile))).max() <= LOSS


@pytest.mark.parametrize("kind", ["TIFF", "PNG", "JPEG"])
def test_wide_rgb_with_its_profile(fill_in_client: Client, series: Series, kind: str) -> None:
    image, profile = Image.fromarray(patches(RGB)), adobe_rgb_profile()
    options = {"quality": 98, "subsampling": 0} if kind == "JPEG" else {}
    name = {"TIFF": "7.tif", "PNG": "7.png", "JPEG": "7.jpg"}[kind]
    _, screen = sent(fill_in_client, series, name, saved(image, kind, icc_profile=profile, **options))
    wanted = middles(by_littlecms(image, profile))
    assert np.abs(middles(screen) - wanted).max() <= LOSS
    assert np.abs(wanted - middles(patches(RGB))).max() > 2 * LOSS, "the profile must make a difference"
