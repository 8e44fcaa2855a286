"""A chart laid out so that neighbours mean something: one sheet for each strength of yellow (and key), cyan across,
magenta down.

Yellow turns the pages because its steps print weakest: what lies at the same place of two sheets in a row is what
people mistake for each other, and each sheet says how much of it. A step to the right or down is one step of one
ink; where it hardly shows in print, the two swatches are tied. A house list that fills no such grid is laid out by
the press's own hues instead.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import prod

import numpy as np

from bible.chart.converters import TintConverter
from bible.chart.queries import Uses
from bible.colour.chart_neighbours import Neighbour, nearest_on_chart, pair_words, seen_hexes
from bible.colour.lookalikes import NORMAL, RISK_BANDS
from bible.colour.press import PressCondition
from bible.colour.printed_gradients import NEUTRAL_CHROMA
from bible.colour.tints import Tint, as_array

GRID_FILL = 0.5
"""Sheets that stay emptier than this on the whole are no grid: a list of sixty chosen tints would be mostly holes."""

TIED = frozenset(band.word for band in RISK_BANDS[2:])
"""Words of a step that hardly shows: from “easily mistaken” on."""


@dataclass(slots=True)
class ChartCell:
    """A tint on its sheet, in the words its page prints.

    ``near`` is the nearest tint with its difference, ``who`` one part that carries it (``who_in_full`` with its
    costume) and ``more`` how many others do. ``right`` and ``below`` are the words for the step to the neighbour
    there, ``before`` for the same place of the sheet before; empty where the step shows well or there is none.
    """

    tint: Tint
    code: str
    fill: str
    nearest: Neighbour | None
    near: str
    who: str
    who_in_full: str
    more: int
    right: str = ""
    below: str = ""
    before: str = ""

    @property
    def path(self) -> str:
        """Where the tint's own page lies, seen from the chart's: a chart has too many links to reverse each."""
        return TintConverter().to_url(self.tint) + "/"


@dataclass(slots=True)
class ChartSheet:
    """One sheet: ``columns`` are levels of cyan and ``rows`` (level of magenta, cells); cells are None in holes.

    ``alike`` of the ``compared`` places are hardly other than on the sheet before (``before``: its yellow).
    """

    yellow: int
    key: int
    columns: tuple[int, ...]
    rows: list[tuple[int, list[ChartCell | None]]]
    before: int | None = None
    alike: int = 0
    compared: int = 0


@dataclass(frozen=True, slots=True)
class Family:
    """Tints of a house list that share a hue in print, light to dark."""

    name: str
    cells: tuple[ChartCell, ...]


@dataclass(slots=True)
class Layout:
    """A chart laid out: as sheets if it is a grid, else as families."""

    sheets: list[ChartSheet] = field(default_factory=list)
    families: list[Family] = field(default_factory=list)


def lay_out(
    press: PressCondition,
    tints: Sequence[Tint],
    write: Callable[[Tint], str],
    uses: Mapping[Tint, Uses],
    vision: str = NORMAL,
) -> Layout:
    """Lay a chart out.

    Args:
        press: the condition it is printed under.
        tints: the chart.
        write: how a tint is written, ``series.write``.
        uses: which tints somebody carries.
        vision: one of ``lookalikes.VISIONS``; fills, ties and neighbours are as it sees them.
    """
    chart = tuple(tints)
    fills = seen_hexes(press, chart, vision)
    nearest = nearest_on_chart(press, chart, vision)
    codes = {tint: write(tint) for tint in chart}
    cells = {
        tint: _cell(tint, codes, fill, near, uses.get(tint))
        for tint, fill, near in zip(chart, fills, nearest, strict=True)
    }
    if not _is_grid(chart):
        return Layout(families=_families(press, cells))
    sheets = _sheets(cells)
    _tie(press, sheets, cells, vision)
    return Layout(sheets=sheets)


def _cell(tint: Tint, codes: Mapping[Tint, str], fill: str, near: Neighbour | None, uses: Uses | None) -> ChartCell:
    return ChartCell(
        tint,
        codes[tint],
        fill,
        near,
        near=f"{codes[near.tint]} {near.difference:.1f}" if near else "",
        who=f"{uses.part.costume.subject.name}: {uses.part.name}" if uses else "",
        who_in_full=uses.part.full_name if uses else "",
        more=uses.more if uses else 0,
    )


def _is_grid(chart: Sequence[Tint]) -> bool:
    levels = [{getattr(tint, ink) for tint in chart} for ink in "cmyk"]
    return len(chart) >= GRID_FILL * prod(len(level) for level in levels)


def _sheets(cells: dict[Tint, ChartCell]) -> list[ChartSheet]:
    columns = tuple(sorted({tint.c for tint in cells}))
    magentas = sorted({tint.m for tint in cells})
    sheets: list[ChartSheet] = []
    for key, yellow in sorted({(tint.k, tint.y) for tint in cells}):
        rows = [(m, [cells.get(Tint(c, m, yellow, key)) for c in columns]) for m in magentas]
        before = sheets[-1].yellow if sheets and sheets[-1].key == key else None
        sheets.append(ChartSheet(yellow, key, columns, rows, before))
    return sheets


def _tie(press: PressCondition, sheets: list[ChartSheet], cells: dict[Tint, ChartCell], vision: str) -> None:
    """Find the steps that hardly show: to the right, down, and from the sheet before. All at once."""
    steps: list[tuple[str, ChartSheet, ChartCell, ChartCell]] = []
    for number, sheet in enumerate(sheets):
        earlier = sheets[number - 1].rows if sheet.before is not None else None
        for row, (_, line) in enumerate(sheet.rows):
            for column, cell in enumerate(line):
                if cell is None:
                    continue
                below = sheet.rows[row + 1][1][column] if row + 1 < len(sheet.rows) else None
                beside = {
                    "right": line[column + 1] if column + 1 < len(line) else None,
                    "below": below,
                    "before": earlier[row][1][column] if earlier else None,
                }
                steps += [(where, sheet, cell, other) for where, other in beside.items() if other]
    words = pair_words(press, [step[2].tint for step in steps], [step[3].tint for step in steps], vision)
    for (where, sheet, cell, _), word in zip(steps, words, strict=True):
        sheet.compared += where == "before"
        if word in TIED:
            setattr(cell, where, word)
            sheet.alike += where == "before"


_HUES = {
    "yellows": (0, 0, 100, 0),
    "reds": (0, 100, 100, 0),
    "magentas": (0, 100, 0, 0),
    "violets": (100, 100, 0, 0),
    "cyans": (100, 0, 0, 0),
    "greens": (100, 0, 100, 0),
}
"""The hues a press is made of: its solids and their overprints."""


def _families(press: PressCondition, cells: dict[Tint, ChartCell]) -> list[Family]:
    """By the nearest of the press's own hues, relative to the paper; nearly neutral ones apart; light to dark."""
    lab = press.relative_lab(as_array(cells))
    own = press.relative_lab(np.array(list(_HUES.values()), dtype=np.float64))
    angles = np.arctan2(lab[:, 2], lab[:, 1])[:, None] - np.arctan2(own[:, 2], own[:, 1])
    hue = np.cos(angles).argmax(axis=1)
    neutral = np.hypot(lab[:, 1], lab[:, 2]) < NEUTRAL_CHROMA
    family = np.where(neutral, -1, hue)
    order = np.argsort(-lab[:, 0], kind="stable")
    all_cells = list(cells.values())
    names = ["paper and greys", *_HUES]
    groups = [(name, [all_cells[at] for at in order if family[at] == rank - 1]) for rank, name in enumerate(names)]
    return [Family(name, tuple(members)) for name, members in groups if members]
