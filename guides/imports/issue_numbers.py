"""Issue numbers and runs of issues as people write them: “#7”, “No. 07”, “Issues 12-18”, “ab Heft 12”. No Django in
here: what is an issue is the series' to say."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Generic, TypeVar

from guides.imports.texts import alike

Thing = TypeVar("Thing")

_BEFORE = re.compile(
    r"^(?:(?:issues?|numbers?|nos?|nrs?|numéros?|números?|numeros?|nummern?|hefte?|ausgaben?|albo|albi|ejemplar(?:es)?"
    r"|iss|n\.?o|nº|n°|n|第|nr|edições|edição|zeszyt|выпуск|номер)\.?\s*(?=[#\d])|[#№]\s*(?=\d))+"
)
_BEHIND = re.compile(r"(?<=\d)\s*(?:号|話|巻)$")
_ZEROS = re.compile(r"^0+(?=\d)")
_POINT_ZERO = re.compile(r"^(\d+)\.0+$")


def number_key(text: str) -> str:
    """What two ways to write one issue have in common: “7” for “#7”, “No. 07” and “Heft 7”; “annual 2”."""
    number = alike(text).replace("º", "o").replace("no.", "no. ")
    number = _BEHIND.sub("", _BEFORE.sub("", alike(number)).strip()).strip()
    return _ZEROS.sub("", _POINT_ZERO.sub(r"\1", number))


def plain_number(text: str) -> str:
    """A new issue's number as it is kept: “7” for “#7” and “No. 07”; anything but a plain figure as it is written."""
    key = number_key(text)
    return key if key.isdigit() and key.isascii() else text


class Numbered(Generic[Thing]):
    """Issues by their numbers: as they are printed first, then as people write them where that is only one."""

    def __init__(self, pairs: Iterable[tuple[str, Thing]]) -> None:
        self._printed: dict[str, Thing] = {}
        self._keys: dict[str, list[Thing]] = {}
        for number, value in pairs:
            self.add(number, value)

    def add(self, number: str, value: Thing) -> None:
        self._printed[alike(number)] = value
        self._keys.setdefault(number_key(number), []).append(value)

    def get(self, number: str) -> Thing | None:
        if (printed := self._printed.get(alike(number))) is not None:
            return printed
        by_key = self._keys.get(number_key(number), [])
        return by_key[0] if len(by_key) == 1 else None


_ALL = frozenset((
    "all", "always", "alle", "immer", "toutes", "tous", "todos", "todas", "siempre", "tutti", "sempre", "every",
    "すべて", "全号",
))  # fmt: skip
_WORDS_BEFORE = r"(?:issues?|nos?\.?|nrs?\.?|hefte?|ausgaben?|numéros?|números?|numeri|n°|第)?\s*"
_RUN = re.compile(
    rf"^{_WORDS_BEFORE}(?:from|von|de|du|desde|da|dal)?\s*(?P<first>\S.*?)\s*"
    r"(?:\.\.+|-|(?<![^\W\d_])(?:to|till?|until|through|thru|bis|à|au|hasta|fino a|al)(?![^\W\d_])|から|〜|~)"
    r"\s*(?P<last>\S.*?)(?:まで|\s*\(?(?:incl(?:\.|usive|uded|us)?|inkl\.?|einschließlich|inclus|incluido|incluso)\)?)?$"
)
_ONWARDS = re.compile(
    r"^(?:(?:(?:from|since|starting|ab|seit|dès|depuis|à partir de|à partir du|desde|a partir de|da|dal)\s+"
    r"|[≥>]=?\s*)"
    rf"{_WORDS_BEFORE}"
    r"(?P<a>\S.*?)(?:\s+(?:on|onwards?))?|(?P<b>\S.*?)\s*(?:\+|\s(?:on|onwards?|and up|and on|ff\.?)|-|から))$"
)
_UP_TO = re.compile(r"^(?:(?:up to|until|till?|to|through|bis|jusqu'à|jusqu'au|hasta|fino a)\s+|-\s*)(?P<last>\S.*)$")


def run_of(text: str) -> tuple[str, str] | None:
    """The first and last issue that a cell says, each empty where it is open; None where it says one issue or none
    that can be told. Whether there are such issues is for the series to say, so whoever asks tries the whole cell as
    one issue before."""
    words = alike(text)
    if words in _ALL:
        return "", ""
    if match := _UP_TO.match(words):
        return "", match["last"]
    if match := _ONWARDS.match(words):
        return match["a"] or match["b"], ""
    if match := _RUN.match(words):
        return match["first"], match["last"]
    return None
