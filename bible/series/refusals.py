"""Why a write is not done; the message is for the person who asked."""

from __future__ import annotations


class Refused(Exception):
    """A write that may not be done as asked; the message says why, for the person who asked."""
