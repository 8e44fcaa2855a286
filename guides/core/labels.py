"""Words for pages, numbers and files: labels, their order, runs of numbers, percentages, names of files."""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Sequence

_NUMBERED = re.compile(r"(?P<figure>\d{1,5})(?P<suffix>[a-z]?)", re.ASCII)
_DOUBLE = re.compile(r"(?P<left>\d{1,5})-(?P<right>\d{1,5})", re.ASCII)
_SECOND_COVER = re.compile(r"(?:front )?cover (?P<which>[a-z]|\d)", re.ASCII)

_FRONT = ("cover", "front cover", "inside front", "inside front cover")
_BACK = ("inside back", "inside back cover", "back", "back cover")

_WORDS = (*_FRONT, *_BACK)

_BEFORE_NUMBERED = 0
_SECOND_COVERS_FROM = 10
_FRONT_INSIDE_FROM = 60
_DOUBLE_PLACE = 27
"""A double page stands behind its left page and that page's letters, before the right page."""
_UNKNOWN = 9_000_000
_BACK_FROM = 9_500_000


def page_order(label: str) -> int:
    """Where a page stands in its issue: cover, cover b, inside front, 1, 1a, 1b, 2, 2-3 …, other labels,
    inside back, back.

    Any text is accepted; pages whose label says nothing about order stand together before the back cover.
    """
    text = " ".join(label.lower().removeprefix("page").split())
    if text in _FRONT:
        rank = _FRONT.index(text)
        return (_BEFORE_NUMBERED if rank < 2 else _FRONT_INSIDE_FROM) + rank
    if match := _SECOND_COVER.fullmatch(text):
        return _SECOND_COVERS_FROM + int(match["which"], 36)
    if text in _BACK:
        return _BACK_FROM + _BACK.index(text)
    if match := _DOUBLE.fullmatch(text):
        return 100 + int(match["left"]) * 30 + _DOUBLE_PLACE
    if match := _NUMBERED.fullmatch(text):
        letter = ord(match["suffix"]) - ord("a") + 1 if match["suffix"] else 0
        return 100 + int(match["figure"]) * 30 + letter
    return _UNKNOWN


def clean_label(label: str) -> str:
    """A label as it is kept: inner spaces single, “page 7” and “p. 7” as “7”, no leading noughts, “Cover” as “cover”,
    “pp. 02–03” as “2-3”.

    One page has one label, so that a new scan of it becomes its next revision and not another page.
    """
    text = " ".join(label.split())
    match = re.fullmatch(r"(?:page|p\.?)?\s*0*(\d+\s?[a-zA-Z]?)", text, re.ASCII | re.IGNORECASE)
    if match:
        return match[1].replace(" ", "").lower()
    match = re.fullmatch(r"(?:pages|page|pp?\.?)?\s*0*(\d{1,5})\s?[-–—+&]\s?0*(\d{1,5})", text, re.ASCII | re.I)
    if match and int(match[1]) < int(match[2]):
        return f"{match[1]}-{match[2]}"
    return text.lower() if text.lower() in _WORDS or _SECOND_COVER.fullmatch(text.lower()) else text


_SAME_PAGE = {"front cover": "cover", "inside front cover": "inside front", "inside back cover": "inside back",
              "back cover": "back"}  # fmt: skip


def pages_shown(label: str) -> frozenset[str]:
    """The pages a label speaks of, so that two labels for one page are noticed: a double page is its left and its
    right page, “front cover” is the cover."""
    if match := _DOUBLE.fullmatch(label):
        return frozenset({match["left"], match["right"]})
    return frozenset({_SAME_PAGE.get(label, label)})


_NUMBERS = re.compile(r"(\d{1,4})[a-z]?(?:\s*[-–/&+]\s*(\d{1,4})[a-z]?)?", re.ASCII | re.IGNORECASE)
"""“7”, “7a”, and “2-3” of a spread that was drawn in one."""

LONGEST_SPREAD = 8


