"""Which flags a filter leaves: for the list, and for waiving a run of them."""

from __future__ import annotations

from bible.colour.difference import SEVERITY_BANDS
from bible.colour.press import PressCondition
from bible.models import Edition, Series
from guides.core.flags import of_severity
from guides.core.in_editions import marks_in, open_in
from guides.core.labels import page_order
from guides.flags.forms import FlagFilterForm
from guides.models import MarkQuerySet


def choose(
    series: Series, form: FlagFilterForm, press: PressCondition, edition: Edition | None = None
) -> MarkQuerySet:
    """Open flags, or waived ones where those are asked for, narrowed down by what the form says; of an edition those
    of the issues it collects that say neither what the first printing nor what it needs.

    A filter that cannot be understood narrows to nothing.
    """
    marks = marks_in(series, edition)
    if not form.is_valid():
        return marks.none()
    data = form.cleaned_data
    marks = marks.waived() if data["standing"] == "waived" else open_in(marks, edition)
    if data["issue"]:
        marks = marks.filter(position=data["issue"].position)
    if data["first_page"]:
        marks = marks.filter(page_order__gte=page_order(data["first_page"]))
    if data["last_page"]:
        marks = marks.filter(page_order__lte=page_order(data["last_page"]))
    if data["subject"]:
        marks = marks.of_subject(data["subject"].pk)
    if data["kind"]:
        marks = marks.of_kind(data["kind"])
    if data["severity"]:
        band = next(band for band in SEVERITY_BANDS if band.word == data["severity"])
        marks = of_severity(marks, band, press)
    return marks
