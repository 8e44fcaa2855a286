"""How often a JPEG goes over its picture, read from its markers alone, before anything is decoded (ITU-T T.81, B.1).

A progressive picture comes in scans, each refining all of it. A few bytes a scan are enough, so a small file may ask
for thousands of passes over a hundred megapixels.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import islice
from typing import BinaryIO

_START_OF_SCAN, _END = 0xDA, 0xD9
_NEXT_MARKER = re.compile(rb"\xff+[^\x00\xd0-\xd7\xff]")
"""Within coded data a 0xFF is stuffed with a zero or begins a restart marker; anything else is the next segment."""


def _segments(data: bytes) -> Iterator[int]:
    """Markers of the first picture, in order; the last one is its end, unless it breaks off."""
    at = 2
    while match := _NEXT_MARKER.search(data, at):
        marker, at = data[match.end() - 1], match.end()
        yield marker
        if marker == _END:
            return
        if marker != 0x01:  # which stands alone
            at += int.from_bytes(data[at : at + 2], "big")


def scans_of(stream: BinaryIO, most: int) -> int:
    """Scans of the first picture in a JPEG, counted up to ``most`` + 1; the stream is left at its beginning.

    What is no JPEG, or breaks off, has as many as were found: the decoder says what is wrong with it.
    """
    stream.seek(0)
    data = stream.read()
    stream.seek(0)
    scans = (marker for marker in _segments(data) if marker == _START_OF_SCAN)
    return sum(1 for _ in islice(scans, most + 1))


def has_end(data: bytes) -> bool:
    """Whether the first picture in a JPEG is closed by its end marker; a preview within it has one of its own."""
    return _END in _segments(data)
