"""A small drawn page whose areas and codes are known to the pixel: written inside, beside with a line, in the margin."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np

from bible.colour.notation import LETTERS_64

WIDTH, HEIGHT = 900, 1200
PENCIL = (60, 60, 70)
PAINTS = {
    "YR2": (246, 190, 110), "B3": (140, 200, 230), "R3": (235, 150, 180), "YB": (60, 150, 70), "Y2": (250, 245, 190),
    "RB3": (120, 60, 130), "YR3B2": (190, 130, 60), "B2": (200, 228, 240),
}  # fmt: skip
"""How a colourist's dyes look for some codes; ours."""


@dataclass(frozen=True)
class FakePlace:
    """Four corners of a turned box."""

    outline: Any

    def corners(self) -> Any:
        return self.outline


@dataclass(frozen=True)
class FakeReading:
    code: str
    p: float


@dataclass(frozen=True)
class FakeCode:
    """A code as a perfect reader would give it."""

    place: FakePlace
    text: str
    alternatives: tuple[FakeReading, ...]
    unreadable: bool = False
    crossed_out: bool = False
    angle: float = 0.0

    @property
    def box(self) -> tuple[float, float, float, float]:
        x, y = self.place.outline[:, 0], self.place.outline[:, 1]
        return float(x.min()), float(y.min()), float(x.max()), float(y.max())


@dataclass
class CodedPage:
    """The picture (h, w, 3) uint8 RGB, the codes, and a place in the area that each means."""

    image: Any
    codes: list[FakeCode] = field(default_factory=list)
    meant: list[tuple[float, float]] = field(default_factory=list)

    def area(self, left: int, top: int, right: int, bottom: int, code: str) -> None:
        """A painted and outlined box."""
        cv2.rectangle(self.image, (left, top), (right, bottom), PAINTS[code], -1)
        cv2.rectangle(self.image, (left, top), (right, bottom), (20, 20, 20), 4)

    def write(self, code: str, x: int, y: int, meant: tuple[float, float], says: str = "") -> None:
        """A code with its box; ``x``, ``y`` its lower left corner."""
        says = says or code
        (wide, high), _ = cv2.getTextSize(says, cv2.FONT_HERSHEY_SIMPLEX, 0.6, 2)
        cv2.putText(self.image, says, (x, y), cv2.FONT_HERSHEY_SIMPLEX, 0.6, PENCIL, 2, cv2.LINE_AA)
        corners = np.array([(x, y - high), (x + wide, y - high), (x + wide, y), (x, y)], float)
        reading = FakeReading(LETTERS_64.write(LETTERS_64.read(says)), 0.97)
        self.codes.append(FakeCode(FakePlace(corners), says, (reading,)))
        self.meant.append(meant)

    def line(self, start: tuple[int, int], end: tuple[int, int], *, arrow: bool = False) -> None:
        draw: Any = cv2.arrowedLine if arrow else cv2.line
        more: dict[str, Any] = {"tipLength": 0.12} if arrow else {}
        draw(self.image, start, end, PENCIL, 2, cv2.LINE_AA, **more)


def make_coded_page() -> CodedPage:
    """Two panels, eight areas; codes inside, beside with a line across another area, and in the margin."""
    rng = np.random.default_rng(4)
    page = CodedPage(np.full((HEIGHT, WIDTH, 3), 246, np.uint8))
    page.area(100, 60, 840, 580, "B2")
    page.area(100, 640, 840, 1140, "Y2")
    page.area(180, 140, 380, 330, "YR2")
    page.area(180, 330, 380, 520, "B3")
    page.area(560, 200, 600, 240, "R3")
    page.area(560, 420, 760, 520, "YB")
    page.area(200, 760, 260, 820, "RB3")
    page.area(500, 760, 760, 1000, "YR3B2")
    page.write("YR2", 240, 240, (280, 200))
    page.write("B3", 250, 430, (280, 480))
    page.write("B2", 430, 130, (700, 120))
    page.write("R3", 680, 190, (580, 220))
    page.line((674, 188), (586, 218))
    page.write("YB", 640, 480, (600, 450))
    page.write("Y2", 400, 720, (420, 1080))
    page.write("RB3", 20, 800, (230, 790))
    page.line((60, 794), (226, 790), arrow=True)
    page.write("YR3B2", 590, 880, (540, 960))
    noise = rng.normal(0, 2.5, page.image.shape)
    page.image = np.clip(page.image + noise, 0, 255).astype(np.uint8)
    return page
