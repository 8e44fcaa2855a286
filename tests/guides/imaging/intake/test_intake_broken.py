"""Bombs, broken files and files of several pictures: refused from as little as possible, with the right word."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pytest
import tifffile
from PIL import Image

from guides.imaging.intake.rules import MAX_PIXELS
from guides.imaging.intake.take_in import take_in
from tests.guides.imaging.intake.pictures import encoded, page, refusal, shown


def png_chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def bomb(kind: str, width: int, height: int) -> bytes:
    """A small, well-formed file whose header promises a huge picture."""
    if kind == "PNG":
        rows = zlib.compress(bytes(2_000_000), 9)
        header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
        return b"".join(
            [
                b"\x89PNG\r\n\x1a\n",
                png_chunk(b"IHDR", header),
                png_chunk(b"IDAT", rows),
                png_chunk(b"IEND", b""),
            ]
        )
    if kind == "JPEG":
        data = bytearray(encoded(page(), "JPEG"))
        start = data.index(b"\xff\xc0")
        data[start + 5 : start + 9] = struct.pack(">HH", height, width)
        return bytes(data)
    if kind == "TIFF":
        image = Image.new("L", (64, 64))
        data = bytearray(encoded(image, "TIFF", compression="tiff_adobe_deflate"))
        directory = struct.unpack("<I", data[4:8])[0]
        for entry in range(struct.unpack("<H", data[directory : directory + 2])[0]):
            at = directory + 2 + 12 * entry
            tag = struct.unpack("<H", data[at : at + 2])[0]
            if tag in (256, 257):
                data[at + 2 : at + 12] = struct.pack("<HII", 4, 1, width if tag == 256 else height)
        return bytes(data)
    if kind == "WEBP lossless":
        data = bytearray(encoded(page(), "WEBP", lossless=True))
        data[21:25] = struct.pack("<I", (width - 1) | (height - 1) << 14)
        return bytes(data)
    data = bytearray(encoded(page(), "WEBP"))
    data[26:30] = struct.pack("<HH", width, height)
    return bytes(data)


@pytest.mark.parametrize(
    ("kind", "width", "height"),
    [
        ("PNG", 2_000_000_000, 2_000_000_000),
        ("PNG", 10_001, 10_000),
        ("JPEG", 65_000, 65_000),
        ("TIFF", 4_000_000_000, 4_000_000_000),
        ("TIFF", 10_001, 10_000),
        ("WEBP", 16_383, 16_383),
        ("WEBP lossless", 16_383, 16_383),
    ],
)
def test_bombs_are_refused_from_the_header(kind: str, width: int, height: int) -> None:
    error = refusal(bomb(kind, width, height), memory_bytes=400_000_000, cpu_seconds=2)
    assert error.reason == "too_many_pixels"
    assert f"{width} × {height}" in error.message
    assert "100.0 megapixels" in error.message
    assert MAX_PIXELS == 100_000_000


SAMPLES = {
    "PNG": encoded(Image.effect_noise((120, 90), 80).convert("RGB"), "PNG"),
    "JPEG": encoded(Image.effect_noise((120, 90), 80).convert("RGB"), "JPEG"),
    "JPEG progressive": encoded(Image.effect_noise((120, 90), 80), "JPEG", progressive=True),
    "TIFF": encoded(Image.effect_noise((120, 90), 80).convert("RGB"), "TIFF"),
    "TIFF LZW": encoded(Image.effect_noise((120, 90), 80), "TIFF", compression="tiff_lzw"),
    "TIFF Deflate": encoded(Image.effect_noise((120, 90), 80), "TIFF", compression="tiff_adobe_deflate"),
    "WEBP": encoded(Image.effect_noise((120, 90), 80).convert("RGB"), "WEBP"),
    "WEBP lossless": encoded(Image.effect_noise((120, 90), 80).convert("RGBA"), "WEBP", lossless=True),
}


@pytest.mark.parametrize("label", SAMPLES)
@pytest.mark.parametrize("kept", [0.02, 0.3, 0.97])
def test_truncated_files_are_refused_or_asked_about_and_called_so(label: str, kept: float) -> None:
    """Where there are rows above the missing ones somebody may want them; what they read is in test_intake_damage."""
    data = SAMPLES[label]
    assert take_in(io.BytesIO(data)), "whole, it is fine"
    error = refusal(data[: max(16, int(len(data) * kept))])
    if kept == 0.02 or label in ("WEBP", "WEBP lossless", "TIFF LZW", "TIFF Deflate"):  # no row, or one strip in all
        assert error.reason == "truncated"
        assert "breaks off" in error.message
    else:
        assert error.reason == "part_damaged"
        assert "could not be read" in error.message or "any part of it" in error.message


def test_animations_are_refused() -> None:
    frames = {"save_all": True, "append_images": [Image.new("RGB", (200, 150), "red")]}
    for kind in ("PNG", "WEBP"):
        error = refusal(encoded(page(), kind, **frames))
        assert error.reason == "animated"


def test_a_tiff_of_several_pages_is_refused_with_the_count() -> None:
    error = refusal(encoded(page(), "TIFF", save_all=True, append_images=[page(), page()]))
    assert error.reason == "several_pages"
    assert "3 pages" in error.message
    many = encoded(page(64, 64), "TIFF", save_all=True, append_images=[page(64, 64)] * 40)
    assert "more than 16" in refusal(many).message


def test_a_preview_behind_a_tiff_page_is_no_page() -> None:
    out = io.BytesIO()
    with tifffile.TiffWriter(out) as writer:  # an independent writer; scanners write such files
        writer.write(np.asarray(page()), photometric="rgb")
        writer.write(np.asarray(page(80, 64)), photometric="rgb", subfiletype=1)
    intake = take_in(io.BytesIO(out.getvalue()))
    assert (intake.width, intake.height) == (200, 150)
    np.testing.assert_allclose(shown(intake)[10, 10], (200, 40, 60), atol=4)


def test_a_phones_multi_picture_jpeg_gives_its_first_picture() -> None:
    data = encoded(page(), "MPO", save_all=True, append_images=[Image.new("RGB", (200, 150), "black")])
    intake = take_in(io.BytesIO(data), "p.jpg")
    assert intake.format == "JPEG"
    np.testing.assert_allclose(shown(intake)[10, 10], (200, 40, 60), atol=4)


def test_huge_text_and_profile_chunks_are_refused_and_sensible_ones_pass() -> None:
    data = encoded(page(), "PNG")
    head, rest = data[:33], data[33:]  # signature and IHDR; everything else
    for name, prefix in ((b"zTXt", b"note\x00\x00"), (b"iCCP", b"icc\x00\x00")):
        swollen = head + png_chunk(name, prefix + zlib.compress(bytes(50_000_000), 9)) + rest
        assert len(swollen) < 200_000
        error = refusal(swollen)
        assert error.reason == "too_demanding"
        assert "8 MB" in error.message
    fine = head + png_chunk(b"zTXt", b"note\x00\x00" + zlib.compress(bytes(3_000_000))) + rest
    assert take_in(io.BytesIO(fine)).width == 200
