"""Addresses of many rows of one kind, and whole ones for letters."""

from __future__ import annotations

from django.conf import settings
from django.urls import reverse

from bible.models import Series


def before_key(name: str, series: Series) -> str:
    """The address of a view of one row as far as the row's key, which a slash follows.

    Looked up once: a page has dozens of rows, or hundreds, and looking each of them up is slow.
    """
    return reverse(name, args=[series.slug, 0]).removesuffix("0/")


def whole(path: str) -> str:
    """A path as the whole address that stands in a letter."""
    return settings.PUBLIC_URL.rstrip("/") + path
