"""Forms of locks: a tint or a rule for a part, corrections, ends, notes."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.colour.gradients import TintOrGradient
from bible.colour.shifts import INK_NAMES, Op, Shift, Step
from bible.locks.changes import LockChange, lock_changes
from bible.locks.services import last_decisions
from bible.models import NOTE_LENGTH, Edition, Lock, LockQuerySet, Part, Series
from bible.models.roles import BASE_ROLE, MOST_ENTRIES
from bible.series.forms import CodeField, IssueNumberField, StretchForm
from bible.web.whole_numbers import whole_number

GRADIENT_HELP = "A gradient has two codes: B to W downwards."


class SeenDecisionsField(forms.CharField):
    """The newest decision about each role of a part, as it was when the form was shown; cleans to that by role."""

    def __init__(self) -> None:
        super().__init__(max_length=MOST_ENTRIES * 60, required=False, widget=forms.HiddenInput)

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        pairs = [item.rpartition(":") for item in text.split()]
        return {role: whole_number(last) or 0 for role, _, last in pairs} if pairs else None


def seen_decisions(part: Part, edition: Edition | None = None) -> str:
    """A part's newest decisions as ``SeenDecisionsField`` reads them."""
    last = dict.fromkeys(part.costume.subject.series.roles.keys, 0) | last_decisions(part, edition)
    return " ".join(f"{role}:{pk}" for role, pk in last.items())


class LockForm(StretchForm, forms.Form):
    """Lock a part's role to a code from an issue on.

    Where the role that is chosen is locked already, it has to be said from which issue on the new code holds; the
    field is filled with the issue at work.
    """

    role = forms.ChoiceField()
    reason = forms.CharField(max_length=300, required=False, help_text="Why: it is read years later.")
    seen = SeenDecisionsField()
    field_order = ["role", "code", "from_issue", "to_issue", "reason", "seen"]
    use_required_attribute = False
    """What has to be there goes by the role, which may be changed on the page: the answer says it, not a browser."""

    def __init__(self, part: Part, *args: Any, edition: Edition | None = None, **kwargs: Any) -> None:
        self.part, self.edition = part, edition
        self.series = series = part.costume.subject.series
        super().__init__(*args, **kwargs)
        self.fields["role"].choices = series.roles.of_kind(part.costume.subject.kind)  # type: ignore[attr-defined]
        self.locked_roles = set(self._standing().values_list("role", flat=True))
        self.at_work = series.issues.at_work()
        self.fields["code"] = CodeField(series, fades=True, look=f"part={part.pk}")
        role = str(self.data.get("role") or self.initial.get("role") or BASE_ROLE)
        role_name = series.roles.name(role)
        must_say = bool(role in self.locked_roles and self.at_work)
        self.fields["from_issue"] = IssueNumberField(
            series,
            required=must_say,
            help_text=self._help_from(role_name, must_say),
            error_messages={"required": f"The {role_name} is locked already: say from which issue on this holds."},
        )
        self.initial["seen"] = seen_decisions(part, edition)
        if self.locked_roles and self.at_work and not self.initial.get("from_issue"):
            self.initial["from_issue"] = self.at_work.number
        self.fields["to_issue"] = IssueNumberField(
            series,
            required=False,
            label="Up to and including issue",
            help_text="Empty: until the next change.",
        )
        self.order_fields(self.field_order)

    def _standing(self) -> LockQuerySet:
        """What is locked for the part in the printing that is decided about."""
        return Lock.every_printing.of_edition(self.edition).filter(part=self.part).standing()

    def _help_from(self, role_name: str, must_say: bool) -> str:
        """What stands beside the issue from which on; a number that nobody typed is not left unexplained."""
        if must_say:
            return "The first issue in which this holds."
        if self.locked_roles and self.at_work and not self.initial.get("from_issue"):
            return (
                f"Nothing is locked as {role_name} yet. It would hold from issue {self.at_work.number} on, the one in"
                " work; empty: from the first issue on."
            )
        return "Empty: from the first issue on."

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        role = data.get("role")
        if data.get("seen") is not None:
            data["seen"] = data["seen"].get(role, 0)
        return data

    def decision(self) -> dict[str, Any]:
        """The arguments of ``services.lock_tint`` that this form has answered."""
        tint, written = self.cleaned_data["code"]
        kept = ("role", "from_position", "to_position", "reason", "seen")
        return {"tint": tint, "written": written, "edition": self.edition} | {
            name: self.cleaned_data[name] for name in kept
        }


