"""The map of a page: paper, line art, writing, and the areas that lines and paints bound.

Made once from the scan (``reading.read_page_map``) and kept with the page; paint, print and proof are read through
it.
"""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.paper import Paper

FloatArray = npt.NDArray[np.float64]
Image = npt.NDArray[np.uint8]
Labels = npt.NDArray[np.int32]
BoolArray = npt.NDArray[np.bool_]

VERSION = 5
"""Of the kept form and of the way maps are made: raise it and every kept map is made anew."""

PAPER_FROM = 0.5
"""``p_paper`` from which an area is called bare paper."""

MOST_NUMBERS = 65_535
"""Areas that a 16-bit picture can number."""

NEAREST = (4.0, 12.0, 36.0)
"""Reach in pens in which the nearest area is looked for, one after the other."""


class MapError(ValueError):
    """What was kept is no map of this version; the message says why."""


@dataclass(frozen=True, slots=True)
class PageArea:
    """A painted region bounded by lines, or by another paint.

    Attributes:
        id: from 1, the label of its pixels.
        box: x0, y0, x1, y1 in pixels of the picture, half open.
        pixels: its size in pixels of the picture, line art over it included up to the middle of its outline.
        lab: CIELAB of its paint as if the paper were white, mean without lines, writing and stray pixels.
        density, cov: (3,), (3, 3): mean and spread over the area of -ln of linear RGB relative to its paper.
        p_paper: chance 0-1 that it is bare paper.
        radius: of the largest circle in it, pixels of the picture.
        radius_mm, size_mm2: the same in millimetres and square millimetres; None where the page's size is not known.
    """

    id: int
    box: tuple[int, int, int, int]
    pixels: int
    lab: tuple[float, float, float]
    density: tuple[float, float, float]
    cov: tuple[float, ...]
    p_paper: float
    radius: float
    radius_mm: float | None = None
    size_mm2: float | None = None

    @property
    def is_paper(self) -> bool:
        return self.p_paper >= PAPER_FROM


@dataclass(frozen=True, eq=False)
class PageMap:
    """A page's map at working scale.

    Attributes:
        labels: int32 (h, w): the area of each pixel, 0 where none is. Areas run under the line art to its middle, and
            under writing.
        areas: area ``i`` at index ``i - 1``.
        line, writing: bool (h, w): line art; pencil, pen and arrows over the paint, dust too.
        paper: the bare paper and its light; ``paper.share`` 0 where none was found.
        scale: working pixels per pixel of the picture; above 1 where a small picture was enlarged.
        size: width and height of the picture in pixels.
        pen: width of the page's lines in working pixels.
        mm: millimetres per pixel of the picture, or None.
        grey, blank: nothing can be told about colour; there is no drawing either.
        remarks: what cannot be told from this picture, in words; empty where all is well.
    """

    labels: Labels
    areas: tuple[PageArea, ...]
    line: BoolArray
    writing: BoolArray
    paper: Paper
    scale: float
    size: tuple[int, int]
    pen: float
    mm: float | None = None
    grey: bool = False
    blank: bool = False
    remarks: tuple[str, ...] = ()

    def area_at(self, x: float, y: float) -> PageArea | None:
        """The area at a place in pixels of the picture; of a place without one (in a broad line, say) the nearest.
        None off the page, and where none is near."""
        width, height = self.size
        if not (0 <= x <= width and 0 <= y <= height):
            return None
        column = min(int(x * self.scale), self.labels.shape[1] - 1)
        row = min(int(y * self.scale), self.labels.shape[0] - 1)
        label = int(self.labels[row, column]) or self._nearest(row, column)
        return self.areas[label - 1] if label else None

    def area_at_fraction(self, x: float, y: float) -> PageArea | None:
        """The same at fractions 0-1 of the page."""
        return self.area_at(x * self.size[0], y * self.size[1])

    def _nearest(self, row: int, column: int) -> int:
        for reach in NEAREST:
            far = max(1, round(reach * self.pen))
            top, left = max(row - far, 0), max(column - far, 0)
            here = self.labels[top : row + far + 1, left : column + far + 1]
            rows, columns = np.nonzero(here)
            if len(rows):
                near = int(((rows + top - row) ** 2 + (columns + left - column) ** 2).argmin())
                return int(here[rows[near], columns[near]])
        return 0

    @cached_property
    def neighbours(self) -> tuple[tuple[int, int, float], ...]:
        """Pairs of areas that touch, ids first < second, and the length of their border in pixels of the picture."""
        touches = []
        for here, there in ((self.labels[:, :-1], self.labels[:, 1:]), (self.labels[:-1], self.labels[1:])):
            touching = (here != there) & (here > 0) & (there > 0)
            touches.append(np.stack([here[touching], there[touching]]))
        pairs = np.sort(np.concatenate(touches, axis=1), axis=0).astype(np.int64)
        keys, counts = np.unique(pairs[0] << 32 | pairs[1], return_counts=True)
        return tuple(
            (int(key >> 32), int(key & 0xFFFFFFFF), float(count) / self.scale)
            for key, count in zip(keys, counts, strict=True)
        )

    def full_size(self) -> npt.NDArray[np.uint16]:
        """Labels (h, w) in the picture's own size, 0 where no area is.

        Raises:
            MapError: more areas than 16 bits can number.
        """
        if len(self.areas) > MOST_NUMBERS:
            raise MapError(f"{len(self.areas):,} areas are more than a 16-bit picture can number")
        resized = cv2.resize(self.labels.astype(np.uint16), self.size, interpolation=cv2.INTER_NEAREST_EXACT)
        return np.asarray(resized, dtype=np.uint16)

    def as_json(self) -> dict[str, Any]:
        """What ``page_map --json`` prints: boxes and pixels are those of the picture."""
        about: dict[str, Any] = {
            "areas": [_described(area) for area in self.areas],
            "paper": {
                "share": round(self.paper.share, 4),
                "rgb": [round(float(v), 4) for v in self.paper.at(np.array([[0.5, 0.5]]))[0]],
            },
            "lines": {"share": round(float(self.line.mean()), 4), "pen": round(self.pen / self.scale, 2)},
            "writing": round(float(self.writing.mean()), 4),
            "working_scale": round(self.scale, 5),
        }
        if self.mm is not None:
            about["mm_per_pixel"] = round(self.mm, 6)
        if self.remarks:
            about["problem"] = "; ".join(self.remarks)
        return about

    def to_bytes(self) -> bytes:
        """The map as an .npz file, to be kept with the page."""
        about = {
            "version": VERSION,
            "scale": self.scale,
            "size": self.size,
            "pen": self.pen,
            "mm": self.mm,
            "grey": self.grey,
            "blank": self.blank,
            "remarks": self.remarks,
            "paper_share": self.paper.share,
        }
        out = io.BytesIO()
        numbers = np.array([_numbers(area) for area in self.areas], np.float64).reshape(len(self.areas), -1)
        labels = np.frombuffer(_png(self.labels.astype(np.uint16)), np.uint8)
        masks = np.frombuffer(_png(self.line.astype(np.uint8) + 2 * self.writing.astype(np.uint8)), np.uint8)
        np.savez(out, about=json.dumps(about), labels=labels, masks=masks, areas=numbers, paper=self.paper.terms)
        return out.getvalue()

    @classmethod
    def from_bytes(cls, data: bytes) -> PageMap:
        """A kept map.

        Raises:
            MapError: no such file, damaged, or of another version.
        """
        try:
            with np.load(io.BytesIO(data), allow_pickle=False) as kept:
                about = json.loads(str(kept["about"]))
                if about["version"] != VERSION:
                    raise MapError(f"this map is of version {about['version']}, not {VERSION}")
                labels, masks = _from_png(kept["labels"]), _from_png(kept["masks"])
                numbers, terms = kept["areas"], kept["paper"]
            mm = about["mm"]
            areas = tuple(_area(number + 1, row, mm) for number, row in enumerate(numbers))
            paper = Paper(terms, float(about["paper_share"]))
            return cls(
                labels.astype(np.int32), areas, (masks & 1) > 0, (masks & 2) > 0, paper, float(about["scale"]),
                (int(about["size"][0]), int(about["size"][1])), float(about["pen"]), mm, bool(about["grey"]),
                bool(about["blank"]), tuple(about["remarks"]),
            )  # fmt: skip
        except MapError:
            raise
        except Exception as error:  # a reader of archives raises whatever it likes on damaged data
            raise MapError(f"this is no kept map of a page ({error})") from error


