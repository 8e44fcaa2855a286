"""The light in which a page seems to stand, where nobody has said that a scene holds on it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from bible.colour.tints import Tint
from bible.models import Scene
from bible.scenes.queries import lights
from guides.found.knowing import locked_codes
from guides.imaging.writing.light import speaks_for
from guides.models import FoundCode, Guide, SceneArea

ASKED_FROM = 8.0
"""Log odds from which somebody is asked. On the demo's 70 marked pages, their codes as marked, the one in lamplight
that nobody has set has 33 for its scene; all others have 1.4 at most for any (chosen on nothing: the gap is wide)."""

FEWEST = 6
"""Codes that have to wait before a light is asked about."""


def light_of(guide: Guide, rows: Sequence[FoundCode]) -> Scene | None:
    """The scene that the waiting codes among a page's speak for, as if it held on all of the page."""
    codes = [_readings(row) for row in rows if row.decided_at is None and not (row.unreadable or row.crossed_out)]
    if sum(map(bool, codes)) < FEWEST:
        return None
    scenes = list(guide.series.scenes.active())
    if not scenes or SceneArea.objects.filter(guide=guide).standing().exists():
        return None
    held = locked_codes(guide)
    plain = Counter(tint for *_, tint in held)
    told: list[tuple[float, Scene]] = []
    for light in lights(guide.series, scenes):
        moved = light.scene.rule.table(guide.series.chart)
        lit = Counter(
            moved.get(tint, tint) if light.falls_on(part, subject, role) else tint
            for part, subject, role, tint in held
        )
        told.append((speaks_for(codes, plain, lit), light.scene))
    odds, scene = max(told, key=lambda one: one[0])
    return scene if odds >= ASKED_FROM else None


def _readings(row: FoundCode) -> list[tuple[Tint, float]]:
    return [(Tint.from_packed(tint), p) for tint, p in row.clue.get("readings", ())] if row.clue else []
