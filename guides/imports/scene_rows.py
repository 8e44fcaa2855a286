"""Scenes from the rows of a table: their rules, what their light falls on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from bible.colour.shifts import INK_NAMES, Shift
from bible.models import Scene, Series
from bible.scenes.forms import SceneForm
from bible.scenes.queries import fall_on
from bible.scenes.services import held_to, set_scene
from guides.imports.bible_reading import one_line
from guides.imports.fates import Fate, State
from guides.imports.saying import Said, SaidRow
from guides.imports.texts import alike

if TYPE_CHECKING:
    from django.contrib.auth.models import User

BETWEEN = ";"
ONLY = " only"
"""What stands between the things a scene is held to in a table's cell, and behind its roles."""


class SceneTaker:
    """Puts rows into a series' scenes; a blank cell says nothing of a scene that is there."""

    def __init__(self, series: Series, by: User) -> None:
        self.series, self.by = series, by
        self.scenes = {alike(scene.name): scene for scene in series.scenes.all()}
        self.words = {scene.pk: words for scene, words in fall_on(series, self.scenes.values())}
        self.seen: set[str] = set()

    def take(self, rows: Iterable[SaidRow]) -> list[Fate]:
        return [self._taken(one) for one in rows]

    def _taken(self, one: SaidRow) -> Fate:
        name, line = one_line(one.said["scene"]), one.row.line
        if one.wrong or not name:
            return Fate.wrong(line, one.wrong or "It names no scene.")
        scene = self.scenes.get(alike(name))
        if alike(name) in self.seen:
            return Fate.wrong(line, f"An earlier line speaks of “{name}” already.")
        self.seen.add(alike(name))
        if scene and scene.archived_at:
            return Fate.wrong(line, f"“{scene}” is archived: bring it back first.")
        if scene and not one.said["rule"]:
            return Fate.wrong(line, f"It says no rule for “{scene}”; “nothing changes” is one, too.")
        try:
            rule = self._rule(one.said["rule"])
        except ValueError as error:
            return Fate.wrong(line, f"{str(error)[:1].upper()}{str(error)[1:]}.")
        form = self._form(scene, name, one.said)
        if not form.is_valid():
            told = [str(message) for messages in form.errors.values() for message in messages]
            return Fate.wrong(line, " ".join(told))
        return self._saved(line, form, rule, one.said)

    def _rule(self, words: str) -> Shift:
        rule = Shift.from_words(words)
        for step in rule.steps:
            if len(self.series.chart.levels(step.ink)) < 2:
                raise ValueError(f"the chart of this series has no {INK_NAMES[step.ink]} to move")
        return rule

    def _form(self, scene: Scene | None, name: str, said: Said) -> SceneForm:
        """What a person would fill in: so it is refused as that is."""
        things = [piece.strip() for piece in said["falls_on"].split(BETWEEN) if piece.strip()]
        roles: list[str] = []
        if things and alike(things[-1]).endswith(ONLY):
            named = [one.strip() for one in things[-1][: -len(ONLY)].split(",")]
            found = [self.series.roles.found(one) for one in named]
            if all(found):
                things, roles = things[:-1], [one.key for one in found if one]
        note = said["note"] or (scene.note if scene else "")
        data = {"name": scene.name if scene else name, "note": note, "reason": said["reason"]}
        instance = Scene.objects.get(pk=scene.pk) if scene else None
        return SceneForm(self.series, data | {"falls_on": "\n".join(things), "in_roles": roles}, instance=instance)

    def _saved(self, line: int, form: SceneForm, rule: Shift, said: Said) -> Fate:
        scene = form.save(commit=False)
        was = self.scenes.get(alike(scene.name))
        says_light = bool(said["falls_on"]) or was is None
        targets = sorted(set(form.targets), key=repr) if says_light else None
        same_light = targets is None or was is None or targets == held_to(was)
        changes = self._changes(was, scene, rule, same_light) if was else []
        if was and not changes:
            return Fate(line, State.SAME, f"The scene “{scene}” is so already.")
        set_scene(scene=scene, rule=rule, by=self.by, reason=form.cleaned_data["reason"], targets=targets)
        if was is None:
            light = f", falling only on {said['falls_on']}" if said["falls_on"] else ""
            return Fate(line, State.ADDED, f"The scene “{scene}”: {rule}{light}.")
        return Fate(line, State.CHANGED, f"The scene “{scene}”: {'; '.join(changes)}.")

    def _changes(self, was: Scene, scene: Scene, rule: Shift, same_light: bool) -> list[str]:
        told = []
        if was.rule != rule:
            told.append(f"its rule “{was.rule}” becomes “{rule}”")
        if not same_light:
            told.append(f"it falls otherwise than on {self.words[was.pk] or 'everything'}")
        if was.note != scene.note:
            told.append(f"its note becomes “{scene.note}”")
        return told
