"""A chart out of CxF3 (Color Exchange Format, ISO 17972-1): each object's name with its CMYK, as lines of a table."""

from __future__ import annotations

from xml.etree.ElementTree import ParseError

from defusedxml import ElementTree
from defusedxml.common import DefusedXmlException

from bible.colour.chart_table import ChartTableError

NAMESPACE = "{http://colorexchangeformat.com/CxF3-core}"
INK_ELEMENTS = ("Cyan", "Magenta", "Yellow", "Black")


def is_cxf(source: bytes) -> bool:
    return source.lstrip(b"\xef\xbb\xbf \r\n\t").startswith(b"<") and NAMESPACE[1:-1].encode() in source[:4000]


def chart_lines(source: bytes) -> str:
    """Label and percentages of each object that has them.

    Raises:
        ChartTableError: it is no XML, or no object in it says its inks.
    """
    try:
        root = ElementTree.fromstring(source)
    except (ParseError, DefusedXmlException, ValueError):
        raise ChartTableError("this CxF file is broken: its XML cannot be read") from None
    rows = ["label\tcyan\tmagenta\tyellow\tkey"]
    for element in root.iter(f"{NAMESPACE}Object"):
        inks = element.find(f".//{NAMESPACE}ColorCMYK")
        if inks is not None:
            label = element.get("Name", "").replace('"', '""')
            rows.append("\t".join([f'"{label}"', *(inks.findtext(f"{NAMESPACE}{ink}", "0") for ink in INK_ELEMENTS)]))
    if len(rows) == 1:
        raise ChartTableError("no colour of this CxF file says its percentages of cyan, magenta, yellow and black")
    return "\n".join(rows)
