"""What a picture must be to be taken in: the limits, the refusals, and what its first bytes and its name say.

Pure functions over bytes and strings: nothing here decodes, so it is safe to run on anything in any process.
"""

from __future__ import annotations

import mimetypes
import re
from dataclasses import dataclass
from typing import Literal, get_args

from guides.imaging.intake.formats import ACCEPTED_WORDS, BY_ENDING, PICTURES, Format, format_of, suffix_of

MAX_BYTES = 60_000_000
"""Largest file taken in, bytes: an uncompressed 15-megapixel RGB scan is 45 MB."""

MAX_PIXELS = 100_000_000
"""Largest picture taken in, pixels: A3 at 600 dots an inch is 70 million."""

MIN_SIDE = 64
"""Shortest side taken in, pixels: below this no mark can be told from its neighbour."""

MAX_SCANS = 64
"""Passes over a progressive JPEG. The usual script has 10 for colour and 18 for four inks (libjpeg's
jpeg_simple_progression); each costs a pass over every block, however few bytes it has."""

MAX_SCANNED_PIXELS = 2_400_000_000
"""Pixels times passes of a JPEG: the largest picture in 24 passes, some 1.5 s of a core
(0.56 ms a million, measured on a white page)."""

SCREEN_SIDE = 2400
"""Long side of the picture shown for marking: lettering of a page scanned at 300 dpi stays legible."""

THUMB_SIDE = 360
"""Long side of the picture shown in lists: 180 CSS pixels on a screen of two device pixels each."""

Reason = Literal[
    "empty",  # no bytes
    "too_large",  # more bytes than allowed
    "not_a_picture",  # text, a web page, an archive, noise
    "not_accepted",  # a picture or document of a type that is not on the list
    "wrong_type",  # the name says one type and the content is another
    "unsupported",  # an accepted type in a variant that can't be read faithfully
    "too_many_pixels",
    "too_small",
    "animated",
    "several_pages",
    "truncated",  # the end is missing
    "part_damaged",  # not all of its pixels can be read: taken in on a person's yes
    "damaged",  # anything else that stops the decoder
    "too_demanding",  # would take too much memory or time to decode
    "timeout",  # ran into the worker's time limits
    "crashed",  # the worker died
    "busy",  # no worker came free in time
    "unavailable",  # no room or no process to look at it with: not the file's fault
]
REASONS: tuple[str, ...] = get_args(Reason)

_OTHER_EXTENSIONS = frozenset(
    re.findall(
        r"\w+",
        """
        apng gif bmp dib ico cur heic heif avif jxl jp2 j2k jpf psd psb ai eps xcf kra ora clip tga pcx
        ppm pgm pbm pnm exr hdr dng cr2 nef arw svg svgz
        pdf html htm xhtml php js css txt md csv json xml zip 7z rar gz tar exe dll sh bat ps1 py jar
        doc docx mp4 mov
        """,
    )
)
"""Endings that name another type. An ending that names none ("page.final", "guide.2") is no lie."""

OUTPUT_BYTES = 64_000_000
"""Ceiling on what a worker may write; a screen picture takes 1-3 MB."""

NO_ROOM = 74
"""Exit code of a worker that could not write its answer (EX_IOERR of BSD's sysexits)."""

SNIFF_BYTES = 512
"""How much of the beginning `sniff` wants to see."""


class IntakeError(ValueError):
    """A picture is refused.

    Attributes:
        reason: one of `REASONS`, stable, for programs.
        message: one sentence for the person, with the limit and what was found. It never repeats the file's
            name or anything else out of the file, so it is safe to show.
    """

    def __init__(self, reason: Reason, message: str) -> None:
        super().__init__(message)
        self.reason: Reason = reason
        self.message = message

    def __reduce__(self) -> tuple[type[IntakeError], tuple[Reason, str]]:
        return type(self), (self.reason, self.message)


@dataclass(frozen=True, slots=True)
class DecoderLimits:
    """Bounds on one upload and on the process that decodes it.

    The wall limit stays below the 30 s after which common application servers kill a silent worker. The
    memory limit is address space, not memory in use: a 100-megapixel WebP needs about 2 GB of it, because its
    decoder holds two canvases.
    """

    max_bytes: int = MAX_BYTES
    max_pixels: int = MAX_PIXELS
    min_side: int = MIN_SIDE
    max_scans: int = MAX_SCANS
    max_scanned_pixels: int = MAX_SCANNED_PIXELS
    wall_seconds: float = 25.0
    cpu_seconds: int = 20
    memory_bytes: int = 2_500_000_000
    queue_seconds: float = 25.0


