"""Where a page of a list goes on, as an address carries it: whole numbers with hyphens between them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from bible.web.whole_numbers import whole_number

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from guides.models import Mark, MarkQuerySet


def write_keyset(numbers: Iterable[int]) -> str:
    return "-".join(map(str, numbers))


def read_keyset(text: str, length: int) -> tuple[int, ...] | None:
    """The inverse; None for anything that no page ever gave."""
    numbers = tuple(number for part in text.split("-") if (number := whole_number(part)) is not None)
    return numbers if len(numbers) == length == text.count("-") + 1 else None


class Sorted(Protocol):
    """A row that knows its place in the order of its list."""

    @property
    def sort_key(self) -> tuple[int, ...]: ...


Row = TypeVar("Row", bound=Sorted)


def cut(rows: QuerySet[Any, Row], size: int) -> tuple[list[Row], str]:
    """The first ``size`` rows of an ordered list, and the keyset its next page begins at, empty for the last one."""
    fetched = list(rows[: size + 1])
    return fetched[:size], write_keyset(fetched[size - 1].sort_key) if len(fetched) > size else ""


def page_of_marks(marks: MarkQuerySet, begins: Iterable[int], size: int) -> tuple[list[Mark], str]:
    """Marks in running order behind a keyset, with their names, and what the next page's address carries.

    Args:
        begins: position, page order and key of the last mark before them; noughts for the first page.

    Returns:
        ``size`` marks at most; the keyset is empty where none come after them.
    """
    position, page_order, pk = begins
    return cut(marks.after((position, page_order, pk)).in_order().with_names(), size)
