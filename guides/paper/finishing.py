"""What a PDF says of itself before it leaves: language, title, real dates, XMP, the condition it is meant for, and
what its pictures' colours mean.

ReportLab writes the pages; pikepdf (qpdf beneath it) writes this into what came out. What is meant for a press
condition is PDF/X-4 (ISO 15930-7:2010): the condition's own profile is in it, made from its measurements
(``bible.colour.output_profile``). Clause numbers are from memory.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import IO, Any, BinaryIO, cast

import pikepdf
from pikepdf import Array, Dictionary, Name, Pdf, Stream

from bible.colour.output_profile import output_profile
from bible.colour.press import PressCondition

LANGUAGE = "en-GB"
"""Of the words on every page: names are people's own."""

MAKER = "Series colour bible"

PDFX = "http://www.npes.org/pdfx/ns/id/"
"""The namespace in which a file says which of the PDF/X standards it keeps to."""

REGISTRY = "http://www.color.org"
REGISTERED = {
    "coated-fogra39": "FOGRA39",
    "uncoated-fogra29": "FOGRA29",
    "newsprint": "CGATS TR 002",
    "web-coated-tr003": "CGATS TR 003",
    "web-coated-tr005": "CGATS TR 005",
    "sheet-coated-tr006": "CGATS TR 006",
}
"""Names of shipped conditions in the ICC's registry of characterisation data (from memory; see its address)."""


@dataclass(frozen=True, slots=True)
class AboutDocument:
    """What a document says of itself.

    Attributes:
        title: shown in the window's bar.
        author: the series.
        subject: in a few words what it is for.
        press: the condition its inks are meant for; None where it is for any, as a chart to be printed is.
        made_at: with a time zone.
    """

    title: str
    author: str
    subject: str
    press: PressCondition | None
    made_at: dt.datetime


def finish(raw: Path | IO[bytes], out: IO[bytes], about: AboutDocument) -> None:
    """Write a PDF on with all that it says of itself. The same pages and ``about`` give the same bytes."""
    with Pdf.open(cast(Any, raw)) as pdf:
        pdf.Root.Lang = pikepdf.String(LANGUAGE)
        pdf.Root.ViewerPreferences = Dictionary(DisplayDocTitle=True)
        if about.press:
            pdf.Root.OutputIntents = Array([pdf.make_indirect(_intent(pdf, about.press))])
        for number, page in enumerate(pdf.pages):
            if "/StructTreeRoot" in pdf.Root:  # ISO 32000-1, 14.7.4.4 and 12.5: its way into the tree, and its order
                page.obj.StructParents, page.obj.Tabs = number, Name.S
            page.trimbox = page.bleedbox = page.mediabox
            if "/Trans" in page:
                del page["/Trans"]  # of slides, and empty
        _say_what_rgb_means(pdf)
        _describe(pdf, about)
        pdf.save(
            cast(BinaryIO, out),
            min_version="1.6",
            deterministic_id=True,
            object_stream_mode=pikepdf.ObjectStreamMode.generate,
        )


def _intent(pdf: Pdf, press: PressCondition) -> Dictionary:
    """ISO 32000-1, 14.11.5; ISO 15930-7, 6.2.2 wants its profile in the file. Of a house's own condition the registry
    knows nothing: it is named in words."""
    registered = REGISTERED.get(press.name)
    intent = Dictionary(
        Type=Name.OutputIntent,
        S=Name.GTS_PDFX,
        OutputCondition=pikepdf.String(press.title),
        OutputConditionIdentifier=pikepdf.String(registered or "Custom"),
        Info=pikepdf.String(f"{press.title} ({press.source})"),
        DestOutputProfile=pdf.make_indirect(Stream(pdf, output_profile(press), N=4, Alternate=Name.DeviceCMYK)),
    )
    if registered:
        intent.RegistryName = pikepdf.String(REGISTRY)
    return intent


@lru_cache(maxsize=1)
def _srgb() -> bytes:
    from PIL import ImageCms

    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def _say_what_rgb_means(pdf: Pdf) -> None:
    """Pictures of guides are sRGB: said with its profile, for a printer takes bare RGB for whatever it likes."""
    space = None
    # ``items``: of a dictionary of a PDF, not every pikepdf knows ``values``.
    for _, xobject in (named for page in pdf.pages for named in page.obj.Resources.get("/XObject", {}).items()):
        if xobject.get("/Subtype") == Name.Image and xobject.get("/ColorSpace") == Name.DeviceRGB:
            if space is None:
                profile = Stream(pdf, _srgb(), N=3, Alternate=Name.DeviceRGB)
                space = pdf.make_indirect(Array([Name.ICCBased, profile]))
            xobject.ColorSpace = space


def _describe(pdf: Pdf, about: AboutDocument) -> None:
    """The same in XMP (ISO 16684-1) and in the older dictionary, which some programs still read alone."""
    made = about.made_at.isoformat(timespec="seconds")
    pdf.docinfo["/Trapped"] = Name("/False")
    with pdf.open_metadata(set_pikepdf_as_editor=False, update_docinfo=True) as metadata:
        metadata["dc:title"] = about.title
        metadata["dc:creator"] = [about.author]
        metadata["dc:description"] = about.subject
        metadata["dc:language"] = {LANGUAGE}
        metadata["dc:format"] = "application/pdf"
        metadata["xmp:CreatorTool"] = MAKER
        for when in ("xmp:CreateDate", "xmp:ModifyDate", "xmp:MetadataDate"):
            metadata[when] = made
        metadata["pdf:Producer"] = MAKER
        metadata["pdf:Trapped"] = "False"
        if about.press:
            _say_it_is_x4(metadata, about)


def _say_it_is_x4(metadata: Any, about: AboutDocument) -> None:
    """ISO 15930-7, 6.10 and 6.11: which standard it keeps to, and which document and version this is."""
    metadata.register_xml_namespace(PDFX, "pdfxid")
    metadata["pdfxid:GTS_PDFXVersion"] = "PDF/X-4"
    metadata["xmpMM:DocumentID"] = (
        f"uuid:{uuid.uuid5(uuid.NAMESPACE_URL, repr((about.title, about.author, about.made_at)))}"
    )
    metadata["xmpMM:VersionID"] = "1"
    metadata["xmpMM:RenditionClass"] = "default"
