"""How large a page is: what its address asks for, else what its reader has chosen once for all of them."""

from __future__ import annotations

from django.http import Http404, HttpRequest
from reportlab.lib.pagesizes import A4, LETTER

from bible.web.preferences import PAPER_SIZE, PaperSize

Size = tuple[float, float]

SIZES: dict[str, Size] = {PaperSize.A4: A4, PaperSize.LETTER: LETTER}
"""Width and height in points."""


def paper_asked(request: HttpRequest) -> PaperSize:
    """Of ``?paper=``, else of the reader's choice.

    Raises:
        Http404: there is no such paper; another one would be printed and cut.
    """
    asked = request.GET.get("paper", PAPER_SIZE.chosen(request))
    if asked not in SIZES:
        raise Http404("There is no such paper: ask for a4 or letter.")
    return PaperSize(asked)


def size_asked(request: HttpRequest) -> Size:
    return SIZES[paper_asked(request)]
