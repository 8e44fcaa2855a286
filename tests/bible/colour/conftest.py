"""Measured press data and the reference library that the colour tests compare with."""

from __future__ import annotations

import warnings
from functools import lru_cache
from pathlib import Path
from types import ModuleType

import pytest

from bible.colour.cgats import CharacterizationData, read_cgats

PRESS_DATA = Path(__file__).parents[2] / "data" / "press"

SHIPPED = {
    "newsprint": "TR002",
    "web-coated-tr003": "TR003",
    "web-coated-tr005": "TR005",
    "sheet-coated-tr006": "TR006",
    "uncoated-fogra29": "FOGRA29L",
    "coated-fogra39": "FOGRA39L",
}
"""Condition -> its data in tests/data/press (sources and licence in the README there)."""


@lru_cache
def measured(name: str) -> CharacterizationData:
    return read_cgats((PRESS_DATA / f"{SHIPPED[name]}.ti3").read_bytes())


@pytest.fixture(params=list(SHIPPED))
def shipped(request: pytest.FixtureRequest) -> tuple[str, CharacterizationData]:
    """Name and measured data of each shipped condition in turn."""
    return request.param, measured(request.param)


@pytest.fixture(scope="session")
def newsprint_data() -> CharacterizationData:
    return measured("newsprint")


@pytest.fixture(scope="session")
def coated_data() -> CharacterizationData:
    return measured("web-coated-tr003")


@pytest.fixture(scope="session")
def colour_science() -> ModuleType:
    """The colour-science library, which warns of absent plotting parts when it is imported."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour
