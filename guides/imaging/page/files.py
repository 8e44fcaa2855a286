"""A page's picture from a file, every failure in words; its labels to a file."""

from __future__ import annotations

import io
from pathlib import Path

import cv2
import numpy as np

from guides.imaging.intake.rules import SNIFF_BYTES, IntakeError, sniff
from guides.imaging.page.page_map import MapError, PageMap
from guides.imaging.page.scaling import Image


class PageFileError(ValueError):
    """A file can't be read; the message says which and why."""


def load_page(path: Path, long_side: int | None = None) -> tuple[Image, tuple[int, int]]:
    """The upright picture, uint8 sRGB, and the width and height that the file has.

    ``long_side``: a slow kind of file is shrunk to about that on the way in.

    Raises:
        PageFileError: missing, damaged, or no picture format that is taken in.
    """
    from guides.imaging.intake.upright import damage_of, read_upright

    try:
        if damage := damage_of(path):
            raise PageFileError(f"{path.name}: {damage}")
        plain = _plain(path)
        if plain is not None:
            return plain, (plain.shape[1], plain.shape[0])
        upright = read_upright(path, long_side)
    except PageFileError:
        raise
    except IntakeError as error:
        raise PageFileError(f"{path.name}: {error}") from error
    except OSError as error:
        raise PageFileError(f"{path.name}: {error.strerror or error}") from error
    except Exception as error:  # a decoder raises whatever it likes on damaged data
        raise PageFileError(f"{path.name}: this picture can't be read ({error})") from error
    return np.asarray(upright.image.convert("RGB"), dtype=np.uint8), upright.size


def _plain(path: Path) -> Image | None:
    """The pixels of an eight-bit RGB picture that needs no profile and no turning, by the faster decoder."""
    from guides.imaging.intake.upright import open_picture, orientation_of

    data = path.read_bytes()
    picture = open_picture(io.BytesIO(data), sniff(data[:SNIFF_BYTES]))
    if picture.format not in ("PNG", "JPEG") or picture.mode != "RGB" or picture.info.get("icc_profile"):
        return None
    if picture.format == "PNG" and "transparency" in picture.info:
        return None
    if picture.format == "JPEG" and orientation_of(picture) != 1:
        return None
    if picture.format == "PNG" and "exif" in picture.info:
        return None
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    return None if pixels is None else np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB), dtype=np.uint8)


def load_map(path: Path, image: Image) -> PageMap:
    """A map that ``page_map --keep`` has written of a picture.

    Raises:
        PageFileError: missing, damaged, of another version, or of a picture of another size.
    """
    try:
        page = PageMap.from_bytes(path.read_bytes())
    except OSError as error:
        raise PageFileError(f"{path.name}: {error.strerror or error}") from error
    except MapError as error:
        raise PageFileError(f"{path.name}: {error}") from error
    if page.size != (image.shape[1], image.shape[0]):
        sizes = "{} x {}".format(*page.size), f"{image.shape[1]} x {image.shape[0]}"
        raise PageFileError(f"{path.name}: this map is of a picture of {sizes[0]} px, not of {sizes[1]}")
    return page


def save_labels(page: PageMap, path: Path) -> None:
    """Write the labels as a 16-bit PNG in the picture's own size.

    Raises:
        OSError: the file can't be written.
    """
    path.write_bytes(bytes(cv2.imencode(".png", page.full_size())[1]))
