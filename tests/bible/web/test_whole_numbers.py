"""Numbers out of addresses: digits by Unicode's tables (Python's ``unicodedata``), bounds by the databases' columns."""

from __future__ import annotations

import sys
import unicodedata

import pytest
from django.db import connection

from bible.models import Series
from bible.web.whole_numbers import LARGEST_KEY, whole_number


@pytest.mark.parametrize(
    ("text", "number"),
    [("0", 0), ("7", 7), ("007", 7), (str(LARGEST_KEY), LARGEST_KEY), ("0" * 5000 + "3", 3)],
)
def test_plain_figures_are_read(text: str, number: int) -> None:
    assert whole_number(text) == number


@pytest.mark.parametrize(
    "text", ["", None, "-1", "+1", "1.0", " 1", "1_000", "²", "٣", "1\0", str(LARGEST_KEY + 1), "9" * 5000]
)
def test_anything_else_is_no_number(text: str | None) -> None:
    assert whole_number(text) is None


def test_no_other_digit_of_unicode_is_taken() -> None:
    """Superscripts, other scripts, circled figures: whatever has a digit's value there."""
    others = [chr(code) for code in range(128, sys.maxunicode + 1) if unicodedata.digit(chr(code), None) is not None]
    assert len(others) > 600
    assert [sign for sign in others if whole_number(sign) is not None] == []


def test_a_bound_of_ones_own() -> None:
    assert (whole_number("99", most=99), whole_number("100", most=99)) == (99, None)


@pytest.mark.django_db
def test_every_key_that_is_read_can_be_asked_for() -> None:
    """The largest key goes into the databases' own column, and one more does not."""
    assert Series.objects.filter(pk=whole_number(str(LARGEST_KEY)) or 0).first() is None
    assert connection.ops.integer_field_range("BigAutoField")[1] == LARGEST_KEY
