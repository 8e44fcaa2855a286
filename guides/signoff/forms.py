"""Forms of the way out."""

from __future__ import annotations

from django import forms

from guides.models import WORDS_LENGTH

MOST_PAGES = 999


class WordsForm(forms.Form):
    """What somebody says beside a step."""

    words = forms.CharField(
        max_length=WORDS_LENGTH, required=False, label="In your words", widget=forms.Textarea(attrs={"rows": 2})
    )


class PagesForm(forms.Form):
    """How many numbered pages are expected, covers apart."""

    own = forms.IntegerField(
        min_value=1,
        max_value=MOST_PAGES,
        required=False,
        label="Pages of this issue",
        help_text="Numbered pages, without covers. Empty: the usual number.",
    )
    usual = forms.IntegerField(
        min_value=1,
        max_value=MOST_PAGES,
        required=False,
        label="Pages of an issue usually",
        help_text="For the whole series. Empty: not known, so only gaps between pages are found.",
    )
