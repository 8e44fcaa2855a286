"""What is accepted, what is refused and with which words."""

from __future__ import annotations

import hashlib
import io
import os
import pickle
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skimage
import tifffile
from PIL import Image

from guides.imaging.intake import MAX_BYTES, MAX_PIXELS, Intake, IntakeError, Limits, take_in
from guides.imaging.intake_rules import REASONS, check_name, sniff

PACKAGE_PICTURES = Path(skimage.__file__).parent / "data"
"""Photographs, scans and drawings that scikit-image (PyPI) carries in its wheel."""


def encoded(image: Image.Image, kind: str, **options: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def page(width: int = 200, height: int = 150) -> Image.Image:
    """Flat areas, so that lossy formats keep their values."""
    image = Image.new("RGB", (width, height), (250, 245, 230))
    image.paste((200, 40, 60), (0, 0, width // 2, height // 2))
    image.paste((30, 90, 160), (width // 2, height // 2, width, height))
    return image


def refusal(data: bytes, filename: str = "", **limits: Any) -> IntakeError:
    with pytest.raises(IntakeError) as caught:
        take_in(io.BytesIO(data), filename, limits=Limits(**limits))
    assert caught.value.reason in REASONS
    assert caught.value.message == str(caught.value)
    assert caught.value.message.endswith((".", "?"))
    return caught.value


def shown(intake: Intake) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(intake.screen)))


@pytest.mark.parametrize(
    ("kind", "name", "content_type", "suffix"),
    [
        ("PNG", "p.png", "image/png", ".png"),
        ("JPEG", "p.JPEG", "image/jpeg", ".jpg"),
        ("TIFF", "p.tiff", "image/tiff", ".tif"),
        ("WEBP", "p.webp", "image/webp", ".webp"),
    ],
)
def test_each_accepted_format_gives_size_fingerprint_and_derivatives(
    kind: str, name: str, content_type: str, suffix: str
) -> None:
    data = encoded(page(), kind)
    intake = take_in(io.BytesIO(data), name)
    assert (intake.format, intake.width, intake.height) == (kind, 200, 150)
    assert (intake.sha256, intake.byte_size) == (hashlib.sha256(data).hexdigest(), len(data))
    assert (intake.content_type, intake.suffix) == (content_type, suffix)
    assert intake.screen_size == intake.thumb_size == (200, 150)  # never enlarged
    assert intake.notes == ()
    for corner, colour in (
        ((10, 10), (200, 40, 60)),
        ((140, 190), (30, 90, 160)),
        ((10, 190), (250, 245, 230)),
    ):
        np.testing.assert_allclose(shown(intake)[corner], colour, atol=4)


def test_derivatives_are_bounded_and_keep_the_shape() -> None:
    intake = take_in(io.BytesIO(encoded(page(3000, 1000), "PNG")))
    assert (intake.width, intake.height) == (3000, 1000)
    assert intake.screen_size == (2400, 800)
    assert intake.thumb_size == (360, 120)
    for data, size in ((intake.screen, intake.screen_size), (intake.thumb, intake.thumb_size)):
        derivative = Image.open(io.BytesIO(data))
        derivative.load()
        assert (derivative.format, derivative.mode, derivative.size) == ("JPEG", "RGB", size)


def test_metadata_is_stripped_from_derivatives() -> None:
    exif = Image.Exif()
    exif[0x010F] = "SECRETCAMERA"
    exif.get_ifd(0x8825)[1] = "N"
    data = encoded(page(), "JPEG", exif=exif, comment=b"SECRETCOMMENT", xmp=b"<x>SECRETXMP</x>")
    assert b"SECRETCAMERA" in data
    assert b"SECRETCOMMENT" in data
    intake = take_in(io.BytesIO(data))
    for derivative in (intake.screen, intake.thumb):
        assert b"SECRET" not in derivative
        assert not Image.open(io.BytesIO(derivative)).getexif()
        assert set(Image.open(io.BytesIO(derivative)).info) <= {
            "jfif",
            "jfif_version",
            "jfif_unit",
            "jfif_density",
        }


def test_a_path_or_a_stream_in_the_middle_gives_the_same(tmp_path: Path) -> None:
    data = encoded(page(), "PNG")
    path = tmp_path / "page 1a.png"
    path.write_bytes(data)
    stream = io.BytesIO(data)
    stream.seek(40)
    assert take_in(path) == take_in(str(path)) == take_in(stream, "x.png")
    assert stream.tell() == 0, "the caller stores the original next"
    assert path.read_bytes() == data


def test_a_stream_that_dribbles_and_can_not_seek_is_read_to_its_end() -> None:
    data = encoded(page(), "PNG")

    class Dribble:
        def __init__(self) -> None:
            self.inner = io.BytesIO(data)

        def read(self, size: int, /) -> bytes:
            return self.inner.read(min(size, 7))

    assert take_in(Dribble()).sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize(
    ("data", "reason", "word"),
    [
        (b"", "empty", "0 bytes"),
        (b"hello, this is the page you asked for\n", "not_a_picture", "text"),
        (b"<!DOCTYPE html><html><script>alert(1)</script>", "not_a_picture", "web page"),
        (b"  <HTML><body>", "not_a_picture", "web page"),
        (b'<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg"/>', "not_a_picture", "SVG"),
        (b"PK\x03\x04" + bytes(60), "not_a_picture", "archive"),
        (bytes(5000), "not_a_picture", "known type"),
        (b"GIF89a" + bytes(50), "not_accepted", "GIF"),
        (b"%PDF-1.7\n", "not_accepted", "PDF"),
        (b"8BPS\x00\x01" + bytes(50), "not_accepted", "Photoshop"),
        (b"\x00\x00\x00\x1cftypheic" + bytes(50), "not_accepted", "HEIF"),
        (b"BM\x36\x00\x00\x00\x00\x00\x00\x00", "not_accepted", "bitmap"),
        (b"P", "not_a_picture", "text"),
        (b"\xff\x00", "not_a_picture", "known type"),
    ],
)
def test_what_is_no_picture_of_ours_is_refused_by_content(data: bytes, reason: str, word: str) -> None:
    error = refusal(data, "page.png")
    assert error.reason == reason
    assert word in error.message


@pytest.mark.parametrize("kind", ["GIF", "BMP", "ICO", "PPM", "TGA", "JPEG2000"])
def test_formats_off_the_list_are_refused_though_a_decoder_is_installed(kind: str) -> None:
    assert refusal(encoded(page(), kind)).reason in ("not_accepted", "not_a_picture")


@pytest.mark.parametrize(
    ("name", "accepted"),
    [
        ("page.jpg", True),
        ("page.JPG", True),
        ("page.jfif", True),
        ("page", True),
        ("", True),
        ("page.final", True),
        ("guide.2", True),
        ("page.png.jpg", True),
        ("../../etc/passwd\x00.jpg", True),
        ("page.png", False),
        ("page.PNG ", False),
        ("page.jpg.html", False),
        ("page.svg", False),
        ("page.webp", False),
        ("page.tif", False),
        ("page.gif", False),
        ("page.exe", False),
        ("page.js", False),
        ("page.zip", False),
        ("page.pdf.", False),
    ],
)
def test_a_name_that_lies_is_refused(name: str, accepted: bool) -> None:
    if accepted:
        check_name(name, "JPEG")
        return
    with pytest.raises(IntakeError) as caught:
        check_name(name, "JPEG")
    assert caught.value.reason == "wrong_type"
    assert "JPEG" in caught.value.message


def test_a_lying_name_is_refused_on_the_way_in_and_the_message_repeats_no_hostile_name() -> None:
    error = refusal(encoded(page(), "JPEG"), "<script>alert(1)</script>.png")
    assert error.reason == "wrong_type"
    assert ".png" in error.message
    assert "script" not in error.message


def test_too_many_bytes_are_refused_without_reading_on() -> None:
    class Endless:
        read_so_far = 0

        def read(self, size: int, /) -> bytes:
            start = b"\x89PNG\r\n\x1a\n" if not self.read_so_far else b""
            self.read_so_far += size
            return start + bytes(size - len(start))

    endless = Endless()
    with pytest.raises(IntakeError) as caught:
        take_in(endless)
    assert caught.value.reason == "too_large"
    assert "60 MB" in caught.value.message
    assert endless.read_so_far < MAX_BYTES + 2_000_000


def test_the_size_found_is_named_where_it_is_known(tmp_path: Path) -> None:
    path = tmp_path / "p.png"
    path.write_bytes(encoded(page(), "PNG") + bytes(10_000))
    with pytest.raises(IntakeError, match=r"\(0\.01 MB\) is larger than the 0\.01 MB") as caught:
        take_in(path, limits=Limits(max_bytes=9_000))
    assert caught.value.reason == "too_large"


def test_exactly_the_limit_passes() -> None:
    data = encoded(page(), "PNG")
    assert take_in(io.BytesIO(data), limits=Limits(max_bytes=len(data), max_pixels=30_000, min_side=150))
    assert refusal(data, max_bytes=len(data) - 1).reason == "too_large"
    assert refusal(data, max_pixels=29_999).reason == "too_many_pixels"
    assert refusal(data, min_side=151).reason == "too_small"


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "WEBP"])
def test_a_tiny_picture_is_refused_with_both_figures(kind: str) -> None:
    error = refusal(encoded(page(20, 300), kind))
    assert error.reason == "too_small"
    assert "20 × 300" in error.message
    assert "64" in error.message


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
def test_truncated_files_are_refused_and_called_so(label: str, kept: float) -> None:
    data = SAMPLES[label]
    assert take_in(io.BytesIO(data)), "whole, it is fine"
    error = refusal(data[: max(16, int(len(data) * kept))])
    assert error.reason == "truncated"
    assert "breaks off" in error.message


def test_a_png_with_a_wrong_checksum_is_damaged() -> None:
    data = bytearray(SAMPLES["PNG"])
    data[len(data) // 2] ^= 0x40
    assert refusal(bytes(data)).reason == "damaged"


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


@pytest.mark.parametrize(
    "name",
    [
        "astronaut.png", "brick.png", "camera.png", "chelsea.png", "chessboard_GRAY.png", "coffee.png",
        "coins.png", "hubble_deep_field.jpg", "horse.png", "ihc.png", "logo.png", "retina.jpg", "text.png",
    ],
)  # fmt: skip
def test_real_pictures_come_through_looking_alike(name: str) -> None:
    path = PACKAGE_PICTURES / name
    intake = take_in(path)
    original = Image.open(path)
    assert (intake.width, intake.height) == original.size
    white = Image.new("RGBA", original.size, "white")
    expected = np.asarray(Image.alpha_composite(white, original.convert("RGBA")).convert("RGB"), dtype=float)
    difference = np.abs(np.asarray(Image.open(io.BytesIO(intake.screen)), dtype=float) - expected)
    assert difference.mean() < 3.5  # the grain that JPEG loses; files with other profiles are in the colour tests


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("multipage.tif", "too_small"),  # 10 × 15 pixels
        ("multipage_rgb.tif", "unsupported"),  # floating point
        ("no_time_for_that_tiny.gif", "not_accepted"),
        ("phantom.png", None),
        ("lbpcascade_frontalface_opencv.xml", "not_a_picture"),
        ("lfw_subset.npy", "not_a_picture"),
    ],
)
def test_real_files_of_other_kinds(name: str, reason: str | None) -> None:
    data = (PACKAGE_PICTURES / name).read_bytes()
    if reason is None:
        assert take_in(io.BytesIO(data), name)
    else:
        assert refusal(data, name).reason == reason


def test_refusals_can_travel_between_processes() -> None:
    error = pickle.loads(pickle.dumps(IntakeError("empty", "Nothing.")))
    assert (error.reason, error.message, str(error)) == ("empty", "Nothing.", "Nothing.")


def test_sniffing_needs_only_the_beginning() -> None:
    for label, data in SAMPLES.items():
        assert sniff(data[:16]) == label.split()[0]
    with pytest.raises(IntakeError, match="GIF"):
        sniff(b"GIF89a")


def test_a_path_that_is_not_there_is_the_callers_mistake(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        take_in(os.fspath(tmp_path / "nothing.png"))
