"""Checking the settings of a notation, so that no text ever has two readings."""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from bible.colour.notation_errors import NotationSettingError
from bible.colour.notation_scan import fold
from bible.colour.tints import INK_NAMES, INKS

Pairs = tuple[tuple[str, int], ...]

MAX_STEPS = 12
MAX_ALIASES = 100
STYLES = ("letters", "percent")

_FIGURE = re.compile(r"[1-9][0-9]{0,2}|")
_ALIAS_FIGURE = re.compile(r"[0-9]|[1-9][0-9]{1,2}")


FIELDS = frozenset({"letters", "paper", "order", "steps", "aliases", "style", "key_steps"})


def checked(
    *,
    letters: object,
    paper: object,
    order: object,
    steps: object,
    aliases: object,
    style: object,
    key_steps: object,
) -> dict[str, Any]:
    """The settings of a notation in their normal form.

    Raises:
        NotationSettingError: they make no notation.
    """
    own_letters, own_paper = _letters(letters, paper)
    own_steps = _steps("steps", steps)
    own_key = _key_steps(key_steps)
    if not isinstance(order, str) or sorted(order.lower()) != sorted(INKS):
        raise NotationSettingError("order", "the order names each of c, m, y and k once, such as “ymck”")
    if style not in STYLES:
        raise NotationSettingError("style", f"the style is one of {', '.join(STYLES)}")
    return {
        "letters": own_letters,
        "paper": own_paper,
        "order": order.lower(),
        "steps": own_steps,
        "key_steps": own_key,
        "aliases": _aliases(aliases, own_letters, own_steps, own_key),
    }


def from_mapping(data: Mapping[str, Any]) -> dict[str, Any]:
    """Keyword arguments for ``Notation`` out of stored JSON; mappings and pairs are both taken."""
    if not isinstance(data, Mapping):
        raise NotationSettingError("notation", "the settings of a notation are a mapping")
    unknown = sorted(str(key) for key in data.keys() - FIELDS)
    if unknown:
        raise NotationSettingError(unknown[0], f"a notation has no setting “{unknown[0]}”")
    settings = dict(data)
    letters = settings.get("letters")
    if isinstance(letters, Mapping):
        if letters.keys() != set(INKS):
            raise NotationSettingError("letters", "give one letter for each of c, m, y and k")
        singles = [letters[ink] for ink in INKS]
        if not all(isinstance(letter, str) and len(letter) == 1 for letter in singles):
            raise NotationSettingError("letters", "each ink has one letter")
        settings["letters"] = "".join(singles)
    for field in ("steps", "key_steps", "aliases"):
        if field in settings:
            settings[field] = _pairs(field, settings[field])
    return settings


def _pairs(field: str, value: object) -> Pairs:
    entries = value.items() if isinstance(value, Mapping) else value
    try:
        pairs = tuple((figure, percent) for figure, percent in entries)  # type: ignore[attr-defined]
    except (TypeError, ValueError):
        raise NotationSettingError(field, f"{field} pair a figure with a percentage") from None
    for figure, percent in pairs:
        if not isinstance(figure, str) or isinstance(percent, bool) or not isinstance(percent, int):
            raise NotationSettingError(field, f"{field} pair a figure with a whole percentage")
    return pairs


def _letters(letters: object, paper: object) -> tuple[str, str]:
    if not isinstance(letters, str) or len(letters) != len(INKS):
        raise NotationSettingError("letters", "give four letters: for cyan, magenta, yellow and key, in this order")
    if not isinstance(paper, str) or len(paper) != 1:
        raise NotationSettingError("paper", "bare paper has one letter")
    folded = [fold(letter) for letter in letters + paper]
    for place, letter in enumerate(folded):
        field = "letters" if place < len(INKS) else "paper"
        ink = INKS[place] if place < len(INKS) else None
        if not letter.isalpha():
            raise NotationSettingError(field, f"“{letter}” is not a letter")
        if letter in folded[:place]:
            raise NotationSettingError(field, f"the letter {letter} is used twice")
        if letter in "CMYK" and letter.lower() != ink:
            owner = INK_NAMES[letter.lower()]
            raise NotationSettingError(field, f"{letter} is kept for {owner}, its letter among the percentages")
    return "".join(folded[:-1]), folded[-1]


def _check_long_figure(field: str, figure: str, percent: int) -> None:
    if len(figure) > 1 and int(figure) != percent:
        message = f"the figure {figure} would be taken for {figure} %; use a single digit, or let it mean that"
        raise NotationSettingError(field, message)


def _steps(field: str, value: object, *, least: int = 1) -> Pairs:
    steps = _pairs(field, value)
    if not least <= len(steps) <= MAX_STEPS:
        raise NotationSettingError(field, f"a notation has {least} to {MAX_STEPS} steps, not {len(steps)}")
    for figure, percent in steps:
        if not _FIGURE.fullmatch(figure):
            raise NotationSettingError(field, f"“{figure}” is no figure of a step: digits, or nothing at all")
        if not 1 <= percent <= 100:
            raise NotationSettingError(field, f"a step lies between 1 and 100 %, not {percent}")
        _check_long_figure(field, figure, percent)
    if len({figure for figure, _ in steps}) != len(steps):
        raise NotationSettingError(field, "a figure has one meaning; one is there twice")
    ordered = sorted(steps, key=lambda step: -step[1])
    for (_, stronger), (figure, weaker) in pairwise(ordered):
        if stronger == weaker:
            message = f"{weaker} % has two figures; make “{figure}” an alias instead"
            raise NotationSettingError(field, message)
    return tuple(ordered)


def _key_steps(value: object) -> Pairs:
    """As steps, or none; the key letter alone is solid key in every notation, and nothing else is."""
    steps = _steps("key_steps", value, least=0)
    if any((figure == "") != (percent == 100) for figure, percent in steps):
        raise NotationSettingError("key_steps", "solid key is its letter alone, and its letter alone is solid")
    return steps


def _aliases(value: object, letters: str, steps: Pairs, key_steps: Pairs) -> Pairs:
    pairs = _pairs("aliases", value)
    if len(pairs) > MAX_ALIASES:
        raise NotationSettingError("aliases", f"a notation has at most {MAX_ALIASES} aliases, not {len(pairs)}")
    key = letters[INKS.index("k")]
    own_codes = {letter + figure for letter in letters.replace(key, "") for figure, _ in steps}
    own_codes |= {key + figure for figure, _ in key_steps}
    aliases: dict[str, int] = {}
    for written, percent in pairs:
        code = "".join(fold(sign) for sign in written if not sign.isspace())
        letter, figure = code[:1], code[1:]
        if not letter or letter not in letters or not _ALIAS_FIGURE.fullmatch(figure):
            message = f"“{written}” is no alias: it takes the letter of an ink ({', '.join(letters)}) and a figure"
            raise NotationSettingError("aliases", message)
        if letter == "K":
            raise NotationSettingError("aliases", f"“{code}” is a percentage of key already")
        if code in own_codes:
            raise NotationSettingError("aliases", f"“{code}” is a step already")
        if code in aliases:
            raise NotationSettingError("aliases", f"“{code}” is there twice")
        if not 0 <= percent <= 100:
            raise NotationSettingError("aliases", f"an alias means 0 to 100 %, not {percent}")
        _check_long_figure("aliases", figure, percent)
        aliases[code] = percent
    return tuple(sorted(aliases.items()))
