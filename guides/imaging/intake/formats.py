"""The kinds of picture that are taken in: the one list. Signatures, endings, what a file chooser offers, what is
served and the words of help and refusals all come from it; ``upright`` has the decoder of each."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, get_args

Format = Literal["PNG", "JPEG", "TIFF", "WEBP"]


@dataclass(frozen=True, slots=True)
class PictureFormat:
    """``words`` are for people. ``endings`` are without the dot, the one we give first; ``signatures`` match the
    first bytes, as registered by each format's standard."""

    words: str
    content_type: str
    endings: tuple[str, ...]
    signatures: tuple[re.Pattern[bytes], ...]


def _begins(*signs: bytes) -> tuple[re.Pattern[bytes], ...]:
    return tuple(re.compile(re.escape(sign)) for sign in signs)


PICTURES: dict[Format, PictureFormat] = {
    "PNG": PictureFormat("PNG", "image/png", ("png",), _begins(b"\x89PNG\r\n\x1a\n")),
    "JPEG": PictureFormat("JPEG", "image/jpeg", ("jpg", "jpeg", "jpe", "jfif"), _begins(b"\xff\xd8\xff")),
    "TIFF": PictureFormat(
        "TIFF",
        "image/tiff",
        ("tif", "tiff"),
        # The last two are BigTIFF.
        _begins(b"II*\x00", b"MM\x00*", b"II+\x00\x08\x00\x00\x00", b"MM\x00+\x00\x08\x00\x00"),
    ),
    "WEBP": PictureFormat("WebP", "image/webp", ("webp",), (re.compile(rb"RIFF.{4}WEBP", re.DOTALL),)),
}
assert tuple(PICTURES) == get_args(Format)

_words = [kind.words for kind in PICTURES.values()]
ACCEPTED_WORDS = f"{', '.join(_words[:-1])} or {_words[-1]}"
ACCEPT = ",".join(
    [kind.content_type for kind in PICTURES.values()]
    + [f".{ending}" for kind in PICTURES.values() for ending in kind.endings]
)
"""For the ``accept`` of a file chooser: types, and endings for systems that know no type for them."""

BY_ENDING: dict[str, Format] = {ending: name for name, kind in PICTURES.items() for ending in kind.endings}


def format_of(head: bytes) -> Format | None:
    """The format that the first bytes announce; None: none of ours."""
    for name, kind in PICTURES.items():
        if any(signature.match(head) for signature in kind.signatures):
            return name
    return None


def served_as(path: str) -> str:
    """The content type of a stored picture by its ending; of none of ours, bytes that no browser shows."""
    kind = BY_ENDING.get(path.rsplit(".", 1)[-1].lower())
    return PICTURES[kind].content_type if kind else "application/octet-stream"


def suffix_of(name: Format) -> str:
    """The ending that a file of this format gets from us, with its dot."""
    return f".{PICTURES[name].endings[0]}"
