"""Where the desk of proofs is reached, and what it says."""

from __future__ import annotations

import io
from typing import Any

from django.test import Client
from django.urls import reverse
from PIL import Image

from guides.models import Guide

SIDE = (420, 620)


def scan(shade: Any = 255, size: tuple[int, int] = SIDE, kind: str = "PNG") -> io.BytesIO:
    """A picture of one shade, as an upload."""
    out = io.BytesIO()
    Image.new("RGB", size, (shade,) * 3 if isinstance(shade, int) else shade).save(out, kind)
    out.seek(0)
    out.name = "scan.png"
    return out


def at(name: str, thing: Any, *more: Any) -> str:
    return reverse(name, args=[thing.series.slug, thing.pk, *more])


def text(answer: Any) -> str:
    return str(answer.content.decode())


def bring(client: Client, guide: Guide, file: Any) -> Any:
    return client.post(at("new-proof", guide), {"scan": file} if file else {})
