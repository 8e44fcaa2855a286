"""Decode one upload inside bounds: `python -m guides.imaging.intake.worker FORMAT LIMITS [damaged]`.

The upload is standard input (a regular file); the answer goes to standard output: four bytes with the length
of a JSON header, the header, the screen picture, the thumbnail. A refusal is a header with a reason. Whatever
a hostile file makes the decoders do, it does it here, in a process with little memory, little time, no
secrets in its environment and nothing to lose.
"""

from __future__ import annotations

import io
import json
import os
import sys
from typing import Any, BinaryIO, Literal

from PIL import Image, ImageFile, PngImagePlugin
from PIL.TiffImagePlugin import TiffImageFile

from guides.imaging.intake.damage import Damage
from guides.imaging.intake.formats import PICTURES, Format
from guides.imaging.intake.rules import (
    NO_ROOM,
    OUTPUT_BYTES,
    SCREEN_SIDE,
    THUMB_SIDE,
    DecoderLimits,
    IntakeError,
    megapixels,
)
from guides.imaging.intake.scans import scans_of
from guides.imaging.intake.tiff_strips import unread_rows
from guides.imaging.intake.upright import (
    Upright,
    damage_in,
    develop,
    fitted,
    open_picture,
    orientation_of,
    stored_size,
)

JPEG_QUALITY = 88
"""Of the derivatives; full colour resolution, since red lettering on yellow paint is all in the chroma."""

_MAX_EXTRA_PAGES = 16
_MAX_PROFILE_BYTES = 8_000_000  # colour profiles of scanners and presses run to 3 MB, Pillow allows 1 in PNG
_SUBFILE_TAG, _REDUCED_OR_MASK = 254, 0b101


def bound(limits: DecoderLimits) -> None:
    """Set the process's own limits; where the system has none to offer, the caller's clock remains."""
    try:
        import resource
    except ImportError:
        return
    for name, value in (
        ("RLIMIT_AS", limits.memory_bytes),
        ("RLIMIT_CPU", limits.cpu_seconds),
        ("RLIMIT_FSIZE", OUTPUT_BYTES),
        ("RLIMIT_CORE", 0),
        ("RLIMIT_NOFILE", 32),
    ):
        number = getattr(resource, name, None)
        if number is None:
            continue
        ceiling = resource.getrlimit(number)[1]
        if ceiling != resource.RLIM_INFINITY:
            value = min(value, ceiling)
        # At the soft limit of processor time comes a signal that says why; at the hard one a plain kill.
        grace = 2 if name == "RLIMIT_CPU" and ceiling == resource.RLIM_INFINITY else 0
        try:
            resource.setrlimit(number, (value, value + grace))
        except (ValueError, OSError):
            print(f"{name} could not be set", file=sys.stderr)


def examine(
    stream: BinaryIO, kind: Format, limits: DecoderLimits, damaged: bool = False
) -> tuple[dict[str, Any], bytes, bytes]:
    """Header facts, screen picture and thumbnail of one upload; ``damaged``: a person's yes to damaged pixels.

    Raises:
        IntakeError: the picture is refused, or its pixels are damaged and nobody has said yes.
    """
    PngImagePlugin.MAX_TEXT_CHUNK = _MAX_PROFILE_BYTES
    Image.MAX_IMAGE_PIXELS = limits.max_pixels  # the second fence: `_check_size` below is the first
    size = stream.seek(0, os.SEEK_END)
    stream.seek(0)
    if kind == "WEBP":
        _check_webp_canvas(stream, size, limits)
    try:
        ImageFile.LOAD_TRUNCATED_IMAGES = True  # a PNG's damaged note is no reason not to look at its pixels
        picture = open_picture(stream, kind)
        _check_header(stream, picture, kind, limits)
        upright, damage = _developed(stream, picture, kind)
    except (IntakeError, MemoryError):
        raise
    except Image.DecompressionBombError as error:
        raise _too_many_pixels("more pixels than that", limits) from error
    except Exception as error:  # decoders meet hostile bytes here, and raise whatever they like
        raise _refusal(error, stream, size, kind) from error
    sentence = damage.said(PICTURES[kind].words, orientation_of(picture)) if damage else ""
    if sentence and not damaged:
        raise IntakeError("part_damaged", sentence)
    screen = upright.image
    thumb = screen.resize(fitted(screen.size, THUMB_SIDE), Image.Resampling.LANCZOS, reducing_gap=2.0)
    facts = {
        "width": upright.size[0],
        "height": upright.size[1],
        "screen_size": screen.size,
        "thumb_size": thumb.size,
        "notes": (sentence, *upright.notes) if sentence else upright.notes,
    }
    return facts, _as_jpeg(screen), _as_jpeg(thumb)


