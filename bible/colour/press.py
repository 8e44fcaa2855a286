"""Press conditions: what a tint looks like on a stated paper, press and inks.

A condition is fitted to published characterization data and predicts the colour of any tint. A screen is
not a proof: whatever is shown must name the condition, and printed output is judged on the house's own proof.

The model is a cellular Neugebauer model in the square root of XYZ, with a tone curve per ink and channel; how well
it predicts what it was not fitted to: ``tests/bible/colour/test_press_heldout.py``. Screens show colours absolute,
paper's own grey and yellow included, on a neutral surround.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import islice
from pathlib import Path

from bible.colour.condition import (
    DEFAULT_RELATIVE,
    SRGB,
    EffectiveCoverage,
    PressCondition,
    PressInfo,
    checked_percentages,
    murray_davies,
    yule_nielsen,
)
from bible.colour.pressfile import loads

__all__ = [
    "DEFAULT_PRESS",
    "DEFAULT_RELATIVE",
    "PRESS_DATA",
    "SRGB",
    "SUFFIX",
    "EffectiveCoverage",
    "PressCondition",
    "PressInfo",
    "UnknownPress",
    "available",
    "checked_percentages",
    "load",
    "murray_davies",
    "yule_nielsen",
]

DEFAULT_PRESS = "newsprint"
"""Coldset newsprint, TR 002: the paper that most interiors coloured in flat tints were printed on."""

PRESS_DATA = Path(__file__).parent / "pressdata"
SUFFIX = ".press"


class UnknownPress(LookupError):
    """No condition of that name; the message lists the known names."""


@lru_cache(maxsize=32)
def load(name: str) -> PressCondition:
    """The shipped condition of that name.

    Raises:
        UnknownPress: there is none; the message lists those there are.
    """
    path = _shipped().get(name)
    if path is None:
        raise UnknownPress(f"no press condition {name!r}; known are {', '.join(_shipped())}")
    return loads(path.read_text(encoding="utf-8"))


@lru_cache(maxsize=1)
def available() -> tuple[PressInfo, ...]:
    """The shipped conditions, the default first."""
    infos = map(_heading, _shipped().values())
    return tuple(sorted(infos, key=lambda info: (info.name != DEFAULT_PRESS, info)))


def _heading(path: Path) -> PressInfo:
    """Name, title and source from a shipped file's second to fourth lines, without loading the condition."""
    with path.open(encoding="utf-8") as lines:
        name, title, source = (line.partition(":")[2].strip() for line in islice(lines, 1, 4))
    return PressInfo(name, title, source)


@lru_cache(maxsize=1)
def _shipped() -> dict[str, Path]:
    return {path.stem: path for path in sorted(PRESS_DATA.glob(f"*{SUFFIX}"))}
