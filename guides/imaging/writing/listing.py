"""Written codes as other programs take them."""

from __future__ import annotations

from typing import Any

from guides.imaging.writing.page import WrittenCode


def listed(code: WrittenCode) -> dict[str, Any]:
    """A code as JSON: its level box in whole pixels of the picture as given, readings, chances and states."""
    return {
        "box": [round(edge) for edge in code.box],
        "angle": round(code.angle, 1),
        "text": code.text,
        "code": code.code,
        "p": code.p,
        "alternatives": [{"code": other.code, "p": other.p} for other in code.alternatives],
        "unreadable": code.unreadable,
        "crossed_out": code.crossed_out,
    }
