"""Every kind of PDF that leaves the house, asked for at its own address: sound, and what it claims to be.

Sound: qpdf's check (qpdf.readthedocs.io, ``--check``; through pikepdf). PDF/X-4: ISO 15930-7:2010, requirement by
requirement, read by pikepdf; clause numbers are from memory, and no validator of that standard had a say. Inks:
Ghostscript's separations (``tiffsep``), which had no part in writing them.
"""

from __future__ import annotations

import io
import os
import shutil
import subprocess
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pikepdf
import pytest
from PIL import Image, ImageCms

from bible.colour.output_profile import output_profile
from bible.colour.press import load
from tests.guides.paper.every import every_pdf
from tests.pdfs import faults_of

NOT_FOR_A_CONDITION = {"chart-sheet"}
"""The house's own chart is printed in whatever condition it is to find out."""

GHOSTSCRIPT, REQUIRED = shutil.which("gs"), os.environ.get("REQUIRE_SERVICES")
"""Whether it may be missing: not where `.ci/run` has installed it."""


@pytest.fixture
def every(db: None) -> dict[str, bytes]:
    return every_pdf()


def test_every_kind_is_there(every: dict[str, bytes]) -> None:
    assert {"hand-off-file", "colour-sheet-pdf", "continuity-report-pdf", "chart-sheet", "issue-corrections"} <= set(
        every
    )
    assert all(data.startswith(b"%PDF-1.6") for data in every.values())


def test_each_is_sound_and_says_what_it_is(every: dict[str, bytes]) -> None:
    for name, data in every.items():
        with pikepdf.open(io.BytesIO(data)) as pdf:
            assert faults_of(pdf) == [], name
            assert str(pdf.Root.Lang) == "en-GB", name
            told = pdf.open_metadata()
            assert told["dc:title"], name
            assert told["xmp:CreateDate"][:2] == "20", name
            assert pdf.docinfo["/CreationDate"] == pdf.docinfo["/ModDate"], name
            for font in fonts_of(pdf):
                assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(font.get("/FontDescriptor", {})), (name, font)


def fonts_of(pdf: pikepdf.Pdf) -> list[Any]:
    """Every font that sets letters itself: of a composite one that is what it is made of."""
    dictionaries = [one for one in pdf.objects if isinstance(one, pikepdf.Dictionary) and one.get("/Type") == "/Font"]
    return [one for one in dictionaries if one.get("/Subtype") not in ("/Type0", "/Type3")]


def test_what_is_meant_for_a_condition_keeps_to_pdf_x_4(every: dict[str, bytes]) -> None:
    for name, data in every.items():
        broken = broken_rules(data)
        assert broken == (["no claim"] if name in NOT_FOR_A_CONDITION else []), name


def broken_rules(data: bytes) -> list[str]:
    with pikepdf.open(io.BytesIO(data)) as pdf:
        if pdf.open_metadata().get("pdfxid:GTS_PDFXVersion") != "PDF/X-4":
            return ["no claim"]
        return [*_of_file(pdf, data), *(word for page in pdf.pages for word in _of_page(page)), *_of_colours(pdf)]


def _of_file(pdf: pikepdf.Pdf, data: bytes) -> Iterator[str]:
    told = pdf.open_metadata()
    if not data.startswith(b"%PDF-1.6") or pdf.is_encrypted or "/ID" not in pdf.trailer:
        yield "6.1: PDF 1.6, not encrypted, with an identifier"
    if {"/AA", "/OpenAction", "/AcroForm"} & set(pdf.Root) or "/JavaScript" in pdf.Root.get("/Names", {}):
        yield "6.16: an action, a form or a script"
    (intent,) = [one for one in pdf.Root.OutputIntents if one.S == "/GTS_PDFX"]
    profile = ImageCms.ImageCmsProfile(io.BytesIO(intent.DestOutputProfile.read_bytes())).profile
    if (profile.device_class, profile.xcolor_space.strip()) != ("prtr", "CMYK") or intent.DestOutputProfile.N != 4:
        yield "6.2.2: an output profile of four inks, embedded"
    if not str(intent.OutputConditionIdentifier) or not str(intent.Info):
        yield "6.2.2: the condition is named"
    if "/Filter" in pdf.Root.Metadata:
        yield "6.10: XMP can be read without unpacking"
    needed = ("dc:title", "xmp:CreateDate", "xmp:ModifyDate", "xmp:MetadataDate", "xmpMM:DocumentID",
              "xmpMM:VersionID", "xmpMM:RenditionClass")  # fmt: skip
    yield from (f"6.10: {name}" for name in needed if not told.get(name))
    trapped = pdf.docinfo.get("/Trapped")
    if (
        not isinstance(trapped, pikepdf.Name)
        or trapped not in ("/True", "/False")
        or told["pdf:Trapped"] != str(trapped)[1:]
    ):
        yield "6.11: whether it is trapped is known, and said alike twice"


