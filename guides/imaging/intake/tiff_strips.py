"""Which rows of a TIFF are not there or not right: strips and tiles that are short or beyond its end, packed data
that contradict themselves, and what a decoder left out (TIFF 6.0, sections 3 and 15; Technical Note 2 on JPEG)."""

from __future__ import annotations

import os
import zlib
from collections.abc import Callable
from typing import Any, BinaryIO

from PIL import Image, ImageChops
from PIL.TiffImagePlugin import TiffImageFile

from guides.imaging.intake.damage import Damage

_WIDTH, _HEIGHT, _BITS, _COMPRESSION, _SAMPLES, _ROWS, _PLANAR = 256, 257, 258, 259, 277, 278, 284
_TILE_WIDTH, _TILE_HEIGHT = 322, 323
_FILL_ORDER, _JPEG_TABLES = 266, 347
_PLAIN, _JPEG, _ZLIB = 1, 7, (8, 32946)
_STRIPS, _TILES = (273, 279), (324, 325)
"""Where each begins, and its bytes."""


def tiff_damage(picture: TiffImageFile, stream: BinaryIO) -> Damage | None:
    """What its directory says is missing; a directory that says nothing of lengths is believed."""
    tags = picture.tag_v2
    tiled = _TILE_WIDTH in tags
    begins, counts = (tuple(tags.get(tag) or ()) for tag in (_TILES if tiled else _STRIPS))
    if not any(counts) or len(begins) != len(counts):
        return None
    size, height, width = stream.seek(0, os.SEEK_END), int(tags[_HEIGHT]), int(tags[_WIDTH])
    rows = int(tags[_TILE_HEIGHT]) if tiled else min(height, int(tags.get(_ROWS, height)))
    across = -(-width // int(tags[_TILE_WIDTH])) if tiled else 1
    in_plane = across * -(-height // rows)
    bits = [int(depth) for depth in tags.get(_BITS, (1,))]
    sample = bits[0] if tags.get(_PLANAR, 1) == 2 else sum(bits) if len(bits) > 1 else bits[0] * tags.get(_SAMPLES, 1)
    row_bytes = ((int(tags[_TILE_WIDTH]) if tiled else width) * sample + 7) // 8
    damage: Damage | None = None
    spoilt = _spoilt(tags)
    for place, (start, count) in enumerate(zip(begins, counts, strict=True)):
        top = place % in_plane // across * rows
        bottom = min(height, top + rows)
        needed = row_bytes * (rows if tiled else bottom - top)
        if tags.get(_COMPRESSION, _PLAIN) == _PLAIN:
            missing = count < needed or start + needed > size
        else:
            missing = start + count > size
            if not missing and spoilt:
                stream.seek(start)
                missing = spoilt(stream.read(count), needed)
        if missing:
            damage = Damage(top, bottom, height).with_rows(damage)
    return damage


def _spoilt(tags: Any) -> Callable[[bytes, int], bool] | None:
    """What says of a strip's bytes whether they are wrong, where the packing can tell and a decoder does not: libtiff
    stops at the last pixel, before the sum behind it, and keeps what libjpeg warns of to itself."""
    if tags.get(_FILL_ORDER, 1) != 1:
        return None
    if tags.get(_COMPRESSION) in _ZLIB:
        return _fails_its_sum
    if tags.get(_COMPRESSION) == _JPEG:
        tables = bytes(tags.get(_JPEG_TABLES, b""))[:-2]
        return lambda packed, _: _jpeg_is_damaged(tables + packed[2:] if tables else packed)
    return None


def _fails_its_sum(packed: bytes, needed: int) -> bool:
    """Whether zlib contradicts itself (RFC 1950, section 2.2). A stream without its end is for the decoder to judge,
    and so is one that holds far more than ``needed``."""
    unpacker, left = zlib.decompressobj(), 4 * needed + 65536
    try:
        while packed and not unpacker.eof and left > 0:
            left -= len(unpacker.decompress(packed, left))
            packed = unpacker.unconsumed_tail
    except zlib.error:
        return True
    return False


def _jpeg_is_damaged(data: bytes) -> bool:
    from guides.imaging.intake.jpeg_blocks import jpeg_damage  # and OpenCV with it

    return jpeg_damage(data) is not None


class _OnCanvas(TiffImageFile):
    """Read onto pixels of one value, and left as it lies."""

    value = 0

    def load_prepare(self) -> None:
        self.im = Image.new(self.mode, self._size, self.value).im
        super().load_prepare()

    def load_end(self) -> None:
        """Not turned."""


class _OnBright(_OnCanvas):
    value = 255


def unread_rows(stream: BinaryIO) -> Damage | None:
    """Rows that a tolerant decoder leaves as they were before: where two canvases still differ. None: no row."""
    dark, bright = (_shown(kind, stream) for kind in (_OnCanvas, _OnBright))
    box = ImageChops.difference(dark, bright).getbbox()
    return Damage(box[1], box[3], dark.height) if box else None


def _shown(kind: type[_OnCanvas], stream: BinaryIO) -> Image.Image:
    stream.seek(0)
    picture = kind(stream)
    try:
        picture.load()
    except OSError:
        picture.tile = []
    return picture.convert("L")
