"""What a page proposes for the codes that wait, by what is answered of it: on rows at hand, nothing is saved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bible.models import Part
from guides.found.asking_again import Owner, PageLayout, ask_again, restored
from guides.found.knowing import LockedCodes, earlier_marks, locked_codes, page_bible, said_cast
from guides.found.lights import light_of
from guides.found.searching import give
from guides.found.sureness import say_what_is_sure
from guides.models import CodeSearch, FoundCode, Guide


def proposed_anew(guide: Guide, said: Mapping[int, Owner] | None = None) -> list[FoundCode]:
    """Every code of a page, those that wait as they are proposed now; none where there is nothing to ask.

    Args:
        said: by a code's key, the part and role that somebody is about to give it: the others are asked as if it had
            been answered so.
    """
    said = said or {}
    search = CodeSearch.objects.filter(guide=guide).first()
    rows = list(FoundCode.objects.filter(guide=guide).select_related("mark"))
    if search is None or not any(row.decided_at is None for row in rows):
        return []
    asked = [(row, clue) for row in rows if (clue := restored(row.clue)) and not _is_out(row)]
    answered = {place: owner for place, (row, _) in enumerate(asked) if (owner := _owner(row, said))}
    layout = PageLayout(search.panels, {(first, second) for first, second in search.bordering})
    earlier, cast = earlier_marks(guide), said_cast(guide)
    clues, locked = [clue for _, clue in asked], locked_codes(guide)
    belongings = ask_again(clues, layout, page_bible(guide, locked), answered=answered, earlier=earlier, cast=cast)
    for (row, _), belonging in zip(asked, belongings, strict=True):
        row.guide = guide
        if row.decided_at is None and row.pk not in said:
            give(row, belonging, guide.series)
    say_page_is_sure(guide, rows, locked)
    return rows


def _owner(row: FoundCode, said: Mapping[int, Owner]) -> Owner | None:
    """Whose part somebody has said a code is, or is about to say."""
    if row.decided_at is None:
        return said.get(row.pk)
    return (row.mark.part_id, row.mark.role) if row.mark else None


def _is_out(row: FoundCode) -> bool:
    return row.decided_at is not None and row.mark is None


def say_page_is_sure(guide: Guide, rows: Sequence[FoundCode], locked: LockedCodes | None = None) -> None:
    """Nothing is sure on a page that seems to stand in a light nobody has told of: its codes mean other parts."""
    has_parts = Part.objects.of_series(guide.series).exists()
    say_what_is_sure(rows, lit_unsaid=light_of(guide, rows, locked) is not None, nobodys=not has_parts)
