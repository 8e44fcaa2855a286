"""The words for pages and marks of which the paint can say nothing, or little."""

from __future__ import annotations

from guides.imaging.sampling import WorkingPage

OUTSIDE = "the mark lies outside the image"
NO_PLACE = "the mark has no usable x and y"
BLANK = "the page looks blank: there is no paint to read"
GREY = "the page is grey: it says nothing about colour"
UPSIDE_DOWN = "the page looks upside down: turned by 180° its paint fits the codes"
WRONG_PAGE = "most codes disagree with the paint under them: is this the right page, and the right way up?"
NOTHING_KNOWN = "no confirmed marks yet: this rests on what paints are like in general"
OFF_CHART = "the written code is not one of the 64 tints that the paint is judged by"


def of_page(page: WorkingPage) -> str:
    """What keeps the whole page from being read, or an empty string."""
    if page.blank:
        return BLANK
    return GREY if page.grey else ""
