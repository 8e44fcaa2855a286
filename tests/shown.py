"""Filling in what a page shows: its form is fetched, its own fields are sent, and nothing that it does not have."""

from __future__ import annotations

from typing import Any

import lxml.html
from django.test import Client

ASKED_AT_MOST = 4
"""Times that a form which shows consequences is sent again with a yes to them."""


def forms(answer: Any) -> list[Any]:
    """The forms of an answer that save something."""
    found = lxml.html.fromstring(answer.content.decode()).xpath("//form")
    return [
        form
        for form in found
        if (form.get("method") or "").lower() == "post" and "sign out" not in form.text_content().lower()
    ]


def form_with(answer: Any, *names: str) -> Any:
    """The form of an answer that has these fields."""
    found = [form for form in forms(answer) if set(names) <= set(form.fields)]
    assert found, f"no form with {', '.join(names)}: {[sorted(form.fields) for form in forms(answer)]}"
    return found[0]


def send(client: Client, path: str, form: Any, **values: str) -> Any:
    """Send a form that ``path`` showed, with some of its fields filled in."""
    for name, value in values.items():
        assert name in form.fields, f"the form has no field {name}: {sorted(form.fields)}"
        form.fields[name] = value
    fields = {name: value for name, value in form.form_values() if name != "csrfmiddlewaretoken"}
    return client.post(form.get("action") or path, fields)


def fill_in(client: Client, path: str, **values: str) -> Any:
    """Open a page, fill its form in and send it. Returns what comes of it: a redirect once it is saved."""
    return send(client, path, form_with(client.get(path), *values), **values)


def fill_in_and_agree(client: Client, path: str, **values: str) -> Any:
    """``fill_in``, and a yes to the consequences as often as they are shown."""
    answer = fill_in(client, path, **values)
    for _ in range(ASKED_AT_MOST):
        if answer.status_code != 422 or b'name="shown"' not in answer.content:
            break
        answer = send(client, path, form_with(answer, "shown"))
    return answer
