"""Forms of the guide desk."""

from __future__ import annotations

from typing import Any

from django import forms

from bible.colour.gradients import split_code
from bible.locks.stretches import why_no_role
from bible.models import NOTE_LENGTH
from bible.models.roles import BASE_ROLE
from guides.core.forms import PartField
from guides.desk.new_parts import NewPartMixin
from guides.models import PAGE_LABEL_LENGTH, Guide, Mark


class MarkForm(NewPartMixin, forms.Form):
    """What a mark says. A code that cannot be read is no error here: it is kept as written and flagged. A part that
    is not there yet can be made with it (``NewPartMixin``)."""

    x = forms.FloatField(min_value=0, max_value=1, widget=forms.HiddenInput)
    y = forms.FloatField(min_value=0, max_value=1, widget=forms.HiddenInput)
    written = forms.CharField(
        label="Code as written",
        max_length=80,
        widget=forms.TextInput(
            attrs={
                "class": "code-input",
                "autocomplete": "off",
                "autocapitalize": "characters",
                "spellcheck": "false",
            }
        ),
    )
    to_written = forms.CharField(
        label="Fades to",
        required=False,
        max_length=80,
        help_text="Only for a gradient; or write both above: YR > Y2.",
        widget=forms.TextInput(attrs={"class": "code-input", "autocomplete": "off", "spellcheck": "false"}),
    )
    to_x = forms.FloatField(min_value=0, max_value=1, required=False, widget=forms.HiddenInput)
    to_y = forms.FloatField(min_value=0, max_value=1, required=False, widget=forms.HiddenInput)
    role = forms.ChoiceField(initial=BASE_ROLE)
    seen = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, guide: Guide, *args: Any, mark: Mark | None = None, **kwargs: Any) -> None:
        self.mark = mark
        if mark:
            kwargs["initial"] = {
                "x": mark.x,
                "y": mark.y,
                "written": mark.written,
                "to_written": mark.to_written,
                "part": mark.part.full_name if mark.part else "",
                "role": mark.role,
                "seen": mark.version,
            } | kwargs.get("initial", {})
        super().__init__(*args, **kwargs)
        self.fields["role"].choices = guide.series.roles.choices(mark.role if mark else "")  # type: ignore[attr-defined]
        self.fields["part"] = PartField(
            guide.series,
            guide.issue.position,
            kept=mark.part if mark else None,
            required=False,
            help_text="Two letters of each word will do. Empty: background.",
            widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
        )
        self.add_new_part_fields(guide)
        self.order_fields(["x", "y", "to_x", "to_y", "written", "part", "role", "to_written", "seen"])

    def clean(self) -> dict[str, Any]:
        """“YR > Y2” in the first field says the same as two fields."""
        data = super().clean() or self.cleaned_data
        first, second = split_code(data.get("written", ""))
        if second and not data.get("to_written"):
            data["written"], data["to_written"] = first, second
        self.let_part_be_new(data)
        part, role = data.get("part"), data.get("role", "")
        kept = (self.mark.part, self.mark.role) if self.mark else None
        if (part, role) != kept and (why := why_no_role(self.guide.series, part, role)):
            self.add_error("role", why)
        return data

    @property
    def saying(self) -> dict[str, Any]:
        """Code, part, role, second code and where its arrow points, as the services take them."""
        fields = {name: self.cleaned_data[name] for name in ("written", "part", "role", "to_written")}
        end = (self.cleaned_data.get("to_x"), self.cleaned_data.get("to_y"))
        return fields | {"to": end if None not in end else None}


class MoveForm(forms.Form):
    """Where a mark, or the point of its arrow, has been dragged."""

    x = forms.FloatField(min_value=0, max_value=1)
    y = forms.FloatField(min_value=0, max_value=1)
    seen = forms.IntegerField(required=False)


class PageNoteForm(forms.Form):
    """A note for this page, or up to another page of the issue."""

    text = forms.CharField(
        label="Note", max_length=NOTE_LENGTH, widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off"})
    )
    first_page = forms.CharField(max_length=PAGE_LABEL_LENGTH, label="From page")
    last_page = forms.CharField(
        max_length=PAGE_LABEL_LENGTH, required=False, label="to page", help_text="Empty: that page alone."
    )
