"""Characterization data are read as the files hold them; faults name their line."""

from __future__ import annotations

import numpy as np
import pytest

from bible.colour.cgats import MAX_BYTES, CgatsError, CharacterizationData, read_cgats
from bible.colour.colorimetry import xyz_to_lab

HEAD = """CGATS.17
ORIGINATOR "A press room"
# Measured on a quiet day
NUMBER_OF_FIELDS 8
BEGIN_DATA_FORMAT
SAMPLE_ID CMYK_C CMYK_M CMYK_Y CMYK_K XYZ_X XYZ_Y XYZ_Z
END_DATA_FORMAT
NUMBER_OF_SETS 3
BEGIN_DATA
"""
ROWS = ["1 0 0 0 0 80.0 83.0 68.0", "2 100 0 0 0 20.0 25.0 40.0", "3 0 100 0 0 30.5 20.25 17"]


def text(rows: list[str] = ROWS, head: str = HEAD, tail: str = "END_DATA\n") -> str:
    return head + "\n".join(rows) + "\n" + tail


def test_reads_percentages_xyz_and_header() -> None:
    data = read_cgats(text())
    np.testing.assert_array_equal(data.tints, [[0, 0, 0, 0], [100, 0, 0, 0], [0, 100, 0, 0]])
    np.testing.assert_array_equal(data.xyz[2], [30.5, 20.25, 17])
    assert data.lab is None
    assert data.header["ORIGINATOR"] == "A press room"
    assert data.comments == ("Measured on a quiet day",)
    assert len(data) == 3


@pytest.mark.parametrize(
    "change",
    [
        lambda t: t.replace("\n", "\r\n"),
        lambda t: t.replace("\n", "\r"),
        lambda t: t.replace(" ", "\t"),
        lambda t: "\ufeff" + t,
        lambda t: t.encode("utf-16"),
        lambda t: t.replace("quiet", "d\u00fcster").encode("latin-1"),
        lambda t: t.replace("quiet", "\u201cquiet\u201d").encode("cp1252"),
        lambda t: t.replace("1 0 0", '"A 1" 0 0'),
        lambda t: t.replace("83.0 68.0", "83.0 68.0 # the paper"),
        lambda t: t.replace("CMYK_C", "cmyk_c"),
        lambda t: t + "CAL\n\nBEGIN_DATA_FORMAT\nI X\nEND_DATA_FORMAT\nBEGIN_DATA\n0 0\nEND_DATA\n",
    ],
    ids=["crlf", "cr", "tabs", "bom", "utf16", "latin1", "cp1252", "quoted", "comment", "case", "second-table"],
)
def test_dialects_read_the_same(change: object) -> None:
    data = read_cgats(change(text()))  # type: ignore[operator]
    np.testing.assert_array_equal(data.tints, read_cgats(text()).tints)
    np.testing.assert_array_equal(data.xyz, read_cgats(text()).xyz)


def test_fractions_are_scaled_to_percentages() -> None:
    rows = ["1 0 0 0 0 0.80 0.83 0.68", "2 1 0 0 0 0.2 0.25 0.4", "3 0 0.5 0 0 0.3 0.2 0.17"]
    data = read_cgats(text(rows))
    np.testing.assert_allclose(data.tints[1:], [[100, 0, 0, 0], [0, 50, 0, 0]])
    np.testing.assert_allclose(data.xyz[0], [80, 83, 68])


def test_lab_alone_will_do() -> None:
    head = HEAD.replace("XYZ_X XYZ_Y XYZ_Z", "LAB_L LAB_A LAB_B")
    data = read_cgats(text(["1 0 0 0 0 95 0 -2", "2 100 0 0 0 55 -37 -50", "3 0 0 100 0 89 -5 93"], head))
    assert data.lab is not None
    np.testing.assert_allclose(xyz_to_lab(data.xyz), data.lab, atol=1e-9)


def test_repeated_patches_are_averaged() -> None:
    data = CharacterizationData(
        np.array([[0.0, 0, 0, 0], [100, 0, 0, 0], [0, 0, 0, 0]]),
        np.array([[80.0, 82, 68], [20, 25, 40], [82, 84, 70]]),
    )
    tints, xyz = data.averaged()
    np.testing.assert_array_equal(tints, [[0, 0, 0, 0], [100, 0, 0, 0]])
    np.testing.assert_allclose(xyz, [[81, 83, 69], [20, 25, 40]])


