"""The matrix as a table of HTML: a row a tint, a column an issue or a run of issues, and the whole run as a strip.

Put together from strings, since a template takes longer to fill 38,400 cells than the database takes to count them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from itertools import pairwise
from urllib.parse import quote, urlencode

import numpy as np
from django.utils.safestring import SafeString, mark_safe

from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array
from bible.models import Issue, Series
from guides.palettes.matrix import Counts, Matrix, MatrixRow, Palette

COLUMNS_THAT_FIT = 60
"""Where there are more issues, a column takes as many as it needs for no more columns than this, in round numbers."""

ROUND = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
SHADES = 6
GREY_CHROMA = 6.0
"""C*ab below which nobody would name a hue (common practice, no source)."""
STRIP_HEIGHT = 12


@dataclass(frozen=True, slots=True)
class MatrixColumn:
    """Issues ``start`` to ``stop`` (not included) of the matrix."""

    start: int
    label: str
    run: str


def columns_of(issues: tuple[Issue, ...], asked: str) -> list[MatrixColumn]:
    """The columns that were asked for: “each”, a number of issues, or as they fit."""
    if asked == "each":
        step = 1
    elif asked:
        step = int(asked)
    else:
        step = next((step for step in ROUND if len(issues) <= step * COLUMNS_THAT_FIT), len(issues))
    columns = []
    for start in range(0, len(issues), step):
        first, last = issues[start].number, issues[min(start + step, len(issues)) - 1].number
        run = first if step == 1 or first == last else f"{first}-{last}"
        columns.append(MatrixColumn(start, run.replace("-", "–") if run != first else first, run))
    return columns


def table(
    series: Series,
    matrix: Matrix,
    press: PressCondition,
    asked: str,
    query: Mapping[str, list[str]],
    people: Mapping[int, str],
) -> SafeString:
    """The whole table. ``query`` is what a link into it must carry on; ``people`` names the colourists."""
    columns = columns_of(matrix.issues, asked)
    starts = np.array([column.start for column in columns])
    sums = np.add.reduceat(matrix.counts, starts, axis=0) if len(starts) else matrix.counts
    highest = int(sums.max(initial=1))
    # By the square root, so that a tint used once is told from one not used at all.
    shades = np.ceil(np.sqrt(sums / highest) * SHADES).astype(int)
    strips = _strips(matrix)
    fills = press.hexes(list(matrix.tints)) if matrix.tints else []
    carried = urlencode(
        {name: values for name, values in query.items() if name not in ("issues", "columns")}, doseq=True
    )
    ends = [f"?issues={quote(column.run)}{'&amp;' + escape(carried) if carried else ''}" for column in columns]
    linked = len(columns) <= 2 * COLUMNS_THAT_FIT
    pieces = [_head(columns, ends)]
    for at, row in enumerate(matrix.rows):
        address = "tint/" + "-".join(map(str, row.tint.percentages))
        pieces.append(_row_head(series, row, fills[at], strips[at], len(matrix.issues), address, carried, query))
        numbers, shade = sums[:, at].tolist(), shades[:, at].tolist()
        if linked:
            pieces += [
                f'<td class="s{s}"><a href="{address}{end}">{n}</a></td>' if n else "<td></td>"
                for n, s, end in zip(numbers, shade, ends, strict=True)
            ]
        else:
            pieces += [
                f'<td class="s{s}">{n}</td>' if n else "<td></td>" for n, s in zip(numbers, shade, strict=True)
            ]
        who = ", ".join(f"{escape(people.get(key, 'nobody named'))} {uses}" for key, uses in row.people)
        pieces.append(f'<td class="who-uses">{who}</td></tr>')
    pieces.append("</tbody>")
    return mark_safe("".join(pieces))


def _head(columns: list[MatrixColumn], ends: list[str]) -> str:
    cells = "".join(
        f'<th scope="col"><a href="{end}">{escape(column.label)}</a></th>'
        for column, end in zip(columns, ends, strict=True)
    )
    fixed = '<th scope="col" class="tint-head">Tint</th><th scope="col" class="strip-head">Whole run</th>' + "".join(
        f'<th scope="col">{word}</th>' for word in ("Uses", "Issues", "First", "Last")
    )
    who = '<th scope="col">On pages of</th>'
    return f"<thead><tr>{fixed}{cells}{who}</tr></thead><tbody>"


def _row_head(
    series: Series,
    row: MatrixRow,
    fill: str,
    strip: str,
    width: int,
    address: str,
    carried: str,
    query: Mapping[str, list[str]],
) -> str:
    whole = urlencode({**{name: v for name, v in query.items() if name == "issues"}}, doseq=True)
    end = escape("&".join(part for part in (whole, carried) if part))
    return (
        f'<tr><th scope="row"><a class="chip" href="{address}{"?" + end if end else ""}">'
        '<svg class="swatch" viewBox="0 0 24 24" aria-hidden="true">'
        f'<rect width="24" height="24" fill="{fill}"/></svg>'
        f'<span class="code">{escape(series.write(row.tint))}</span></a></th>'
        f'<td class="strip"><svg viewBox="0 0 {width} {STRIP_HEIGHT}" preserveAspectRatio="none" aria-hidden="true">'
        f'<path d="{strip}"/></svg></td>'
        f'<td class="number">{row.uses}</td><td class="number">{row.issues}</td>'
        f'<td class="number">{escape(row.first.number)}</td><td class="number">{escape(row.last.number)}</td>'
    )


BAND_WIDTH = 1000


def bands(before: Palette, after: Palette, press: PressCondition) -> list[SafeString]:
    """Two palettes as bands that touch: each tint as wide as its share, the tints of both in one order."""
    order = sorted(before.keys() | after.keys(), key=lambda tint: _place(press, tint))
    return [_band(palette, order, press) for palette in (before, after)]


def _place(press: PressCondition, tint: Tint) -> tuple[int, float]:
    """By hue in twelve parts, then from light to dark; greys and paper first."""
    lightness, a, b = press.lab(as_array([tint]))[0]
    grey = np.hypot(a, b) < GREY_CHROMA
    return (-1 if grey else int(np.degrees(np.arctan2(b, a)) % 360 // 30), -float(lightness))


def _band(palette: Palette, order: list[Tint], press: PressCondition) -> SafeString:
    whole, x, pieces = sum(palette.values()) or 1, 0.0, []
    for tint in order:
        if uses := palette.get(tint, 0):
            width = BAND_WIDTH * uses / whole
            pieces.append(f'<rect x="{x:.2f}" width="{width:.2f}" height="24" fill="{press.hex(tint)}"/>')
            x += width
    return mark_safe("".join(pieces))


def _strips(matrix: Matrix) -> list[str]:
    """For each tint a path one unit wide an issue, as high as the root of its share of the tint's fullest issue."""
    tallest = np.maximum(matrix.counts.max(axis=0, initial=0), 1)
    heights: Counts = np.ceil(np.sqrt(matrix.counts / tallest) * STRIP_HEIGHT).astype(np.int64)
    return [_outline(heights[:, at]) for at in range(len(matrix.tints))]


def _outline(heights: Counts) -> str:
    turns = [0, *(np.flatnonzero(np.diff(heights)) + 1).tolist(), len(heights)]
    steps = "".join(
        f"V{STRIP_HEIGHT - heights[start]}h{stop - start}" for start, stop in pairwise(turns) if stop > start
    )
    return f"M0 {STRIP_HEIGHT}{steps}V{STRIP_HEIGHT}z"
