"""What scenes fall on, in words and part by part."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from bible.models import Scene, SceneRule, SceneTarget, SceneTargetQuerySet, Series


def named(target: SceneTarget) -> str:
    """The subject or part a scene is held to, as a form takes it; empty: any."""
    return target.part.full_name if target.part else target.subject.name if target.subject else ""


def in_words(series: Series, targets: Iterable[SceneTarget]) -> str:
    """What a scene is held to: “Maren; Hull, as drawn: side; base only”; empty: it falls on everything."""
    targets = list(targets)
    names = list(dict.fromkeys(named(target) for target in targets if named(target)))
    roles = list(dict.fromkeys(series.roles.name(target.role) for target in targets if target.role))
    return "; ".join([*names, f"{', '.join(roles)} only"] if roles else names)


def _named(targets: SceneTargetQuerySet) -> SceneTargetQuerySet:
    return targets.select_related("subject", "part__costume__subject")


def fall_on(series: Series, scenes: Iterable[Scene]) -> list[tuple[Scene, str]]:
    """Scenes, each with what it is held to now, in words; one query more, however many."""
    return [(light.scene, light.words) for light in lights(series, scenes)]


def with_words(series: Series, rules: Iterable[SceneRule]) -> list[tuple[SceneRule, str]]:
    """Rules of a scene, each with what it was held to, in words."""
    rules, held = list(rules), defaultdict(list)
    for target in _named(SceneTarget.objects.filter(rule__in=rules)):
        held[target.rule_id].append(target)
    return [(rule, in_words(series, held[rule.pk])) for rule in rules]


@dataclass(frozen=True, slots=True)
class Light:
    """A scene with what it is held to now, in words (empty: it falls on everything), and as rows."""

    scene: Scene
    words: str
    targets: tuple[SceneTarget, ...]

    def falls_on(self, part: int | None, subject: int | None, role: str) -> bool:
        return not self.targets or any(target.holds(part, subject, role) for target in self.targets)


def lights(series: Series, scenes: Iterable[Scene]) -> list[Light]:
    """Scenes, each with what it falls on now; one query more, however many."""
    scenes, held = list(scenes), defaultdict(list)
    for target in _named(SceneTarget.objects.standing().filter(scene__in=scenes)):
        held[target.scene_id].append(target)
    return [Light(scene, in_words(series, held[scene.pk]), tuple(held[scene.pk])) for scene in scenes]


def held_lights(series: Series) -> list[Light]:
    """Those scenes of a series that are held to something, by name; one query."""
    held: dict[Scene, list[SceneTarget]] = defaultdict(list)
    targets = SceneTarget.objects.standing().filter(scene__series=series, scene__archived_at=None)
    for target in _named(targets.select_related("scene")).order_by("scene__name", "id"):
        held[target.scene].append(target)
    return [Light(scene, in_words(series, targets), tuple(targets)) for scene, targets in held.items()]


def lit_by(scene: Scene) -> Callable[[int, int, str], bool]:
    """Whether a scene falls on a part of a subject in a role."""
    targets = list(SceneTarget.objects.standing().filter(scene=scene))
    return lambda part, subject, role: not targets or any(target.holds(part, subject, role) for target in targets)
