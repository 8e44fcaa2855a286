"""What a series calls the roles of its codes and the kinds of its subjects: its own lists, kept on the series.

A role or kind is known by its key, which rows store and files carry; it never changes, so a name may. Nothing is
ever taken out of a list: what is no longer wanted is archived, and whatever was said with it goes on saying it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, Generic, Self, TypeVar

from django.utils.text import slugify

BASE_ROLE = "base"
"""The role every part has: rules follow it, and whoever names no role means it."""

FIRST_KIND = "character"
"""The kind of a subject of which none is said."""

KEY_LENGTH = 20
NAME_LENGTH = 30
SIGN_LENGTH = 4
MOST_ENTRIES = 40
"""More than a house keeps apart; a table of codes has a column for each role."""

RESERVED = ("part",)
"""Keys that are none: a table of codes has a column of this name beside those of the roles."""

_KEY = re.compile(r"[a-z0-9][a-z0-9-]*")


class BadOwnList(ValueError):
    """What was stored or sent is no list of roles or kinds; the message says why."""


@dataclass(frozen=True, slots=True)
class SubjectKind:
    """A kind of subject."""

    key: str
    name: str
    archived: bool = False

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True, slots=True)
class Role:
    """What a code stands for on a part. ``sign`` is its short form; ``kinds`` are the keys of the kinds of subject
    that may have it, none for all of them."""

    key: str
    name: str
    archived: bool = False
    sign: str = ""
    kinds: tuple[str, ...] = ()

    def __str__(self) -> str:
        return self.name

    def is_for(self, kind: str) -> bool:
        return not self.kinds or kind in self.kinds


Entry = TypeVar("Entry", Role, SubjectKind)


@dataclass(frozen=True)
class OwnList(Generic[Entry]):
    """Entries in the series' order; no two of one key or one name."""

    entries: tuple[Entry, ...]

    def __post_init__(self) -> None:
        if not 0 < len(self.entries) <= MOST_ENTRIES:
            raise BadOwnList(f"a list has 1 to {MOST_ENTRIES} entries")
        for entry in self.entries:
            if not _KEY.fullmatch(entry.key) or len(entry.key) > KEY_LENGTH:
                raise BadOwnList(f"“{entry.key[:40]}” is no key")
            if not entry.name.strip() or len(entry.name) > NAME_LENGTH:
                raise BadOwnList(f"a name has 1 to {NAME_LENGTH} signs")
        for what in ("key", "name"):
            words = [getattr(entry, what).casefold() for entry in self.entries]
            if twice := next((word for word in words if words.count(word) > 1), None):
                raise BadOwnList(f"“{twice}” is there twice")

    def __iter__(self) -> Iterator[Entry]:
        return iter(self.entries)

    def __len__(self) -> int:
        return len(self.entries)

    def __contains__(self, key: object) -> bool:
        return any(entry.key == key for entry in self.entries)

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(entry.key for entry in self.entries)

    @property
    def current(self) -> tuple[Entry, ...]:
        """Those that can be chosen."""
        return tuple(entry for entry in self.entries if not entry.archived)

    def get(self, key: str) -> Entry | None:
        return next((entry for entry in self.entries if entry.key == key), None)

    def name(self, key: str) -> str:
        """What people call it; the key itself where the list does not know it."""
        entry = self.get(key)
        return entry.name if entry else key

    def rank(self, key: str) -> int:
        """Its place in the order; behind all others where the list does not know it."""
        return next((rank for rank, entry in enumerate(self.entries) if entry.key == key), len(self.entries))

    def found(self, words: str) -> Entry | None:
        """The entry that somebody means: by key, name or sign, letter case and odd spaces aside."""
        meant = " ".join(words.split()).casefold()
        for what in ("key", "name", "sign"):
            for entry in self.entries:
                if meant and getattr(entry, what, "").casefold() == meant:
                    return entry
        return None

    def choices(self, *also: str) -> list[tuple[str, str]]:
        """What a form offers, as it takes it: the current ones, and those of the keys in ``also``."""
        return [(entry.key, entry.name) for entry in self.entries if not entry.archived or entry.key in also]

    def known(self) -> str:
        """The names that can be said: “base, shade, highlight”."""
        return ", ".join(entry.name for entry in self.current)

    def to_data(self) -> list[dict[str, Any]]:
        """As JSON stores it."""
        return [{name: value for name, value in asdict(entry).items() if value} for entry in self.entries]

    def free_key(self, name: str, *taken: str) -> str:
        """A key for a new entry of a name, unlike those that are there and those ``taken``."""
        plain = slugify(name)[:KEY_LENGTH].strip("-") or "own"
        used, number, key = {*self.keys, *taken, *RESERVED}, 2, plain
        while key in used:
            key = f"{plain[: KEY_LENGTH - 3].strip('-')}-{number}"
            number += 1
        return key


