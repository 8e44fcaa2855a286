"""What the intake's tests share: encoding pictures, refusing them, and flat patches that keep their colours."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import skimage
import tifffile
from PIL import Image

from guides.imaging.intake.rules import REASONS, DecoderLimits, IntakeError
from guides.imaging.intake.take_in import Intake, take_in

PACKAGE_PICTURES = Path(skimage.__file__).parent / "data"
"""Photographs, scans and drawings that scikit-image (PyPI) carries in its wheel."""

PATCH = 64
"""Side of the flat patches: a multiple of JPEG's blocks, so that their middles hold exact colours."""


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
        take_in(io.BytesIO(data), filename, limits=DecoderLimits(**limits))
    assert caught.value.reason in REASONS
    assert caught.value.message == str(caught.value)
    assert caught.value.message.endswith((".", "?"))
    return caught.value


def shown(intake: Intake) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(intake.screen)))


def tiff(array: npt.NDArray[Any], **options: Any) -> bytes:
    """Written by tifffile, a writer that shares no code with the reader under test."""
    out = io.BytesIO()
    tifffile.imwrite(out, array, **options)
    return out.getvalue()


def patches(colours: list[Any], dtype: Any = np.uint8) -> npt.NDArray[Any]:
    """A row of flat patches, (64, 64 n) or (64, 64 n, channels)."""
    return np.repeat(np.repeat(np.asarray([colours], dtype=dtype), PATCH, axis=0), PATCH, axis=1)


def middles(intake: Intake) -> npt.NDArray[np.int64]:
    """Colours in the middles of a row of patches, as the screen picture shows them, (n, 3)."""
    image = Image.open(io.BytesIO(intake.screen))
    assert image.mode == "RGB"
    return np.asarray(image)[PATCH // 2, PATCH // 2 :: PATCH].astype(np.int64)


def taken(data: bytes) -> Intake:
    return take_in(io.BytesIO(data))


def many_scans(width: int, height: int, scans: int) -> bytes:
    """A white progressive JPEG whose last scan, of some 40 bytes, comes as often as is asked for (T.81, annex G)."""
    data = encoded(Image.new("RGB", (width, height), "white"), "JPEG", progressive=True)
    last = data.rindex(b"\xff\xda")
    return data[:-2] + data[last:-2] * scans + data[-2:]
