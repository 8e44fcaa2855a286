"""What tests read back from PDFs, by pypdf (github.com/py-pdf/pypdf), which had no part in writing them."""

from __future__ import annotations

from typing import Any

from pypdf import PdfReader
from pypdf.generic import ContentStream

Operands = tuple[Any, ...]


def filled_rectangles(reader: PdfReader) -> list[Operands]:
    """The colour in force (operators ``k``, ``rg``, ``g``; ISO 32000-1, 8.6.8) wherever a rectangle is filled."""
    found = []
    for page in reader.pages:
        fill: tuple[Any, ...] = ()
        rectangle = False
        for operands, operator in ContentStream(page.get_contents(), reader).operations:
            if operator in (b"k", b"rg", b"g"):
                fill = (operator.decode(), *(float(number) for number in operands))
            if operator == b"re":
                rectangle = True
            elif operator in (b"f", b"f*", b"B") and rectangle:
                found.append(fill)
                rectangle = False
            elif operator in (b"S", b"n", b"h"):
                rectangle = False
    return found


def words_of(reader: PdfReader) -> str:
    """All text, spaces evened out."""
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def faults_of(pdf: Any) -> list[str]:
    """What qpdf finds wrong with a PDF, whatever this version of pikepdf calls the question."""
    check = getattr(pdf, "check_pdf_syntax", None) or pdf.check
    return list(check())
