"""Reader of characterization data: CMYK patches and their measured XYZ in CGATS text files.

CGATS.17 / ISO 28178 keyword files and the ``.ti3`` dialect of it. Only what a press condition is fitted
from is kept: percentages, XYZ (or Lab, or both) and the header that says where the data come from.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from bible.colour.science import measured_xyz

MAX_BYTES = 8 * 1024 * 1024
"""Largest file read: 1,617 patches take 0.13 MB, and spectra would make that ten times as much."""

MAX_PATCHES = 20_000
"""Largest number of patches: a chart beyond it is not one somebody printed and measured."""

MAX_COMMENTS = 400
"""Comment lines kept; they carry the terms of use."""

MAX_FIELDS = 400
"""Largest number of columns; spectral files carry 36 to 100."""

MAX_XYZ = 200.0
"""Above it, XYZ are on no scale of Y = 100 (fluorescent papers reach some 110 in Z)."""

XYZ_NOISE = 0.5
"""Black may read this far below 0 on an instrument's noise; it counts as 0."""

MAX_FRACTION = 2.0
"""XYZ that stay below it altogether count a perfect white as Y = 1."""

_INK_COLUMNS = ("CMYK_C", "CMYK_M", "CMYK_Y", "CMYK_K")
_XYZ_COLUMNS = ("XYZ_X", "XYZ_Y", "XYZ_Z")
_LAB_COLUMNS = ("LAB_L", "LAB_A", "LAB_B")
_NAME_COLUMNS = ("SAMPLE_NAME", "SAMPLE_LOC", "SAMPLE_ID")
_TOKEN = re.compile(r'"([^"]*)"|(\S+)')
_NEWLINE = re.compile(r"\r\n|\r|\n")  # splitlines() would also split at signs of 8-bit encodings


class CgatsError(ValueError):
    """The text is not usable characterization data. ``line`` is the 1-based line of the fault, or None."""

    def __init__(self, message: str, line: int | None = None) -> None:
        self.line = line
        self.reason = message
        super().__init__(f"line {line}: {message}" if line else message)


