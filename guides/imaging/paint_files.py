"""A guide and its marks from files, every failure in words."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from guides.imaging.intake_rules import SNIFF_BYTES, IntakeError, sniff
from guides.imaging.paint import PaintMark
from guides.imaging.paint_marks import MarksError, marks_from_json
from guides.imaging.sampling import Image

LONG_SIDE = 2600
"""A little above the working size: the decoder shrinks on the way in, which costs least."""

MAX_MARKS_BYTES = 20_000_000


class PaintFileError(ValueError):
    """A file can't be read; the message says which and why."""


def load_marks(path: Path) -> tuple[object, list[PaintMark]]:
    """The JSON document and its marks.

    Raises:
        PaintFileError: missing, too large, no JSON, or no list of marks.
    """
    try:
        if path.stat().st_size > MAX_MARKS_BYTES:
            raise PaintFileError(f"{path.name}: too large for a list of marks")
        document = json.loads(path.read_text(encoding="utf-8-sig"))
        return document, marks_from_json(document)
    except OSError as error:
        raise PaintFileError(f"{path.name}: {error.strerror or error}") from error
    except MarksError as error:
        raise PaintFileError(f"{path.name}: {error}") from error
    except (ValueError, RecursionError) as error:
        raise PaintFileError(f"{path.name}: not readable as JSON ({error})") from error


def load_guide(path: Path, marks: Sequence[PaintMark]) -> tuple[Image, list[PaintMark]]:
    """The upright picture, and the marks in its pixels (a slow kind of file is shrunk on the way in).

    Raises:
        PaintFileError: missing, damaged, or no picture format that is taken in.
    """
    from guides.imaging.upright import read_upright

    try:
        plain = _plain(path)
        if plain is not None:
            return plain, list(marks)
        upright = read_upright(path, LONG_SIDE)
    except IntakeError as error:
        raise PaintFileError(f"{path.name}: {error}") from error
    except OSError as error:
        raise PaintFileError(f"{path.name}: {error.strerror or error}") from error
    except Exception as error:  # a decoder raises whatever it likes on damaged data
        raise PaintFileError(f"{path.name}: this picture can't be read ({error})") from error
    image = np.asarray(upright.image.convert("RGB"), dtype=np.uint8)
    across, down = image.shape[1] / upright.size[0], image.shape[0] / upright.size[1]
    return image, [replace(mark, x=mark.x * across, y=mark.y * down) for mark in marks]


def _plain(path: Path) -> Image | None:
    """The pixels of an eight-bit RGB picture that needs no profile and no turning, by the faster decoder."""
    import cv2

    from guides.imaging.upright import open_picture, orientation_of

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
