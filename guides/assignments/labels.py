"""Pages as people type a lot of them, and as they read them: “cover, 1-8, 14a”."""

from __future__ import annotations

import re
from collections.abc import Iterable

from bible.series.refusals import Refused
from guides.core.labels import clean_label, page_order, runs
from guides.models import PAGE_LABEL_LENGTH

MOST_AT_ONCE = 200
"""More pages than an annual has; “1-2200” for “1-22” is a slip."""

_RUN = re.compile(r"(?:pages?|pp?\.?)?\s*(\d{1,5})\s*(?:[-–—]|to)\s*(\d{1,5})", re.ASCII | re.IGNORECASE)


def read_pages(text: str, last: int | None = None) -> list[str]:
    """Labels from “cover, 1-8, 14a”, in the order of the issue, each once.

    A run is its single pages, whatever spreads they will come in as.

    Args:
        last: the last numbered page of the issue where that is said.

    Raises:
        Refused: a run that goes backwards, pages beyond the last one, a label too long, or too many.
    """
    labels: dict[str, None] = {}
    for piece in filter(None, (piece.strip() for piece in re.split(r"[,;\n]", text))):
        labels |= dict.fromkeys(_read_piece(piece, last))
        if len(labels) > MOST_AT_ONCE:
            raise Refused(f"That is more than {MOST_AT_ONCE} pages: give them by parts.")
    return sorted(labels, key=lambda label: (page_order(label), label))


def _read_piece(piece: str, last: int | None) -> list[str]:
    if run := _RUN.fullmatch(piece):
        first, final = int(run[1]), int(run[2])
        if final < first:
            raise Refused(f"“{piece}” runs backwards.")
        if final - first >= MOST_AT_ONCE:
            raise Refused(f"“{piece}” is more than {MOST_AT_ONCE} pages.")
        labels = [str(number) for number in range(first, final + 1)]
    else:
        labels = [clean_label(piece)]
    beyond = [label for label in labels if last and label.isdecimal() and int(label) > last]
    if beyond:
        raise Refused(
            f"The issue has {last} numbered pages, and “{piece}” goes beyond. How many it has is said under “What is"
            " still open”."
        )
    if any(len(label) > PAGE_LABEL_LENGTH for label in labels):
        raise Refused(f"“{piece[:40]}” is too long for a page: at most {PAGE_LABEL_LENGTH} letters.")
    return labels


def pages_in_words(labels: Iterable[str]) -> str:
    """“cover, 1-8, 14a”: in the order of the issue, runs of numbered pages as runs."""
    pieces: list[str] = []
    numbers: list[int] = []
    for label in sorted(set(labels), key=lambda label: (page_order(label), label)):
        if label.isdecimal():
            numbers.append(int(label))
            continue
        pieces += [runs(numbers)] if numbers else []
        pieces, numbers = [*pieces, label], []
    return ", ".join([*pieces, runs(numbers)] if numbers else pieces)
