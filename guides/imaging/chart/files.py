"""Scans of charts from files: pixels, and how much a JPEG has thrown away."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import BinaryIO

import numpy as np
import numpy.typing as npt
from PIL import Image, UnidentifiedImageError

from guides.imaging.chart.refusals import ChartFault, ChartRefused
from guides.imaging.chart.sheet import SheetError, SheetLayout
from guides.imaging.intake.rules import IntakeError
from guides.imaging.intake.upright import damage_of, read_upright

Picture = npt.NDArray[np.uint8]

COARSEST_COLOUR = 30
"""First entry of a JPEG's table for colour: at 30 a flat patch may be off by 4 coded values in each colour
difference, some 2 CIEDE2000. The usual tables (ISO/IEC 10918-1, annex K) reach it at quality 29 and below."""


def load_scan(source: Path | BinaryIO) -> Picture:
    """An accepted picture as sRGB (h, w, 3).

    Raises:
        ChartRefused: it is saved with heavy compression.
        IntakeError: it is no picture that is taken in.
        OSError: it cannot be read.
    """
    _require_faithful(source)
    return np.asarray(read_upright(source).image)


def open_scan(path: Path) -> Picture:
    """``load_scan`` with every fault told as a sentence. Raises ChartFileError."""
    try:
        if damage := damage_of(path):
            raise ChartFileError(f"{path}: {damage}")
        return load_scan(path)
    except (IntakeError, OSError) as error:
        raise ChartFileError(f"{path}: {error}") from error


class ChartFileError(ValueError):
    """A file that a command was given is not what it should be."""


def load_sheet(path: Path) -> SheetLayout:
    """The layout that ``chart_sheet`` wrote. Raises ChartFileError."""
    try:
        return SheetLayout.from_dict(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, SheetError) as error:
        raise ChartFileError(f"{path}: {error}") from error


def _require_faithful(source: Path | BinaryIO) -> None:
    if not isinstance(source, os.PathLike):
        source.seek(0)
    try:
        with Image.open(source, formats=["JPEG"]) as picture:
            tables = getattr(picture, "quantization", {})
    except (UnidentifiedImageError, OSError):
        return  # no JPEG: nothing was thrown away
    finally:
        if not isinstance(source, os.PathLike):
            source.seek(0)
    colour = tables.get(max(tables)) if tables else None
    if colour and colour[0] > COARSEST_COLOUR:
        raise ChartRefused(
            ChartFault.COMPRESSED,
            "The picture is saved with heavy compression, which changes its colours. Save the scan as TIFF or PNG, "
            "or as JPEG of high quality.",
        )
