"""The words for pages and marks of which the paint can say nothing, or little."""

from __future__ import annotations

from guides.imaging.page.page_map import PageMap

OUTSIDE = "the mark lies outside the image"
NO_PLACE = "the mark has no usable x and y"
UPSIDE_DOWN = "the page looks upside down: turned by 180° its paint fits the codes"
WRONG_PAGE = "most codes disagree with the paint under them: is this the right page, and the right way up?"
NOTHING_KNOWN = "no confirmed marks yet: this rests on what paints are like in general"
OFF_CHART = "the written code is not one of the 64 tints that the paint is judged by"
TWO_PAINTS = "two paints here: what lies under the mark is not what its area is painted with"


def of_page(page: PageMap) -> str:
    """What keeps the whole page from being read, or an empty string."""
    return page.remarks[0] if page.remarks and (page.blank or page.grey) else ""


def about(page: PageMap) -> str:
    """What should be known of a page that can be read, or an empty string."""
    return "" if page.blank or page.grey else "; ".join(page.remarks)
