"""What stands on colour sheets: costumes, parts and codes as of an issue, and what scenes make of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from bible.colour.gradients import TintOrGradient, ends_of
from bible.colour.notation import Notation
from bible.colour.press import PressCondition
from bible.colour.tints import INK_NAMES, Tint
from bible.models import Costume, Lock, Part, Scene, SceneTint, Series, Subject, SubjectQuerySet
from bible.scenes.queries import Light, lights
from bible.series.presses import condition
from bible.series.running_order import AsOf, RunningOrder
from bible.subjects.owning import belongings
from guides.core.crops import Crop, best_crops


@dataclass(frozen=True, slots=True)
class Code:
    """What is locked for a part in one role, a tint or a gradient. ``also`` are the other ways its figures may be
    written."""

    role: str
    role_name: str
    locked: TintOrGradient
    written: str
    also: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PartLine:
    """A part with its codes, base first; none where nothing is locked."""

    pk: int
    name: str
    codes: tuple[Code, ...]


@dataclass(frozen=True, slots=True)
class CostumeBlock:
    """A costume with its parts. ``worn`` is its time in words; ``in_use`` whether that holds the issue asked for."""

    pk: int
    name: str
    worn: str
    in_use: bool
    parts: tuple[PartLine, ...]


@dataclass(frozen=True, slots=True)
class InScene:
    """What a scene makes of one tint of a sheet: None where it leaves it as it is, or falls on nothing that has it.
    ``on`` names the parts where it falls on some of those that have."""

    tint: Tint | None = None
    on: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SceneRow:
    """What each scene of the book makes of one tint of a sheet."""

    tint: Tint
    becomes: tuple[InScene, ...]


@dataclass(frozen=True)
class ColourSheet:
    """One subject's sheet; ``crop`` is the picture of it, if there is one."""

    subject: Subject
    costumes: tuple[CostumeBlock, ...]
    crop: Crop | None
    scene_rows: tuple[SceneRow, ...]
    owning: tuple[str, ...] = ()
    """Whose it is and what it has, a sentence each."""

    @property
    def codes(self) -> Iterator[Code]:
        return (code for costume in self.costumes for part in costume.parts for code in part.codes)

    @property
    def code_count(self) -> int:
        return sum(1 for _ in self.codes)


@dataclass(frozen=True)
class Book:
    """The sheets of some subjects of a series as of an issue. Scenes are as they stand today: they have no issues."""

    series: Series
    as_of: AsOf
    press: PressCondition
    scenes: tuple[Light, ...]
    sheets: tuple[ColourSheet, ...]

    @cached_property
    def also_written(self) -> tuple[str, ...]:
        """The series' aliases in words, “R4 for 75 % magenta”."""
        return alias_words(self.series.notation)


def make_book(series: Series, as_of: AsOf, subjects: SubjectQuerySet, *, crops: bool = True) -> Book:
    """The sheets of the subjects in their order, in as many queries however many they are."""
    chosen = list(subjects.with_locks(as_of.position, series.roles, as_of.edition))
    scenes = tuple(lights(series, series.scenes.active()))
    moved = _moved(light.scene for light in scenes)
    order = RunningOrder.of(series)
    owned = belongings(series, (subject.pk for subject in chosen), order)
    pictures = best_crops([subject.pk for subject in chosen], as_of.position) if crops else {}
    sheets = []
    for subject in chosen:
        blocks = tuple(_block(costume, series, as_of, order) for costume in subject.costumes.all())
        rows = tuple(_scene_rows(subject.pk, blocks, scenes, moved))
        owning = tuple(owned.get(subject.pk, ()))
        sheets.append(ColourSheet(subject, blocks, pictures.get(subject.pk), rows, owning))
    press = condition(series, as_of.press_name)
    return Book(series, as_of, press, scenes, tuple(sheets))


def _block(costume: Costume, series: Series, as_of: AsOf, order: RunningOrder) -> CostumeBlock:
    parts = tuple(_part(part, series) for part in costume.parts.all())
    return CostumeBlock(costume.pk, costume.name, order.worn(costume), costume.in_use_at(as_of.position), parts)


def _part(part: Part, series: Series) -> PartLine:
    locks: list[Lock] = part.locks_in_force  # type: ignore[attr-defined]
    return PartLine(part.pk, part.name, tuple(_code(lock, series) for lock in locks))


def _code(lock: Lock, series: Series) -> Code:
    tints = [tint for tint in ends_of(lock.locked) if tint]
    also = tuple({form: None for tint in tints for form in also_written(series.notation, tint)})
    return Code(lock.role, series.roles.name(lock.role), lock.locked, series.write(lock.locked), also)


def also_written(notation: Notation, tint: Tint) -> Iterable[str]:
    """The aliases that name one of the tint's strengths: “R4” where R4 is read as 75 % and the tint has 75 %."""
    for alias, percent in notation.aliases:
        if getattr(tint, notation.ink_of[alias[0]]) == percent:
            yield alias


def alias_words(notation: Notation) -> tuple[str, ...]:
    return tuple(
        f"{alias} for {percent} % {INK_NAMES[notation.ink_of[alias[0]]]}" for alias, percent in notation.aliases
    )


def _moved(scenes: Iterable[Scene]) -> dict[int, dict[Tint, Tint]]:
    table: dict[int, dict[Tint, Tint]] = {scene.pk: {} for scene in scenes}
    for scene_id, tint, shifted in SceneTint.objects.filter(scene__in=table).values_list("scene", "tint", "shifted"):
        table[scene_id][tint] = shifted
    return table


def _scene_rows(
    subject: int, blocks: Iterable[CostumeBlock], scenes: tuple[Light, ...], moved: Mapping[int, Mapping[Tint, Tint]]
) -> Iterable[SceneRow]:
    """A row a tint, in the order they stand on the sheet; none at all where the series has no scenes."""
    carrying: dict[Tint, list[tuple[PartLine, str]]] = defaultdict(list)
    for part in (part for block in blocks for part in block.parts):
        for code in part.codes:
            for tint in filter(None, ends_of(code.locked)):
                carrying[tint].append((part, code.role))
    for tint, places in carrying.items() if scenes else ():
        shifts = (moved[light.scene.pk].get(tint) for light in scenes)
        becomes = (_in_scene(light, subject, places, to) for light, to in zip(scenes, shifts, strict=True))
        yield SceneRow(tint, tuple(becomes))


def _in_scene(light: Light, subject: int, places: list[tuple[PartLine, str]], shifted: Tint | None) -> InScene:
    lit = [part.name for part, role in places if light.falls_on(part.pk, subject, role)]
    if shifted is None or not lit:
        return InScene()
    return InScene(shifted, tuple(dict.fromkeys(lit)) if len(lit) < len(places) else ())