class RoleList(OwnList[Role]):
    """The roles of a series. Base is always among them and can be chosen."""

    def __post_init__(self) -> None:
        super().__post_init__()
        base = self.get(BASE_ROLE)
        if base is None or base.archived or base.kinds:
            raise BadOwnList("base is there, not archived, and for every kind of subject")
        signs = [role.sign.casefold() for role in self.entries if role.sign]
        if twice := next((sign for sign in signs if signs.count(sign) > 1), None):
            raise BadOwnList(f"the sign “{twice}” is there twice")
        if any(len(role.sign) > SIGN_LENGTH for role in self.entries):
            raise BadOwnList(f"a sign has at most {SIGN_LENGTH} letters")

    @classmethod
    def from_data(cls, data: Any) -> Self:
        """The inverse of ``to_data``. Raises ``BadOwnList``."""
        return cls(tuple(_role(row) for row in _rows(data)))

    def of_kind(self, kind: str, *also: str) -> list[tuple[str, str]]:
        """``choices`` for a subject of a kind."""
        return [pair for pair in self.choices(*also) if pair[0] in also or self._role(pair[0]).is_for(kind)]

    def _role(self, key: str) -> Role:
        return next(role for role in self.entries if role.key == key)


class KindList(OwnList[SubjectKind]):
    """The kinds of subject of a series, at least one of which can be chosen."""

    def __post_init__(self) -> None:
        super().__post_init__()
        if not self.current:
            raise BadOwnList("one kind at least can be chosen")

    @classmethod
    def from_data(cls, data: Any) -> Self:
        """The inverse of ``to_data``. Raises ``BadOwnList``."""
        return cls(tuple(SubjectKind(*_said(row)) for row in _rows(data)))


def _rows(data: Any) -> Iterable[Mapping[str, Any]]:
    if not isinstance(data, list) or not all(isinstance(row, Mapping) for row in data):
        raise BadOwnList("this is no list of entries")
    return data


def _said(row: Mapping[str, Any]) -> tuple[str, str, bool]:
    key, name, archived = row.get("key"), row.get("name"), row.get("archived", False)
    if not (isinstance(key, str) and isinstance(name, str) and isinstance(archived, bool)):
        raise BadOwnList("an entry has a key and a name")
    return key, name, archived


def _role(row: Mapping[str, Any]) -> Role:
    sign, kinds = row.get("sign", ""), row.get("kinds", ())
    if not isinstance(sign, str) or not isinstance(kinds, list | tuple):
        raise BadOwnList("a role has a sign and a list of kinds")
    return replace(Role(*_said(row)), sign=sign, kinds=tuple(str(kind) for kind in kinds))


FIRST_ROLES = RoleList((Role("base", "base"), Role("shade", "shade"), Role("highlight", "highlight")))
FIRST_KINDS = KindList(
    (SubjectKind("character", "character"), SubjectKind("prop", "prop"), SubjectKind("place", "place"))
)
"""What a new series begins with."""


def first_roles() -> list[dict[str, Any]]:
    return FIRST_ROLES.to_data()


def first_kinds() -> list[dict[str, Any]]:
    return FIRST_KINDS.to_data()
