"""What of a picture's pixels is damaged and where, in words. ``png_rows``, ``jpeg_blocks``, ``tiff_strips`` find it.

Not every damage can be found. An overwritten or missing sector (512 bytes) of a sequential JPEG was found in 180 of
180, of a progressive one in 3 of 5, a single bit turned over in 1 of 7: most such files are good JPEGs of something
else. Of forty bytes in the middle of soft shades libjpeg warned in 8 of 20. PNG has a checksum for everything, TIFF
packed by zlib one for each strip; TIFF without compression has none, nor has WebP.
"""

from __future__ import annotations

from dataclasses import dataclass

LEAST_READABLE = 0.1
"""Of the rows: of less than that nobody could say whether it is worth keeping."""

_SHARES = (
    (0.05, "twentieth"),
    (0.1, "tenth"),
    (0.2, "fifth"),
    (0.25, "quarter"),
    (0.333, "third"),
    (0.5, "half"),
    (0.667, "two thirds"),
    (0.75, "three quarters"),
    (0.9, "nine tenths"),
)
_TURNED = (3, 4, 6, 7)
"""EXIF orientations in which the last row stored is seen at the top or on the left (Exif 2.3, tag 0x0112)."""


@dataclass(frozen=True, slots=True)
class Damage:
    """Rows from ``top`` up to ``bottom`` of ``height``, as stored; no height: any of them. ``aside``: the pixels are
    whole, and what is damaged is written beside them."""

    top: int = 0
    bottom: int = 0
    height: int = 0
    aside: bool = False

    @property
    def is_hopeless(self) -> bool:
        """Whether hardly a row above it can be read."""
        return self.height > 0 and self.bottom >= self.height and self.top < LEAST_READABLE * self.height

    def with_rows(self, other: Damage | None) -> Damage:
        """Both, as one stretch of rows."""
        if other is None or not other.height:
            return self
        if not self.height:
            return other
        return Damage(min(self.top, other.top), max(self.bottom, other.bottom), self.height)

    def said(self, name: str, orientation: int) -> str:
        """One sentence. ``name``: of the format; ``orientation``: EXIF's, how what is stored is turned to be seen."""
        if self.aside:
            return f"The {name} is damaged beside its pixels, which are whole: a colour profile may be lost."
        if not self.height:
            return f"The {name} is damaged, and it can’t be told where: any part of it may be coarse or wrong."
        return f"The {name} is damaged: {self._where(orientation)}, could not be read."

    def _where(self, orientation: int) -> str:
        first, last = self.top + 1, self.bottom
        if orientation in _TURNED:
            first, last = self.height - self.bottom + 1, self.height - self.top
        row, sides = ("column", ("left", "right")) if orientation >= 5 else ("row", ("upper", "lower"))
        share = (last - first + 1) / self.height
        part = min(_SHARES, key=lambda named: abs(named[0] - share))[1]
        if first == 1 and last == self.height:
            return f"nothing of it from {row} 1 to {last:,}"
        if last == self.height:
            return f"the {sides[1]} {part}, from {row} {first:,} of {self.height:,}"
        if first == 1:
            return f"the {sides[0]} {part}, up to {row} {last:,} of {self.height:,}"
        return f"{row}s {first:,} to {last:,} of {self.height:,}"