def area_of(
    number: int, box: tuple[int, int, int, int], pixels: int, colours: FloatArray, radius: float, mm: float | None
) -> PageArea:
    """An area from its CIELAB, density, covariance and chance of paper in one row (16,)."""
    return _area(number, np.array([*box, pixels, *colours, radius]), mm)


def _numbers(area: PageArea) -> list[float]:
    return [*area.box, area.pixels, *area.lab, *area.density, *area.cov, area.p_paper, area.radius]


def _area(number: int, row: FloatArray, mm: float | None) -> PageArea:
    whole, rest = [int(value) for value in row[:5]], [float(value) for value in row[5:]]
    radius = rest[16]
    return PageArea(
        number,
        (whole[0], whole[1], whole[2], whole[3]),
        whole[4],
        (rest[0], rest[1], rest[2]),
        (rest[3], rest[4], rest[5]),
        tuple(rest[6:15]),
        rest[15],
        radius,
        None if mm is None else radius * mm,
        None if mm is None else whole[4] * mm * mm,
    )


def _described(area: PageArea) -> dict[str, Any]:
    about: dict[str, Any] = {
        "id": area.id,
        "box": list(area.box),
        "pixels": area.pixels,
        "lab": [round(value, 2) for value in area.lab],
        "p_paper": round(area.p_paper, 4),
        "radius": round(area.radius, 2),
    }
    if area.radius_mm is not None and area.size_mm2 is not None:
        about |= {"radius_mm": round(area.radius_mm, 2), "size_mm2": round(area.size_mm2, 2)}
    return about


def _png(picture: npt.NDArray[Any]) -> bytes:
    return bytes(cv2.imencode(".png", picture, [cv2.IMWRITE_PNG_COMPRESSION, 3])[1])


def _from_png(data: npt.NDArray[Any]) -> npt.NDArray[Any]:
    picture = cv2.imdecode(data, cv2.IMREAD_UNCHANGED)
    if picture is None:
        raise MapError("the labels are damaged")
    return np.asarray(picture)
