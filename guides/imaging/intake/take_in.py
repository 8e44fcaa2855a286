"""Is this upload a picture we accept? If so: its size the right way up, its fingerprint, its derivatives.

The upload is copied to an unnamed temporary file, so nothing is left behind however the process ends, and is
decoded by a fresh, bounded worker process (`intake_worker`), so a hostile file can take down that worker and
nothing else. This module decodes nothing itself.
"""

from __future__ import annotations

import hashlib
import json
import logging
import os
import signal
import subprocess
import sys
import tempfile
import threading
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any, Protocol

from guides.imaging.intake.formats import PICTURES, Format, suffix_of
from guides.imaging.intake.rules import (
    DEFAULT_LIMITS,
    MAX_BYTES,
    MAX_PIXELS,
    NO_ROOM,
    OUTPUT_BYTES,
    REASONS,
    SCREEN_SIDE,
    SNIFF_BYTES,
    THUMB_SIDE,
    DecoderLimits,
    IntakeError,
    check_name,
    megabytes,
    sniff,
)
from guides.imaging.intake.shares import share_of

__all__ = ["MAX_BYTES", "MAX_PIXELS", "DecoderLimits", "Intake", "IntakeError", "take_in"]

log = logging.getLogger(__name__)

_ROOT = Path(__file__).resolve().parents[3]
_COPY_BYTES = 1 << 20
_HEADER_BYTES = 10_000
_WORKERS = threading.BoundedSemaphore(max(1, os.cpu_count() or 1))
"""Decoding is all processor: more workers than cores only adds their memory up."""


class Readable(Protocol):
    """Anything with `read(size)`; it is rewound before and after if it can be."""

    def read(self, size: int, /) -> bytes: ...


@dataclass(frozen=True, slots=True)
class Intake:
    """An accepted picture.

    Attributes:
        format: "PNG", "JPEG", "TIFF" or "WEBP", from the content.
        width, height: pixels of the original, upright (after EXIF orientation).
        sha256: of the bytes received, hexadecimal.
        byte_size: of the bytes received.
        screen: JPEG, sRGB, upright, on white, no metadata; long side at most `SCREEN_SIDE`.
        thumb: the same, long side at most `THUMB_SIDE`.
        screen_size, thumb_size: (width, height) of the derivatives, pixels.
        notes: sentences for the person, about damage, colours or depth; usually none.
    """

    format: Format
    width: int
    height: int
    sha256: str
    byte_size: int
    screen: bytes
    screen_size: tuple[int, int]
    thumb: bytes
    thumb_size: tuple[int, int]
    notes: tuple[str, ...] = ()

    @property
    def content_type(self) -> str:
        """Media type of the original, for storing and serving it."""
        return PICTURES[self.format].content_type

    @property
    def suffix(self) -> str:
        """Ending for a stored name of our own making; the upload's name is not to be trusted with that."""
        return suffix_of(self.format)


def take_in(
    source: Readable | str | os.PathLike[str],
    filename: str = "",
    *,
    limits: DecoderLimits = DEFAULT_LIMITS,
    who: str = "",
    damaged: bool = False,
) -> Intake:
    """Check one upload and make its derivatives; `queue_seconds` plus `wall_seconds` bound how long it takes.

    Args:
        source: an open binary stream (left rewound if it can seek) or a trusted path.
        filename: the name the person gave it; only its ending is looked at. Without one, the path's own name.
        limits: bounds on the file and on the worker.
        who: whose share of the machine it takes, by any name that is theirs alone; empty for nobody's.
        damaged: a person's yes to damaged pixels, having been told of them by a ``part_damaged``.

    Raises:
        IntakeError: the upload is refused, or can't be looked at just now; see `IntakeError.reason`.
        OSError: `source` can't be read.
    """
    if isinstance(source, (str, os.PathLike)):
        path = Path(source)
        with path.open("rb") as stream:
            return _take_in(stream, filename or path.name, limits, who, damaged)
    try:
        _rewind(source)
        return _take_in(source, filename, limits, who, damaged)
    finally:
        _rewind(source)


