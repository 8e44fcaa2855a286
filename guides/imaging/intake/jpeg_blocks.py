"""Whether a JPEG's coded data is damaged, and where: libjpeg warns, then the blocks are walked through without
decoding a pixel (ITU-T T.81, annexes B and F).

The walk takes 0.4 s a megabyte and is for what libjpeg has warned of. Only sequential Huffman pictures in one scan
are walked; in a progressive one every place is spread over all passes, and no row is safe.
"""

from __future__ import annotations

import os
import re
import tempfile
from dataclasses import dataclass

import numpy as np

from guides.imaging.intake.damage import Damage
from guides.imaging.intake.scans import has_end

WALKED_BYTES = 6_000_000
"""Coded data walked through at most: some 4 s of a core."""

PADDING_BITS = 7 + 8 * 16
"""Bits behind the last block that are nobody's fault: the byte's rest, and what careless writers add."""

_SEGMENT = re.compile(rb"\xff+([^\x00\xff])")
_RESTART = re.compile(rb"\xff+[\xd0-\xd7]")
_DAMAGED = re.compile(rb"Corrupt JPEG data|Premature end")
"""Of libjpeg's warnings (jerror.h); others are about an odd order of passes or of bytes beside the picture."""
_CODED_END = re.compile(rb"\xff+[^\x00\xd0-\xd7\xff]")
_BLOCK_END, _INVALID = 1000, 100
_BLOCK_BYTES = 300
"""More than a block's codes can take: 63 of at most 31 bits, and its mean."""
_DC_LIMIT = 1024
"""Of a block's mean, in steps of its table times their size: eight times half of 256 levels (T.81, A.3.3)."""


@dataclass(slots=True)
class _Plan:
    """What the headers say of the one scan: its units, blocks of each in coded order, and where the data begins."""

    height: int
    units: int
    units_across: int
    unit_height: int
    interval: int
    blocks: list[tuple[int, list[int], list[int], int]]  # component, DC table, AC table, most steps of DC
    begins: int


def _segments(data: bytes) -> dict[int, list[tuple[int, bytes]]]:
    """Bodies of the segments up to and with the first scan's header, by marker, each with where it ends."""
    segments: dict[int, list[tuple[int, bytes]]] = {}
    at = 2
    while segment := _SEGMENT.search(data, at):
        marker, start = segment[1][0], segment.end()
        at = start + int.from_bytes(data[start : start + 2], "big")
        segments.setdefault(marker, []).append((at, data[start + 2 : at]))
        if marker in (0xDA, 0xD9) or at <= start:
            break
    return segments


def _codes(body: bytes) -> list[tuple[int, list[int], bytes]]:
    """Huffman tables of one segment: class and number, codes of each length, values (T.81, B.2.4.2)."""
    tables, at = [], 0
    while at + 17 <= len(body):
        counts = list(body[at + 1 : at + 17])
        tables.append((body[at], counts, body[at + 17 : at + 17 + sum(counts)]))
        at += 17 + sum(counts)
    return tables


def _table(number: int, counts: list[int], values: bytes) -> list[int]:
    """For each 16 bits ahead: bits taken by code and figure, plus 64 times the coefficients gone on by (AC) or 64
    times the figure's bits (DC). 64 times ``_INVALID``: no such code."""
    table = np.full(1 << 16, _INVALID << 6, dtype=np.int64)
    code = place = 0
    for length, count in enumerate(counts, 1):
        for value in values[place : place + count]:
            size, run = value & 15, value >> 4
            if number < 16:
                entry = length + value | value << 6 if value <= 11 else _INVALID << 6
            elif size == 0 and run != 15:
                entry = length | _BLOCK_END << 6 if run == 0 else _INVALID << 6
            else:
                entry = length + size | run + 1 << 6
            table[code << 16 - length : code + 1 << 16 - length] = entry
            code += 1
        place += count
        code <<= 1
    return list(table.tolist())


