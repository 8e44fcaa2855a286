"""Letters that no font here can set: noted while a document is written, and named on its last page, for who meets
a box in a name should know whose fault it is."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from typing import Any

from reportlab.platypus.doctemplate import ActionFlowable

from guides.paper.fonts import UNSET
from guides.paper.paragraphs import paragraph


def scripts(signs: Iterable[str]) -> list[str]:
    """What alphabets they are of, by the first word of their Unicode names: “Arabic”, “Hiragana”, “CJK”."""
    names = {unicodedata.name(sign, "unnamed").split()[0].split("-")[0] for sign in signs}
    return sorted(name if name == "CJK" else name.capitalize() for name in names)


class UnsetLetters(ActionFlowable):
    """The last line of a document, with a page of its own where there is no room; nothing where all could be set."""

    def apply(self, doc: Any) -> None:
        unset = UNSET.get(doc.canv._doc, set())
        words = (
            f"Not set right here: letters of names ({', '.join(scripts(unset))}) that no font of the machine which "
            "made this document has. The screen shows them as they are."
        )
        left = [paragraph(words, 8, bold=True, before=4)] if unset else []
        while left:  # as ReportLab goes through a story
            doc.clean_hanging()
            doc.handle_flowable(left)
