"""A tint in a database column.

Agreement is ``=`` in SQL because a tint is one integer, one byte an ink. Where there is none, negative numbers say
why; one number for “unreadable” and “out of use” would have made an unreadable code on an unlocked part look like
agreement.
"""

from __future__ import annotations

import enum
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import models

from bible.colour.tints import Tint


class NoTint(enum.IntEnum):
    """Why there is no tint where one is stored. Negative, so that none can be taken for a packed tint.

    The column stays NOT NULL: with NULL, ``tint <> expected`` would be unknown instead of true, and a partial
    index on it would no longer serve the query.
    """

    NO_LOCK = -1
    UNREADABLE = -2
    OUT_OF_USE = -3
    FLAT = -4
    NOT_THE_SAME = -5

    @property
    def words(self) -> str:
        """“no lock”."""
        return self.name.replace("_", " ").lower()


class OwnKeyField(models.CharField):
    """The key of an entry of one of the series' own lists: ``of`` names the list, an attribute of the series."""

    def __init__(self, *args: Any, of: str, **kwargs: Any) -> None:
        self.of = of
        super().__init__(*args, **kwargs)

    def deconstruct(self) -> Any:
        name, path, args, kwargs = super().deconstruct()
        return name, path, args, kwargs | {"of": self.of}


def packed(tint: Tint | NoTint) -> int:
    """The integer that is stored for a tint, or for why there is none."""
    return tint.packed if isinstance(tint, Tint) else tint.value


class TintField(models.IntegerField):
    """Stores a ``Tint`` as one integer, so that agreement is ``=`` in SQL; a ``NoTint`` where there is none."""

    description = "Tint"
    if TYPE_CHECKING:
        _pyi_private_set_type: Any
        _pyi_private_get_type: Any
        _pyi_lookup_exact_type: Any

    def from_db_value(self, value: int | None, expression: Any, connection: Any) -> Tint | NoTint | None:
        return self.to_python(value)

    def to_python(self, value: Any) -> Any:
        if value is None or isinstance(value, Tint | NoTint):
            return value
        try:
            number = int(value)
            return NoTint(number) if number < 0 else Tint.from_packed(number)
        except (TypeError, ValueError) as error:
            raise ValidationError(f"{value!r} is not a stored tint") from error

    def get_prep_value(self, value: Any) -> int | None:
        if isinstance(value, Tint):
            return value.packed
        return super().get_prep_value(value)

    def value_to_string(self, obj: models.Model) -> str:
        return str(self.get_prep_value(self.value_from_object(obj)))
