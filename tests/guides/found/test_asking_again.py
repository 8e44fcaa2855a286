"""What a page's codes are judged by is kept as JSON and comes back as it was."""

from __future__ import annotations

import json

from bible.colour.tints import Tint
from guides.found.asking_again import restored, stored
from guides.imaging.writing.clues import Clue, Doubt


def test_a_clue_with_its_doubts_comes_back_as_it_was() -> None:
    said, paint = ((Tint(100, 50, 0), 0.9),), ((Tint(0, 50, 0), 0.75),)
    other = Clue(20.5, 31.0, 8, 1, said, paint, 12.5)
    clue = Clue(10.0, 30.5, 7, 1, said, (), 40.0, (Doubt(other, -1.25),))
    assert restored(json.loads(json.dumps(stored(clue)))) == clue


def test_a_clue_kept_before_there_were_doubts_has_none() -> None:
    clue = Clue(10.0, 30.5, 7, 1, ((Tint(100, 50, 0), 0.9),), (), 40.0)
    assert "doubts" not in stored(clue)
    assert restored(stored(clue)) == clue
    assert restored({}) is None
