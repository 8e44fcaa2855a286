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
        return [self._taken(said_row) for said_row in rows]

    def _taken(self, said_row: SaidRow) -> Fate:
        name, line = one_line(said_row.said["scene"]), said_row.row.line
        if said_row.wrong or not name:
            return Fate.wrong(line, said_row.wrong or "It names no scene.")
        scene = self.scenes.get(alike(name))
        if alike(name) in self.seen:
            return Fate.wrong(line, f"An earlier line speaks of “{name}” already.")
        self.seen.add(alike(name))
        if scene and scene.archived_at:
            return Fate.wrong(line, f"“{scene}” is archived: bring it back first.")
        if scene and not said_row.said["rule"]:
            return Fate.wrong(line, f"It says no rule for “{scene}”; “nothing changes” is one, too.")
        try:
            rule = self._rule(said_row.said["rule"])
        except ValueError as error:
            return Fate.wrong(line, f"{str(error)[:1].upper()}{str(error)[1:]}.")
        form = self._form(scene, name, said_row.said)
        if not form.is_valid():
            problems = [str(message) for messages in form.errors.values() for message in messages]
            return Fate.wrong(line, " ".join(problems))
        return self._saved(line, form, rule, said_row.said)

    def _rule(self, words: str) -> Shift:
        rule = Shift.from_words(words)
        for step in rule.steps:
            if len(self.series.chart.levels(step.ink)) < 2:
                raise ValueError(f"the chart of this series has no {INK_NAMES[step.ink]} to move")
        return rule

    def _form(self, scene: Scene | None, name: str, values: Said) -> SceneForm:
        """What a person would fill in: so it is refused as that is."""
        targets = [piece.strip() for piece in values["falls_on"].split(BETWEEN) if piece.strip()]
        roles: list[str] = []
        if targets and alike(targets[-1]).endswith(ONLY):
            named = [word.strip() for word in targets[-1][: -len(ONLY)].split(",")]
            known = [self.series.roles.found(word) for word in named]
            if all(known):
                targets, roles = targets[:-1], [role.key for role in known if role]
        note = values["note"] or (scene.note if scene else "")
        data = {"name": scene.name if scene else name, "note": note, "reason": values["reason"]}
        instance = Scene.objects.get(pk=scene.pk) if scene else None
        return SceneForm(self.series, data | {"falls_on": "\n".join(targets), "in_roles": roles}, instance=instance)

    def _saved(self, line: int, form: SceneForm, rule: Shift, values: Said) -> Fate:
        scene = form.save(commit=False)
        was = self.scenes.get(alike(scene.name))
        says_light = bool(values["falls_on"]) or was is None
        targets = sorted(set(form.targets), key=repr) if says_light else None
        same_light = targets is None or was is None or targets == held_to(was)
        changes = self._changes(was, scene, rule, same_light) if was else []
        if was and not changes:
            return Fate(line, State.SAME, f"The scene “{scene}” is so already.")
        set_scene(scene=scene, rule=rule, by=self.by, reason=form.cleaned_data["reason"], targets=targets)
        if was is None:
            light = f", falling only on {values['falls_on']}" if values["falls_on"] else ""
            return Fate(line, State.ADDED, f"The scene “{scene}”: {rule}{light}.")
        return Fate(line, State.CHANGED, f"The scene “{scene}”: {'; '.join(changes)}.")

    def _changes(self, was: Scene, scene: Scene, rule: Shift, same_light: bool) -> list[str]:
        changes = []
        if was.rule != rule:
            changes.append(f"its rule “{was.rule}” becomes “{rule}”")
        if not same_light:
            changes.append(f"it falls otherwise than on {self.words[was.pk] or 'everything'}")
        if was.note != scene.note:
            changes.append(f"its note becomes “{scene.note}”")
        return changes
