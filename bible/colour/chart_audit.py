"""The audit of a house chart: does each label mean what its swatch holds, and is the chart whole?

Printed charts have had misprints, such as a swatch of 50 % yellow + 50 % red labelled as solid yellow + 50 %
red (common practice, no source). A label is read by the series' notation without regard to any chart, because
the chart is what is on trial.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import product
from typing import Any

from bible.colour.chart_table import Swatch
from bible.colour.notation import Notation, NotationError
from bible.colour.tints import Tint

NEWSPRINT_INK_LIMIT = 240
"""Total ink in percent that coldset newsprint takes (ISO 12647-3, from memory). Three solids are 300."""

STEP_SHARE = 0.25
"""A level that occurs less than this often, against the commonest level of its ink, is a slip and not a step:
on a full grid all occur equally often, and a grid that has lost three quarters of a level has lost it."""

GRID_FILL = 0.5
"""A chart that fills no more of the grid of its steps than this is a selection; it has no gaps."""


class AuditFindingKind(StrEnum):
    """What an audit finds. The values are stable."""

    LABEL_DIFFERS = "label_differs"
    LABEL_UNREADABLE = "label_unreadable"
    DUPLICATE_TINT = "duplicate_tint"
    DUPLICATE_LABEL = "duplicate_label"
    GAP = "gap"
    OFF_GRID = "off_grid"
    OVER_INK_LIMIT = "over_ink_limit"


@dataclass(frozen=True)
class AuditFinding:
    """One thing to look at.

    ``line`` is the row's (None for a gap: it has no row); ``tint`` what the swatch holds, or the tint that is
    missing; ``says`` what the label means, where that is something else; ``other_line`` the earlier row of a
    duplicate; ``suggestions`` codes the label might have been.
    """

    kind: AuditFindingKind
    message: str
    line: int | None = None
    label: str = ""
    tint: Tint | None = None
    says: Tint | None = None
    other_line: int | None = None
    suggestions: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        return {
            "kind": str(self.kind),
            "message": self.message,
            "line": self.line,
            "label": self.label,
            "tint": None if self.tint is None else list(self.tint.percentages),
            "says": None if self.says is None else list(self.says.percentages),
            "other_line": self.other_line,
            "suggestions": list(self.suggestions),
        }


@dataclass(frozen=True)
class ChartAudit:
    """The findings in the order of the rows, gaps last; ``steps`` are the levels of the regular grid in
    percent (cyan, magenta, yellow), empty when the chart is a selection without one."""

    swatch_count: int
    findings: tuple[AuditFinding, ...]
    steps: dict[str, tuple[int, ...]]

    def of_kind(self, kind: AuditFindingKind) -> tuple[AuditFinding, ...]:
        return tuple(finding for finding in self.findings if finding.kind is kind)

    @property
    def is_clean(self) -> bool:
        return not self.findings

    def to_dict(self) -> dict[str, Any]:
        return {
            "swatches": self.swatch_count,
            "findings": [finding.to_dict() for finding in self.findings],
            "steps": {ink: list(levels) for ink, levels in self.steps.items()},
        }


def audit(swatches: Sequence[Swatch], notation: Notation, ink_limit: int | None = None) -> ChartAudit:
    """Look a chart through.

    Args:
        swatches: its rows.
        notation: how its labels are written.
        ink_limit: the most ink the paper takes, percent of total ink (0-400); None does not check it.

    Gaps are looked for per level of key, within the grid of the steps that cyan, magenta and yellow use
    there; charts that are a free selection have none.
    """
    if ink_limit is not None and not 0 <= ink_limit <= 400:
        raise ValueError(f"an ink limit lies between 0 and 400 %, not {ink_limit}")
    steps, off_grid, gaps = _grid(swatches)
    findings: list[AuditFinding] = []
    first_tint: dict[Tint, int] = {}
    first_label: dict[str, int] = {}
    for swatch in swatches:
        says, trouble = _label(swatch, notation)
        findings += trouble
        findings += _duplicates(swatch, notation, says, first_tint, first_label)
        if swatch.line in off_grid:
            findings.append(
                _found(AuditFindingKind.OFF_GRID, swatch, f"{swatch.tint} is beside the steps of this chart")
            )
        if ink_limit is not None and swatch.tint.total_ink > ink_limit:
            message = f"{swatch.tint} is {swatch.tint.total_ink} % of ink, over the limit of {ink_limit} %"
            findings.append(_found(AuditFindingKind.OVER_INK_LIMIT, swatch, message))
    for tint in gaps:
        message = f"{notation.write(tint)} ({tint}) is missing from the steps this chart uses"
        findings.append(AuditFinding(AuditFindingKind.GAP, message, tint=tint))
    return ChartAudit(len(swatches), tuple(findings), steps)


def _found(kind: AuditFindingKind, swatch: Swatch, message: str, **more: Any) -> AuditFinding:
    return AuditFinding(kind, message, line=swatch.line, label=swatch.label, tint=swatch.tint, **more)


def _label(swatch: Swatch, notation: Notation) -> tuple[Tint | None, list[AuditFinding]]:
    """What the label says, and what is wrong with it."""
    try:
        says = notation.read(swatch.label)
    except NotationError as error:
        finding = _found(
            AuditFindingKind.LABEL_UNREADABLE,
            swatch,
            f"the label can't be read: {error.message}",
            suggestions=error.suggestions,
        )
        return None, [finding]
    if says == swatch.tint:
        return says, []
    message = f"the label says {says}, the swatch holds {swatch.tint}; that is {notation.write(swatch.tint)}"
    return says, [_found(AuditFindingKind.LABEL_DIFFERS, swatch, message, says=says)]


def _duplicates(
    swatch: Swatch,
    notation: Notation,
    says: Tint | None,
    first_tint: dict[Tint, int],
    first_label: dict[str, int],
) -> Iterator[AuditFinding]:
    """Whether an earlier row holds the same tint, or carries the same label however it is spelt."""
    earlier = first_tint.setdefault(swatch.tint, swatch.line)
    if earlier != swatch.line:
        message = f"{swatch.tint} is on line {earlier} already"
        yield _found(AuditFindingKind.DUPLICATE_TINT, swatch, message, other_line=earlier)
    spelt = notation.write(says) if says is not None else " ".join(swatch.label.casefold().split())
    if not spelt:
        return
    earlier = first_label.setdefault(spelt, swatch.line)
    if earlier != swatch.line:
        message = f"the label “{swatch.label}” says the same as the one on line {earlier}"
        yield _found(AuditFindingKind.DUPLICATE_LABEL, swatch, message, other_line=earlier)


def _grid(swatches: Iterable[Swatch]) -> tuple[dict[str, tuple[int, ...]], set[int], list[Tint]]:
    """The steps of each ink, the lines beside them, and the tints missing from their grid."""
    by_key: dict[int, list[Swatch]] = defaultdict(list)
    for swatch in swatches:
        by_key[swatch.tint.k].append(swatch)
    steps: dict[str, set[int]] = defaultdict(set)
    off_grid: set[int] = set()
    gaps: list[Tint] = []
    for key, group in sorted(by_key.items()):
        tints = {swatch.tint for swatch in group}
        levels = {ink: _steps(getattr(tint, ink) for tint in tints) for ink in "cmy"}
        grid = [Tint(c=c, m=m, y=y, k=key) for y, m, c in product(levels["y"], levels["m"], levels["c"])]
        missing = [tint for tint in grid if tint not in tints]
        if len(grid) == 1 or len(missing) >= (1 - GRID_FILL) * len(grid):
            continue
        gaps += missing
        regular = set(grid)
        off_grid |= {swatch.line for swatch in group if swatch.tint not in regular}
        for ink, ink_steps in levels.items():
            steps[ink] |= set(ink_steps)
    return {ink: tuple(sorted(ink_steps)) for ink, ink_steps in steps.items()}, off_grid, gaps


def _steps(levels: Iterable[int]) -> list[int]:
    counts = Counter(levels)
    most = max(counts.values())
    return sorted(level for level, count in counts.items() if count >= STEP_SHARE * most)
