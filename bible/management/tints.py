"""Tints as the commands print them: code, percentages and the printed colour, computed all at once."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from bible.colour.notation import Notation, percent_code
from bible.colour.press import PressCondition
from bible.colour.tints import INKS, Tint, as_array


def named(tint: Tint, notation: Notation) -> dict[str, Any]:
    """A tint without its colour."""
    return {
        "code": notation.write(tint),
        "percent": percent_code(tint),
        **dict(zip(INKS, tint.percentages, strict=True)),
    }


def described(tints: Sequence[Tint], notation: Notation, press: PressCondition) -> list[dict[str, Any]]:
    """Tints with their printed colour: CIELAB (D50, 2°, absolute, unrounded), sRGB, ink and dot gain."""
    if not tints:
        return []
    rows = as_array(tints)
    screens = press.srgb(rows, relative=False)
    return [
        {
            **named(tint, notation),
            "lab": lab,
            "srgb": "#" + bytes(rgb).hex(),
            "out_of_gamut": clipped,
            "total_ink": tint.total_ink,
            "effective_coverage": dict(zip(INKS, coverage, strict=True)),
            "press": press.name,
        }
        for tint, lab, rgb, clipped, coverage in zip(
            tints,
            press.lab(rows).tolist(),
            screens.rgb,
            screens.out_of_gamut.tolist(),
            press.effective_coverage(rows).coverage.tolist(),
            strict=True,
        )
    ]


def line(answer: dict[str, Any]) -> str:
    """One described tint for people."""
    lab = "  ".join(f"{axis} {value:.1f}" for axis, value in zip(("L*", "a*", "b*"), answer["lab"], strict=True))
    clipped = " (outside sRGB)" if answer["out_of_gamut"] else ""
    return f"{answer['code']}  =  {answer['percent']}   {lab}   {answer['srgb']}{clipped}   on {answer['press']}"
