"""The piece of a page that a found code stands on."""

from __future__ import annotations

import io

from PIL import Image

from guides.models import FoundCode

AROUND = 1.2
"""Heights of the writing shown around it: enough to see what it stands on and where its line sets out."""

TALL = 132
"""Height of the crop, pixels: writing of a few millimetres is read without leaning forward."""

WIDEST = 640


def crop_of(found_code: FoundCode) -> bytes:
    """A JPEG of the code's place, enlarged. ``OSError`` where the page's picture is missing or damaged."""
    with found_code.guide.screen.open("rb") as file, Image.open(file) as opened:
        wide, high = opened.size
        around = AROUND * (found_code.bottom - found_code.top) * high
        box = (
            max(0, round(found_code.left * wide - around)), max(0, round(found_code.top * high - around)),
            min(wide, round(found_code.right * wide + around)), min(high, round(found_code.bottom * high + around)),
        )  # fmt: skip
        piece = opened.convert("RGB").crop((box[0], box[1], max(box[2], box[0] + 1), max(box[3], box[1] + 1)))
    scale = min(TALL / piece.height, WIDEST / piece.width)
    size = (max(1, round(piece.width * scale)), max(1, round(piece.height * scale)))
    out = io.BytesIO()
    piece.resize(size, Image.Resampling.LANCZOS).save(out, "JPEG", quality=88)
    return out.getvalue()
