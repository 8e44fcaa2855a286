"""What somebody did at the desk, so that it is done once however often it is sent, and can be taken back."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models

from bible.models import Series
from bible.web.names import counted
from guides.core.models.areas import SceneArea
from guides.core.models.marks import Mark
from guides.core.models.pages import Guide
from guides.desk.note_models import PageNote
from guides.found.models import FoundCode

KEY_LENGTH = 100


class DeedQuerySet(models.QuerySet["Deed"]):
    def together_with(self, deed: Deed) -> list[Deed]:
        """The deeds that are taken back with one, itself among them, in the order in which they were done."""
        if deed.kind not in TOGETHER:
            return [deed]
        head = deed.key.rpartition("/")[0]
        deeds = self.filter(guide=deed.guide_id, by=deed.by_id, kind=deed.kind, key__startswith=f"{head}/")
        return list(deeds.with_things().order_by("id"))

    def next_to_undo(self) -> Deed | None:
        return self.filter(undone=False).order_by("-id").first()

    def next_to_redo(self) -> Deed | None:
        """The deed taken back last, unless something was done since: that is then the newest state."""
        last = self.filter(undone=False).aggregate(last=models.Max("id"))["last"] or 0
        return self.taken_back_since(last)

    def taken_back_since(self, last: int) -> Deed | None:
        """The oldest deed taken back after the one with the key ``last``."""
        return self.filter(undone=True, id__gt=last).order_by("id").first()

    def with_things(self) -> Self:
        return self.select_related("mark", "area__scene", "note", "found")


class Deed(models.Model):
    """One write of one person at one guide's desk.

    ``key`` is made by the browser, once for each thing that is to be done; the same key with the same content is
    the same deed. ``before`` and ``after`` are what the mark said (None: it was not there); ``from_version`` and
    ``to_version`` the mark's version before and after: a deed is taken back only while the mark is at
    ``to_version``, that is while nobody has changed it since. ``last_step`` is the key of the request that took it
    back or did it again.

    Marks that were brought in together have a deed each, whose keys are alike up to the last “/”; they are taken back
    together, and ``after`` says how many they are.
    """

    class Kind(models.TextChoices):
        PLACE = "place", "placing"
        REWRITE = "rewrite", "rewriting"
        MOVE = "move", "moving"
        POINT = "point", "turning the arrow of"
        DELETE = "delete", "deleting"
        RESTORE = "restore", "bringing back"
        SCENE = "scene", "scene"
        SCENE_AWAY = "scene-away", "taking away scene"
        NOTE = "note", "note"
        NOTE_AWAY = "note-away", "taking away note"
        AS_MEANT = "as-meant", "saying “as meant” of"
        ASK_AGAIN = "ask-again", "asking again about"
        BRING = "bring", "bringing in"
        TAKE = "take", "taking"
        SET_ASIDE = "set-aside", "setting aside"

    series = models.ForeignKey(Series, on_delete=models.CASCADE, related_name="+", db_index=False)
    guide = models.ForeignKey(Guide, on_delete=models.CASCADE, related_name="deeds", db_index=False)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+", db_index=False)
    key = models.CharField(max_length=KEY_LENGTH)
    kind = models.CharField(max_length=10, choices=Kind)
    mark = models.ForeignKey(Mark, on_delete=models.CASCADE, null=True, related_name="deeds")
    area = models.ForeignKey(SceneArea, on_delete=models.CASCADE, null=True, related_name="+", db_index=False)
    note = models.ForeignKey(PageNote, on_delete=models.CASCADE, null=True, related_name="+", db_index=False)
    found = models.ForeignKey(FoundCode, on_delete=models.CASCADE, null=True, related_name="+", db_index=False)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)
    from_version = models.PositiveIntegerField(default=0)
    to_version = models.PositiveIntegerField(default=0)
    undone = models.BooleanField(default=False)
    last_step = models.CharField(max_length=KEY_LENGTH, blank=True)
    at = models.DateTimeField(auto_now_add=True)

    objects = DeedQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["by", "key"], name="guides_deed_once")]
        indexes = [models.Index(fields=["guide", "by", "id"], name="guides_deed_of_desk")]

    def __str__(self) -> str:
        """“moving mark 3”, “bringing in 23 marks”, “scene Night”, “note on pages 3–5”."""
        if self.kind in TOGETHER:
            return f"{self.get_kind_display()} {counted((self.after or {}).get('together', 1), 'mark')}"
        if self.found and self.codes_beside:
            return f"{self.get_kind_display()} {counted(1 + len(self.codes_beside), 'code')}"
        if self.found:
            return f"{self.get_kind_display()} the code {self.found.code or self.found.text}".rstrip()
        if self.mark:
            return f"{self.get_kind_display()} mark {self.mark.number}"
        if self.area:
            return f"{self.get_kind_display()} {self.area.scene.name}"
        return f"{self.get_kind_display()} on {self.note.run if self.note else 'this page'}"

    @property
    def codes_beside(self) -> list[int]:
        """Keys of the found codes that went along with the one it is about."""
        return (self.after or {}).get("codes", []) if self.found_id else []

    @property
    def moves_what_is_expected(self) -> bool:
        """Whether doing it, or taking it back, changes what marks are held against."""
        return self.area_id is not None


TOGETHER = frozenset({Deed.Kind.BRING, Deed.Kind.TAKE})
"""Deeds that are several marks', done and taken back as one."""