def _of_page(page: pikepdf.Page) -> Iterator[str]:
    said: Any = page.obj
    boxes = [[float(one) for one in said[name]] for name in ("/TrimBox", "/BleedBox", "/MediaBox")]
    for inner, outer in pairwise(boxes):
        if not (inner[0] >= outer[0] and inner[1] >= outer[1] and inner[2] <= outer[2] and inner[3] <= outer[3]):
            yield "6.12: trim within bleed within media"
    if "/ArtBox" in said:
        yield "6.12: one of trim and art"
    if "/AA" in said or any(
        one.get("/Subtype") not in ("/TrapNet", "/PrinterMark") for one in said.get("/Annots", [])
    ):
        yield "6.14: an annotation on the page"
    if "/PresSteps" in said or said.get("/Group", {}).get("/CS") == "/DeviceRGB":
        yield "6.2: a group in bare RGB"


def _of_colours(pdf: pikepdf.Pdf) -> Iterator[str]:
    for thing in pdf.objects:
        if isinstance(thing, pikepdf.Stream):
            kind = thing.get("/Subtype")
            if kind == "/PS" or "/OPI" in thing or "/Ref" in thing or (kind == "/Image" and "/Alternates" in thing):
                yield "6.4, 6.5: something that is not in the file itself"
            if kind == "/Image" and thing.get("/ColorSpace") == "/DeviceRGB":
                yield "6.2.4: a picture in bare RGB"
            if kind in ("/Form", None) and "/Type" not in thing and "/FunctionType" not in thing:
                yield from _bare_rgb(thing)
        elif isinstance(thing, pikepdf.Dictionary) and {"/TR", "/TR2", "/HTP"} & set(thing):
            yield "6.6: a transfer curve or a halftone's phase"


def _bare_rgb(stream: pikepdf.Stream) -> Iterator[str]:
    if "/Length1" in stream or "/N" in stream or stream.get("/Subtype") == "/XML":
        return
    try:
        steps = pikepdf.parse_content_stream(stream)
    except (pikepdf.PdfError, TypeError):
        return
    if {"rg", "RG"} & {str(step.operator) for step in steps}:
        yield "6.2.4: letters or lines in bare RGB"


@pytest.mark.parametrize("rule", ["6.2.2", "6.10", "6.11", "6.12", "6.14"])
def test_the_rules_notice(every: dict[str, bytes], rule: str) -> None:
    """Each rule, broken by hand in a file that keeps it."""
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(every["hand-off-file"])) as pdf:
        page: Any = pdf.pages[0].obj
        if rule == "6.2.2":
            pdf.Root.OutputIntents[0].OutputConditionIdentifier = pikepdf.String("")
        elif rule == "6.10":
            with pdf.open_metadata(update_docinfo=False) as told:
                del told["xmpMM:DocumentID"]
        elif rule == "6.11":
            del pdf.docinfo["/Trapped"]
        elif rule == "6.12":
            page.TrimBox = pikepdf.Array([-9, 0, 100, 100])
        else:
            page.Annots = pikepdf.Array([pikepdf.Dictionary(Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.Link)])
        pdf.save(out, min_version="1.6")
    assert any(one.startswith(rule) for one in broken_rules(out.getvalue()))


def test_its_profile_is_the_conditions_own(every: dict[str, bytes]) -> None:
    with pikepdf.open(io.BytesIO(every["hand-off-file"])) as pdf:
        assert pdf.Root.OutputIntents[0].DestOutputProfile.read_bytes() == output_profile(load("newsprint"))


@pytest.mark.skipif(not (GHOSTSCRIPT or REQUIRED), reason="Ghostscript is not installed")
def test_every_kind_comes_apart_into_its_inks(every: dict[str, bytes], tmp_path: Path) -> None:
    """Solid yellow, half magenta, a quarter cyan (YR3B2), by Ghostscript's own separations within 1 of 255."""
    for name in ("hand-off-file", "colour-sheet-pdf"):
        file = tmp_path / f"{name}.pdf"
        file.write_bytes(every[name])
        plates = tmp_path / f"{name}-%d.tif"
        told: list[str] = [
            "gs",
            "-q",
            "-dSAFER",
            "-dBATCH",
            "-dNOPAUSE",
            "-sDEVICE=tiffsep",
            "-r72",
            f"-sOutputFile={plates}",
            str(file),
        ]
        subprocess.run(told, check=True, capture_output=True, timeout=120)
        inks = np.concatenate([_inks(first, name) for first in sorted(tmp_path.glob(f"{name}-*(Cyan).tif"))])
        off = np.abs(inks - np.array([0.25, 0.5, 1, 0]) * 255).max(axis=1)
        assert (off <= 1).sum() > 50, name


def _inks(first: Path, name: str) -> npt.NDArray[np.int_]:
    """Pixels by inks of one page, 0 to 255."""
    plates = []
    for ink in ("Cyan", "Magenta", "Yellow", "Black"):
        with Image.open(first.with_name(first.name.replace("Cyan", ink))) as plate:
            plates.append(255 - np.asarray(plate.convert("L"), dtype=int))
    return np.stack(plates, axis=-1).reshape(-1, 4)
