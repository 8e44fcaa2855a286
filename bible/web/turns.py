"""Signs that turn the direction of writing. No Django in here."""

from __future__ import annotations

TURNS = dict.fromkeys((*range(0x202A, 0x202F), *range(0x2066, 0x206A)))
"""Embeddings, overrides, isolates and what ends them (Unicode Standard Annex 9, section 2)."""


def without_turns(text: str) -> str:
    """The text without signs that turn its direction."""
    return text if text.isascii() else text.translate(TURNS)