def page_numbers(label: str) -> tuple[int, ...]:
    """The numbered pages that a label stands for: “7a” → 7, “2-3” → 2 and 3, “cover” → none."""
    match = _NUMBERS.fullmatch(label.strip())
    if not match:
        return ()
    first, last = int(match[1]), int(match[2] or match[1])
    return tuple(range(first, last + 1)) if first <= last < first + LONGEST_SPREAD else (first, last)


# --- file names ----------------------------------------------------------------------------------------------------

_NOISE = re.compile(
    r"""\b(?: \d{2,4}\s?dpi | \d{1,5}\s?px | \d{3,5}\s?x\s?\d{3,5}
        | (?:v|ver|version|rev|revision|take|draft|final)\s?\d{0,3} | \d{1,2}\s?bit | cmyk | rgb | copy(?:\s\d{1,3})?
        | (?:19|20)\d\d\s?[01]\d\s?[0-3]\d )\b""",
    re.ASCII | re.VERBOSE,
)
"""What says something about the scan and not about the page: resolution, size, version, colours, day."""

_ABBREVIATED = {
    "ofc": "cover",
    "fc": "cover",
    "ifc": "inside front",
    "ibc": "inside back",
    "obc": "back",
    "bc": "back",
    "c1": "cover",
    "c2": "inside front",
    "c3": "inside back",
    "c4": "back",
    "cvr": "cover",
}
"""How printers write the four sides of a cover: outside and inside, front and back, or counted from one."""

_SAID = re.compile(
    r"(?<![a-z])(?:pages|page|pgs|pg|pp|p)[ .#]*0*(\d{1,5})(?:([a-z])(?![a-z])|[ ]?[-–—+&][ ]?p?0*(\d{1,5}))?(?!\d)",
    re.ASCII,
)
_COVERED = re.compile(
    r"(?<![a-z])(?:inside front cover|inside back cover|front cover|back cover|cover)(?![a-z])"
    r"(?:[ ]?([a-z]|\d)(?![a-z0-9]))?",
    re.ASCII,
)
_LAST_WORD = re.compile(r"(?<![a-z])(inside front|inside back|back)$", re.ASCII)
_FIGURE = re.compile(r"(?<![0-9a-z])(\d{1,5})([a-z]?)(?![0-9a-z])|(?<=[a-z])(\d{1,5})([a-z]?)(?![0-9a-z])", re.ASCII)
_ANY_FIGURE = re.compile(r"\d+", re.ASCII)
_JOINTS = ("-", "–", "—", "+", "&")


def label_from_filename(filename: str, issue: str = "") -> str:
    """The page label that a scan's file name suggests: “front-cover.tif” → front cover, “12_p07a.png” → 7a,
    “pp02-03.tif” → 2-3, “IFC.tif” → inside front.

    A figure marked as a page (“p7”) goes before words, words before the last figure; the number of the ``issue`` and
    what speaks of the scan itself (600 dpi, v2, a day) are no page. Where nothing speaks of a page, the bare name is
    the label. Double pages are told from “issue 12, page 13” by their left page being even.
    """
    stem = _stem(filename)
    return _read(_plain(stem), issue) or clean_label(stem)


def labels_from_filenames(filenames: Sequence[str], issue: str = "") -> list[str]:
    """Labels for a folder of scans, in its order. A figure that every name carries in the same place is no page:
    “River 12 7 of 28.tif” and “River 12 8 of 28.tif” are pages 7 and 8."""
    plain = _without_common([_plain(_stem(name)) for name in filenames])
    return [
        _read(text, issue) or label_from_filename(name, issue) for text, name in zip(plain, filenames, strict=True)
    ]


def _stem(filename: str) -> str:
    name = unicodedata.normalize("NFKC", filename).replace("\\", "/").rsplit("/", 1)[-1]
    return re.sub(r"\.[A-Za-z0-9]{1,5}$", "", name)