class CorrectionForm(forms.Form):
    """Put right a lock that was entered wrongly."""

    reason = forms.CharField(max_length=300, help_text="What was wrong; the history keeps both versions.")
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, lock: Lock, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"] = CodeField(lock.series, fades=True, look=f"lock={lock.pk}")
        self.order_fields(["code", "reason", "seen"])

    @property
    def reading(self) -> tuple[TintOrGradient, str]:
        return self.cleaned_data["code"]


class EndForm(forms.Form):
    """Let a lock hold no longer from an issue on."""

    reason = forms.CharField(max_length=300)
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, lock: Lock, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at_issue"] = IssueNumberField(lock.series, label="From issue")
        self.order_fields(["at_issue", "reason", "seen"])


class NoteForm(forms.Form):
    text = forms.CharField(label="Note", max_length=NOTE_LENGTH, widget=forms.Textarea(attrs={"rows": 2}))


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
        steps = [self.cleaned_data.get(name) for name in self.fields if name.startswith("rule_")]
        return Shift(tuple(step for step in steps if step))


class LockDecisionForm(LockForm, RuleMixin):
    """Lock a part's role: to a code, or (any role but base) by a rule on the base."""

    def __init__(self, part: Part, *args: Any, edition: Edition | None = None, **kwargs: Any) -> None:
        super().__init__(part, *args, edition=edition, **kwargs)
        self.fields["code"].required = False
        self.fields["code"].help_text = GRADIENT_HELP + " Or, for any role but base, a rule below."
        self.add_rule_fields(self.series)

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        code_read = data.get("code") is not None or "code" in self.errors
        if self.rule and code_read:
            self.add_error("code", "A code or a rule, not both.")
        elif not self.rule and not code_read:
            self.add_error("code", "Write a code.")
        elif self.rule and data.get("role") == BASE_ROLE:
            self.add_error("role", "The base is a code of its own; other roles may follow from it by a rule.")
        return data

    def code_fields(self) -> list[forms.BoundField]:
        return [field for field in self.visible_fields() if not field.name.startswith("rule_")]

    def decision(self) -> dict[str, Any]:
        """The arguments of ``services.lock_rule`` where a rule is said, else of ``lock_tint``."""
        if not self.rule:
            return super().decision()
        kept = ("role", "from_position", "to_position", "reason", "seen")
        return {"rule": self.rule, "edition": self.edition} | {name: self.cleaned_data[name] for name in kept}


class LockChangesForm(forms.Form):
    """Two moments of the bible: an issue each, and as it was known on which day."""

    since = forms.DateField(required=False, label="as known on", widget=forms.DateInput(attrs={"type": "date"}))
    until = forms.DateField(required=False, label="as known on", widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        order = list(series.issues.active().in_order())
        self.ends = (order[0], order[-1]) if order else None
        for name, label in (("first", "From issue"), ("last", "to issue")):
            self.fields[name] = IssueNumberField(series, required=False, label=label)
        self.fields["subject"] = forms.ModelChoiceField(
            series.subjects.order_by("name"), required=False, label="Subject", empty_label="all"
        )
        self.order_fields(["first", "since", "last", "until", "subject"])

    def changes(self, series: Series) -> list[LockChange]:
        """Between the first and the last issue where none is named."""
        data = self.cleaned_data
        if self.ends is None:
            return []
        first, last = data["first"] or self.ends[0], data["last"] or self.ends[1]
        changes = lock_changes(series, first, last, data["since"], data["until"])
        wanted = data["subject"]
        return [change for change in changes if wanted is None or change.part.costume.subject_id == wanted.pk]
