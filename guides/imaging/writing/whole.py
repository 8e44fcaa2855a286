"""A page from its picture to what it proposes: writing read, codes followed to their areas and given to parts."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from bible.colour.charts import Chart
from bible.colour.notation import LETTERS_64, Notation
from guides.imaging.page.page_map import PageMap
from guides.imaging.writing.bible_file import EarlierMark, PageBible, PartId
from guides.imaging.writing.crops import Picture
from guides.imaging.writing.lexicon import Lexicon
from guides.imaging.writing.mapping import map_page
from guides.imaging.writing.page import read_page
from guides.imaging.writing.proposals import PageProposal, propose
from guides.imaging.writing.shapes import HandShapes


@dataclass(frozen=True)
class WholePage:
    """What a page says by itself.

    Attributes:
        proposals: a mark for each code found, from the top; none where the page is turned.
        notes: sentences for a person: what is odd about the page.
        turned: degrees clockwise that the page seems to lie turned: 0, 90, 180 or 270.
    """

    proposals: tuple[PageProposal, ...]
    notes: tuple[str, ...]
    turned: int


def read_whole(
    image: Picture,
    *,
    notation: Notation = LETTERS_64,
    chart: Chart | None = None,
    bible: PageBible | None = None,
    earlier: Sequence[EarlierMark] = (),
    cast: Collection[PartId] | None = None,
    page_map: PageMap | None = None,
    hand: HandShapes | None = None,
) -> WholePage:
    """Read a page (h, w, 3) uint8 sRGB and say what it proposes.

    Args:
        notation, chart: how the series writes its codes, and which tints it may use.
        bible, earlier, cast: as for ``proposals.propose``.
        page_map: the page's map, where there is one already.
        hand: what is known of its colourist's signs.

    Raises:
        WritingModelError: the networks can't be used.
        ValueError: the picture has another shape or kind.
    """
    writing = read_page(image, Lexicon.of(notation, chart), hand=hand)
    if writing.turned or not writing.codes:
        return WholePage((), writing.notes, writing.turned)
    page = page_map or map_page(image, places=writing.places)
    notes = (*writing.notes, *(remark[:1].upper() + remark[1:] + "." for remark in page.remarks))
    proposals = propose(page, image, writing.codes, notation=notation, bible=bible, earlier=earlier, cast=cast)
    return WholePage(tuple(proposals), notes, 0)