def _rewind(stream: Readable) -> None:
    seekable = getattr(stream, "seekable", None)
    if seekable is not None and seekable():
        stream.seek(0)  # type: ignore[attr-defined]


def _take_in(stream: Readable, filename: str, limits: DecoderLimits, who: str, damaged: bool) -> Intake:
    head = _read_exactly(stream, SNIFF_BYTES)
    kind = sniff(head)
    check_name(filename, kind)
    try:
        with _scratch() as copy:
            sha256, byte_size = _copy(stream, head, copy, limits)
            with share_of(who):
                facts, screen, thumb = _decode(copy, kind, limits, damaged)
    except _NoRoom as error:
        log.error("no room to look at an upload: %s", error)
        raise IntakeError(
            "unavailable",
            "The server has no room to look at the picture just now; nothing was stored, try later.",
        ) from error
    return Intake(
        format=kind,
        width=facts["width"],
        height=facts["height"],
        sha256=sha256,
        byte_size=byte_size,
        screen=screen,
        screen_size=tuple(facts["screen_size"]),
        thumb=thumb,
        thumb_size=tuple(facts["thumb_size"]),
        notes=tuple(facts["notes"]),
    )


class _NoRoom(Exception):
    """The machine, not the file, is at fault."""


def _scratch() -> IO[bytes]:
    """A temporary file without a name: the system frees it even when this process is killed."""
    try:
        return tempfile.TemporaryFile(prefix="intake-")
    except OSError as error:
        raise _NoRoom(error) from error


def _read_exactly(stream: Readable, size: int) -> bytes:
    parts = b""
    while len(parts) < size and (part := stream.read(size - len(parts))):
        parts += part
    return parts


def _copy(stream: Readable, head: bytes, copy: IO[bytes], limits: DecoderLimits) -> tuple[str, int]:
    """Copy, measure and fingerprint in one pass: what is hashed is what is decoded."""
    digest = hashlib.sha256()
    total, part = 0, head
    while part:
        total += len(part)
        if total > limits.max_bytes:
            raise IntakeError(
                "too_large",
                f"The file{_full_size(stream)} is larger than the {megabytes(limits.max_bytes)} allowed.",
            )
        digest.update(part)
        try:
            copy.write(part)
        except OSError as error:
            raise _NoRoom(error) from error
        part = stream.read(_COPY_BYTES)
    try:
        copy.flush()
    except OSError as error:
        raise _NoRoom(error) from error
    copy.seek(0)
    return digest.hexdigest(), total


def _full_size(stream: Readable) -> str:
    """What was found, where that can be known without reading on."""
    size = getattr(stream, "size", None)
    if not isinstance(size, int):
        try:
            size = os.fstat(stream.fileno()).st_size  # type: ignore[attr-defined]
        except (AttributeError, OSError, ValueError):
            return ""
    return f" ({megabytes(size)})" if size > 0 else ""


def _decode(
    copy: IO[bytes], kind: Format, limits: DecoderLimits, damaged: bool
) -> tuple[dict[str, Any], bytes, bytes]:
    if not _WORKERS.acquire(timeout=limits.queue_seconds):
        raise IntakeError("busy", "The server is busy with other pictures; nothing was stored, send it again soon.")
    try:
        with _scratch() as answer, _scratch() as talk:
            code = _run_worker(copy, answer, talk, kind, limits, damaged)
            if code == NO_ROOM:
                raise _NoRoom("the worker had none for its answer")
            if code != 0:
                raise _death(code, talk, kind)
            return _read_answer(answer)
    except OSError as error:
        raise _NoRoom(error) from error
    finally:
        _WORKERS.release()


