"""A hand at mouse and keys that counts what it does, and how long that takes a person.

The counting is the keystroke-level model of S. K. Card, T. P. Moran and A. Newell, “The Keystroke-Level Model for User
Performance Time with Interactive Systems”, Communications of the ACM 23 (7), July 1980, pages 396-410. Its operators
and times (from memory, the paper's figure 1): K, a key or a button: 0.08 s (best typist) to 1.20 s (worst), 0.20 s an
average skilled typist of 55 words a minute; P, pointing with a mouse at a target on the display: 1.10 s; H, homing the
hands on keyboard or mouse: 0.40 s; M, preparing mentally: 1.35 s.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

POINT, HOME, PREPARE = 1.10, 0.40, 1.35
"""Seconds for P, H and M."""

KEYSTROKE = {"good typist": 0.12, "average skilled typist": 0.20, "average non-secretary typist": 0.28}
"""Seconds for K: 90, 55 and 40 words a minute."""


class Hand:
    """One hand for both devices: each change between mouse and keyboard is a homing."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.did: Counter[str] = Counter()
        self._on = "mouse"

    def _reach(self, device: str) -> None:
        self.did["H"] += self._on != device
        self._on = device

    def think(self) -> None:
        """Find the next place and its code."""
        self.did["M"] += 1

    def click(self, x: float, y: float) -> None:
        """Point at a place of the screen and press the button there."""
        self._reach("mouse")
        self.did["P"] += 1
        self.did["K"] += 1
        self.page.mouse.move(x - 1, y - 1)
        self.page.mouse.click(x, y)

    def point(self, x: float, y: float) -> None:
        """Point at a place without pressing anything."""
        self._reach("mouse")
        self.did["P"] += 1
        self.page.mouse.move(x - 1, y - 1)
        self.page.mouse.move(x, y)

    def key(self, name: str) -> None:
        self._reach("keys")
        self.did["K"] += name.count("+") + 1
        self.page.keyboard.press(name)

    def type(self, text: str) -> None:
        """Type text in small letters."""
        self._reach("keys")
        self.did["K"] += len(text)
        self.page.keyboard.type(text)


def seconds(did: Counter[str], keystroke: float) -> float:
    """The model's time. The system answers while the hand goes on, so that there is no waiting to add."""
    return did["K"] * keystroke + did["P"] * POINT + did["H"] * HOME + did["M"] * PREPARE
