"""A scan sent by pieces."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from django.conf import settings
from django.test import Client
from django.urls import reverse

from bible.models import Issue
from tests.factories import picture_bytes

PAGE = picture_bytes(120, 180, form="PNG")


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def begin(client: Client, issue: Issue, data: bytes, **said: Any) -> Any:
    facts = {"filename": "p07.png", "byte_size": len(data), "page": "7", "revision": 1, "sha256": sha(data)} | said
    return client.post(reverse("begin-arrival", args=[issue.series.slug, issue.pk]), facts)


def piece(client: Client, url: str, data: bytes, first: int, length: int, size: int | None = None) -> Any:
    part = data[first : first + length]
    place = f"bytes {first}-{first + len(part) - 1}/{len(data) if size is None else size}"
    return client.patch(url, part, content_type="application/octet-stream", headers={"Content-Range": place})


def send_all(client: Client, issue: Issue, data: bytes, **said: Any) -> Any:
    answer = begin(client, issue, data, **said)
    assert answer.status_code == 201, answer.content
    url = answer.json()["url"]
    half = len(data) // 2
    assert piece(client, url, data, 0, half).json()["offset"] == half
    assert piece(client, url, data, half, len(data)).json()["state"] == "whole"
    return client.post(url)


def stored_files() -> list[str]:
    return sorted(path.name for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file())
