"""What a page says in which order, for who hears it or sees it otherwise than set: the structure of a tagged PDF.

ReportLab knows nothing of it. Whatever is drawn here is put between marks (ISO 32000-1, 14.6): with a number, which
an element of the structure tree owns (14.7), or as an artifact (14.8.2.2: rules, swatches beside their code, the foot
of a page). Elements stand in the tree in the order in which they are drawn, which is the order to be read in. On a
canvas that is none of ours nothing is marked. Clause numbers are from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from reportlab.pdfbase.pdfdoc import PDFObject, PDFObjectReference

ARTIFACT = "/Artifact BMC"
END = "EMC"


def text_string(words: str) -> str:
    """A text string of PDF (ISO 32000-1, 7.9.2): UTF-16 with its mark, in figures."""
    return f"<{(chr(0xFEFF) + words).encode('utf-16-be').hex().upper()}>"


class Element(PDFObject):
    """A heading, paragraph, table, row, cell or figure; in the file an object of its own.

    Attributes:
        kind: its standard type (ISO 32000-1, 14.8.4).
        alt: what a figure shows, in words.
        kids: what it owns in the order read: elements, places (page, number), and kinds of cells without words.
    """

    __slots__ = ("__InternalName__", "alt", "kids", "kind", "parent", "said")

    def __init__(self, kind: str, alt: str = "", parent: Element | None = None) -> None:
        self.kind, self.alt, self.parent = kind, alt, parent
        self.kids: list[Element | tuple[int, int] | str] = []
        self.said = ""

    def format(self, document: Any) -> bytes:  # ReportLab's name
        return self.said.encode("ascii")


class Tags:
    """The structure of one document while it is drawn."""

    def __init__(self) -> None:
        self.root = Element("Document")
        self.within = self.root
        self.owners: dict[int, list[Element]] = {}
        self.deepest = 0

    def place(self, element: Element) -> None:
        """Put it where the document is now; a piece that goes on with an element stays where that began."""
        if element.parent is None and element is not self.root:
            element.parent = self.within
            self.within.kids.append(element)
            if element.kind in ("H1", "H2", "H3"):  # no level is passed over
                self.deepest = min(int(element.kind[1]), self.deepest + 1)
                element.kind = f"H{self.deepest}"

    def begin(self, element: Element, page: int) -> str:
        """The operator before what the element owns on the page."""
        self.place(element)
        owners = self.owners.setdefault(page, [])
        element.kids.append((page, len(owners)))
        owners.append(element)
        return f"/{element.kind} <</MCID {len(owners) - 1}>> BDC"

    @contextmanager
    def inside(self, element: Element) -> Iterator[None]:
        """What is drawn meanwhile belongs to the element."""
        self.place(element)
        outer, self.within = self.within, element
        try:
            yield
        finally:
            self.within = outer


def tags_of(canvas: Any) -> Tags | None:
    """None: this canvas' pages say nothing of themselves."""
    return getattr(canvas, "tags", None)


@contextmanager
def marked(canvas: Any, element: Element) -> Iterator[None]:
    """What is drawn meanwhile is the element's own words or picture."""
    if (tags := tags_of(canvas)) is None:
        yield
        return
    canvas.addLiteral(tags.begin(element, canvas.getPageNumber()))
    yield
    canvas.addLiteral(END)


@contextmanager
def artifact(canvas: Any) -> Iterator[None]:
    """What is drawn meanwhile says nothing that is not said elsewhere."""
    if tags_of(canvas) is None:
        yield
        return
    canvas.addLiteral(ARTIFACT)
    yield
    canvas.addLiteral(END)


