"""The networks as files, and what can be wrong with them."""

from __future__ import annotations

import hashlib
import json
import lzma
import threading
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

WEIGHTS = Path(__file__).parent / "weights"
LEDGER = "weights.json"
"""Beside the networks: their checksums, and the odds fitted to what they say."""

FILES = ("finder.onnx.xz", "reader.onnx.xz", "pointer.onnx.xz")
"""ONNX, packed: ``guides.training.export`` makes them."""

PLANAR = FILES[::2]
"""Those that see whole pages or views. OpenCV 5 has two engines: its older one is a sixth faster on these and three
fifths slower on crops, and can be asked for only where it reads the file itself (with 5.0.0; 4.13 has one)."""


class WritingModelError(Exception):
    """The networks can't be used: a file is missing or damaged. The message says which, for a person."""


@dataclass(frozen=True)
class Models:
    """The networks and their odds; ``ledger`` is what ``weights.json`` says. Of one thread: networks keep state."""

    finder: Any
    reader: Any
    pointer: Any
    ledger: dict[str, Any]


_mine = threading.local()


def models(folder: Path | None = None) -> Models:
    """The networks in ``folder`` (without one, ours), read once a thread.

    Raises:
        WritingModelError: a file is missing or damaged.
    """
    folder = folder or WEIGHTS
    kept: dict[Path, Models] = getattr(_mine, "models", {})
    if folder not in kept:
        kept = {**kept, folder: read(folder)}
        _mine.models = kept
    return kept[folder]


def checked(folder: Path | None = None) -> dict[str, bytes]:
    """The files' bytes, as they were when they were made; for whoever asks whether all is well.

    Raises:
        WritingModelError: a file is missing or damaged.
    """
    folder = folder or WEIGHTS
    try:
        sums = json.loads((folder / LEDGER).read_text())["sums"]
        contents = {name: (folder / name).read_bytes() for name in FILES}
    except OSError as error:
        missing = Path(error.filename or LEDGER).name
        raise WritingModelError(f"the file {missing} of the reader of codes is missing or can't be read") from error
    except (ValueError, KeyError, TypeError) as error:
        raise WritingModelError(f"the file {LEDGER} of the reader of codes is damaged") from error
    for name, data in contents.items():
        if not isinstance(sums, dict) or hashlib.sha256(data).hexdigest() != sums.get(name):
            raise WritingModelError(f"the file {name} of the reader of codes is damaged")
    return contents


def read(folder: Path) -> Models:
    """The networks as they lie in ``folder`` now; errors as for ``models``."""
    data = checked(folder)
    try:
        nets = [_net(name, lzma.decompress(data[name])) for name in FILES]
    except (cv2.error, lzma.LZMAError) as error:
        raise WritingModelError("this version of OpenCV can't read the networks that find and read codes") from error
    return Models(nets[0], nets[1], nets[2], json.loads((folder / LEDGER).read_text()))


def _net(name: str, model: bytes) -> Any:
    older = getattr(cv2.dnn, "ENGINE_CLASSIC", None)
    if older is None or name not in PLANAR:
        return cv2.dnn.readNetFromONNX(np.frombuffer(model, np.uint8))
    with TemporaryDirectory() as folder:
        file = Path(folder) / "net.onnx"
        file.write_bytes(model)
        return cv2.dnn.readNetFromONNX(str(file), engine=older)


def run(net: Any, batch: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """What a network says to (n, 3, h, w)."""
    net.setInput(batch)
    return np.asarray(net.forward(), np.float32)
