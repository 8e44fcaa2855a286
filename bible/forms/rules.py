"""Forms in which a rule is said: what happens to each ink."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.colour.shifts import INK_NAMES, Op, Shift, Step
from bible.forms import LockForm
from bible.models import Part, Role, Scene, Series

OP_WORDS = {
    Op.ADD: "more, by %",
    Op.LESS: "less, by %",
    Op.AT_LEAST: "at least %",
    Op.AT_MOST: "at most %",
    Op.UP: "up, by steps",
    Op.DOWN: "down, by steps",
}
OP_CHOICES = [("", "stays"), *((op.value, word) for op, word in OP_WORDS.items())]


class StepWidget(forms.MultiWidget):
    """Two controls for one ink; its label names neither, so each says itself whose it is and what it asks."""

    def __init__(self, ink: str) -> None:
        name = INK_NAMES[ink].capitalize()
        amount = {"min": 0, "max": 100, "class": "step-amount", "aria-label": f"{name}: how much"}
        what = forms.Select(choices=OP_CHOICES, attrs={"aria-label": f"{name}: what happens"})
        super().__init__([what, forms.NumberInput(attrs=amount)])

    def decompress(self, value: Any) -> list[Any]:
        return [value.op.value, value.amount] if value else ["", None]


class StepField(forms.MultiValueField):
    """What happens to one ink; cleans to a ``Step``, or None where it stays."""

    def __init__(self, ink: str) -> None:
        self.ink = ink
        fields = (
            forms.ChoiceField(choices=OP_CHOICES, required=False),
            forms.IntegerField(min_value=0, max_value=100, required=False),
        )
        label = INK_NAMES[ink].capitalize()
        super().__init__(fields, required=False, require_all_fields=False, label=label, widget=StepWidget(ink))

    def compress(self, data_list: list[Any]) -> Step | None:
        op, amount = data_list or ["", None]
        if not op:
            if amount is not None:
                raise ValidationError("Say what to do with this figure.", code="incomplete")
            return None
        if amount is None:
            raise ValidationError("Say by how much.", code="incomplete")
        try:
            return Step(Op(op), self.ink, amount)
        except ValueError as error:
            raise ValidationError(f"{OP_WORDS[Op(op)].capitalize()}: {error}.", code="invalid") from error


class RuleMixin(forms.Form):
    """Adds one field an ink of the series' chart to a form."""

    def add_rule_fields(self, series: Series, rule: Shift | None = None) -> None:
        inks = [ink for ink in INK_NAMES if len(series.chart.levels(ink)) > 1]
        steps = {step.ink: step for step in (rule or Shift()).steps}
        for ink in inks:
            self.fields[f"rule_{ink}"] = StepField(ink)
            self.initial.setdefault(f"rule_{ink}", steps.get(ink))

    def rule_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name.startswith("rule_")]

    @property
    def rule_said(self) -> bool:
        """Whether somebody has begun to say a rule, so that a page must not fold it away."""
        return any(
            any(field.value() or []) if isinstance(field.value(), list) else bool(field.value())
            for field in self.rule_fields()
        )

    @property
    def rule(self) -> Shift:
        said = [self.cleaned_data.get(name) for name in self.fields if name.startswith("rule_")]
        return Shift(tuple(step for step in said if step))


class DecisionForm(LockForm, RuleMixin):
    """Lock a part's role: to a code, or (shade and highlight) by a rule on the base."""

    def __init__(self, part: Part, *args: Any, **kwargs: Any) -> None:
        super().__init__(part, *args, **kwargs)
        self.fields["code"].required = False
        self.fields["code"].help_text = "Or, for shade and highlight, a rule below."
        self.add_rule_fields(self.series)

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        code_read = data.get("code") is not None or "code" in self.errors
        if self.rule and code_read:
            self.add_error("code", "A code or a rule, not both.")
        elif not self.rule and not code_read:
            self.add_error("code", "Write a code.")
        elif self.rule and data.get("role") == Role.BASE:
            self.add_error("role", "The base is a code of its own; shade and highlight may follow from it by a rule.")
        return data

    def code_fields(self) -> list[forms.BoundField]:
        return [field for field in self.visible_fields() if not field.name.startswith("rule_")]

    def decision(self) -> dict[str, Any]:
        """The arguments of ``services.lock_rule`` where a rule is said, else of ``lock_tint``."""
        if not self.rule:
            return super().decision()
        kept = ("role", "from_position", "to_position", "reason", "seen")
        return {"rule": self.rule} | {name: self.cleaned_data[name] for name in kept}


class SceneForm(forms.ModelForm, RuleMixin):
    reason = forms.CharField(max_length=300, required=False, help_text="Why: it is read years later.")
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Scene
        fields = ["name", "note"]

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        self.series = series
        super().__init__(*args, **kwargs)
        self.instance.series = series
        self.add_rule_fields(series, self.instance.rule)

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        if self.series.scenes.filter(name__iexact=name).exclude(pk=self.instance.pk).exists():
            raise ValidationError(f"There is a scene “{name}” already.", code="taken")
        return name

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not self.rule and not self.errors:
            raise ValidationError("Say what happens to at least one ink.", code="empty")
        return data
