"""How many rows of a PNG are whole, by its checksums and its stream (PNG, third edition, 5.3 and 7.2; RFC 1950)."""

from __future__ import annotations

import os
import zlib
from collections.abc import Iterator
from typing import BinaryIO

from guides.imaging.intake.damage import Damage

_STEP = 1 << 12
"""Bytes inflated at a time: what is lost of good rows where the stream goes wrong."""
_CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
_PASSES = ((0, 8, 0, 8), (0, 8, 4, 8), (4, 8, 0, 4), (0, 4, 2, 4), (2, 4, 0, 2), (0, 2, 1, 2), (1, 2, 0, 1))
"""Of an interlaced picture: first row and every how manieth, first column and every how manieth (8.1, Adam7)."""


def _chunks(stream: BinaryIO) -> Iterator[tuple[bytes, bytes, bool]]:
    """Name, what is in it, and whether its checksum fits: of one that breaks off, nobody knows."""
    size = stream.seek(0, os.SEEK_END)
    stream.seek(8)
    while len(head := stream.read(8)) == 8:
        length, name = int.from_bytes(head[:4], "big"), head[4:]
        body = stream.read(min(length, size))
        fits = len(body) < length or zlib.crc32(name + body).to_bytes(4, "big") == stream.read(4)
        yield name, body, fits
        if name == b"IEND":
            return


def _rows(header: bytes) -> list[tuple[int, int, int]]:
    """Each row in coded order: bytes with its filter's, pass counted from 1 (0: not interlaced), row."""
    width, height = int.from_bytes(header[:4], "big"), int.from_bytes(header[4:8], "big")
    bits = header[8] * _CHANNELS.get(header[9], 1)
    if not header[12]:
        return [((width * bits + 7) // 8 + 1, 0, row) for row in range(height)]
    return [
        ((-(-(width - column) // across) * bits + 7) // 8 + 1, number, row)
        for number, (first, down, column, across) in enumerate(_PASSES, 1)
        if width > column
        for row in range(first, height, down)
    ]


def png_damage(stream: BinaryIO) -> Damage | None:
    """What is damaged; the stream is left at its beginning. Its header has been read and its size allowed."""
    header, got, aside, decompressor, sound = b"", 0, False, zlib.decompressobj(), True
    needed = 0
    for name, body, fits in _chunks(stream):
        if name == b"IHDR":
            header = body
            needed = sum(row[0] for row in _rows(header))
            sound = fits
        elif name != b"IDAT":
            aside |= not fits
        elif sound and got < needed:
            more, sound, traceable = _inflated(decompressor, body if fits else b"", needed - got)
            got += more
            if not traceable:
                stream.seek(0)
                return Damage()
            sound &= fits
    stream.seek(0)
    if len(header) == 13 and got < needed:
        if not got:  # the first of its data has a wrong checksum: how much comes out of it all the same?
            bodies = b"".join(body for name, body, _ in _chunks(stream) if name == b"IDAT")
            stream.seek(0)
            likely = _from_row(header, _inflated(zlib.decompressobj(), bodies, needed)[0])
            return likely if likely.is_hopeless else Damage()
        return _from_row(header, got)
    if not sound:
        return Damage()
    return Damage(aside=True) if aside else None


def _inflated(decompressor: zlib._Decompress, body: bytes, wanted: int) -> tuple[int, bool, bool]:
    """Bytes that came out, whether all went well, and whether it can be told from where not."""
    got = 0
    try:
        more = True
        while more and got < wanted:
            out = decompressor.decompress(body, _STEP)  # which holds rows back when all of the body is eaten
            got += len(out)
            body = decompressor.unconsumed_tail
            more = bool(out or body) and not decompressor.eof
        decompressor.decompress(body, 1)
    except zlib.error as error:
        return got, False, "data check" not in str(error)
    return got, True, True


def _from_row(header: bytes, got: int) -> Damage:
    height = int.from_bytes(header[4:8], "big")
    for size, number, row in _rows(header):
        if got < size:
            return Damage(row, height, height) if number in (0, len(_PASSES)) else Damage()
        got -= size
    return Damage()
