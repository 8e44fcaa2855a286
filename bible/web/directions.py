"""Signs that turn the direction of writing, taken out of what is sent.

They are invisible, and one in a name turns whatever stands behind it on a page, our own words included: a run named
“web <U+202E>2” showed “a screen is not a proof” from right to left at the foot of every page. Writing that runs from
right to left needs none of them: its letters know their direction, and the marks U+200E, U+200F and U+061C are left.

A text of nothing but signs that cannot be seen is none: a subject named by one U+200B is a line that nobody can read,
and a link that nobody can press.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponseBase, UnreadablePostError

from bible.web.turns import without_turns, without_unseen


class Directions:
    """Takes such signs out of every form, and out of the names of files that come with it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_view: Any) -> None:
        """After the check for forged forms has read the form: earlier nobody should."""
        if request.method != "POST":
            return
        # A connection that broke off is the view's to notice, as it is without us.
        with contextlib.suppress(UnreadablePostError):
            _clean(request)


def _clean(request: HttpRequest) -> None:
    sent = {name: [without_unseen(value) for value in values] for name, values in request.POST.lists()}
    if sent != dict(request.POST.lists()):
        form = request.POST.copy()
        for name, values in sent.items():
            form.setlist(name, values)
        request.POST = form  # type: ignore[assignment]
    for _, files in request.FILES.lists():
        for file in files:
            file.name = without_turns(file.name or "")
