"""One way from a stored picture to upright sRGB pixels.

Depth, colour space, embedded profile, transparency and EXIF orientation are all settled here, so that nobody
else needs to know that a scan was a 16-bit CMYK TIFF lying on its side.

Decoding is where hostile files bite: call `read_upright` only on originals that
`intake.take_in` has accepted. New uploads go through the bounded worker.
"""

from __future__ import annotations

import io
import os
from collections.abc import Callable
from dataclasses import dataclass
from typing import BinaryIO

from PIL import Image, ImageCms, ImageFile
from PIL.JpegImagePlugin import jpeg_factory
from PIL.PngImagePlugin import PngImageFile
from PIL.TiffImagePlugin import TiffImageFile
from PIL.WebPImagePlugin import WebPImageFile

from guides.imaging.intake.damage import Damage
from guides.imaging.intake.formats import PICTURES, Format, format_of
from guides.imaging.intake.png_rows import png_damage
from guides.imaging.intake.rules import SNIFF_BYTES, IntakeError, sniff
from guides.imaging.intake.tiff_strips import tiff_damage, unread_rows

ORIENTATION_TAG = 274
_BITS_TAG, _PHOTOMETRIC_TAG = 258, 262

UPRIGHT: dict[int, Image.Transpose] = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What undoes each EXIF orientation (Exif 2.3, tag 0x0112; Pillow counts rotations anticlockwise)."""

# The readers by name rather than `Image.open`: a file can only ever reach the decoder of its own signature.
_READERS: dict[Format, Callable[[BinaryIO], ImageFile.ImageFile]] = {
    "PNG": PngImageFile,
    "JPEG": jpeg_factory,
    "TIFF": TiffImageFile,
    "WEBP": WebPImageFile,
}

NOTE_CMYK_WITHOUT_PROFILE = (
    "This CMYK picture carries no colour profile; its colours on screen were worked out without one "
    "and are a hint only."
)
NOTE_PROFILE_IGNORED = "The colour profile in the file could not be used; its colours on screen are a hint only."
NOTE_DEPTH = "The picture has 16 bits a channel; it is shown with 8."

_BAND_ROWS = 512
"""Rows brought from 16 to 8 bits at a time: the step in between takes four bytes a pixel."""


@dataclass(frozen=True, slots=True)
class Upright:
    """Pixels to look at.

    Attributes:
        image: 8-bit sRGB, upright, on white, perhaps smaller than the original.
        size: width and height of the original as a person sees it, in pixels.
        notes: sentences for the person, about colours or depth.
    """

    image: Image.Image
    size: tuple[int, int]
    notes: tuple[str, ...]


def open_picture(stream: BinaryIO, kind: Format) -> ImageFile.ImageFile:
    """Read the header, and only the header.

    Raises:
        Exception: whatever the format's reader raises on a bad header.
    """
    return _READERS[kind](stream)


def orientation_of(picture: Image.Image) -> int:
    """EXIF orientation, 1-8. Nonsense counts as 1: a bad label is no reason to refuse a good picture."""
    try:
        value = picture.getexif().get(ORIENTATION_TAG, 1)
    except Exception:  # the tag directory is free-form and hostile files know it
        return 1
    return value if value in UPRIGHT else 1


def stored_size(picture: ImageFile.ImageFile) -> tuple[int, int]:
    """Width and height as stored, before orientation, in pixels (the TIFF reader's own size is turned)."""
    if isinstance(picture, TiffImageFile):
        return int(picture.tag_v2[256]), int(picture.tag_v2[257])
    return picture.size


def fitted(size: tuple[int, int], long_side: int | None) -> tuple[int, int]:
    """`size` scaled down so that its long side is at most `long_side`; never up, never below one pixel."""
    longest = max(size)
    if long_side is None or longest <= long_side:
        return size
    return max(1, round(size[0] * long_side / longest)), max(1, round(size[1] * long_side / longest))


def develop(picture: ImageFile.ImageFile, long_side: int | None = None) -> Upright:
    """Decode an opened picture to upright 8-bit sRGB on white, no longer than `long_side`.

    The order matters for speed: shrink first, in the file's own colours, and convert the few pixels that are
    left. 16-bit values are scaled (65535 becomes 255). A profile is followed by LittleCMS, relative
    colorimetric with black point compensation; CMYK without one falls back to (1 - ink)(1 - key) a channel,
    with a note.

    Raises:
        IntakeError: `unsupported` for 32-bit and floating-point channels.
        Exception: whatever the decoder raises on damaged data.
    """
    notes: list[str] = []
    is_tiff = isinstance(picture, TiffImageFile)
    profile = picture.info.get("icc_profile")
    sixteen_bits = picture.mode.startswith("I;16") or _deep_samples(picture)
    size = stored_size(picture)
    orientation = orientation_of(picture)  # of a PNG this decodes it: the label may follow the pixels
    if picture.format in ("JPEG", "MPO"):
        picture.draft(None, fitted(size, long_side))  # no mode: keep the file's own
    _load(picture)
    image = _eight_bits(picture)
    if sixteen_bits:
        notes.append(NOTE_DEPTH)
    seen = size[::-1] if orientation >= 5 else size
    target = fitted(size, long_side)
    if is_tiff:  # whose reader has turned the pixels while loading
        target, orientation = fitted(seen, long_side), 1
    if image.size != target:
        image = image.resize(target, Image.Resampling.LANCZOS, reducing_gap=2.0)
    image = _on_white(image, profile, notes)
    if orientation in UPRIGHT:
        image = image.transpose(UPRIGHT[orientation])
    image.info.clear()
    return Upright(image, seen, tuple(notes))


def damage_in(stream: BinaryIO, picture: ImageFile.ImageFile, kind: Format) -> Damage | None:
    """What of an opened picture is damaged, as its file says; the stream is left at its beginning.

    Not for a process with threads: see ``jpeg_damage``.
    """
    stream.seek(0)
    try:
        if kind == "PNG":
            return png_damage(stream)
        if kind == "JPEG":
            from guides.imaging.intake.jpeg_blocks import jpeg_damage  # and OpenCV with it

            return jpeg_damage(stream.read())
        return tiff_damage(picture, stream) if isinstance(picture, TiffImageFile) else None
    finally:
        stream.seek(0)


def damage_of(path: str | os.PathLike[str]) -> str:
    """What of a picture that a command is given is damaged, in a sentence; empty: nothing, or no kind we know."""
    with open(path, "rb") as stream:
        kind = format_of(stream.read(SNIFF_BYTES))
        stream.seek(0)
        if kind is None:
            return ""
        picture = open_picture(stream, kind)
        # Where a decoder gives up, the rest is missing too, which is more than the strip that it gave up at.
        damage = (unread_rows(stream) if kind == "TIFF" else None) or damage_in(stream, picture, kind)
        return damage.said(PICTURES[kind].words, orientation_of(picture)) if damage else ""


def _load(picture: ImageFile.ImageFile) -> None:
    """Decode; where damage is tolerated, what could be read before it stands."""
    try:
        picture.load()
    except OSError:
        if not (ImageFile.LOAD_TRUNCATED_IMAGES and isinstance(picture, TiffImageFile)):
            raise
        picture.tile = []  # others are tolerant by themselves
        picture.load_end()


def read_upright(source: BinaryIO | str | os.PathLike[str], long_side: int | None = None) -> Upright:
    """An accepted original as upright sRGB pixels; `numpy.asarray(result.image)` is uint8 RGB.

    Not for new uploads: see the module's note. Damaged ones were stored on somebody's yes, so what can be read is.

    Raises:
        IntakeError: not a format that is taken in, or `unsupported`.
        OSError: the file is missing or damaged.
    """
    if isinstance(source, (str, os.PathLike)):
        with open(source, "rb") as stream:
            return read_upright(stream, long_side)
    source.seek(0)
    kind = sniff(source.read(SNIFF_BYTES))
    source.seek(0)
    before, ImageFile.LOAD_TRUNCATED_IMAGES = ImageFile.LOAD_TRUNCATED_IMAGES, True
    try:
        return develop(open_picture(source, kind), long_side)
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = before


def _deep_samples(picture: ImageFile.ImageFile) -> bool:
    """Whether a picture that opens with 8-bit channels holds 16-bit ones (its reader keeps the high byte)."""
    if isinstance(picture, TiffImageFile):
        return max(picture.tag_v2.get(_BITS_TAG, (8,))) > 8
    tile = picture.tile[0] if picture.tile else None
    arguments = tile.args if tile is not None else ""
    return isinstance(arguments, str) and ";16" in arguments


def _eight_bits(picture: ImageFile.ImageFile) -> Image.Image:
    """The loaded picture as L, LA, RGB, RGBA, CMYK or LAB, 8 bits a channel, straight alpha."""
    mode = picture.mode
    if mode.startswith("I;16"):
        return _scaled_grey(picture)
    if mode in ("I", "F"):
        raise IntakeError(
            "unsupported",
            "The picture has 32-bit or floating-point channels; save it with 8 or 16 whole bits a channel.",
        )
    if picture.has_transparency_data and mode not in ("LA", "RGBA"):
        return picture.convert("RGBA")
    if mode == "1":
        return picture.convert("L")
    if mode in ("L", "LA", "RGB", "RGBA", "CMYK", "LAB"):
        return picture
    return picture.convert("RGB")


def _scaled_grey(picture: ImageFile.ImageFile) -> Image.Image:
    """12- or 16-bit grey as L. Done through a table, since a plain conversion clips everything above 255."""
    white, inverted = 65535, False
    if isinstance(picture, TiffImageFile):
        bits = picture.tag_v2.get(_BITS_TAG, (16,))
        white = 2 ** int(bits[0]) - 1
        inverted = picture.tag_v2.get(_PHOTOMETRIC_TAG) == 0  # white is zero; 8-bit data is turned by the reader
    table = [min(255, (value * 255 + white // 2) // white) for value in range(65536)]
    if inverted:
        table = [255 - value for value in table]
    grey = Image.new("L", picture.size)
    for top in range(0, picture.height, _BAND_ROWS):
        bottom = min(picture.height, top + _BAND_ROWS)
        band = picture.crop((0, top, picture.width, bottom))
        grey.paste(band.convert("I").point(table, "L"), (0, top))
    return grey


def _on_white(image: Image.Image, profile: bytes | None, notes: list[str]) -> Image.Image:
    """8-bit sRGB without transparency, from any mode that `_eight_bits` returns."""
    alpha = image.getchannel("A") if image.mode in ("LA", "RGBA") else None
    if alpha is not None:
        image = image.convert("L" if image.mode == "LA" else "RGB")
    colour = _to_srgb(image, profile, notes)
    if alpha is None:
        return colour
    return Image.composite(colour, Image.new("RGB", colour.size, "white"), alpha)


_SPACES = {"RGB": "RGB", "L": "GRAY", "CMYK": "CMYK", "LAB": "Lab"}


def _to_srgb(image: Image.Image, profile: bytes | None, notes: list[str]) -> Image.Image:
    if image.mode == "LAB":  # device independent: the profile to read it with is the space itself
        return _through(ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")), image)
    if profile:
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            if source.profile.xcolor_space.strip() == _SPACES[image.mode]:
                return _through(source, image)
            if source.profile.xcolor_space.strip() == "RGB" and image.mode == "L":
                return _through(source, image.convert("RGB"))
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            pass
        notes.append(NOTE_PROFILE_IGNORED)
    elif image.mode == "CMYK":
        notes.append(NOTE_CMYK_WITHOUT_PROFILE)
    return image.convert("RGB")


def _through(source: ImageCms.ImageCmsProfile, image: Image.Image) -> Image.Image:
    converted = ImageCms.profileToProfile(
        image,
        source,
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB",
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )
    if converted is None:  # only when asked to convert in place
        raise ImageCms.PyCMSError("no picture came back")
    return converted
