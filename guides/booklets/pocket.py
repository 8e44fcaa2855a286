"""What the pocket look-up takes along: every code of a series as of an issue, small enough for a phone.

Its page has the only service worker, scoped to itself by lying below it. The server's word goes first; a redirect
to the sign-in, 401, 403 or 404 throws everything away, and so does signing out. ``Clear-Site-Data`` would also have
taken the desk's unsent work. The page does not extend ``base.html``: what is kept holds nobody's name and no token.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from typing import Any

from bible.colour.colour_words import REGIONS, is_called
from bible.colour.gradients import ends_of
from bible.colour.tints import Tint, as_array
from bible.locks.queries import SUCH_A_COLOUR, WEARS_IT, WORE_IT
from bible.locks.wording import WEIGHTS
from bible.models import Lock, Series
from bible.series.running_order import AsOf, RunningOrder
from guides.booklets.queries import Book, Code, make_book


def pocket_data(series: Series, as_of: AsOf, now: dt.datetime) -> dict[str, Any]:
    """As JSON takes it: ``parts`` in the bible's order, each code with its role, tint in words, printed colour and
    what people call that; ``wore`` are a part's codes of other issues.

    Nothing of it is anybody's own talk: a guest reads the same. The number of queries does not depend on its size.
    """
    book = make_book(series, as_of, series.subjects.active(), crops=False)
    order = RunningOrder.of(series)
    called = _called(book)
    wore = _wore(series, as_of, order)

    return {
        "series": series.title,
        "issue": book.as_of.number,
        "issues": [issue.number for issue in order.issues if not issue.archived_at],
        "made_at": now.isoformat(),
        "press": book.press.title,
        "edition": as_of.edition_name or "",
        "editions": [edition.name for edition in series.editions.active().in_order()],
        "also": book.also_written,
        "weights": WEIGHTS | {"wears": WEARS_IT, "wore": WORE_IT, "called": SUCH_A_COLOUR},
        "parts": [
            {
                "subject": sheet.subject.name,
                "costume": costume.name,
                "part": part.name,
                "worn": costume.in_use,
                "codes": [_code(code, book, called[ends_of(code.locked)[0]]) for code in part.codes],
                "wore": wore[part.pk],
            }
            for sheet in book.sheets
            for costume in sheet.costumes
            for part in costume.parts
        ],
    }


def _called(book: Book) -> dict[Tint, list[str]]:
    """What each tint of a book may be called in print: “red coat” finds its part without connection too."""
    tints = list({ends_of(code.locked)[0] for sheet in book.sheets for code in sheet.codes})
    if not tints:
        return {}
    lab = book.press.relative_lab(as_array(tints))
    fits = {term: is_called(lab, term) for term in REGIONS}
    return {tint: [term for term in REGIONS if fits[term][at]] for at, tint in enumerate(tints)}


def _wore(series: Series, as_of: AsOf, order: RunningOrder) -> dict[int, list[dict[str, str]]]:
    """By part, the codes that it has in other issues."""
    wore: dict[int, list[dict[str, str]]] = defaultdict(list)
    standing = Lock.every_printing.filter(series=series).of_printing(as_of.edition).standing()
    for lock in standing.by_role(series.roles):
        if not lock.holds_at(as_of.position):
            code = {"role": series.roles.name(lock.role), "code": series.write(lock.locked), "when": order.span(lock)}
            wore[lock.part_id].append(code)
    return wore


def _code(code: Code, book: Book, called: list[str]) -> dict[str, Any]:
    return {
        "role": code.role_name,
        "code": code.written,
        "tint": str(code.locked),
        "fill": book.press.hex(ends_of(code.locked)[0]),
        "also": code.also,
        "called": called,
    }
