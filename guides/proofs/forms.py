"""Forms of the proof desk."""

from __future__ import annotations

from operator import attrgetter
from typing import Any

from django import forms

from bible.models import Series
from guides.core.forms import PictureForm
from guides.imaging.intake.formats import ACCEPT, ACCEPTED_WORDS
from guides.imaging.intake.rules import MAX_BYTES, megabytes
from guides.models import NOTE_LENGTH, ChartScan, Proof, ProofDecision
from guides.proofs.services import Point

CORNERS = ((10, 10), (90, 10), (90, 90), (10, 90))
"""Where the four points stand before anybody moves them, percent of width and height: clockwise from top left."""

NAMES = ("gx", "gy", "sx", "sy")
CORNER_WORDS = ("top left", "top right", "bottom right", "bottom left")


class ProofRunForm(forms.Form):
    """The run that a proof was printed in, where the house's chart was printed along and has been read."""

    run = forms.ModelChoiceField(
        ChartScan.objects.none(),
        label="Printed in the run",
        required=False,
        empty_label="none: the issue’s press condition",
        help_text="Whose chart was scanned: the proof is read against that run.",
    )

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["run"]
        field.queryset = ChartScan.objects.filter(series=series).were_read().newest_first()
        field.label_from_instance = attrgetter("named")
        if not field.queryset.exists():
            del self.fields["run"]


class ProofForm(PictureForm, ProofRunForm):
    field_order = ("scan", "run", "damaged")
    scan = forms.FileField(
        label="Scan of the proof",
        help_text="The whole page in colour, 200 dpi or more, any way up. "
        f"{ACCEPTED_WORDS}, up to {megabytes(MAX_BYTES)}.",
        widget=forms.ClearableFileInput(attrs={"accept": ACCEPT}),
    )


class ProofDecisionForm(forms.Form):
    decision = forms.ChoiceField(choices=[("", "undecided"), *ProofDecision.choices], required=False)
    note = forms.CharField(required=False, max_length=NOTE_LENGTH)
    seen = forms.IntegerField(required=False)


class PointsForm(forms.Form):
    """Four places on guide and scan, in percent of width and height from top left."""

    def __init__(self, proof: Proof, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        before = proof.hand_points or [[gx / 100, gy / 100, gx / 100, gy / 100] for gx, gy in CORNERS]
        for number, point in enumerate(before[:4]):
            for name, value in zip(NAMES, point, strict=True):
                side = "guide" if name[0] == "g" else "scan"
                self.fields[f"{name}{number}"] = forms.FloatField(
                    label=f"{CORNER_WORDS[number]}, {side}, {'across' if name[1] == 'x' else 'down'} (%)",
                    min_value=0,
                    max_value=100,
                    initial=round(100 * value, 2),
                    widget=forms.NumberInput(attrs={"step": "0.01", "class": "point-field"}),
                )

    @property
    def rows(self) -> list[dict[str, Any]]:
        """The fields of each point, for the template."""
        return [
            {
                "number": number + 1,
                "word": CORNER_WORDS[number],
                "fields": [self[f"{name}{number}"] for name in NAMES],
            }
            for number in range(4)
        ]

    @property
    def points(self) -> list[Point]:
        data = self.cleaned_data
        return [
            (data[f"gx{n}"] / 100, data[f"gy{n}"] / 100, data[f"sx{n}"] / 100, data[f"sy{n}"] / 100) for n in range(4)
        ]
