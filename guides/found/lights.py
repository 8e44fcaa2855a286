"""The light in which a page seems to stand, where nobody has said that a scene holds on it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from bible.colour.tints import Tint
from bible.models import Scene
from bible.scenes.queries import lights
from guides.found.knowing import LockedCodes, locked_codes
from guides.imaging.writing.light import speaks_for
from guides.models import FoundCode, Guide, Mark, SceneArea

ASKED_FROM = 8.0
"""Log odds from which somebody is asked. On the demo's 70 marked pages, their codes as marked, the one in lamplight
that nobody has set has 33 for its scene; all others have 1.4 at most for any (chosen on nothing: the gap is wide)."""

FEWEST = 6
"""Codes that have to wait before a light is asked about."""


def light_of(guide: Guide, rows: Sequence[FoundCode], locked: LockedCodes | None = None) -> Scene | None:
    """The scene that a page's waiting codes speak for, as if it held on all of the page, and that its marks do not
    speak against: two or three of a part's own code as by day, and nobody is asked any more."""
    codes = [_readings(row) for row in rows if row.decided_at is None and not (row.unreadable or row.crossed_out)]
    if sum(map(bool, codes)) < FEWEST:
        return None
    scenes = list(guide.series.scenes.active())
    if not scenes or SceneArea.objects.filter(guide=guide).standing().exists():
        return None
    held, marked = locked_codes(guide) if locked is None else locked, _marked(guide)
    plain = Counter(tint for *_, tint in held)
    candidates: list[tuple[float, Scene]] = []
    for light in lights(guide.series, scenes):
        moved = light.scene.rule.table(guide.series.chart)
        shown = [
            moved.get(tint, tint) if light.falls_on(part, subject, role) else tint
            for part, subject, role, tint in held
        ]
        odds = speaks_for(codes, plain, Counter(shown))
        for (part, _, role, by_day), in_light in zip(held, shown, strict=True):
            odds += speaks_for(marked.get((part, role), ()), {by_day: 1}, {in_light: 1})
        candidates.append((odds, light.scene))
    odds, scene = max(candidates, key=lambda candidate: candidate[0])
    return scene if odds >= ASKED_FROM else None


def _marked(guide: Guide) -> dict[tuple[int, str], list[list[tuple[Tint, float]]]]:
    """By part and role, the tints that people have marked on the page."""
    marked: dict[tuple[int, str], list[list[tuple[Tint, float]]]] = {}
    rows = Mark.objects.live().filter(guide=guide, part__isnull=False, let_in=False)
    for part, role, tint in rows.values_list("part", "role", "tint"):
        if isinstance(tint, Tint):
            marked.setdefault((part, role), []).append([(tint, 1.0)])
    return marked


def _readings(row: FoundCode) -> list[tuple[Tint, float]]:
    return [(Tint.from_packed(tint), p) for tint, p in row.clue.get("readings", ())] if row.clue else []
