"""What a series' own words make of a table: its notation, its roles, the headings somebody named by hand. No Django
in here."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field

from bible.colour.gradients import read_tint_or_gradient
from bible.colour.notation import LETTERS_64, Notation, NotationError
from guides.imports.codes import Reads

ROLE_WORDS: Mapping[str, str] = {
    word.strip(): role
    for role, words in {
        "base": "base, basis, grundton, grundfarbe, base colour, base color, couleur de base, color base, ベース"
        ", cor base, baza, база, основной, bas",
        "shade": "shade, shadow, shadows, shading, schatten, schattenton, ombre, ombres, sombra, ombra, 影, 影色"
        ", dark, dunkel, schaduw, cień, тень, skugga, skygge",
        "highlight": "highlight, highlights, licht, lichter, glanzlicht, lumière, luz, luces, luce, luci, ハイライト"
        ", light, hell, hooglicht, światło, блик, свет, ljus, lys",
    }.items()
    for word in words.split(",")
}
"""Headings that are roles every series begins with, in several languages (common practice, no source)."""


def reader_of(notation: Notation) -> Callable[[str], bool]:
    """Whether a notation reads a text, each text looked at once."""
    seen: dict[str, bool] = {}

    def reads(text: str) -> bool:
        if text not in seen:
            try:
                read_tint_or_gradient(text, notation.read_plain)
                seen[text] = True
            except NotationError:
                seen[text] = False
        return seen[text]

    return reads


Nearest = Callable[[str], tuple[str, float] | None]
"""For six hexadecimal figures of sRGB the nearest code of the chart and its CIEDE2000; None for any other text."""


@dataclass(frozen=True, slots=True)
class SeriesWords:
    """``nearest``: the code nearest to a screen colour, as ``press`` prints it, its paper the screen's white.
    ``reads``: whether its notation reads a text. ``roles``: normal heading to the role it names. ``remembered``:
    normal heading to the field somebody named it for. ``known``: names of its subjects and parts, as they are
    compared."""

    reads: Reads
    nearest: Nearest | None = None
    press: str = ""
    roles: Mapping[str, str] = field(default_factory=lambda: ROLE_WORDS)
    remembered: Mapping[str, str] = field(default_factory=dict)
    known: Collection[str] = ()


USUAL = SeriesWords(reader_of(LETTERS_64))
"""Of no series: the classic notation."""