# Line numbers are counted by hand in the text above: the format's section begins on 5, the data on 9, rows on 10-12.
@pytest.mark.parametrize(
    ("bad", "line", "words"),
    [
        (text(["1 0 0 0 0 80 83 68", "2 100 0 0 0 twenty 25 40", ROWS[2]]), 11, "twenty"),
        (text([ROWS[0], "2 100 0 0 0 nan 25 40", ROWS[2]]), 11, "nan"),
        (text([ROWS[0], "2 100 0 0 0 20 inf 40", ROWS[2]]), 11, "inf"),
        (text([ROWS[0], "2 101 0 0 0 20 25 40", ROWS[2]]), 11, "outside 0-100"),
        (text([ROWS[0], "2 -1 0 0 0 20 25 40", ROWS[2]]), 11, "outside 0-100"),
        (text([ROWS[0], ROWS[1], "3 0 100 0 0 30 2025 17"]), 12, "outside 0-200"),
        (text([ROWS[0], "2 100 0 0 0 20 25", ROWS[2]]), 11, "7 cells where 8"),
        (text(ROWS[:2]), 8, "says 3, the data hold 2"),
        (text(head=HEAD.replace("FIELDS 8", "FIELDS 9")), 4, "says 9, the format names 8"),
        (text(head=HEAD.replace("SETS 3", "SETS many")), 8, "whole number"),
        (text(head=HEAD.replace("CMYK_K", "KEY")), 5, "missing columns: CMYK_K"),
        (text(head=HEAD.replace("XYZ_Z", "Z")), 5, "missing columns: XYZ_X"),
        (text(head=HEAD.replace("SAMPLE_ID", "CMYK_C")), 5, "twice"),
        (text(tail=""), 9, "never closed by END_DATA"),
        (text(head=HEAD.replace("END_DATA_FORMAT\n", "")), 5, "never closed by END_DATA_FORMAT"),
        (text([], HEAD.replace("SETS 3", "SETS 0")), 9, "empty"),
        ("BEGIN_DATA\n1 2 3\nEND_DATA\n", 1, "before the data format"),
        (HEAD.split("NUMBER_OF_SETS")[0], None, "no BEGIN_DATA"),
        ("", None, "not a CGATS file"),
        ("a letter to the editor\n" * 50, None, "not a CGATS file"),
    ],
)
def test_faults_name_their_line(bad: str, line: int | None, words: str) -> None:
    with pytest.raises(CgatsError, match=words) as caught:
        read_cgats(bad)
    assert caught.value.line == line
    assert (f"line {line}" in str(caught.value)) == (line is not None)


@pytest.mark.parametrize(
    "rubbish",
    [
        b"\x89PNG\r\n\x1a\n" + bytes(2000),
        b"\xff\xfe" + b"\x00\xd8" * 3 + b"x",
        b"\xff" * 4096,
        bytes(range(256)) * 1000,
        b"BEGIN_DATA_FORMAT\n" + b"CMYK_C " * 5000,
        HEAD.encode() + b"1 2 3\n" * 30000 + b"END_DATA",
        b"x" * MAX_BYTES,
        b"\n" * MAX_BYTES,
    ],
    ids=["png", "utf16", "ff", "every-byte", "wide", "long", "one-line", "empty-lines"],
)
def test_rubbish_is_refused(rubbish: bytes) -> None:
    with pytest.raises(CgatsError):
        read_cgats(rubbish)


def test_fifty_megabytes_are_refused_unread() -> None:
    with pytest.raises(CgatsError, match="larger than"):
        read_cgats(b"7 " * 25_000_000)


def test_more_patches_than_a_chart_holds_are_refused() -> None:
    head = HEAD.replace("NUMBER_OF_SETS 3\n", "")
    with pytest.raises(CgatsError, match="patches"):
        read_cgats(text(["1 0 0 0 0 1 1 1"] * 20_001, head))


def test_measured_files_are_read_whole(shipped: tuple[str, CharacterizationData]) -> None:
    """Patch counts as the files' own NUMBER_OF_SETS state them."""
    name, data = shipped
    counts = {"newsprint": 928, "uncoated-fogra29": 1485}
    assert len(data) == counts.get(name, 1617)
    assert data.lab is not None
    assert np.ptp(data.tints, axis=0).tolist() == [100, 100, 100, 100]


def test_lab_columns_follow_from_the_xyz_columns(shipped: tuple[str, CharacterizationData]) -> None:
    """The files' own Lab columns; their XYZ are rounded to 0.01 and dark patches magnify that."""
    _, data = shipped
    assert data.lab is not None
    lab = xyz_to_lab(data.xyz)
    # Half a unit in the last place of XYZ, through the slope of each Lab axis, plus half of one in Lab.
    white = np.array([96.422, 100.0, 82.521])
    slope = np.cbrt(np.maximum(data.xyz / white, 216 / 24389)) ** -2 / 3 / white * 0.005
    bound = np.stack(
        [116 * slope[:, 1], 500 * (slope[:, 0] + slope[:, 1]), 200 * (slope[:, 1] + slope[:, 2])], axis=1
    )
    assert (np.abs(lab - data.lab) <= bound + 0.03).all()
