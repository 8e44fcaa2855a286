"""Opens an archive and refuses whatever is not wholly what its manifest says, before anything is written.

Rows are checked a column at a time, each distinct value of a batch once; where anything is amiss its rows are
looked at one by one, so a refusal still names line and column. Floats are never asked once: 0.0 and -0.0 are equal
and not the same.
"""

from __future__ import annotations

import hashlib
import json
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from bible.series.refusals import Refused
from guides.archive.tables import BY_MODEL, FORMAT, LAST_ID, MEMBER_NAME, TABLES, VERSION

LONGEST_LINE = 2**24
"""Bytes of one row: a house chart or a press condition takes a few hundred thousand."""

LONGEST_MANIFEST = 2**28
"""Bytes: room for a million pictures."""

BLOCK = 2**20

_SHA256 = re.compile(r"[0-9a-f]{64}")
_MANIFEST = "manifest.json"
_ENCRYPTED = 0x1


class DamagedArchive(Refused):
    """An archive that cannot be trusted; the message names the member."""


class Archive:
    """A zip whose manifest has been read; ``verify`` holds every byte against it."""

    def __init__(self, file: IO[bytes]) -> None:
        try:
            self.zip = zipfile.ZipFile(file)
        except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
            raise DamagedArchive(f"This is no readable zip file, or its end is missing ({error}).") from error
        self._refuse_tricks()
        self.manifest = self._manifest()
        self._refuse_strangers()

    @classmethod
    def open(cls, path: Path) -> Archive:
        try:
            return cls(path.open("rb"))
        except OSError as error:
            raise DamagedArchive(f"{path} cannot be read: {error.strerror}.") from error

    @property
    def members(self) -> dict[str, dict[str, Any]]:
        return self.manifest["members"]

    @property
    def missing(self) -> frozenset[str]:
        """Pictures that were lost before the archive was written."""
        return frozenset(self.manifest["missing"])

    def span(self, key: str) -> int:
        """The largest key in a table; 0 where the archive is older than the table."""
        return int(self.manifest["tables"].get(key, {"last_id": 0})["last_id"])

    def row_count(self, key: str) -> int:
        return int(self.manifest["tables"].get(key, {"rows": 0})["rows"])

    def blocks(self, member: str) -> Iterator[bytes]:
        """The bytes of a member. Raises ``DamagedArchive`` where they are not the ones that were written."""
        entry = self.members[member]
        digest, size = hashlib.sha256(), 0
        try:
            with self.zip.open(member) as source:
                while block := source.read(BLOCK):
                    size += len(block)
                    if size > entry["bytes"]:
                        break
                    digest.update(block)
                    yield block
        except (zipfile.BadZipFile, OSError, EOFError, ValueError, NotImplementedError, RuntimeError) as error:
            raise DamagedArchive(f"{member} is damaged: {error}.") from error
        except Exception as error:  # zlib.error and its kin have no common base
            raise DamagedArchive(f"{member} is damaged: {error}.") from error
        if size != entry["bytes"] or digest.hexdigest() != entry["sha256"]:
            raise DamagedArchive(f"{member} is not what was written: its length or its SHA-256 differs.")

    def verify(self) -> None:
        for member in self.members:
            for _ in self.blocks(member):
                pass

    def lines(self, member: str) -> Iterator[tuple[int, dict[str, Any]]]:
        """(line number, row) of a table; nothing where the archive is older than the table."""
        if member not in self.members:
            return
        with self.zip.open(member) as source:
            number = 0
            while line := source.readline(LONGEST_LINE):
                number += 1
                try:
                    row = json.loads(line)
                except ValueError as error:
                    raise DamagedArchive(f"{member}, line {number} is not JSON: {error}.") from error
                if not isinstance(row, dict):
                    raise DamagedArchive(f"{member}, line {number} is not a row.")
                yield number, row

    def _refuse_tricks(self) -> None:
        seen: set[str] = set()
        for entry in self.zip.infolist():
            # ``orig_filename`` too: Python cuts a name at a NUL byte and turns backslashes round on Windows.
            for name in (entry.filename, entry.orig_filename):
                if name != _MANIFEST and not MEMBER_NAME.fullmatch(name):
                    raise DamagedArchive(f"{name!r} is not a name that an archive of a series has.")
            if entry.filename in seen:
                raise DamagedArchive(f"{entry.filename} is in the archive twice.")
            if entry.flag_bits & _ENCRYPTED:
                raise DamagedArchive(f"{entry.filename} is encrypted.")
            seen.add(entry.filename)
        if _MANIFEST not in seen:
            raise DamagedArchive(f"{_MANIFEST} is missing: this is not an archive of a series.")

    def _manifest(self) -> dict[str, Any]:
        if self.zip.getinfo(_MANIFEST).file_size > LONGEST_MANIFEST:
            raise DamagedArchive(f"{_MANIFEST} is longer than any manifest.")
        try:
            manifest = json.loads(self.zip.read(_MANIFEST))
        except Exception as error:
            raise DamagedArchive(f"{_MANIFEST} is damaged: {error}.") from error
        if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
            raise DamagedArchive(f"{_MANIFEST} does not call this an archive of a series.")
        version = manifest.get("version")
        if not isinstance(version, int) or isinstance(version, bool) or version < 1:
            raise DamagedArchive(f"{_MANIFEST} names no format version.")
        if version > VERSION:
            raise DamagedArchive(
                f"This archive has format {version}; this program reads up to format {VERSION}."
                " Restore it with the newer program that wrote it."
            )
        if not _well_formed(manifest):
            raise DamagedArchive(f"{_MANIFEST} is damaged: its lists are not as they were written.")
        return manifest

    def _refuse_strangers(self) -> None:
        there = set(self.zip.namelist()) - {_MANIFEST}
        if gone := sorted(set(self.members) - there):
            raise DamagedArchive(f"{gone[0]} is missing from the archive{_and_more(gone)}.")
        if extra := sorted(there - set(self.members)):
            raise DamagedArchive(f"{extra[0]} is in the archive but not in its manifest{_and_more(extra)}.")
        known = {table.key for table in TABLES}
        if new := sorted(set(self.manifest["tables"]) - known):
            raise DamagedArchive(f"tables/{new[0]}.jsonl is of a table this program does not know: is it older?")
        for member, entry in self.members.items():
            if self.zip.getinfo(member).file_size != entry["bytes"]:
                raise DamagedArchive(f"{member} is not what was written: its length differs.")
        if self.row_count(BY_MODEL["bible.Series"].key) != 1:
            raise DamagedArchive(f"{BY_MODEL['bible.Series'].member} does not hold one series.")


def _well_formed(manifest: dict[str, Any]) -> bool:
    tables, members, missing = (manifest.get(name) for name in ("tables", "members", "missing"))
    if not isinstance(tables, dict) or not isinstance(members, dict) or not isinstance(missing, list):
        return False
    tables_good = all(
        isinstance(entry, dict)
        and _is_count(entry.get("rows"))
        and _is_count(entry.get("last_id"))
        and entry["rows"] <= entry["last_id"] <= LAST_ID
        and f"tables/{key}.jsonl" in members
        for key, entry in tables.items()
    )
    members_good = all(
        MEMBER_NAME.fullmatch(name)
        and isinstance(entry, dict)
        and _is_count(entry.get("bytes"))
        and isinstance(entry.get("sha256"), str)
        and bool(_SHA256.fullmatch(entry["sha256"]))
        for name, entry in members.items()
    )
    return (
        tables_good and members_good and all(isinstance(name, str) for name in missing) and "people.jsonl" in members
    )


def _is_count(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


def _and_more(names: list[str]) -> str:
    return f" (and {len(names) - 1} more)" if len(names) > 1 else ""