DEFAULT_LIMITS = DecoderLimits()


def megabytes(size: int) -> str:
    """A byte count in words, in millions of bytes, with enough figures to tell 60.01 from 60."""
    return f"{size / 1e6:.2f}".rstrip("0").rstrip(".") + " MB"


def megapixels(pixels: int) -> str:
    """A pixel count in words."""
    return f"{pixels / 1e6:,.1f} megapixels"


_OTHER_PICTURES: tuple[tuple[bytes, str], ...] = (
    (b"GIF87a", "a GIF"),
    (b"GIF89a", "a GIF"),
    (b"8BPS", "a layered paint document"),
    (b"%PDF-", "a PDF"),
    (b"%!PS", "a PostScript file"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"),
    (b"\xff\x4f\xff\x51", "a JPEG 2000 picture"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture"),
    (b"gimp xcf ", "a GIMP document"),
    (b"v/1\x01", "an OpenEXR picture"),
    (b"\x00\x00\x01\x00", "an icon file"),
)

_HEIF_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis")


def sniff(head: bytes) -> Format:
    """The accepted format that the first bytes announce.

    Args:
        head: the first `SNIFF_BYTES` bytes of the file, or all of a shorter one.

    Raises:
        IntakeError: `empty`, `not_accepted` for another sort of picture or document, else `not_a_picture`.
    """
    if not head:
        raise IntakeError("empty", "The file is empty (0 bytes); it may not have been copied to the end.")
    if kind := format_of(head):
        return kind
    for signature, words in _OTHER_PICTURES:
        if head.startswith(signature):
            raise _not_accepted(words)
    if head[4:8] == b"ftyp" and head[8:12] in _HEIF_BRANDS:
        raise _not_accepted("a HEIF or AVIF picture")
    if head[:2] == b"BM" and head[6:10] == bytes(4):
        raise _not_accepted("a Windows bitmap")
    raise IntakeError("not_a_picture", f"{_what_it_is(head)}; a guide must be a {ACCEPTED_WORDS} picture.")


def _not_accepted(words: str) -> IntakeError:
    return IntakeError("not_accepted", f"This is {words}; save it as {ACCEPTED_WORDS} and send that.")


def _what_it_is(head: bytes) -> str:
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if b"<svg" in start:
        return "This is an SVG drawing, not a scan"
    if start.startswith((b"<!doctype html", b"<html", b"<head", b"<body", b"<script")):
        return "This is a web page, not a picture"
    if head.startswith((b"PK\x03\x04", b"Rar!", b"7z\xbc\xaf", b"\x1f\x8b")):
        return "This is an archive, not a picture"
    if not head.translate(None, bytes(range(32, 256)) + b"\t\n\r\f"):
        return "This is text, not a picture"
    return "This is not a picture of a known type"


def check_name(filename: str, kind: Format) -> None:
    """Refuse a name whose ending names another type than the content is.

    The name is compared and never used as a path. A name without an ending, or with one that names no type,
    passes: the content decides.

    Raises:
        IntakeError: `wrong_type`.
    """
    match = re.search(r"\.([A-Za-z0-9]{1,12})[\s.]*\Z", filename)
    if match is None:
        return
    ending = match[1].lower()
    named = BY_ENDING.get(ending)
    if named == kind or (named is None and not _names_other_type(ending)):
        return
    raise IntakeError(
        "wrong_type",
        f"The name ends in .{ending} but the file is a {PICTURES[kind].words} picture; "
        f"rename it to {suffix_of(kind)}, or check that it is the file you meant.",
    )


def check_ending(filename: str) -> None:
    """Refuse a name that speaks of another type than those taken in, before anything is sent.

    Raises:
        IntakeError: `not_accepted`.
    """
    match = re.search(r"\.([A-Za-z0-9]{1,12})[\s.]*\Z", filename)
    ending = match[1].lower() if match else ""
    if ending and ending not in BY_ENDING and _names_other_type(ending):
        raise IntakeError(
            "not_accepted", f"A .{ending} file is not taken in; a guide must be a {ACCEPTED_WORDS} picture."
        )


def _names_other_type(ending: str) -> bool:
    # The tables built into the interpreter, not the machine's own, so that every server decides alike.
    standard, common = mimetypes._types_map_default, mimetypes._common_types_default  # type: ignore[attr-defined]
    return ending in _OTHER_EXTENSIONS or f".{ending}" in standard or f".{ending}" in common
