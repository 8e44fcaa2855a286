"""Logs for machines, without personal data: one JSON object a line, of what is known to be harmless.

A request is logged by its route's name and never by its path: short names of series, tokens of invitations and
search words all stand in addresses. People are numbers. A record of a fault tells the exception's class and where in
the code it was raised, not its words, since those quote what somebody typed.
"""

from __future__ import annotations

import datetime as dt
import json
import logging
import re
import time
import traceback
import uuid
from collections.abc import Callable
from contextvars import ContextVar
from pathlib import Path
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase

requests = logging.getLogger("bible.requests")

current: ContextVar[str] = ContextVar("request_id", default="")
"""The number of the request at hand, for every record made while it is answered."""

SAID_BY_PROXY = re.compile(r"[0-9a-f]{32}")
"""A number from the web server in front is taken over where it is one of these: nginx's ``$request_id``."""

OURS = ("bible", "guides")
HARMLESS = ("method", "route", "status", "ms", "user", "request_id")


class Requests:
    """Gives every request a number, which the answer says too, and logs how it went."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        given = request.headers.get("X-Request-ID", "") if settings.PROXIES else ""
        number = given if SAID_BY_PROXY.fullmatch(given) else uuid.uuid4().hex
        request.number = number  # type: ignore[attr-defined]
        token, began = current.set(number), time.monotonic()
        try:
            response = self.get_response(request)
            response.headers["X-Request-ID"] = number
            if request.resolver_match or response.status_code >= 400:  # else a static file: the web server's affair
                requests.info("answered", extra=_facts(request, response, began))
            return response
        finally:
            current.reset(token)


def _facts(request: HttpRequest, response: HttpResponseBase, began: float) -> dict[str, Any]:
    """Nothing is asked of the session for it: whoever was not needed for the answer is not looked up for the log."""
    match = request.resolver_match
    user = request.__dict__.get("_cached_user")
    return {
        "method": request.method if request.method in METHODS else "other",
        "route": match.view_name if match else None,
        "status": response.status_code,
        "ms": round((time.monotonic() - began) * 1000, 1),
        "user": user.pk if user else None,
    }


METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")


class WithoutPeople(logging.Formatter):
    """A record as one line of JSON. Our own records say their words, which are ours to keep harmless; of others'
    only what gunicorn says of its workers, unformatted. Django's quote paths, hosts and file names."""

    def format(self, record: logging.LogRecord) -> str:
        entry: dict[str, Any] = {
            "at": dt.datetime.fromtimestamp(record.created, dt.UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "request_id": current.get() or None,
        }
        if record.name.partition(".")[0] in OURS:
            entry["message"] = record.getMessage()
        elif record.name.startswith("gunicorn") and record.levelno == logging.INFO:
            entry["message"] = str(record.msg)
        for name in HARMLESS:
            if hasattr(record, name):
                entry[name] = getattr(record, name)
        if record.exc_info and record.exc_info[0]:
            entry["fault"] = record.exc_info[0].__name__
            entry["raised_at"] = _where(record.exc_info[2])
        return json.dumps(entry, ensure_ascii=False)


def _where(trace: Any) -> list[str]:
    """The last places in the code, innermost last."""
    frames = traceback.extract_tb(trace)[-8:]
    return [
        f"{Path(frame.filename).parent.name}/{Path(frame.filename).name}:{frame.lineno} {frame.name}"
        for frame in frames
    ]
