"""Signs that turn the direction of writing, and texts without a sign that can be seen. No Django in here."""

from __future__ import annotations

import unicodedata

TURNS = dict.fromkeys((*range(0x202A, 0x202F), *range(0x2066, 0x206A)))
"""Embeddings, overrides, isolates and what ends them (Unicode Standard Annex 9, section 2)."""


def without_turns(text: str) -> str:
    """The text without signs that turn its direction."""
    return text if text.isascii() else text.translate(TURNS)


def is_unseen(text: str) -> bool:
    """Whether it has signs that shape or part others (category Cf: Unicode Standard, section 4.5), and none that
    can be seen. Blanks alone are the field's to judge: a password may be of them."""
    kinds = {unicodedata.category(sign) for sign in text} if not text.isascii() else set()
    return "Cf" in kinds and kinds <= {"Cf", "Cc", "Zs", "Zl", "Zp"}


def without_unseen(text: str) -> str:
    """The text without signs that turn its direction; empty where nobody would see anything of it."""
    plain = without_turns(text)
    return "" if is_unseen(plain) else plain
