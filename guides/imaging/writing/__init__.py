"""Codes written on a page by hand: found, read with chances, followed to their areas, given to their parts."""

from guides.imaging.writing.lexicon import Lexicon
from guides.imaging.writing.models import WritingModelError
from guides.imaging.writing.page import Alternative, Writing, WrittenCode, read_page, read_writing
from guides.imaging.writing.shapes import HandShapes, HandShapesError, learnt_from

__all__ = [
    "Alternative", "HandShapes", "HandShapesError", "Lexicon", "Writing", "WritingModelError", "WrittenCode",
    "learnt_from", "read_page", "read_writing",
]  # fmt: skip
