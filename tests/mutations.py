"""Damage to files, for whatever has to stand them."""

from __future__ import annotations

import io
import random
import zipfile


def mutated(data: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    """Bytes changed, runs cut out, doubled, filled or taken from another file; the beginning more than the rest."""
    changed = bytearray(data)
    for _ in range(draw.choice([1, 1, 2, 4, 16])):
        reach = len(changed) if draw.random() < 0.5 else min(len(changed), 400)
        at, run = draw.randrange(reach) if reach else 0, draw.choice([1, 2, 4, 64])
        match draw.randrange(7):
            case 0 | 1:
                changed[at : at + 1] = bytes([draw.randrange(256)])
            case 2:
                changed[at : at + run] = draw.choice([b"\xff", b"\x00", b"\x7f", b'"', b"9" * 9]) * run
            case 3:
                del changed[at : at + run]
            case 4:
                changed[at:at] = changed[at : at + run]
            case 5:
                other = draw.choice(others)
                changed[at : at + run] = other[at : at + run]
            case _:
                del changed[draw.randrange(len(changed) + 1) :]
    return bytes(changed)


def inside_zip(data: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    """A well-formed zip with one member damaged: past the checksum, into what reads the member."""
    with zipfile.ZipFile(io.BytesIO(data)) as old:
        members = {name: old.read(name) for name in old.namelist()}
    name = draw.choice(sorted(members))
    members[name] = mutated(members[name], draw, [*members.values()])
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", draw.choice([zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])) as new:
        for one, content in members.items():
            new.writestr(one, content)
    return out.getvalue()
