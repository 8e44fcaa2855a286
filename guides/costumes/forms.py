"""A model drawing to be brought in."""

from __future__ import annotations

from django import forms

from guides.core.forms import PictureForm
from guides.imaging.intake.formats import ACCEPT, ACCEPTED_WORDS
from guides.imaging.intake.rules import MAX_BYTES, megabytes


class DrawingForm(PictureForm):
    drawing = forms.FileField(
        label="Model drawing",
        help_text=f"{ACCEPTED_WORDS}, up to {megabytes(MAX_BYTES)}.",
        widget=forms.ClearableFileInput(attrs={"accept": ACCEPT}),
    )
