"""What is accepted, what is refused and with which words."""

from __future__ import annotations

import hashlib
import io
import os
import pickle
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from guides.imaging.intake.rules import MAX_BYTES, DecoderLimits, IntakeError, check_name, sniff
from guides.imaging.intake.take_in import take_in
from tests.guides.imaging.intake.pictures import PACKAGE_PICTURES, encoded, page, refusal, shown


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
        (b"8BPS\x00\x01" + bytes(50), "not_accepted", "layered paint"),
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
        take_in(path, limits=DecoderLimits(max_bytes=9_000))
    assert caught.value.reason == "too_large"


def test_exactly_the_limit_passes() -> None:
    data = encoded(page(), "PNG")
    assert take_in(io.BytesIO(data), limits=DecoderLimits(max_bytes=len(data), max_pixels=30_000, min_side=150))
    assert refusal(data, max_bytes=len(data) - 1).reason == "too_large"
    assert refusal(data, max_pixels=29_999).reason == "too_many_pixels"
    assert refusal(data, min_side=151).reason == "too_small"


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "WEBP"])
def test_a_tiny_picture_is_refused_with_both_figures(kind: str) -> None:
    error = refusal(encoded(page(20, 300), kind))
    assert error.reason == "too_small"
    assert "20 × 300" in error.message
    assert "64" in error.message


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
    for kind in ("PNG", "JPEG", "TIFF", "WEBP"):
        assert sniff(encoded(page(), kind)[:16]) == kind
    with pytest.raises(IntakeError, match="GIF"):
        sniff(b"GIF89a")


def test_a_path_that_is_not_there_is_the_callers_mistake(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        take_in(os.fspath(tmp_path / "nothing.png"))