def _planned(data: bytes) -> _Plan | None:
    """How the scan is coded; None: in a way that is not walked."""
    segments = _segments(data)
    frames = segments.get(0xC0, []) + segments.get(0xC1, [])
    if len(frames) != 1 or 0xDA not in segments:
        return None
    frame, (begins, scan) = frames[0][1], segments[0xDA][0]
    tables = {table[0]: _table(*table) for _, body in segments.get(0xC4, []) for table in _codes(body)}
    steps = {}
    for _, body in segments.get(0xDB, []):
        at = 0
        while at < len(body):
            wide = body[at] >> 4
            steps[body[at] & 15] = int.from_bytes(body[at + 1 : at + 2 + wide], "big")
            at += 65 + 64 * wide
    if frame[0] != 8 or scan[0] != frame[5]:
        return None
    height, width = int.from_bytes(frame[1:3], "big"), int.from_bytes(frame[3:5], "big")
    parts = [frame[6 + 3 * i : 9 + 3 * i] for i in range(frame[5])]
    alone = len(parts) == 1
    widest, tallest = (1, 1) if alone else (max(p[1] >> 4 for p in parts), max(p[1] & 15 for p in parts))
    blocks = []
    for place, part in enumerate(parts):
        chosen = scan[2 + 2 * place]
        times = 1 if alone else (part[1] >> 4) * (part[1] & 15)
        most = _DC_LIMIT // max(1, steps[part[2]]) + 2
        blocks += [(place, tables[chosen >> 4], tables[16 + (chosen & 15)], most)] * times
    across, down = -(-width // (8 * widest)), -(-height // (8 * tallest))
    interval = int.from_bytes(segments[0xDD][-1][1][:2], "big") if 0xDD in segments else 0
    return _Plan(height, across * down, across, 8 * tallest, interval or across * down, blocks, begins)


def jpeg_damage(data: bytes) -> Damage | None:
    """What is damaged. Not for a process with threads: what libjpeg says goes to the error output, which is read."""
    import cv2  # a tenth of a second that other formats need not wait for

    with tempfile.TemporaryFile() as output:
        kept = os.dup(2)
        os.dup2(output.fileno(), 2)
        try:
            # An eighth of the size: every code is read, and hardly a pixel is made.
            cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_REDUCED_GRAYSCALE_8)
        except cv2.error:
            pass  # a kind that it does not read: the other decoder has the word
        finally:
            os.dup2(kept, 2)
            os.close(kept)
        output.seek(0)
        warned = _DAMAGED.search(output.read()) is not None
    return walked(data) if warned or not has_end(data) else None


def walked(data: bytes) -> Damage | None:
    """What is wrong with the blocks; None: each is as it was coded.

    Every code is followed. A block is wrong where there is no such code, where it has more than 64 figures or a mean
    beyond black and white; a stretch between restarts where bits are left over, or missing before its end.
    """
    try:
        plan = _planned(data)
    except (KeyError, IndexError):
        return Damage()
    end = _CODED_END.search(data, plan.begins) if plan else None
    coded = data[plan.begins : end.start() if end else len(data)] if plan else b""
    if plan is None or len(coded) > WALKED_BYTES:
        return Damage()
    closed = end is not None and data[end.end() - 1] == 0xD9  # other markers have no place here
    pieces = _RESTART.split(coded)
    stretches = -(-plan.units // plan.interval)
    wrong: list[tuple[int, int]] = []
    for place, first in enumerate(range(0, plan.units, plan.interval)):
        until = min(first + plan.interval, plan.units)
        cut = place == len(pieces) - 1 and not closed
        sound = _walk(pieces[place], plan, until - first, cut) if place < len(pieces) else 0
        if sound is not None:
            wrong.append((first + sound, until if len(pieces) == stretches else plan.units))
    if not wrong:
        return None
    top, bottom = wrong[0][0] // plan.units_across, (wrong[-1][1] - 1) // plan.units_across + 1
    damage = Damage(top * plan.unit_height, min(plan.height, bottom * plan.unit_height), plan.height)
    return Damage() if damage.top == 0 and damage.bottom == plan.height and closed else damage


def _walk(coded: bytes, plan: _Plan, units: int, cut: bool) -> int | None:
    """Units of a stretch that are sound; None: all. ``cut``: the file breaks off at its end, and not before."""
    coded = coded.replace(b"\xff\x00", b"\xff")
    plain = np.frombuffer(coded + bytes(_BLOCK_BYTES), np.uint8).astype(np.uint64)
    ahead = plain[:-4].copy()
    for shift in range(1, 5):
        ahead = ahead << np.uint64(8) | plain[shift : len(plain) - 4 + shift]
    words, bits = ahead.data, 8 * len(coded)
    means, at = [0] * 4, 0
    for unit in range(units):
        for component, dc, ac, most in plan.blocks:
            entry = dc[words[at >> 3] >> 24 - (at & 7) & 0xFFFF]
            size = entry >> 6
            if size >= _INVALID:
                return unit
            at += entry & 63
            if size:
                start = at - size
                figure = words[start >> 3] >> 40 - size - (start & 7) & (1 << size) - 1
                means[component] += figure if figure >> size - 1 else figure - (1 << size) + 1
                if not -most <= means[component] <= most:
                    return unit
            place = 1
            while place < 64:
                entry = ac[words[at >> 3] >> 24 - (at & 7) & 0xFFFF]
                at += entry & 63
                place += entry >> 6
            if at > bits:
                return unit if cut else 0  # where it went wrong before that cannot be told
            if 64 < place < _BLOCK_END:
                return unit
    return 0 if bits - at > PADDING_BITS else None