def _developed(stream: BinaryIO, picture: ImageFile.ImageFile, kind: Format) -> tuple[Upright, Damage | None]:
    """The picture, as much of it as can be read, and what can't."""
    damage = damage_in(stream, picture, kind)
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        return develop(open_picture(stream, kind), SCREEN_SIDE), damage
    except (IntakeError, MemoryError, Image.DecompressionBombError):
        raise
    except Exception:  # whatever a decoder raises: more of it may be read than it says
        if kind == "TIFF":
            damage = unread_rows(stream) or damage  # which is nearer than the strip it lies in
        if damage.is_hopeless if damage else kind != "JPEG":  # of a JPEG, no more than its end is missing
            raise
    ImageFile.LOAD_TRUNCATED_IMAGES = True
    stream.seek(0)
    return develop(open_picture(stream, kind), SCREEN_SIDE), damage


def _as_jpeg(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=JPEG_QUALITY, subsampling=0)
    return out.getvalue()


def _check_header(stream: BinaryIO, picture: ImageFile.ImageFile, kind: Format, limits: DecoderLimits) -> None:
    """What can be refused before any pixel is decoded."""
    width, height = stored_size(picture)
    _check_size(width, height, limits)
    if kind == "JPEG":
        _check_scans(stream, width * height, limits)
    _check_single(picture, kind)


def _check_size(width: int, height: int, limits: DecoderLimits) -> None:
    if width * height > limits.max_pixels:
        raise _too_many_pixels(f"{width} × {height}, {megapixels(width * height)}", limits)
    if min(width, height) < limits.min_side:
        raise IntakeError(
            "too_small",
            f"The picture is {width} × {height} pixels; at least {limits.min_side} a side are needed.",
        )


def _too_many_pixels(size: str, limits: DecoderLimits) -> IntakeError:
    return IntakeError("too_many_pixels", f"The picture has {size}; the limit is {megapixels(limits.max_pixels)}.")


