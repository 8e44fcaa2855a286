"""Pixels that are damaged: said with the place, and taken in on a yes; sound pictures of every odd kind are not asked
about. Where something begins to be wrong is judged by Pillow's own pixels of the file before and after."""

from __future__ import annotations

import contextlib
import io
import re
import struct
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pytest
import tifffile
from django.core.management import CommandError, call_command
from PIL import Image, ImageCms, ImageFile, PngImagePlugin

from guides.imaging.intake.damage import Damage
from guides.imaging.intake.formats import format_of
from guides.imaging.intake.rules import DEFAULT_LIMITS, IntakeError
from guides.imaging.intake.take_in import take_in
from guides.imaging.intake.upright import read_upright
from guides.imaging.intake.worker import examine
from tests.guides.imaging.intake.pictures import encoded, many_scans, tiff
from tests.guides.imaging.intake.test_intake_broken import png_chunk

WIDTH, HEIGHT = 240, 320
GRAIN = np.random.default_rng(11).integers(-9, 10, (HEIGHT, WIDTH, 3))
PIXELS = np.clip(np.arange(HEIGHT)[:, None, None] * [0.5, 0.3, 0.6] + 60 + GRAIN, 0, 255).astype(np.uint8)
PAGE = Image.fromarray(PIXELS)
SECTOR = 512
WHERE = re.compile(r"from row ([\d,]+) of 320, could not be read")


@pytest.fixture(autouse=True)
def _as_it_was() -> Iterator[None]:
    before = ImageFile.LOAD_TRUNCATED_IMAGES
    yield
    ImageFile.LOAD_TRUNCATED_IMAGES = before


def looked_at(data: bytes, damaged: bool = False) -> dict[str, Any]:
    kind = format_of(data)
    assert kind
    return examine(io.BytesIO(data), kind, DEFAULT_LIMITS, damaged)[0]


def asked(data: bytes) -> str:
    with pytest.raises(IntakeError) as caught:
        looked_at(data)
    assert caught.value.reason == "part_damaged", caught.value
    return caught.value.message


def jpeg(mode: str = "RGB", **options: Any) -> bytes:
    return encoded(PAGE.convert(mode), "JPEG", quality=90, **options)


def overwritten(data: bytes, share: float = 0.5, filling: bytes = bytes(SECTOR)) -> bytes:
    at = int(len(data) * share)
    return data[:at] + filling + data[at + len(filling) :]


def png(rows: int = HEIGHT, at_a_time: int = 40, spoil: int | None = None, stream_cut: int = 0) -> bytes:
    """A plain RGB PNG of this many rows, a chunk each ``at_a_time`` rows; ``spoil``: the chunk that is damaged."""
    packer, parts = zlib.compressobj(), []
    for top in range(0, rows, at_a_time):
        part = b"".join(b"\0" + row.tobytes() for row in PIXELS[top : top + at_a_time])
        parts.append(packer.compress(part) + packer.flush(zlib.Z_FULL_FLUSH))
    parts[-1] += packer.flush()
    parts[-1] = parts[-1][: len(parts[-1]) - stream_cut]
    chunks = [png_chunk(b"IDAT", part) for part in parts]
    if spoil is not None:
        middle = len(chunks[spoil]) // 2
        spoilt = chunks[spoil][middle] ^ 0x10
        chunks[spoil] = chunks[spoil][:middle] + bytes([spoilt]) + chunks[spoil][middle + 1 :]
    header = struct.pack(">IIBBBBB", WIDTH, HEIGHT, 8, 2, 0, 0, 0)
    return b"".join([b"\x89PNG\r\n\x1a\n", png_chunk(b"IHDR", header), *chunks, png_chunk(b"IEND", b"")])


def with_chunk(name: bytes, body: bytes, fits: bool = True) -> bytes:
    data, made = encoded(PAGE, "PNG"), png_chunk(name, body)
    return data[:33] + (made if fits else made[:-1] + bytes([made[-1] ^ 1])) + data[33:]


def strips(change: Callable[[bytearray, Any], None], **options: Any) -> bytes:
    """A TIFF of strips of 40 rows, changed by hand: the bytes, and the page as tifffile has read its tags."""
    data = bytearray(tiff(PIXELS, photometric="rgb", rowsperstrip=40, **options))
    change(data, tifffile.TiffFile(io.BytesIO(bytes(data))).pages[0])
    return bytes(data)


def half_a_count(data: bytearray, page: Any) -> None:
    tag = page.tags["StripByteCounts"]
    counts = list(page.databytecounts)
    counts[5] //= 2
    packed = struct.pack("<" + {3: "H", 4: "I"}[int(tag.dtype)] * len(counts), *counts)
    data[tag.valueoffset : tag.valueoffset + len(packed)] = packed