def _run_worker(
    copy: IO[bytes], answer: IO[bytes], talk: IO[bytes], kind: Format, limits: DecoderLimits, damaged: bool
) -> int:
    bounds = json.dumps(asdict(limits))
    # -P: the worker imports nothing from its working directory. Its environment carries no secrets of ours.
    command = [sys.executable, "-P", "-s", "-m", "guides.imaging.intake.worker", kind, bounds]
    if damaged:
        command.append("damaged")
    environment = {
        "PATH": os.defpath,
        "PYTHONPATH": str(_ROOT),
        "LC_ALL": "C.UTF-8",
        "OPENBLAS_NUM_THREADS": "1",  # each would ask for memory of its own
    }
    for name in ("SYSTEMROOT", "TMPDIR", "LD_LIBRARY_PATH"):
        if name in os.environ:
            environment[name] = os.environ[name]
    with subprocess.Popen(
        command, stdin=copy, stdout=answer, stderr=talk, env=environment, cwd=_ROOT, start_new_session=True
    ) as worker:
        overdue = threading.Event()

        def stop() -> None:
            overdue.set()
            worker.kill()

        # A timer rather than `wait(timeout)`, which polls and would add up to 50 ms to every picture.
        timer = threading.Timer(limits.wall_seconds, stop)
        timer.daemon = True
        timer.start()
        try:
            code = worker.wait()
        finally:
            timer.cancel()
            worker.kill()  # does nothing to a worker that has ended
    if overdue.is_set() and code != 0:
        raise _timeout(limits)
    return code


def _timeout(limits: DecoderLimits) -> IntakeError:
    return IntakeError(
        "timeout",
        f"Decoding the picture takes longer than the {limits.wall_seconds:g} seconds allowed; "
        "save it again in a plainer form, then send it.",
    )


def _death(code: int, talk: IO[bytes], kind: Format) -> IntakeError:
    talk.seek(0)
    log.warning("intake worker ended with %d on a %s", code, kind)
    # What a decoder says may quote the file: for whoever tries things out, not for a log that is kept.
    log.debug("it said: %s", talk.read(4000).decode(errors="replace"))
    if code == -getattr(signal, "SIGXCPU", 0):
        return IntakeError(
            "timeout",
            "Decoding the picture takes more processor time than allowed; save it again in a plainer form.",
        )
    return _crashed()


def _read_answer(answer: IO[bytes]) -> tuple[dict[str, Any], bytes, bytes]:
    """Read the worker's answer, trusting it no more than the file that it was busy with."""
    answer.seek(0)
    try:
        header = json.loads(answer.read(_whole(int.from_bytes(answer.read(4), "big"), _HEADER_BYTES)))
        if "refused" in header:
            reason, message = header["refused"]
            if reason not in REASONS or not isinstance(message, str):
                raise ValueError("no such reason")
            refused = IntakeError(reason, message)
        else:
            facts = header["facts"]
            _whole(facts["width"], MAX_PIXELS)
            _whole(facts["height"], MAX_PIXELS)
            pictures = [answer.read(_whole(length, OUTPUT_BYTES)) for length in header["lengths"]]
            sizes = (facts["screen_size"], facts["thumb_size"])
            for picture, (width, height), side in zip(pictures, sizes, (SCREEN_SIDE, THUMB_SIDE), strict=True):
                _whole(width, side)
                _whole(height, side)
                if not picture.startswith(b"\xff\xd8\xff"):
                    raise ValueError("derivative")
            return facts, pictures[0], pictures[1]
    except (ValueError, KeyError, TypeError) as error:
        log.warning("intake worker gave a broken answer: %s", type(error).__name__)
        raise _crashed() from error
    raise refused


def _whole(value: Any, most: int) -> int:
    if not isinstance(value, int) or not 1 <= value <= most:
        raise ValueError(f"{value!r:.40} is not a number from 1 to {most}")
    return value


def _crashed() -> IntakeError:
    return IntakeError(
        "crashed", "The picture stopped the decoder; nothing was stored. Open it, save it again, then send it."
    )