def _check_scans(stream: BinaryIO, pixels: int, limits: DecoderLimits) -> None:
    """Before the pixels: a file of half a megabyte may ask for thousands of passes over them."""
    most = max(1, min(limits.max_scans, limits.max_scanned_pixels // pixels))
    at = stream.tell()
    if scans_of(stream, most) > most:
        raise IntakeError(
            "too_demanding",
            f"The JPEG is stored in more than {most} passes over the picture; save it again without “progressive”.",
        )
    stream.seek(at)


def _check_webp_canvas(stream: BinaryIO, size: int, limits: DecoderLimits) -> None:
    """Size and length from the container (RFC 9649), since opening a WebP already sets its canvases up."""
    head = stream.read(30)
    stream.seek(0)
    if int.from_bytes(head[4:8], "little") + 8 > size:
        raise _truncated("WEBP")
    chunk = head[12:16]
    if chunk == b"VP8X" and len(head) >= 30:
        width = int.from_bytes(head[24:27], "little") + 1
        height = int.from_bytes(head[27:30], "little") + 1
    elif chunk == b"VP8L" and len(head) >= 25:
        bits = int.from_bytes(head[21:25], "little")
        width, height = (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    elif chunk == b"VP8 " and len(head) >= 30:
        width = int.from_bytes(head[26:28], "little") & 0x3FFF
        height = int.from_bytes(head[28:30], "little") & 0x3FFF
    else:
        return  # the reader says what is wrong with it
    _check_size(width, height, limits)


def _check_single(picture: ImageFile.ImageFile, kind: Format) -> None:
    if kind == "JPEG":
        return  # phones add gain maps and previews behind the picture itself, which is always the first
    if kind == "TIFF":
        pages = _count_pages(picture)
        if pages > 1:
            many = f"more than {_MAX_EXTRA_PAGES}" if pages > _MAX_EXTRA_PAGES else str(pages)
            raise IntakeError(
                "several_pages",
                f"The TIFF holds {many} pages; a guide is one page, so save each as its own file.",
            )
    elif getattr(picture, "n_frames", 1) > 1:
        raise IntakeError("animated", f"The {PICTURES[kind].words} is animated; a guide is one still picture.")


def _count_pages(picture: ImageFile.ImageFile) -> int:
    """Full pages in a TIFF: previews and masks, which scanners add, are none (TIFF 6.0, NewSubfileType)."""
    assert isinstance(picture, TiffImageFile)
    pages = 1
    for index in range(1, _MAX_EXTRA_PAGES + 1):
        try:
            picture.seek(index)
        except (EOFError, SyntaxError, ValueError, TypeError, KeyError, OSError):
            break  # no further page, or none that anybody could read
        if not int(picture.tag_v2.get(_SUBFILE_TAG, 0)) & _REDUCED_OR_MASK:
            pages += 1
    picture.seek(0)
    return pages


def _truncated(kind: Format) -> IntakeError:
    return IntakeError(
        "truncated",
        f"The {PICTURES[kind].words} breaks off before its end; copy or save it again, then send it.",
    )


def _refusal(error: Exception, stream: BinaryIO, size: int, kind: Format) -> IntakeError:
    """The word for what a decoder choked on."""
    print(f"{kind}: {type(error).__name__}: {str(error)[:300]!r}", file=sys.stderr)
    text = str(error).lower()
    name = PICTURES[kind].words
    if "too large for pngimageplugin" in text or "too much memory used in text" in text:
        return IntakeError(
            "too_demanding",
            f"The {name} carries more text or profile data than the {_MAX_PROFILE_BYTES // 1_000_000} MB "
            "allowed; save it again without metadata.",
        )
    if "truncated" in text or _cut_short(stream, size, kind):
        return _truncated(kind)
    if "unknown pixel mode" in text or "cannot handle" in text or "unsupported" in text:
        return IntakeError(
            "unsupported",
            f"The {name} stores its pixels in a way that can't be read here; "
            "save it as 8- or 16-bit RGB, CMYK or grey.",
        )
    return IntakeError(
        "damaged",
        f"The file begins like a {name} but can't be decoded; open it, save it again, then send it.",
    )


def _cut_short(stream: BinaryIO, size: int, kind: Format) -> bool:
    """Whether an undecodable file ends before its own structure says so."""
    if kind == "PNG":
        stream.seek(8)
        while len(head := stream.read(8)) == 8:
            if head[4:] == b"IEND":
                return False
            stream.seek(int.from_bytes(head[:4], "big") + 4, os.SEEK_CUR)
        return True
    if kind == "JPEG":
        stream.seek(max(0, size - 65536))
        return b"\xff\xd9" not in stream.read()
    return kind == "TIFF" and _tiff_reach(stream, size) > size


_TIFF_TYPE_BYTES = (0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4)  # TIFF 6.0, section 2, by type number
_TIFF_STARTS, _TIFF_LENGTHS = (273, 324), (279, 325)  # of strips and of tiles


def _tiff_reach(stream: BinaryIO, size: int) -> int:
    """How many bytes a TIFF must have at least for its first directory and its pixels to be whole."""

    def number(offset: int, length: int) -> int:
        stream.seek(offset)
        return int.from_bytes(stream.read(length), order)

    stream.seek(0)
    order: Literal["little", "big"] = "little" if stream.read(2) == b"II" else "big"
    if number(2, 2) != 42:
        return 0  # BigTIFF: rare enough for the plainer word
    directory = number(4, 4)
    entries = number(directory, 2)
    reach = directory + 2 + 12 * entries + 4
    lists: dict[int, list[int]] = {}
    for entry in range(directory + 2, directory + 2 + 12 * entries, 12):
        tag, kind, count = number(entry, 2), number(entry + 2, 2), number(entry + 4, 4)
        width = _TIFF_TYPE_BYTES[kind] if kind < len(_TIFF_TYPE_BYTES) else 0
        start = entry + 8 if width * count <= 4 else number(entry + 8, 4)
        reach = max(reach, start + width * count)
        if reach > size:
            return reach  # that is answer enough, and the lists below would not be there to read
        if tag in _TIFF_STARTS + _TIFF_LENGTHS and width in (2, 4):
            stream.seek(start)
            raw = stream.read(width * count)
            lists[tag] = [int.from_bytes(raw[i : i + width], order) for i in range(0, len(raw), width)]
    for starts, lengths in zip(_TIFF_STARTS, _TIFF_LENGTHS, strict=True):
        pairs = zip(lists.get(starts, ()), lists.get(lengths, ()), strict=False)
        reach = max([reach, *(start + length for start, length in pairs)])
    return reach


def main(arguments: list[str]) -> int:
    """Answer on standard output; the exit code is 0 for every answer, refusals included, ``NO_ROOM`` without one."""
    kind, limits = arguments[0], DecoderLimits(**json.loads(arguments[1]))
    assert kind in PICTURES
    bound(limits)
    screen = thumb = b""
    try:
        with os.fdopen(0, "rb", closefd=False) as stream:
            facts, screen, thumb = examine(stream, kind, limits, damaged="damaged" in arguments[2:])
        header: dict[str, Any] = {"facts": facts, "lengths": [len(screen), len(thumb)]}
    except IntakeError as error:
        header = {"refused": [error.reason, error.message]}
    except MemoryError:
        header = {"refused": ["too_demanding", "Decoding the picture takes more memory than a guide may use."]}
    encoded = json.dumps(header).encode()
    try:
        with os.fdopen(1, "wb", closefd=False) as out:
            out.write(len(encoded).to_bytes(4, "big") + encoded + screen + thumb)
    except OSError as error:  # the disk is full, which is no fault of the picture's
        print(f"no room for the answer: {error}", file=sys.stderr)
        return NO_ROOM
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