def _plain(stem: str) -> str:
    """Lower case, underscores, dots and runs of spaces as one space, hyphens only where they join two figures."""
    text = re.sub(r"[\s_.]+", " ", stem.lower())
    text = re.sub(r"(?<!\d)\s*-\s*|\s*-\s*(?!p?\d)", " ", text)
    text = re.sub(r"inside ?(front|back)", r"inside \1", text)
    text = re.sub(r"(front|back) ?cover", r"\1 cover", text)
    text = _NOISE.sub(" ", text)
    return " ".join(text.split())


def _read(text: str, issue: str) -> str:
    """The label in a plain name; empty where nothing speaks of a page."""
    if matches := list(_SAID.finditer(text)):
        figure, letter, other = matches[-1].groups()
        return (_double(figure, other) if other else "") or clean_label(figure + (letter or ""))
    for word, label in _ABBREVIATED.items():
        if re.search(rf"(?<![a-z0-9]){word}(?![a-z0-9])", text):
            return label
    if covered := _COVERED.search(text):
        label = covered[0][: covered.start(1) - covered.start()].strip() if covered[1] else covered[0]
        which = covered[1] if covered[1] and label in ("cover", "front cover") else ""
        return f"{label} {which}".strip()
    if last := _LAST_WORD.search(text):
        return last[1]
    return _last_figure(text, issue)


def _last_figure(text: str, issue: str) -> str:
    bare = re.sub(r"\(\d{1,3}\)$", "", text).strip()  # “p07 (2)”: a second copy of a file is no page
    figures = list(_FIGURE.finditer(bare)) or list(_FIGURE.finditer(text))
    if not figures:
        return ""
    if len(figures) > 1:
        first, second = figures[-2:]
        between = first.string[first.end() : second.start()]
        left, right = first[1] or first[3], second[1] or second[3]
        is_issue = len(figures) == 2 and left.lstrip("0") == issue.lstrip("0") != ""
        if between.strip() in _JOINTS and int(left) % 2 == 0 and not is_issue:
            label = _double(left, right)
            if label:
                return label
    last = figures[-1]
    return clean_label((last[1] or last[3]) + (last[2] or last[4] or ""))


def _double(left: str, right: str) -> str:
    """“2-3” for two figures that follow each other; else the right one alone, or nothing."""
    return f"{int(left)}-{int(right)}" if int(right) == int(left) + 1 else ""


def _without_common(names: Sequence[str]) -> list[str]:
    """The names less the figures that stand in the same place in all names with as many figures; a name that is
    alone with its number of figures is left as it is."""
    alike: dict[int, list[list[str]]] = defaultdict(list)
    for name in set(names):
        figures = _ANY_FIGURE.findall(name)
        alike[len(figures)].append(figures)
    common = {
        count: {place for place in range(count) if len({figures[place] for figures in group}) == 1}
        for count, group in alike.items()
        if len(group) > 1
    }
    return [_less(name, common.get(len(_ANY_FIGURE.findall(name)), set())) for name in names]


def _less(name: str, places: set[int]) -> str:
    count = itertools.count()
    return " ".join(_ANY_FIGURE.sub(lambda match: "" if next(count) in places else match[0], name).split())


PLATE_ORDER = "ymck"
"""Plates are listed in the order in which codes are written: yellow first (common practice, no source)."""


def percentage(percent: int) -> str:
    """A strength in the trade's words."""
    return {0: "nothing", 100: "solid"}.get(percent, f"{percent} %")


def runs(numbers: Iterable[int]) -> str:
    """Numbers as people write them: “1-4, 7, 9, 10”. A run of two is written out."""
    out: list[str] = []
    first = last = None
    for number in [*sorted(numbers), None]:
        if last is not None and number == last + 1:
            last = number
            continue
        if first is not None and last is not None:
            out.extend([f"{first}-{last}"] if last - first > 1 else map(str, range(first, last + 1)))
        first = last = number
    return ", ".join(out)


def file_name(text: str) -> str:
    """Safe in any file system and header: letters, figures and hyphens."""
    kept = "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in text)
    return "-".join(filter(None, kept.split("-"))).lower() or "page"
