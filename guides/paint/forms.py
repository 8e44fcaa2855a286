"""The form that asks what the paint says."""

from __future__ import annotations

from django import forms


class PlaceForm(forms.Form):
    """A place on a page, in fractions of its width and height."""

    x = forms.FloatField(min_value=0, max_value=1)
    y = forms.FloatField(min_value=0, max_value=1)