@dataclass(frozen=True, eq=False)
class CharacterizationData:
    """Measured patches of one printing condition.

    Attributes:
        tints: percentages 0-100, shape (n, 4), order C, M, Y, K.
        xyz: measured XYZ (D50, 2°, Y = 100 for the perfect diffuser), shape (n, 3).
        lab: the file's own Lab columns (n, 3), or None if it has none.
        header: keyword -> text of the file's header.
        comments: the file's comment lines, without the leading ``#``.
    """

    tints: npt.NDArray[np.float64]
    xyz: npt.NDArray[np.float64]
    lab: npt.NDArray[np.float64] | None = None
    header: dict[str, str] = field(default_factory=dict)
    comments: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.tints)

    def averaged(self) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Distinct tints and the mean XYZ of their patches: charts repeat patches to even the press out."""
        tints, inverse, counts = np.unique(self.tints, axis=0, return_inverse=True, return_counts=True)
        xyz = np.zeros((len(tints), 3))
        np.add.at(xyz, inverse.reshape(-1), self.xyz)
        return tints, xyz / counts[:, None]


@dataclass(frozen=True, eq=False)
class ReferencePatches:
    """What the maker of a colour target says of its patches.

    Attributes:
        names: the patches' places or names, as “A1”.
        xyz: measured XYZ (D50, 2°, Y = 100 for the perfect diffuser), shape (n, 3).
    """

    names: tuple[str, ...]
    xyz: npt.NDArray[np.float64]


def read_reference(source: str | bytes) -> ReferencePatches:
    """Read the reference file of a colour target: names and XYZ or Lab of its patches.

    Raises:
        CgatsError: not such a file, or a fault in it; the error names the line.
    """
    return _Reader(_NEWLINE.split(_decode(source))).read_reference()


def read_cgats(source: str | bytes) -> CharacterizationData:
    """Read CMYK characterization data.

    Raises:
        CgatsError: not such a file, or a fault in it; the error names the line.
    """
    return _Reader(_NEWLINE.split(_decode(source))).read()


def _decode(source: str | bytes) -> str:
    if len(source) > MAX_BYTES:
        raise CgatsError(f"the file is larger than {MAX_BYTES // (1024 * 1024)} MB; characterization data are not")
    if isinstance(source, str):
        return source.removeprefix("\ufeff")
    if source[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return source.decode("utf-16")
        except UnicodeDecodeError as error:
            raise CgatsError("the file starts like UTF-16 but is not") from error
    if b"\x00" in source:
        raise CgatsError("this is a binary file, not CGATS text")
    try:
        return source.decode("utf-8-sig")
    except UnicodeDecodeError:
        return source.decode("latin-1")  # headers of older files carry dashes and signs in 8-bit encodings


def _cells(line: str) -> list[str]:
    """Tokens of a line, quotes taken off, up to a trailing comment."""
    cells = []
    for match in _TOKEN.finditer(line):
        if match[0].startswith("#"):
            break
        cells.append(match[0] if match[1] is None else match[1])
    return cells


class _Reader:
    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self.header: dict[str, str] = {}
        self.comments: list[str] = []
        self.fields: list[str] | None = None
        self.fields_line = 0
        self.declared: tuple[int, int] | None = None
        self.declared_fields: tuple[int, int] | None = None
        self.rows: list[tuple[int, list[str]]] = []
        self.data_line = 0

    def read(self) -> CharacterizationData:
        return self._build(self._sections())

    def read_reference(self) -> ReferencePatches:
        fields = self._sections()
        column = next((fields.index(name) for name in _NAME_COLUMNS if name in fields), None)
        if column is None:
            raise CgatsError(f"missing column: {' or '.join(_NAME_COLUMNS)}", self.fields_line)
        xyz, _ = self._colours(fields)
        if xyz.min() >= 0 and 0 < xyz.max() <= MAX_FRACTION:
            xyz = xyz * 100.0
        self._refuse((xyz < -XYZ_NOISE) | (xyz > MAX_XYZ), "XYZ is outside 0-200 (a perfect white has Y = 100)")
        names = tuple(cells[column] for _, cells in self.rows)
        if len(set(names)) < len(names):
            raise CgatsError("a patch is named twice", self.data_line)
        return ReferencePatches(names, np.maximum(xyz, 0.0))

    def _sections(self) -> list[str]:
        """The columns' names, once everything is there and counted."""
        self._scan()
        if self.fields is None:
            raise CgatsError("no BEGIN_DATA_FORMAT … END_DATA_FORMAT section: this is not a CGATS file")
        if not self.data_line:
            raise CgatsError("no BEGIN_DATA … END_DATA section")
        self._check_counts()
        return self.fields

    def _scan(self) -> None:
        section, opened = "", 0
        names: list[str] = []
        for number, raw in enumerate(self.lines, start=1):
            line = raw.strip()
            if line.startswith("#"):
                if len(self.comments) < MAX_COMMENTS:
                    self.comments.append(line[1:].strip())
                continue
            if not line:
                continue
            word = line.split(None, 1)[0]
            if section == "data" and word != "END_DATA":
                self._row(line, number)
            elif section == "format" and word != "END_DATA_FORMAT":
                names += _cells(line)
                if len(names) > MAX_FIELDS:
                    raise CgatsError(f"more than {MAX_FIELDS} columns", number)
            elif section == "format":
                self.fields, self.fields_line, section = [name.upper() for name in names], opened, ""
            elif section == "data":
                section = ""
            elif word == "BEGIN_DATA_FORMAT":
                if self.data_line:
                    return  # a second table (calibration curves, for one): the first holds the patches
                if self.fields is not None:
                    raise CgatsError("a second BEGIN_DATA_FORMAT before any data", number)
                section, opened = "format", number
            elif word == "BEGIN_DATA":
                if self.fields is None:
                    raise CgatsError("the data come before the data format", number)
                if self.data_line:
                    return
                section, opened = "data", number
                self.data_line = number
            else:
                self._keyword(line, number)
        if section:
            name = "END_DATA" if section == "data" else "END_DATA_FORMAT"
            raise CgatsError(f"this section is never closed by {name}", opened)

    def _row(self, line: str, number: int) -> None:
        if len(self.rows) >= MAX_PATCHES:
            raise CgatsError(f"more than {MAX_PATCHES:,} patches", number)
        cells = _cells(line)
        assert self.fields is not None
        if len(cells) != len(self.fields):
            raise CgatsError(f"{len(cells)} cells where {len(self.fields)} columns are named", number)
        self.rows.append((number, cells))

    def _keyword(self, line: str, number: int) -> None:
        word, _, rest = line.partition(" ") if " " in line.split("\t", 1)[0] else line.partition("\t")
        value = rest.strip().strip('"').strip()
        if word in ("NUMBER_OF_SETS", "NUMBER_OF_FIELDS"):
            if not value.isdecimal():
                raise CgatsError(f"{word} needs a whole number, not {value[:40]!r}", number)
            if word == "NUMBER_OF_SETS":
                self.declared = self.declared or (int(value), number)
            else:
                self.declared_fields = self.declared_fields or (int(value), number)
        elif word != "KEYWORD" and len(self.header) < MAX_FIELDS:
            self.header.setdefault(word[:80], value[:2000])

    def _check_counts(self) -> None:
        assert self.fields is not None
        if self.declared_fields and self.declared_fields[0] != len(self.fields):
            wanted, number = self.declared_fields
            raise CgatsError(f"NUMBER_OF_FIELDS says {wanted}, the format names {len(self.fields)}", number)
        twice = {name for name in self.fields if self.fields.count(name) > 1}
        if twice & {*_INK_COLUMNS, *_XYZ_COLUMNS, *_LAB_COLUMNS}:
            raise CgatsError(f"a column is named twice: {', '.join(sorted(twice))}", self.fields_line)
        if self.declared and self.declared[0] != len(self.rows):
            wanted, number = self.declared
            raise CgatsError(f"NUMBER_OF_SETS says {wanted}, the data hold {len(self.rows)}", number)
        if not self.rows:
            raise CgatsError("the data section is empty", self.data_line)

    def _columns(self, fields: list[str], names: tuple[str, ...]) -> list[int] | None:
        if not all(name in fields for name in names):
            return None
        return [fields.index(name) for name in names]

    def _numbers(self, columns: list[int], names: tuple[str, ...]) -> npt.NDArray[np.float64]:
        out = np.empty((len(self.rows), len(columns)))
        for row, (number, cells) in enumerate(self.rows):
            for place, column in enumerate(columns):
                try:
                    value = float(cells[column])
                except ValueError:
                    value = math.nan
                if not math.isfinite(value):
                    raise CgatsError(f"{names[place]} is {cells[column][:40]!r}, not a number", number)
                out[row, place] = value
        return out

    def _build(self, fields: list[str]) -> CharacterizationData:
        inks = self._columns(fields, _INK_COLUMNS)
        if inks is None:
            missing = ", ".join(name for name in _INK_COLUMNS if name not in fields)
            raise CgatsError(f"missing columns: {missing}", self.fields_line)
        xyz, lab = self._colours(fields)
        tints, xyz = self._scaled(self._numbers(inks, _INK_COLUMNS), xyz)
        return CharacterizationData(tints, xyz, lab, dict(self.header), tuple(self.comments))

    def _colours(self, fields: list[str]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64] | None]:
        """XYZ (n, 3), made from Lab where the file has no XYZ, and the file's own Lab, if any."""
        xyz_at, lab_at = self._columns(fields, _XYZ_COLUMNS), self._columns(fields, _LAB_COLUMNS)
        if xyz_at is None and lab_at is None:
            raise CgatsError("missing columns: XYZ_X, XYZ_Y, XYZ_Z (or LAB_L, LAB_A, LAB_B)", self.fields_line)
        lab = self._numbers(lab_at, _LAB_COLUMNS) if lab_at else None
        if xyz_at:
            return self._numbers(xyz_at, _XYZ_COLUMNS), lab
        assert lab is not None
        return measured_xyz(lab), lab

    def _scaled(
        self, tints: npt.NDArray[np.float64], xyz: npt.NDArray[np.float64]
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Check ranges. The standard counts 0-100; what stays within 0-1 altogether counts in fractions."""
        if tints.min() >= 0 and 0 < tints.max() <= 1.0:
            tints = tints * 100.0
        if xyz.min() >= 0 and 0 < xyz.max() <= MAX_FRACTION:
            xyz = xyz * 100.0
        self._refuse((tints < 0) | (tints > 100), "an ink percentage is outside 0-100")
        self._refuse((xyz < -XYZ_NOISE) | (xyz > MAX_XYZ), "XYZ is outside 0-200 (a perfect white has Y = 100)")
        return tints, np.maximum(xyz, 0.0)

    def _refuse(self, faulty: npt.NDArray[np.bool_], reason: str) -> None:
        if faulty.any():
            raise CgatsError(reason, self.rows[int(np.argwhere(faulty)[0, 0])][0])
