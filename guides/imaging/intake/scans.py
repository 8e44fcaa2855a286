"""How often a JPEG goes over its picture, read from its markers alone, before anything is decoded (ITU-T T.81, B.1).

A progressive picture comes in scans, each refining all of it. A few bytes a scan are enough, so a small file may ask
for thousands of passes over a hundred megapixels.
"""

from __future__ import annotations

import re
from typing import BinaryIO

_START_OF_SCAN, _END = 0xDA, 0xD9
_NEXT_MARKER = re.compile(rb"\xff+[^\x00\xd0-\xd7\xff]")
"""Within coded data a 0xFF is stuffed with a zero or begins a restart marker; anything else is the next segment."""


def scans_of(stream: BinaryIO, most: int) -> int:
    """Scans of the first picture in a JPEG, counted up to ``most`` + 1; the stream is left at its beginning.

    What is no JPEG, or breaks off, has as many as were found: the decoder says what is wrong with it.
    """
    stream.seek(0)
    data = stream.read()
    stream.seek(0)
    scans, at = 0, 2
    while scans <= most and (found := _NEXT_MARKER.search(data, at)):
        marker, at = data[found.end() - 1], found.end()
        if marker == _END:
            break
        if marker == 0x01:  # stands alone
            continue
        at += int.from_bytes(data[at : at + 2], "big")
        scans += marker == _START_OF_SCAN
    return scans
