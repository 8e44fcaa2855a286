"""Dates as people write them in tables: 2026-11-25, 25.11.2026, 25 Nov 2026, November 2026, 2026年11月. No Django in
here."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass

from guides.imports.texts import alike

_MONTHS = (
    "jan january januar janvier janv enero ene gennaio gen jänner",
    "feb february februar février févr fevrier febrero febbraio feber",
    "mar march märz mrz mars marzo maerz",
    "apr april avril avr abril abr aprile",
    "may mai mayo maggio mag",
    "jun june juni juin junio giugno giu",
    "jul july juli juillet juil julio luglio lug",
    "aug august août aout agosto ago",
    "sep sept september septembre septiembre settembre set",
    "oct october oktober okt octobre octubre ottobre ott",
    "nov november novembre noviembre",
    "dec december dezember dez décembre decembre diciembre dic dicembre déc",
)
MONTHS = {name: number for number, names in enumerate(_MONTHS, 1) for name in names.split()}
"""Names of months in English, German, French, Spanish and Italian, short ones too."""

DAY_FIRST, MONTH_FIRST = "day", "month"
_FIGURES = re.compile(r"(\d{1,4})\s*([./\-])\s*(\d{1,2})\s*\2\s*(\d{1,4})")
_JAPANESE = re.compile(r"(\d{4})年\s*(\d{1,2})月(?:\s*(\d{1,2})日)?")
_YEAR_MONTH = re.compile(r"(\d{4})\s*[./\-]\s*(\d{1,2})|(\d{1,2})\s*[./\-]\s*(\d{4})")
_TIME = re.compile(r"[t ]\d{1,2}:\d{2}.*$")
_ORDINAL = re.compile(r"(?<=\d)(?:st|nd|rd|th|er|\.|º|°)(?=\s|$)")
_NOISE = frozenset(["de", "del", "di", "du", "des", "the", "of", "den", "der", "am", "le", "el", "il", "la"])


@dataclass(frozen=True, slots=True)
class DateRead:
    """``guessed``: the table does not say its day, or its order of day and month had to be chosen."""

    date: dt.date
    guessed: str = ""


def order_of(cells: Iterable[str]) -> str | None:
    """Whether days or months stand first in a column of dates such as 3/4/2026: what its unmistakable dates say;
    empty where nothing has to be told apart; None where it cannot be told, or they contradict each other."""
    orders: set[str] = set()
    doubtful = False
    for cell in cells:
        if (pair := _short(cell)) is None:
            continue
        first, second, sign = pair
        if first > 12 >= second:
            orders.add(DAY_FIRST)
        elif second > 12 >= first:
            orders.add(MONTH_FIRST)
        elif first != second:
            if sign == ".":
                orders.add(DAY_FIRST)  # nobody writes a month first with points behind it
            else:
                doubtful = True
    if len(orders) == 1:
        return orders.pop()
    return None if orders or doubtful else ""


def _short(cell: str) -> tuple[int, int, str] | None:
    """The first two figures of a date that ends with its year."""
    match = _FIGURES.fullmatch(_TIME.sub("", alike(cell)))
    if match is None or len(match[1]) > 2:
        return None
    return int(match[1]), int(match[3]), match[2]


def read_date(cell: str, order: str) -> DateRead | None:
    """The date a cell says; None where it says none.

    Args:
        order: ``DAY_FIRST`` or ``MONTH_FIRST``, for dates that do not say it themselves.
    """
    text = _ORDINAL.sub("", _TIME.sub("", alike(cell))).strip().rstrip(".")
    for read in (_of_figures, _of_japanese, _of_words, _of_month):
        try:
            if date := read(text, order):
                return date
        except ValueError:  # no such day
            return None
    return None


def _year(figures: str) -> int:
    """A year of two figures lies within the last eighty years or the next twenty."""
    year = int(figures)
    if len(figures) > 2:
        return year
    this = dt.datetime.now(tz=dt.UTC).year
    near = this - this % 100 + year
    return near - 100 if near > this + 20 else near


def _of_figures(text: str, order: str) -> DateRead | None:
    match = _FIGURES.fullmatch(text)
    if match is None:
        return None
    first, _, second, third = match.groups()
    if len(first) == 4:
        return DateRead(dt.date(int(first), int(second), int(third)))
    day, month = int(first), int(second)
    if (order == MONTH_FIRST and day <= 12) or month > 12:
        day, month = month, day
    return DateRead(dt.date(_year(third), month, day))


def _of_japanese(text: str, order: str) -> DateRead | None:
    match = _JAPANESE.fullmatch(text)
    if match is None:
        return None
    return _whole(int(match[1]), int(match[2]), match[3])


def _of_words(text: str, order: str) -> DateRead | None:
    words = [word for word in re.split(r"[\s,./\-]+", text) if word and word not in _NOISE]
    months = [MONTHS[word] for word in words if word in MONTHS]
    figures = [word for word in words if word.isdecimal()]
    if len(months) != 1 or len(months) + len(figures) != len(words) or not 1 <= len(figures) <= 2:
        return None
    if len(figures) == 2 and len(figures[0]) == 4:
        figures.reverse()
    day, year = (figures[0], figures[1]) if len(figures) == 2 else (None, figures[0])
    return _whole(_year(year), months[0], day)


def _of_month(text: str, order: str) -> DateRead | None:
    match = _YEAR_MONTH.fullmatch(text)
    if match is None:
        return None
    year, month = (match[1], match[2]) if match[1] else (match[4], match[3])
    return _whole(int(year), int(month), None)


def _whole(year: int, month: int, day: str | None) -> DateRead:
    if day is None:
        return DateRead(dt.date(year, month, 1), "no day is said, so the first of the month is kept")
    return DateRead(dt.date(year, month, int(day)))


def in_words(date: dt.date) -> str:
    """“25 November 2026”: no two people read it differently."""
    return f"{date.day} {date:%B} {date.year}"
