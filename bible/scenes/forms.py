"""Forms of scenes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.locks.forms import RuleMixin
from bible.models import Part, Scene, SceneRule, SceneTarget, Series
from bible.scenes.queries import named
from bible.scenes.services import HeldTo

THINGS_AT_MOST = 200
"""Subjects and parts that one scene is held to: more, and it falls on everything."""


class SceneForm(forms.ModelForm, RuleMixin):
    falls_on = forms.CharField(
        required=False,
        label="Falls only on",
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off", "spellcheck": "false"}),
        help_text="One a line: a subject, a part by its full name, or what several parts are called: skin. "
        "Empty: on everything.",
    )
    in_roles = forms.MultipleChoiceField(
        required=False,
        label="Only in these roles",
        widget=forms.CheckboxSelectMultiple,
        help_text="None chosen: in every role.",
    )
    reason = forms.CharField(max_length=300, required=False, help_text="Why: it is read years later.")
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Scene
        fields = ["name", "note"]

    def __init__(self, series: Series, *args: Any, again: SceneRule | None = None, **kwargs: Any) -> None:
        """``again``: an earlier rule of the scene, to fill the fields with instead of the one in force."""
        self.series = series
        super().__init__(*args, **kwargs)
        self.instance.series = series
        self.add_rule_fields(series, again.rule if again else self.instance.rule)
        targets = SceneTarget.objects.filter(scene=self.instance.pk)
        targets = targets.filter(rule=again) if again else targets.standing()
        held = list(targets.select_related("subject", "part__costume__subject"))
        roles = sorted({target.role for target in held} - {""})
        self.fields["in_roles"].choices = series.roles.choices(*roles)  # type: ignore[attr-defined]
        self.initial["in_roles"] = roles
        self.initial["falls_on"] = "\n".join(dict.fromkeys(named(target) for target in held if named(target)))

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        if self.series.scenes.filter(name__iexact=name).exclude(pk=self.instance.pk).exists():
            raise ValidationError(f"There is a scene “{name}” already.", code="taken")
        return name

    def clean_falls_on(self) -> list[HeldTo]:
        lines = [" ".join(line.split()) for line in self.cleaned_data["falls_on"].splitlines()]
        targets = [target for line in lines if line for target in self._called(line)]
        if len(targets) > THINGS_AT_MOST:
            raise ValidationError(f"These are {len(targets)} things; at most {THINGS_AT_MOST}.", code="many")
        return targets

    def _called(self, line: str) -> Iterator[HeldTo]:
        """The subject of a name, else the part of a full name, else every part of that name, else the one that the
        words fit."""
        if subject := self.series.subjects.filter(name__iexact=line).first():
            yield HeldTo(subject=subject.pk)
            return
        parts = Part.objects.filter(costume__subject__series=self.series)
        if part := parts.called(line):
            yield HeldTo(part=part.pk)
            return
        fitting = list(Part.objects.of_series(self.series).filter(name__iexact=line).order_by("pk"))
        if not fitting:
            fitting = list(Part.objects.matching(self.series, line.replace(",", " ").replace(":", " "))[:2])
            if len(fitting) > 1:
                raise ValidationError(f"“{line}” fits several parts: say its full name.", code="ambiguous")
        if not fitting:
            raise ValidationError(f"No subject and no part is called “{line}”.", code="unknown")
        yield from (HeldTo(part=part.pk) for part in fitting)

    @property
    def targets(self) -> list[HeldTo]:
        """What the scene is held to: each thing in each role."""
        held = self.cleaned_data["falls_on"] or [HeldTo()]
        roles = self.cleaned_data["in_roles"] or [""]
        pairs = [HeldTo(target.subject, target.part, role) for target in held for role in roles]
        return [target for target in pairs if target != HeldTo()]
