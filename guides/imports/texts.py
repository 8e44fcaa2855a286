"""What people type into cells, made comparable: signs that look alike, blanks that cannot be seen, words that mean
“nothing stands here”. No Django in here."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from itertools import islice

from bible.web.turns import TURNS

SEEN = 50_000
"""Texts whose form for comparing is kept: the cells of a long table say the same few things again and again."""
_UNSEEN = dict.fromkeys(map(ord, "\u200b\u2060\ufeff\u00ad\u200e\u200f")) | TURNS
"""Signs without any ink: they come along with text that is copied from pages and PDFs, or turn what stands behind."""
_JOINERS = dict.fromkeys(map(ord, "\u200c\u200d"))
"""These shape letters in some scripts, so a name keeps them; two names are not told apart by them."""
_SPACES = dict.fromkeys((0xA0, 0x1680, *range(0x2000, 0x200B), 0x202F, 0x205F, 0x3000), " ")
_QUOTES = {ord(sign): "'" for sign in "‘’‚‛′ʼ`´＇"} | {ord(sign): '"' for sign in "“”„‟″«»＂"}
_DASHES = dict.fromkeys(map(ord, "‐‑‒–—―−﹣－"), "-")

NOTHING = frozenset((
    "-", "--", "---", "/", "//", ".", "..", "...", "\\", "n/a", "n.a.", "n. a.", "n.a", "#n/a", "#na",
    "k.a.", "k. a.", "s/o", "none", "nil", "null", "nan", "tbd", "tba", "tbc", "blank", "empty", "keine",
    "leer", "aucun", "ninguno", "nessuno", "なし", "#ref!", "#value!", "#name?", "#div/0!",
))  # fmt: skip
"""Cells in which people say that nothing stands there, in small letters (common practice, no source)."""


DITTO = frozenset((
    '"', "''", '""', ",,", "〃", "^", "↑", "ditto", "dito", "do.", "dto.", "dto", "id.", "idem", "ídem", "同上",
    "same", "same as above", "as above", "see above", "s.o.", "s. o.", "siehe oben", "wie oben", "ebenso",
    "comme ci-dessus", "come sopra",
))  # fmt: skip
"""Cells in which people say that what stands above counts, in small letters (common practice, no source)."""


def tidy(text: str) -> str:
    """Text to keep: composed (NFC), with plain spaces, without signs nobody can see, without blanks at its ends."""
    if text.isascii():
        return text.strip()
    return unicodedata.normalize("NFC", text.translate(_UNSEEN).translate(_SPACES)).strip()


@lru_cache(SEEN)
def alike(text: str) -> str:
    """Text to compare by: compatibility forms (NFKC), quotes, dashes, odd spaces and letter case aside."""
    if not text.isascii():
        text = text.translate(_QUOTES).translate(_DASHES)
        text = unicodedata.normalize("NFKC", text.translate(_UNSEEN).translate(_JOINERS))
        text = text.translate(_QUOTES).translate(_DASHES)
    return " ".join(text.casefold().split())


def says_nothing(text: str) -> bool:
    """Whether a cell holds a sign for “nothing here”. “Na” may be somebody's name, “NA” is not."""
    return alike(text) in NOTHING or text == "NA"


_SIGNS = re.compile(r"[^\w]+")


@lru_cache(SEEN)
def normal(heading: str) -> str:
    """A heading as it is compared: words in small letters, signs between them aside."""
    return " ".join(_SIGNS.sub(" ", alike(heading).replace("_", " ")).split())


NAMED = 6
"""Names that a sentence quotes; more nobody reads."""


def quoted(names: Iterable[str]) -> str:
    """“Mara”, “Tom”: the first few, each shortened and on one line."""
    return ", ".join(f"“{' '.join(name.split())[:40]}”" for name in islice(names, NAMED))


def listed(lines: Iterable[int]) -> str:
    """“line 3”, “lines 3-5, 9”; of many the first few runs."""
    runs: list[list[int]] = []
    for line in sorted(set(lines)):
        if runs and line == runs[-1][1] + 1:
            runs[-1][1] = line
        else:
            runs.append([line, line])
    spans = [f"{first}-{last}" if last > first else str(first) for first, last in runs[:6]]
    single = len(runs) == 1 and runs[0][0] == runs[0][1]
    return f"line{'' if single else 's'} {', '.join(spans)}{' …' if len(runs) > 6 else ''}"
