"""What the page of all components shows: things of a series that is in no database, dressed by the real fragments.

The fragments are the pages' own over unsaved objects, so the samples can't drift, and the database is asked for
nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from django import forms
from django.contrib.auth.models import User

from bible.colour.press import PressCondition
from bible.colour.tints import PAPER, Tint
from bible.models import Costume, Issue, Lock, Membership, Part, Series, Subject
from bible.models.fields import NoTint
from bible.models.roles import BASE_ROLE, FIRST_ROLES, Role
from bible.series.presses import condition
from guides.core.flags import Flag, flags_of
from guides.desk.panel import MarkRow
from guides.models import NO_TINT_FLAGS, FlagKind, Guide, Mark
from guides.palettes.drawing import table
from guides.palettes.matrix import Matrix
from guides.timeline.queries import MARKS_HEIGHT, MARKS_TOP, Band, Column, Lane, Said, Tick, Timeline, is_dark

GREYS = {
    "What a page is made of": (
        ("surround", "behind everything"),
        ("sheet", "a sheet"),
        ("sheet-deep", "a count, a cell"),
        ("field", "where something is written"),
        ("stage", "behind a guide"),
        ("line", "edge of a field"),
        ("line-soft", "between rows"),
        ("ink-soft", "asides"),
        ("ink", "words"),
        ("strong", "what is chosen or flagged"),
        ("on-strong", "words on that"),
    ),
    "The bar over pages and pictures": (
        ("bar", "the bar"),
        ("bar-hover", "under the pointer"),
        ("bar-line", "between its parts"),
        ("bar-edge", "edge of its button"),
        ("bar-faint", "a button that cannot be pressed"),
        ("bar-soft", "its links"),
        ("on-bar", "its words"),
    ),
    "Numbers in a table, few to many": tuple((f"shade-{n}", "") for n in range(1, 7)),
}
TYPES = ("tiny", "small", "note", "aside", "dense", "body", "lead", "large", "code", "title")
GAPS = tuple(range(1, 11))
ALIKE = "2 Z B 8 R K 0 O"
"""What is misread for each other in codes; Z and O are in none of ours, but in what a hand writes."""


OWN_ROLES = (*FIRST_ROLES, Role("line-hold", "line hold", sign="LH"))
"""Those that every series begins with, and one as a series adds it."""


class SampleForm(forms.Form):
    """A field in each of its states; shown as filled in wrongly."""

    code = forms.CharField(label="Code", widget=forms.TextInput(attrs={"class": "code-input"}))
    reason = forms.CharField(required=False, help_text="Why: it is read years later.")
    role = forms.ChoiceField(choices=FIRST_ROLES.choices())
    note = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def clean_code(self) -> str:
        raise forms.ValidationError("“YR4”: the figure 4 has no meaning here.")


@dataclass(frozen=True, slots=True)
class Pin:
    """A mark alone on a small page of its own, and what its sign says."""

    row: MarkRow
    says: str
    chosen: bool = False


class Samples:
    """One subject with a mark of every sort. Nothing of it is ever saved."""

    def __init__(self) -> None:
        self.series = Series(pk=0, title="A sample", slug="a-sample")
        self.press: PressCondition = condition(self.series)
        self.person = User(pk=0, username="somebody", first_name="Some", last_name="Body")
        self.subject = Subject(pk=0, series=self.series, name="Ada Penn")
        costume = Costume(pk=0, subject=self.subject, name="work coat")
        self.part = Part(pk=0, costume=costume, name="coat")
        self.issues = tuple(Issue(pk=n, series=self.series, number=str(n), position=n) for n in range(1, 13))
        self.guide = Guide(pk=0, series=self.series, issue=self.issues[-1], page="7", revision=1, width=96, height=96)
        self.locked, self.other = Tint(25, 50, 100, 0), Tint(0, 50, 100, 0)

    def mark(self, number: int, tint: Tint | NoTint, written: str, **more: Any) -> Mark:
        fields = {"part": self.part, "tint": tint, "expected": self.locked, "role": BASE_ROLE, "position": 12} | more
        return Mark(
            pk=number, series=self.series, guide=self.guide, number=number, x=0.5, y=0.5, written=written,
            page_order=0, **fields,
        )  # fmt: skip

    def flags(self) -> list[Flag]:
        """One of each kind, and one that is waived."""
        differs, waived = self.mark(1, self.other, "YR3"), self.mark(5, self.other, "YR3", waived=True)
        missing = []
        for number, (column, why) in enumerate(NO_TINT_FLAGS.values(), start=2):
            tints = {"tint": self.locked, "expected": self.locked} | {column: why}
            written = "YR4" if column == "tint" else "YR3B2"
            missing.append(self.mark(number, written=written, role="shade", **tints))
        fades = self.mark(6, self.locked, "YR3B2", to_written="W", to_tint=PAPER, to_x=0.9, to_y=0.8)
        return flags_of([differs, fades, *missing, waived], self.press)

    def pins(self) -> list[Pin]:
        flag, *_, waived = self.flags()
        agrees = self.mark(8, self.locked, "YR3B2")
        yellow = Tint(0, 0, 100, 0)
        arrow = {"to_written": "Y", "to_tint": yellow, "to_x": 0.9, "to_y": 0.8}
        fades = self.mark(9, self.locked, "YR3B2", expected_to=yellow, **arrow)
        background = self.mark(7, self.other, "YR3", part=None)
        return [
            Pin(self._row(agrees), "agrees with the bible"),
            Pin(self._row(background), "background: no part"),
            Pin(self._row(flag.mark, flag), "flagged"),
            Pin(self._row(waived.mark, waived), "waived: the same, hollow"),
            Pin(self._row(agrees, odd=True), "the paint disagrees"),
            Pin(self._row(fades), "a gradient and its arrow"),
            Pin(self._row(agrees), "chosen", chosen=True),
        ]

    def _row(self, mark: Mark, flag: Flag | None = None, *, odd: bool = False) -> MarkRow:
        return MarkRow(mark, flag, 48.0, 52.0, odd)

    def timeline(self) -> Timeline:
        """Two locks, the second from issue 6 on; every sort of deviation."""
        step = 44.0
        bands = (self._band(self.other, "YR3", 0, 5, step), self._band(self.locked, "YR3B2", 5, 12, step))
        by_issue = {
            2: (self._said(2, self.other, None, step),),
            4: (self._said(4, self.locked, FlagKind.DIFFERS, step),),
            7: (self._said(7, self.locked, None, step),),
            9: (self._said(9, self.other, FlagKind.DIFFERS, step, waived=True),),
            11: (self._said(11, NoTint.UNREADABLE, FlagKind.UNREADABLE, step),),
        }
        columns = tuple(Column(self.issues[at], (at + 0.5) * step, marks) for at, marks in by_issue.items())
        ticks = tuple(Tick((at + 0.5) * step, issue.number) for at, issue in enumerate(self.issues))
        return Timeline((Lane(self.part, FIRST_ROLES.entries[0], bands, columns),), ticks, 12 * step, step)

    def _band(self, tint: Tint, written: str, start: int, stop: int, step: float) -> Band:
        lock = Lock(part=self.part, tint=tint, written=written, decided_by=self.person)
        fill, dark = self.press.hex(tint), is_dark(self.press, tint)
        return Band(lock, start * step, (stop - start) * step, fill, dark, written, f"issues {start + 1}–{stop}")

    def _said(
        self, at: int, tint: Tint | NoTint, kind: FlagKind | None, step: float, *, waived: bool = False
    ) -> Said:
        fill = self.press.hex(tint) if isinstance(tint, Tint) else "none"
        return Said(tint, self.locked, kind, waived, 1, at * step, MARKS_TOP, step - 1, MARKS_HEIGHT, fill)

    def matrix(self) -> str:
        """Two tints over twelve issues: every shade, and cells that are empty."""
        counts = np.array([[n * n, (12 - n) if n % 3 else 0] for n in range(12)])
        matrix = Matrix(
            issues=self.issues,
            tints=(self.locked, self.other),
            counts=counts,
            unreadable=np.zeros(12, dtype=int),
            people=(0,),
            by_person=counts.sum(axis=0, keepdims=True),
        )
        return table(self.series, matrix, self.press, "each", {}, {0: "nobody named"})


def context() -> dict[str, Any]:
    """Everything the page needs."""
    samples = Samples()
    return {
        "sample_series": samples.series,
        "greys": GREYS,
        "types": TYPES,
        "gaps": GAPS,
        "alike": ALIKE,
        "tint": samples.locked,
        "other": samples.other,
        "none": tuple(NoTint),
        "flags": samples.flags(),
        "pins": samples.pins(),
        "guide": samples.guide,
        "timeline": samples.timeline(),
        "table": samples.matrix(),
        "roles": OWN_ROLES,
        "member_roles": Membership.Role,
        "states": Issue.State,
        "form": SampleForm({"code": "YR4", "reason": "As in the annual", "role": "shade"}),
        "open_form": SampleForm(),
    }
