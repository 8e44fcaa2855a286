"""Stand-ins for what was shown, signed or sent, so that a yes is to exactly that."""

from __future__ import annotations

import hashlib

LENGTH = 32
"""Hexadecimal digits: 128 bits, far beyond meeting another text by chance."""


WHOLE = 64
"""All digits of a SHA-256: for what others may work out again with their own tools."""


def digest(content: str | bytes, length: int = LENGTH) -> str:
    """The same for the same content, another for any other: the first digits of its SHA-256, text as UTF-8."""
    data = content.encode() if isinstance(content, str) else content
    return hashlib.sha256(data).hexdigest()[:length]
