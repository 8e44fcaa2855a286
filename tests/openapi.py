"""A client of the API that knows nothing but its published OpenAPI."""

from __future__ import annotations

import json
from typing import Any

from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from bible.models import Series
from bible.people.services import make_read_token


class OpenApiClient:
    """Made of the published description: operations by their names, parameters put where it says they go. An answer
    that it does not foresee fails here."""

    def __init__(self, token: str = "") -> None:
        self.client = Client(enforce_csrf_checks=True)
        self.headers = {"Authorization": f"Bearer {token}"} if token else {}
        described = self.client.get(reverse("api:openapi-json")).json()
        self.operations = {
            operation["operationId"]: (method, path, operation)
            for path, methods in described["paths"].items()
            for method, operation in methods.items()
        }

    def __call__(self, name: str, body: Any = None, **told: Any) -> Any:
        method, path, operation = self.operations[name]
        places = {one["name"]: one["in"] for one in operation["parameters"]}
        query = {key: value for key, value in told.items() if places[key] == "query"}
        path = path.format(**{key: value for key, value in told.items() if places[key] == "path"})
        data: Any = query
        more: dict[str, Any] = {}
        if method == "post":
            data, more = _sent(operation, body)
        answer = getattr(self.client, method)(path, data, headers=self.headers, **more)
        assert str(answer.status_code) in operation["responses"], (name, answer.status_code)
        return answer


def api(series: Series, user: User, *, may_write: bool = True) -> OpenApiClient:
    membership = series.memberships.get(user=user)
    return OpenApiClient(make_read_token(membership=membership, name="so", may_write=may_write)[1])


def _sent(operation: Any, body: Any) -> tuple[Any, dict[str, Any]]:
    """A body in the form that is described: a file goes with a form, all else as JSON."""
    (form,) = operation["requestBody"]["content"]
    return (body, {}) if form == "multipart/form-data" else (json.dumps(body), {"content_type": form})
