"""What can be wrong with a code, or with the settings of a notation."""

from __future__ import annotations

import unicodedata
from enum import StrEnum
from typing import Any

from bible.colour.tints import Tint


class Reason(StrEnum):
    """Why a code can't be read. The values are stable: screens, exports and scripts may rely on them."""

    NOTHING = "nothing_there"
    TOO_LONG = "too_long"
    UNKNOWN_LETTER = "unknown_letter"
    UNKNOWN_CHARACTER = "unknown_character"
    UNKNOWN_STEP = "step_not_on_chart"
    INK_TWICE = "ink_given_twice"
    PAPER_MIXED = "paper_mixed_with_ink"
    FIGURE_ALONE = "figure_without_ink"
    FIGURE_MISSING = "percentage_missing"
    MIXED = "mixed_notations"
    OUT_OF_RANGE = "percentage_out_of_range"
    NOT_WHOLE = "percentage_not_whole"
    NOT_ON_CHART = "tint_not_on_chart"


class NotationError(ValueError):
    """A text that is no code.

    Attributes:
        text: the text as given.
        position: index into ``text`` (from 0) where the trouble starts.
        token: the piece of ``text`` that starts there.
        reason: a ``Reason`` (a ``str``).
        suggestions: at most four codes of the chart, nearest first.
        tint: what the text says, when the only trouble is that this tint is not on the chart; else None.
    """

    def __init__(
        self,
        message: str,
        *,
        text: str,
        position: int,
        token: str,
        reason: Reason,
        suggestions: tuple[str, ...] = (),
        tint: Tint | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.text = text
        self.position = position
        self.token = token
        self.reason = reason
        self.suggestions = suggestions
        self.tint = tint

    def to_dict(self) -> dict[str, Any]:
        return {
            "error": self.message,
            "position": self.position,
            "token": self.token,
            "reason": str(self.reason),
            "suggestions": list(self.suggestions),
        }


class NotationSettingError(ValueError):
    """Settings that make no notation; ``field`` is the setting at fault ("letters", "steps", "aliases" …)."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field
        self.message = message


def shown(token: str) -> str:
    """``token`` in quotation marks; its first sign beyond ASCII is named, as it may look like another."""
    odd = next((sign for sign in token if not sign.isspace() and not (sign.isascii() and sign.isprintable())), "")
    if not odd:
        return f"“{token}”"
    name = unicodedata.name(odd, f"U+{ord(odd):04X}").lower()
    return f"“{name}”" if token == odd and not odd.isprintable() else f"“{token}” ({name})"
