"""The words for pages and marks of which the paint can say nothing, or little."""

from __future__ import annotations

from guides.imaging.page.marks import Readings
from guides.imaging.page.page_map import PageMap

OUTSIDE = "the mark lies outside the image"
NO_PLACE = "the mark has no usable x and y"
BLANK = "the page looks blank: there is no paint to read"
GREY = "the page is grey: it says nothing about colour"
UPSIDE_DOWN = "the page looks upside down: turned by 180° its paint fits the codes"
WRONG_PAGE = "most codes disagree with the paint under them: is this the right page, and the right way up?"
NOTHING_KNOWN = "no confirmed marks yet: this rests on what paints are like in general"
OFF_CHART = "the written code is not one of the 64 tints that the paint is judged by"
TWO_PAINTS = "two paints here: what lies under the mark is not what its area is painted with"


def of_mark(readings: Readings, place: int) -> str:
    """What keeps a mark's paint from being told, or an empty string."""
    return TWO_PAINTS if readings.two_paints[place] else ""


def of_page(page: PageMap) -> str:
    """What keeps the whole page from being read, or an empty string."""
    if page.blank:
        return BLANK
    return GREY if page.grey else ""
