"""A page looked through for codes: from its picture to rows that can be kept. Nothing is written here."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from bible.colour.tints import Tint
from bible.models import Series
from guides.core.page_maps import map_of, screen_pixels
from guides.found.asking_again import PageLayout, ask_again, stored
from guides.found.knowing import earlier_marks, page_bible, said_cast
from guides.imaging.page.page_map import PageMap
from guides.imaging.writing import HandShapes, Lexicon, WritingModelError, read_page
from guides.imaging.writing.clues import Clue
from guides.imaging.writing.page_panels import find_panels
from guides.imaging.writing.parts import Belonging
from guides.imaging.writing.pointing import Pointing
from guides.imaging.writing.proposals import PageProposal, bordering, propose
from guides.models import FoundCode, Guide

KEPT = 8
"""Readings and parts that are kept with a code; three are shown."""


@dataclass(frozen=True)
class PageSearch:
    """What a page was found to say. ``codes`` are rows that are not saved yet; ``problem`` says in words why there
    are none, where something is amiss; ``notes`` are sentences on the page; ``unable``: it was not looked at, since
    the networks can't be used."""

    codes: tuple[FoundCode, ...] = ()
    layout: PageLayout = field(default_factory=lambda: PageLayout((), ()))
    notes: tuple[str, ...] = ()
    problem: str = ""
    unable: bool = False


@dataclass(frozen=True)
class _Place:
    """One place that a proposal means; ``owner`` is whose part that is."""

    proposal: PageProposal
    pointing: Pointing
    clue: Clue | None
    owner: Belonging | None


def search_page(guide: Guide, hand: HandShapes | None = None) -> PageSearch:
    """Look a page through for codes; ``hand`` is what is known of its colourist's letters.

    Raises:
        OSError: its picture is missing or damaged.
    """
    series, picture = guide.series, screen_pixels(guide)
    try:
        writing = read_page(picture, Lexicon.of(series.notation, series.chart), hand=hand)
    except WritingModelError as error:
        return PageSearch(problem=f"Codes can't be read: {error}.", unable=True)
    if writing.turned:
        return PageSearch(problem=" ".join(writing.notes))
    if not writing.codes:
        return PageSearch(notes=writing.notes)
    page = map_of(guide, picture)
    bible, earlier, cast = page_bible(guide), earlier_marks(guide), said_cast(guide)
    known = bible if bible.parts else None
    proposals = propose(
        page, picture, writing.codes, notation=series.notation, bible=known, earlier=earlier, cast=cast
    )
    layout = PageLayout([[float(v) for v in box] for box in find_panels(page).boxes], sorted(bordering(page)))
    places = _places(proposals, page)
    if known and any(place.owner is None and place.clue for place in places):
        asked = [place.clue for place in places if place.clue]
        owners = iter(ask_again(asked, layout, known, earlier=earlier, cast=cast))
        belongings = [next(owners) if place.clue else None for place in places]
        places = [replace(place, owner=place.owner or now) for place, now in zip(places, belongings, strict=True)]
    size = (picture.shape[1], picture.shape[0])
    return PageSearch(tuple(_row(guide, n, place, size) for n, place in enumerate(places, 1)), layout, writing.notes)


def _places(proposals: list[PageProposal], page: PageMap) -> list[_Place]:
    """Every place that some code means: where two lines lead from one code, both."""
    panels = find_panels(page)
    places = []
    for proposal in proposals:
        places.append(_Place(proposal, proposal.pointed.best, proposal.clue, proposal.belongs))
        for further in proposal.pointed.also if proposal.clue else ():
            panel = int(panels.of_area[further.area]) if further.area else panels.at(further.x, further.y)
            size = float(page.areas[further.area - 1].pixels) ** 0.5 if further.area else 0.0
            clue = (
                Clue(further.x, further.y, further.area, panel, proposal.clue.readings, (), size)
                if proposal.clue
                else None
            )
            places.append(_Place(proposal, further, clue, None))
    return places


def _row(guide: Guide, number: int, place: _Place, size: tuple[int, int]) -> FoundCode:
    proposal, at = place.proposal, place.pointing
    left, top, right, bottom = (edge / size[side % 2] for side, edge in enumerate(proposal.box))
    row = FoundCode(
        series_id=guide.series_id, guide=guide, number=number,
        left=left, top=top, right=right, bottom=bottom, angle=round(proposal.angle, 1),
        x=on_page(at.x / size[0]), y=on_page(at.y / size[1]), area=at.area, how=at.how, p_place=round(at.p, 4),
        text=proposal.text[:80], unreadable=proposal.unreadable, crossed_out=proposal.crossed_out,
        clue=stored(place.clue),
    )  # fmt: skip
    readings = [] if proposal.unreadable else [(reading.code, reading.p) for reading in proposal.readings]
    say_readings(row, readings)
    give(row, place.owner, guide.series)
    return row


def on_page(fraction: float) -> float:
    return min(max(fraction, 0.0), 1.0)


def say_readings(row: FoundCode, readings: list[tuple[str, float]]) -> None:
    """Let a row say what can be read there, likeliest first."""
    row.readings = [[code, round(p, 4)] for code, p in readings[:KEPT]]
    row.code, row.p = (row.readings[0][0][:80], row.readings[0][1]) if row.readings else ("", 0.0)


def give(row: FoundCode, owner: Belonging | None, series: Series) -> None:
    """Let a row say whose part its code is, and what its code reads as once the bible has weighed in."""
    if owner is None:
        row.part_id, row.role, row.p_part, row.owners = None, "", 0.0, []
        row.expected, row.differs, row.elsewhere = "", False, []
        return
    row.part_id, row.role, row.p_part = _key(owner.part), owner.role or "", owner.p
    row.owners = [[other.part, other.role or "", other.p] for other in owner.alternatives[:KEPT]]
    row.expected, row.differs = (owner.expected or "")[:80], owner.differs and not row.unreadable
    row.elsewhere = [[other.part, other.role or "", other.p] for other in owner.elsewhere]
    if owner.readings and not row.unreadable:
        say_readings(row, [(series.write(tint), p) for tint, p in owner.readings if isinstance(tint, Tint)])


def _key(part: object) -> int | None:
    return part if isinstance(part, int) else None
