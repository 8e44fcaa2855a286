"""A real hand from a scan: a grid of boxes, each with one sign, cut into letters that write codes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from guides.training.hands import DRAWN, PAD, Cover

ROWS = (
    "ABCDEFGH",
    "IJKLMNOP",
    "QRSTUVWX",
    "YZabcdef",
    "ghijklmn",
    "opqrstuv",
    "wxyz0123",
    "456789.,",
    ";:!?\"'-+",
    "=/%&()[]",
)
"""What stands in the boxes, row by row."""

SIDES = (0.75, 1.35)
"""A box is about square."""


@dataclass(frozen=True)
class ScannedHand:
    """Signs to their cover, capitals ``DRAWN`` pixels high, standing on one line."""

    name: str
    signs: dict[str, Cover]
    small_letters: float = 0.0

    @classmethod
    def of(cls, path: Path) -> ScannedHand:
        """Cut the scan along its boxes.

        Raises:
            ValueError: the scan does not hold the boxes.
        """
        scan = cv2.imread(str(path), cv2.IMREAD_COLOR)
        grey = np.asarray(scan).min(axis=2)
        boxes = _boxes(grey)
        wanted = sum(len(row) for row in ROWS)
        if len(boxes) != wanted:
            raise ValueError(f"{path.name} holds {len(boxes)} boxes, not {wanted}")
        cut = {sign: _ink(grey, box) for sign, box in zip("".join(ROWS), boxes, strict=True)}
        tall = np.median([np.flatnonzero(cut[sign].max(axis=1) > 60).size for sign in "BCHKMRTWY"])
        return cls(path.stem, {sign: _scaled(cover, DRAWN / float(tall)) for sign, cover in cut.items()})

    def write(self, text: str, pen: float, rng: np.random.Generator) -> Cover:
        """As ``hands.WritingHand.write``; the pen is the scan's own."""
        pieces = []
        for sign in text:
            if sign == " ":
                pieces.append(np.zeros((4, int(DRAWN * 0.35)), np.uint8))
                continue
            turn = cv2.getRotationMatrix2D((0, 0), float(rng.normal(0, 2)), float(rng.normal(1, 0.04)))
            cover = np.pad(self.signs.get(sign, self.signs["-"]), 2)
            turned = cv2.warpAffine(cover, turn, (cover.shape[1] + 2, cover.shape[0] + 2))
            pieces.append(np.asarray(turned, np.uint8))
        high = max(piece.shape[0] for piece in pieces)
        rows = [np.pad(piece, ((high - piece.shape[0], 0), (0, int(rng.integers(1, 8))))) for piece in pieces]
        return np.pad(np.concatenate(rows, axis=1), PAD)


def _boxes(grey: Cover) -> list[tuple[int, int, int, int]]:
    """Left, top, width, height of the grid's boxes in reading order."""
    dark = (grey < 140).astype(np.uint8)
    found, _ = cv2.findContours(dark, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    boxes = [cv2.boundingRect(contour) for contour in found]
    wide = grey.shape[1] / 16
    boxes = [b for b in boxes if b[2] > wide and b[3] > wide and SIDES[0] < b[2] / b[3] < SIDES[1]]
    if not boxes:
        return []
    high = float(np.median([b[3] for b in boxes]))
    boxes.sort(key=lambda b: b[1])
    rows: list[list[tuple[int, int, int, int]]] = []
    for x, y, w, h in boxes:
        if not rows or y - rows[-1][0][1] > high * 0.6:
            rows.append([])
        rows[-1].append((x, y, w, h))
    return [box for row in rows for box in sorted(row)]


def _ink(grey: Cover, box: tuple[int, int, int, int]) -> Cover:
    x, y, w, h = box
    edge = int(w * 0.1)
    inside = grey[y + edge : y + h - edge, x + edge : x + w - edge].astype(np.float32)
    paper = float(np.percentile(inside, 90))
    cover = np.clip((paper - 20 - inside) * 255 / max(paper - 110, 40), 0, 255).astype(np.uint8)
    rows, columns = np.flatnonzero(cover.max(axis=1) > 60), np.flatnonzero(cover.max(axis=0) > 60)
    return (
        cover[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1] if len(rows) and len(columns) else cover[:4, :4]
    )


def _scaled(cover: Cover, factor: float) -> Cover:
    size = (max(2, round(cover.shape[1] * factor)), max(2, round(cover.shape[0] * factor)))
    return np.asarray(cv2.resize(cover, size, interpolation=cv2.INTER_CUBIC), np.uint8)
