"""The kinds of file that a table may be: the one list. What a file chooser offers and the words of help, refusals and
the command come from it; the first bytes decide which reader a file gets. No Django in here."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TableFormat:
    """``signature``: the first bytes; none for text, which is whatever else comes."""

    words: str
    endings: tuple[str, ...]
    signature: bytes = b""


ZIP = b"PK\x03\x04"
OLE = b"\xd0\xcf\x11\xe0"
"""Compound files: .xls, and any workbook that is locked with a password."""

TABLES = (
    TableFormat("CSV", ("csv", "tsv", "txt")),
    TableFormat(".xlsx", ("xlsx",), ZIP),
    TableFormat(".xls", ("xls",), OLE),
    TableFormat(".ods", ("ods",), ZIP),
)

_words = [kind.words for kind in TABLES]
ACCEPTED_WORDS = f"{', '.join(_words[:-1])} or {_words[-1]}"
ACCEPT = ",".join(f".{ending}" for kind in TABLES for ending in kind.endings) + ",text/csv"
WORKBOOKS = tuple({kind.signature for kind in TABLES if kind.signature})
