"""Page labels: what they look like and in which order pages stand."""

from __future__ import annotations

import re

_NUMBERED = re.compile(r"(?P<figure>\d{1,5})(?P<suffix>[a-z]?)", re.ASCII)

_FRONT = ("cover", "front cover", "inside front", "inside front cover")
_BACK = ("inside back", "inside back cover", "back", "back cover")

_WORDS = (*_FRONT, *_BACK)

_BEFORE_NUMBERED = 0
_UNKNOWN = 9_000_000
_BACK_FROM = 9_500_000


def page_order(label: str) -> int:
    """Where a page stands in its issue: cover, inside front, 1, 1a, 1b, 2 …, other labels, inside back, back.

    Any text is accepted; pages whose label says nothing about order stand together before the back cover.
    """
    text = " ".join(label.lower().removeprefix("page").split())
    if text in _FRONT:
        return _BEFORE_NUMBERED + _FRONT.index(text)
    if text in _BACK:
        return _BACK_FROM + _BACK.index(text)
    if match := _NUMBERED.fullmatch(text):
        letter = ord(match["suffix"]) - ord("a") + 1 if match["suffix"] else 0
        return 100 + int(match["figure"]) * 30 + letter
    return _UNKNOWN


def clean_label(label: str) -> str:
    """A label as it is kept: inner spaces single, “page 7” and “p. 7” as “7”, no leading noughts, “Cover” as “cover”.

    One page has one label, so that a new scan of it becomes its next revision and not another page.
    """
    text = " ".join(label.split())
    match = re.fullmatch(r"(?:page|p\.?)?\s*0*(\d+\s?[a-zA-Z]?)", text, re.ASCII | re.IGNORECASE)
    if match:
        return match[1].replace(" ", "").lower()
    return text.lower() if text.lower() in _WORDS else text


def label_from_filename(filename: str) -> str:
    """The page label that a scan's file name suggests: “front-cover.tif” → front cover, “12_p07a.png” → 7a.

    The last figure in the name is taken, because an issue's number tends to stand before the page's. Where
    neither a word nor a figure says anything, the bare name is the label.
    """
    stem = re.sub(r"\.[A-Za-z0-9]{1,5}$", "", filename.replace("\\", "/").rsplit("/", 1)[-1])
    words = " ".join(re.split(r"[\s_\-.]+", stem.lower()))
    for label in sorted(_WORDS, key=len, reverse=True):
        if re.search(rf"\b{label}\b", words):
            return label
    if figures := re.findall(r"(\d{1,5}[a-z]?)(?![0-9a-z])", words):
        return clean_label(figures[-1])
    return clean_label(stem)
