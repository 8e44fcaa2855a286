"""A guide and its marks from files, every failure in words."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from guides.imaging.page.files import PageFileError, load_page
from guides.imaging.page.scaling import Image
from guides.imaging.paint.marks import MarksError, marks_from_json
from guides.imaging.paint.reading import PaintMark

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
    try:
        image, (width, height) = load_page(path, LONG_SIDE)
    except PageFileError as error:
        raise PaintFileError(str(error)) from error
    across, down = image.shape[1] / width, image.shape[0] / height
    return image, [replace(mark, x=mark.x * across, y=mark.y * down) for mark in marks]
