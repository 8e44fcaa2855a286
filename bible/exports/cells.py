"""Cells of tables, safe from spreadsheet programs that would run them. No Django in here."""

from __future__ import annotations

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "'")
"""A cell that begins so is taken for a formula (or its guard) by spreadsheets: it gets an apostrophe in front."""


def guarded(cell: str) -> str:
    return f"'{cell}" if cell.startswith(FORMULA_SIGNS) else cell


def unguarded(cell: str) -> str:
    return cell.removeprefix("'")
