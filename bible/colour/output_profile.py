"""An ICC profile of a press condition: what its inks look like, and which inks make a colour.

ICC.1:2001-04 (version 2.4), class ``prtr``: the oldest form that every reader of PDF takes. Tables of 16 bits
(``mft2``); clause numbers are from memory. Made from the condition's own model, so it says of a tint just what the
screens here say. Pure functions over arrays.

Profiles may be made from these data and passed on where their report is named: ``PressCondition.source`` is, in the
profile's description and copyright.
"""

from __future__ import annotations

import struct
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from bible.colour.condition import FloatArray, PressCondition

INK_STEPS = 11
"""Nodes of each ink on the way to a colour: every tenth."""

LAB_STEPS = 17
"""Nodes of L*, a* and b* on the way back."""

SEARCHED = 26
"""Steps of each ink from which the way back begins."""

IN_GAMUT = 2.0
"""CIE76 beyond which a colour cannot be printed."""

MADE = (2026, 1, 1, 0, 0, 0)
"""The same condition gives the same bytes, so that the same pages do."""

CURVE = 256
"""Entries of a curve."""

U16 = npt.NDArray[np.uint16]


@lru_cache(maxsize=8)
def output_profile(press: PressCondition) -> bytes:
    """The profile of a condition, as bytes."""
    colour, (ink, gamut) = _mft2(4, 3, INK_STEPS, _colours(press)), _way_back(press)
    back = _mft2(3, 4, LAB_STEPS, ink)
    copyright_ = f"Free to use and pass on where the source is named: {press.source}"
    tags = [
        (("desc",), _description(f"{press.title} ({press.source})")),
        (("cprt",), b"text\0\0\0\0" + _ascii(copyright_) + b"\0"),
        (("wtpt",), b"XYZ \0\0\0\0" + b"".join(_s15f16(float(value)) for value in press.paper_xyz / 100)),
        # One table each way for every intent: nothing here bends colours to please.
        (("A2B0", "A2B1", "A2B2"), colour),
        (("B2A0", "B2A1", "B2A2"), back),
        (("gamt",), _mft2(3, 1, LAB_STEPS, gamut)),
    ]
    return _file(tags)


def _colours(press: PressCondition) -> U16:
    """CIE Lab relative to the paper, as ICC reckons it (Annex A), at every node; C varies slowest (6.5.8)."""
    steps = np.linspace(0, 100, INK_STEPS)
    grid = np.stack(np.meshgrid(steps, steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 4)
    return _lab_in_16_bits(press.relative_lab(grid))


def _with_key(cmy: FloatArray) -> FloatArray:
    """Three inks with the key that goes with them: none up to half strength of all three, full at their solid.

    On the way back only; a tint that somebody wrote is printed as it is written.
    """
    grey = np.clip(cmy.min(axis=1, keepdims=True), 0, 100)
    return np.hstack([cmy, 100 * np.clip((grey - 50) / 50, 0, 1) ** 2])


def _way_back(press: PressCondition) -> tuple[U16, U16]:
    """The inks nearest to every node of CIE Lab, and whether that is beyond the gamut."""
    lightness, chroma = np.linspace(0, 100, LAB_STEPS), np.linspace(-128, 65535 / 256 - 128, LAB_STEPS)
    wanted = np.stack(np.meshgrid(lightness, chroma, chroma, indexing="ij"), axis=-1).reshape(-1, 3)
    steps = np.linspace(0, 100, SEARCHED)
    cmy = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    _, nearest = cKDTree(press.relative_lab(_with_key(cmy))).query(wanted)
    nearer = _drawn_nearer(press, cmy[nearest], wanted)
    off = np.linalg.norm(press.relative_lab(_with_key(nearer)) - wanted, axis=1)
    inks = np.round(_with_key(nearer) / 100 * 65535).astype(np.uint16)
    return inks, np.where(off > IN_GAMUT, 65535, 0).astype(np.uint16)[:, None]


def _drawn_nearer(press: PressCondition, cmy: FloatArray, wanted: FloatArray, rounds: int = 4) -> FloatArray:
    """Gauss-Newton with a little damping, kept where it came nearer."""
    best, off = cmy, np.linalg.norm(press.relative_lab(_with_key(cmy)) - wanted, axis=1)
    for _ in range(rounds):
        here = press.relative_lab(_with_key(best))
        inward = np.where(best > 50, -1.0, 1.0)
        slopes = []
        for ink in range(3):
            moved = best.copy()
            moved[:, ink] += inward[:, ink]
            slopes.append((press.relative_lab(_with_key(moved)) - here) * inward[:, ink, None])
        slope = np.stack(slopes, axis=-1)
        square = np.swapaxes(slope, 1, 2) @ slope + 1e-3 * np.eye(3)
        step = np.linalg.solve(square, np.swapaxes(slope, 1, 2) @ (wanted - here)[..., None])[..., 0]
        tried = np.clip(best + step, 0, 100)
        now = np.linalg.norm(press.relative_lab(_with_key(tried)) - wanted, axis=1)
        nearer = now < off
        best, off = np.where(nearer[:, None], tried, best), np.where(nearer, now, off)
    return best


def _lab_in_16_bits(lab: FloatArray) -> U16:
    """As version 2 writes it: L* 100 is FF00h, a* and b* 0 are 8000h."""
    scaled = np.column_stack([lab[:, 0] * 652.8, (lab[:, 1] + 128) * 256, (lab[:, 2] + 128) * 256])
    return np.clip(np.round(scaled), 0, 65535).astype(np.uint16)


def _mft2(inputs: int, outputs: int, steps: int, table: U16) -> bytes:
    """``lut16Type`` (6.5.8) with straight curves at both ends; of Lab L* 100 (FF00h) becomes the last node, so that
    bare paper stays bare."""
    straight = np.linspace(0, 65535, CURVE)
    first = np.minimum(straight * (65535 / 0xFF00), 65535) if inputs == 3 else straight
    begin, ends = np.concatenate([first, *[straight] * (inputs - 1)]), np.tile(straight, outputs)
    unit = b"".join(_s15f16(float(i == j)) for i in range(3) for j in range(3))
    head = b"mft2\0\0\0\0" + struct.pack(">4B", inputs, outputs, steps, 0) + unit + struct.pack(">2H", CURVE, CURVE)
    return head + b"".join(np.round(values).astype(">u2").tobytes() for values in (begin, table, ends))


def _description(words: str) -> bytes:
    """``textDescriptionType`` (6.5.17): plain letters alone, the other two languages empty."""
    plain = _ascii(words) + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(plain)) + plain + bytes(4 + 4 + 2 + 1 + 67)


def _ascii(words: str) -> bytes:
    return words.encode("ascii", "replace")


def _s15f16(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def _file(tags: list[tuple[tuple[str, ...], bytes]]) -> bytes:
    """Header, tag table and tags (6.1 to 6.3); tags that are alike share their bytes."""
    number = sum(len(names) for names, _ in tags)
    at, table, body = 128 + 4 + 12 * number, struct.pack(">I", number), b""
    for names, data in tags:
        for name in names:
            table += name.encode() + struct.pack(">2I", at + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    head = struct.pack(
        ">I4sI4s4s4s6H4s4sI4s4sQI", at + len(body), b"\0\0\0\0", 0x02400000, b"prtr", b"CMYK", b"Lab ", *MADE,
        b"acsp", b"\0\0\0\0", 0, b"\0\0\0\0", b"\0\0\0\0", 0, 1,
    )  # fmt: skip
    head += b"".join(_s15f16(float(value)) for value in (0.9642, 1.0, 0.8249))
    return head + bytes(128 - len(head)) + table + body
