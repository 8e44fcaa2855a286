"""Short stand-ins for what was shown, so that a yes is to exactly that."""

from __future__ import annotations

import hashlib

LENGTH = 32
"""Hexadecimal digits: 128 bits, far beyond meeting another text by chance."""


def digest(text: str) -> str:
    """The same for the same text, another for any other."""
    return hashlib.sha256(text.encode()).hexdigest()[:LENGTH]
