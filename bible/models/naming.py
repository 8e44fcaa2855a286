"""How a person is called: tables say it too, so it stands beneath every room."""

from __future__ import annotations

from typing import Any, Self

from django.contrib.auth import get_user_model
from django.db import models
from django.db.models import Case, Value, When
from django.db.models.functions import Concat, Lower, Trim
from django.db.models.lookups import Exact


def name_of(user: Any) -> str:
    """A person's name as colleagues read it: the full name where one was given, else the user name."""
    return str(user.get_full_name() or user.get_username())


def by_name(prefix: str = "") -> tuple[Any, ...]:
    """What to order by so that people stand as they are read, letter case aside; ``prefix`` leads to the person."""
    full = Trim(Concat(f"{prefix}first_name", Value(" "), f"{prefix}last_name"))
    shown = Case(When(Exact(full, Value("")), then=f"{prefix}username"), default=full)
    return (Lower(shown), f"{prefix}username")


class PersonQuerySet(models.QuerySet[Any]):
    """People, as ``people()`` gives them."""

    def by_name(self) -> Self:
        return self.order_by(*by_name())


def people() -> PersonQuerySet:
    return PersonQuerySet(get_user_model())
