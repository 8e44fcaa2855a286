"""Pages that show consequences before they save: their forms filled in and agreed to, as a person does."""

from __future__ import annotations

from typing import Any

from django.test import Client

from tests.forms import form_of

ASKED_AT_MOST = 4
"""Times that a form which shows consequences is sent again with a yes to them."""


def fill_in(client: Client, path: str, **answers: str) -> Any:
    """Open a page, fill its form in and send it. Returns what comes of it: a redirect once it is saved."""
    return form_of(client.get(path), has=next(iter(answers))).fill(**answers).press(client)


def agree(client: Client, answer: Any) -> Any:
    """Say yes to the consequences that an answer shows, as often as they are shown."""
    for _ in range(ASKED_AT_MOST):
        if answer.status_code != 422 or b'name="shown"' not in answer.content:
            break
        answer = form_of(answer, has="shown").press(client)
    return answer