class Spoken:
    """The rows and cells of a table as they are told while it is drawn; of a canvas without structure nothing is."""

    def __init__(self, tags: Tags | None, page: int, table: Element) -> None:
        self.tags, self.page, self.table = tags, page, table
        self.line, self.kind, self.silent = Element("TR"), "TD", False
        if tags:
            tags.place(table)

    def row(self, *, head: bool, again: bool) -> None:
        """``again``: the table goes on from another page, and its head has been told there."""
        self.silent = head and again
        self.kind = "TH" if head else "TD"
        self.line = Element("TR", parent=self.table)
        if not self.silent:
            self.table.kids.append(self.line)

    def cell(self, *, words: bool) -> tuple[str, str]:
        """What goes before and behind the cell's operators; ``words``: else they are decoration."""
        if self.tags is None:
            return "", ""
        if self.silent:
            return f"{ARTIFACT} ", f" {END}"
        if not words:
            self.line.kids.append(self.kind)
            return f"{ARTIFACT} ", f" {END}"
        cell = Element(self.kind, parent=self.line)
        self.line.kids.append(cell)
        return f"{self.tags.begin(cell, self.page)} ", f" {END}"

    @contextmanager
    def pile(self, canvas: Any) -> Iterator[None]:
        """The cell's paragraphs and pictures, drawn meanwhile, are its own; none where the row is told twice."""
        if self.tags is None:
            yield
        elif self.silent:
            with artifact(canvas):
                canvas.tags = None
                yield
                canvas.tags = self.tags
        else:
            self.line.kids[-1] = cell = Element(self.kind, parent=self.line)
            with self.tags.inside(cell):
                yield


class _Raw(PDFObject):
    """A dictionary that is written as text."""

    def __init__(self, words: str = "") -> None:
        self.words = words

    def format(self, document: Any) -> bytes:  # ReportLab's name
        return f"<< {self.words} >>".encode("ascii")


def write_structure(tags: Tags, document: Any) -> None:
    """Put the tree into ReportLab's document (ISO 32000-1, 14.7.2), and from every page the way back (14.7.4.4)."""
    root = _Raw()
    home = _reference(root, document)
    pages = {page: _page(document, page) for page in tags.owners}
    waiting = [(tags.root, _reference(tags.root, document), home)]
    while waiting:
        element, own, parent = waiting.pop()
        below = {id(kid): _reference(kid, document) for kid in element.kids if isinstance(kid, Element)}
        waiting += [(kid, below[id(kid)], own) for kid in element.kids if isinstance(kid, Element)]
        element.said = _said(element, own, parent, below, pages)
    ways = " ".join(
        f"{page - 1} [{' '.join(_reference(owner, document) for owner in owners)}]"
        for page, owners in sorted(tags.owners.items())
    )
    back = _reference(_Raw(f"/Nums [{ways}]"), document)
    root.words = f"/Type /StructTreeRoot /K {_reference(tags.root, document)} /ParentTree {back}"
    document.Catalog.StructTreeRoot = root
    document.Catalog.MarkInfo = _Raw("/Marked true")


def _reference(pdf_object: PDFObject, document: Any) -> str:
    number, version = document.idToObjectNumberAndVersion[document.Reference(pdf_object).name]
    return f"{number} {version} R"


def _page(document: Any, page: int) -> str:
    return bytes(PDFObjectReference(f"Page{page}").format(document)).decode("ascii")


def _said(element: Element, own: str, parent: str, below: dict[int, str], pages: dict[int, str]) -> str:
    """The element's dictionary. What it owns on its first page is numbers, elsewhere numbers with their page."""
    first, kids = 0, []
    for kid in element.kids:
        if isinstance(kid, Element):
            kids.append(below[id(kid)])
        elif isinstance(kid, str):
            kids.append(f"<</S /{kid} /P {own}>>")
        else:
            first = first or kid[0]
            kids.append(str(kid[1]) if kid[0] == first else f"<</Type /MCR /Pg {pages[kid[0]]} /MCID {kid[1]}>>")
    held = kids[0] if len(kids) == 1 else f"[{' '.join(kids)}]"
    more = f" /Pg {pages[first]}" if first else ""
    if element.alt:
        more += f" /Alt {text_string(element.alt)}"
    if element.kind == "TH":
        more += " /A <</O /Table /Scope /Column>>"
    return f"<</S /{element.kind} /P {parent} /K {held}{more}>>"
