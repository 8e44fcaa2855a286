"""A tint in one integer column."""

from __future__ import annotations

from typing import Any

import pytest
from django.core import serializers
from django.core.exceptions import ValidationError
from django.db import connection
from hypothesis import given
from hypothesis import strategies as st

from bible.colour.tints import Tint
from bible.models import Lock
from bible.models.fields import NoTint, TintField
from tests.factories import make_lock, make_part, make_series

percentages = st.integers(0, 100)


@given(percentages, percentages, percentages, percentages)
def test_every_tint_comes_back_from_its_column_value(c: int, m: int, y: int, k: int) -> None:
    field = TintField()
    tint = Tint(c, m, y, k)
    stored = field.get_prep_value(tint)
    assert isinstance(stored, int)
    assert 0 <= stored < 2**31, "it fits the integer columns of both databases"
    assert field.from_db_value(stored, None, None) == tint


@pytest.mark.parametrize("none", list(NoTint))
def test_why_there_is_no_tint_comes_back_as_such(none: NoTint) -> None:
    field = TintField()
    assert field.to_python(field.get_prep_value(none)) is none


@pytest.mark.parametrize("value", ["YR3B2", -99, 2**31, object()])
def test_what_no_tint_is_stored_as_is_refused(value: Any) -> None:
    with pytest.raises(ValidationError):
        TintField().to_python(value)


@pytest.mark.django_db
def test_agreement_is_equality_in_sql_and_the_column_is_a_plain_integer() -> None:
    part = make_part(series := make_series())
    lock = make_lock(part, "b2 y r3")
    assert Lock.objects.get(tint=Tint(25, 50, 100)) == lock
    assert not Lock.objects.filter(tint=series.read("YRB2")).exists()
    with connection.cursor() as cursor:
        cursor.execute("SELECT tint FROM bible_lock")
        assert cursor.fetchall() == [(Tint(25, 50, 100).packed,)]


@pytest.mark.django_db
def test_serialised_rows_keep_their_tint() -> None:
    lock = make_lock(make_part(), "YB3")
    back: Any
    [back] = serializers.deserialize("json", serializers.serialize("json", [lock]))
    assert back.object.tint == lock.tint == Tint(50, 0, 100)