def noise_in_a_strip(data: bytearray, page: Any) -> None:
    start, count = page.dataoffsets[5], page.databytecounts[5]
    data[start : start + count] = np.random.default_rng(3).bytes(count)


def cut_within(data: bytearray, page: Any) -> None:
    del data[page.dataoffsets[5] + page.databytecounts[5] // 2 :]


def jpegs_in_tiff(spoil: int | None = None) -> bytes:
    """JPEG in strips of 40 rows with their tables apart, as libtiff writes them; a stretch of one overwritten."""
    info = {278: 40}
    data = bytearray(encoded(PAGE, "TIFF", compression="jpeg", quality=90, tiffinfo=info))
    if spoil is not None:
        page: Any = tifffile.TiffFile(io.BytesIO(bytes(data))).pages[0]
        middle = page.dataoffsets[spoil] + page.databytecounts[spoil] // 2
        data[middle : middle + 200] = bytes(200)
    return bytes(data)


def turned(data: bytes, orientation: int) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = orientation
    return data[:2] + b"\xff\xe1" + struct.pack(">H", len(exif.tobytes()) + 2) + exif.tobytes() + data[2:]


BASE = jpeg()
RESTARTS = jpeg(restart_marker_rows=1)
"""Begins anew every 16 rows."""
SEQUENTIAL = {
    "tail missing": BASE[: len(BASE) * 2 // 3],
    "tail missing, closed again": BASE[: len(BASE) // 2] + b"\xff\xd9",
    "a sector of zeros": overwritten(BASE),
    "a sector of something else": overwritten(BASE, 0.3, np.random.default_rng(5).bytes(SECTOR)),
    "grey, tail missing": jpeg("L")[: len(jpeg("L")) // 2],
    "four inks, a sector of zeros": overwritten(jpeg("CMYK")),
}


def pixels_of(data: bytes) -> npt.NDArray[np.int64]:
    ImageFile.LOAD_TRUNCATED_IMAGES = True
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(np.int64)


@pytest.mark.parametrize("name", SEQUENTIAL)
def test_a_damaged_jpeg_is_asked_about_with_the_row(name: str) -> None:
    data = SEQUENTIAL[name]
    mode = "L" if "grey" in name else "CMYK" if "inks" in name else "RGB"
    wrong = np.flatnonzero((np.abs(pixels_of(data) - pixels_of(jpeg(mode))) > 8).any(axis=(1, 2)))
    words = asked(data)
    found = WHERE.search(words)
    if found is None:  # it can be seen that something is missing, and not where it began to be
        assert name in ("tail missing, closed again", "a sector of zeros")
        assert "can’t be told where" in words
    else:
        assert abs(int(found[1]) - 1 - wrong[0]) <= 16, (words, wrong[0])
    assert looked_at(data, damaged=True)["notes"][0] == words


OTHERS: dict[str, tuple[bytes, str]] = {
    "a lost sector between restarts": (
        overwritten(RESTARTS, 0.5, bytes(64)),
        r"rows (1[4-7]\d) to (1[4-9]\d) of 320",
    ),
    "progressive, tail missing": (jpeg(progressive=True)[:-2000], "any part of it"),
    "lying on its side": (turned(SEQUENTIAL["tail missing"], 6), r"the left third, up to column \d+ of 320"),
    "upside down": (turned(SEQUENTIAL["tail missing"], 3), r"the upper third, up to row \d+ of 320"),
    "PNG, a bit turned": (png(spoil=5), "the lower third, from row 201 of 320"),
    "PNG, breaks off": (png()[: len(png()) // 2], r"the lower half, from row 1[56]\d of 320"),
    "PNG, too few rows": (png(rows=240), "the lower quarter, from row 241 of 320"),
    "PNG, stream cut short": (png(stream_cut=3000), r"the lower twentieth, from row 3\d\d of 320"),
    "PNG, one chunk in all": (png(at_a_time=HEIGHT, spoil=0), "any part of it"),
    "PNG, profile": (with_chunk(b"gAMA", struct.pack(">I", 45455), fits=False), "beside its pixels"),
    "TIFF, cut": (strips(cut_within), r"the lower (third|quarter), from row 2\d\d of 320"),
    "TIFF, a short strip": (strips(half_a_count), "rows 201 to 240 of 320"),
    "TIFF packed, a spoilt strip": (strips(noise_in_a_strip, compression="zlib"), "the lower third, from row 201"),
    "TIFF packed, cut": (strips(cut_within, compression="zlib"), "the lower third, from row 201 of 320"),
    "TIFF of JPEGs, some bytes": (jpegs_in_tiff(spoil=5), "rows 201 to 240 of 320"),
}


@pytest.mark.parametrize("name", OTHERS)
def test_other_damage_is_asked_about_with_the_place(name: str) -> None:
    data, where = OTHERS[name]
    words = asked(data)
    assert re.search(where, words), words
    facts = looked_at(data, damaged=True)
    assert facts["notes"][0] == words
    assert sorted((facts["width"], facts["height"])) == [WIDTH, HEIGHT]
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    upright = read_upright(io.BytesIO(data))
    assert upright.image.size == upright.size, "and whoever reads the original later gets what there is"
    assert not ImageFile.LOAD_TRUNCATED_IMAGES, "and nobody else in this process is tolerant by that"


def test_what_libtiff_takes_and_its_sum_contradicts_is_asked_about() -> None:
    """Whoever fills a strip stops before the Adler-32 behind it (RFC 1950), so wrong pixels come out in silence."""
    flat = np.full((HEIGHT, WIDTH, 3), 200, np.uint8)
    flat[::8, ::5] = 90, 30, 10
    data = tiff(flat, photometric="rgb", rowsperstrip=40, compression="zlib")
    page: Any = tifffile.TiffFile(io.BytesIO(data)).pages[0]
    start, silent, told = page.dataoffsets[5], 0, 0
    for at in range(start + 2, start + page.databytecounts[5] - 4):
        spoilt = data[:at] + bytes([data[at] ^ 0x10]) + data[at + 1 :]
        try:
            shown = np.asarray(Image.open(io.BytesIO(spoilt)).convert("RGB"))
        except OSError:
            continue  # which the decoder says itself
        if (shown != flat).any():
            silent += 1
            with contextlib.suppress(pytest.fail.Exception):  # its end is gone too, which careless writers leave out
                told += "rows 201 to 240 of 320" in asked(spoilt)
    assert told > 0.8 * silent > 5, (told, silent)


def interlaced() -> bytes:
    """Adam7 by hand: Pillow writes none."""
    image = np.asarray(PAGE)
    order = ((0, 8, 0, 8), (0, 8, 4, 8), (4, 8, 0, 4), (0, 4, 2, 4), (2, 4, 0, 2), (0, 2, 1, 2), (1, 2, 0, 1))
    rows = b"".join(
        b"\0" + row.tobytes() for top, down, left, across in order for row in image[top::down, left::across]
    )
    header = struct.pack(">IIBBBBB", WIDTH, HEIGHT, 8, 2, 0, 0, 1)
    chunks = [png_chunk(b"IHDR", header), png_chunk(b"IDAT", zlib.compress(rows)), png_chunk(b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


def test_of_an_interlaced_png_only_the_last_pass_has_a_place() -> None:
    assert "any part of it" in asked(interlaced()[: len(interlaced()) // 3])
    assert re.search(r"from row 2\d\d of 320", asked(interlaced()[: len(interlaced()) * 7 // 8]))


TEXT = PngImagePlugin.PngInfo()
TEXT.add_text("note", "page 7", zip=True)
SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
SOUND: dict[str, bytes] = {
    "JPEG": BASE,
    "JPEG, progressive": jpeg(progressive=True),
    "JPEG, begun anew": RESTARTS,
    "JPEG, every pixel's colour": jpeg(subsampling=0),
    "JPEG, four inks": jpeg("CMYK"),
    "JPEG, grey": jpeg("L"),
    "JPEG with a profile": jpeg(icc_profile=SRGB),
    "JPEG, bytes behind its end": BASE + b"scanned by" * 90,
    "JPEG, a byte of padding before its end": BASE[:-2] + bytes(1) + BASE[-2:],
    "JPEG, padded": BASE[:-2] + bytes(12) + BASE[-2:],
    "JPEG without its end": BASE[:-2],
    "JPEG on its side": turned(BASE, 6),
    "JPEG, many scans": many_scans(320, 240, 12),
    "JPEG, several pictures": encoded(PAGE, "MPO", save_all=True, append_images=[PAGE]),
    "PNG with a note and a profile": encoded(PAGE, "PNG", pnginfo=TEXT, icc_profile=SRGB),
    "PNG, chunk by chunk": png(),
    "PNG of another writer": cv2.imencode(".png", np.tile(PIXELS, (4, 5, 1)))[1].tobytes(),
    "PNG, one flat colour": encoded(Image.new("RGB", (1300, 1700), "white"), "PNG"),
    "PNG, mostly noise": encoded(Image.effect_noise((900, 1300), 90), "PNG"),
    "PNG, interlaced": interlaced(),
    "PNG, a private chunk": with_chunk(b"prVt", b"whatever"),
    "PNG, 16 bits of grey": encoded(Image.fromarray(PIXELS[..., 0].astype(np.uint16) * 257), "PNG"),
    "PNG of a palette": encoded(PAGE.quantize(16), "PNG", bits=4),
    "PNG of black and white": encoded(PAGE.convert("1"), "PNG"),
    "PNG, see-through": encoded(PAGE.convert("RGBA"), "PNG"),
    "PNG, bytes behind its end": png() + b"trailing",
    "TIFF": tiff(PIXELS, photometric="rgb"),
    "TIFF of strips": tiff(PIXELS, photometric="rgb", rowsperstrip=37),
    "TIFF, 16 bits": tiff(PIXELS.astype(np.uint16) * 257, photometric="rgb", rowsperstrip=40),
    "TIFF, packed": tiff(PIXELS, photometric="rgb", rowsperstrip=40, compression="zlib", predictor=True),
    "TIFF of tiles": tiff(PIXELS, photometric="rgb", tile=(64, 64)),
    "TIFF of packed tiles": tiff(PIXELS, photometric="rgb", tile=(64, 64), compression="zlib"),
    "TIFF, plane by plane": tiff(PIXELS.transpose(2, 0, 1).copy(), photometric="rgb", planarconfig="separate"),
    "TIFF of JPEGs": jpegs_in_tiff(),
    "TIFF packed by another": encoded(PAGE, "TIFF", compression="tiff_adobe_deflate"),
    "TIFF, four inks": encoded(PAGE.convert("CMYK"), "TIFF", compression="tiff_lzw"),
    "TIFF of black and white": encoded(PAGE.convert("1"), "TIFF", compression="group4"),
    "TIFF, one bit unpacked": encoded(PAGE.convert("1"), "TIFF"),
    "TIFF, big": tiff(PIXELS, photometric="rgb", bigtiff=True),
    "WebP": encoded(PAGE, "WEBP"),
}


@pytest.mark.parametrize("name", SOUND)
def test_sound_pictures_are_not_asked_about(name: str) -> None:
    facts = looked_at(SOUND[name])
    assert min(facts["width"], facts["height"]) >= 240
    assert not any("damaged" in note for note in facts["notes"])


def test_most_lost_sectors_of_a_sequential_jpeg_are_found() -> None:
    rng = np.random.default_rng(8)
    for _ in range(12):
        with pytest.raises(IntakeError):
            looked_at(overwritten(BASE, rng.uniform(0.1, 0.95), rng.bytes(SECTOR)))


def test_the_worker_asks_and_takes_a_yes() -> None:
    with pytest.raises(IntakeError) as caught:
        take_in(io.BytesIO(SEQUENTIAL["tail missing"]))
    taken = take_in(io.BytesIO(SEQUENTIAL["tail missing"]), damaged=True)
    assert taken.notes == (caught.value.message,)
    assert taken.screen_size == (WIDTH, HEIGHT)


@pytest.mark.parametrize("data", [SEQUENTIAL["tail missing"], OTHERS["TIFF packed, a spoilt strip"][0]])
@pytest.mark.parametrize("command", ["page_map", "read_page", "read_guide", "check_proof", "scan_chart"])
def test_commands_say_so_in_a_sentence(
    command: str, data: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture, marks = tmp_path / "page", tmp_path / "marks.json"
    picture.write_bytes(data)
    marks.write_text("[]" if command == "check_proof" else '{"marks": []}')
    more = {"read_guide": [marks], "check_proof": [picture, marks]}.get(command, [])
    with pytest.raises((CommandError, SystemExit)) as caught:
        call_command(command, picture, *more)
    assert re.search("is damaged: the lower (third|half), from row", f"{capsys.readouterr().err}{caught.value}")


def test_what_hardly_has_a_row_left_is_refused() -> None:
    with pytest.raises(IntakeError) as caught:
        looked_at(png()[:1200], damaged=True)
    assert caught.value.reason == "truncated"


@pytest.mark.parametrize(
    ("damage", "orientation", "words"),
    [
        (Damage(1811, 2480, 2480), 1, "the lower quarter, from row 1,812 of 2,480"),
        (Damage(0, 1240, 2480), 1, "the upper half, up to row 1,240 of 2,480"),
        (Damage(9, 20, 2480), 1, "rows 10 to 20 of 2,480"),
        (Damage(9, 20, 2480), 3, "rows 2,461 to 2,471 of 2,480"),
        (Damage(1240, 2480, 2480), 8, "the right half, from column 1,241 of 2,480"),
        (Damage(0, 2480, 2480), 1, "nothing of it"),
    ],
)
def test_places_in_words(damage: Damage, orientation: int, words: str) -> None:
    assert words in damage.said("JPEG", orientation)
