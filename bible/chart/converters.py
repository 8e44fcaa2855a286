"""How a tint stands in an address: 25-50-100-0 is C25 M50 Y100."""

from __future__ import annotations

from bible.colour.tints import Tint


class TintConverter:
    """Percentages of cyan, magenta, yellow and key; an address with one over 100 is none of ours."""

    regex = r"[0-9]{1,3}-[0-9]{1,3}-[0-9]{1,3}-[0-9]{1,3}"

    def to_python(self, value: str) -> Tint:
        return Tint(*map(int, value.split("-")))

    def to_url(self, value: Tint) -> str:
        return "-".join(map(str, value.percentages))
