"""Palettes as files, read back by somebody else's readers."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from pathlib import Path

import numpy as np
import pytest

from bible.colour.press import load
from bible.colour.tints import Tint, as_array
from bible.exports.tables import Table, csv_pieces, json_pieces
from guides.palettes.cxf import NAMESPACE, cxf3
from guides.palettes.formats import PALETTE_FORMATS
from guides.palettes.sheet_pictures import png, svg
from guides.palettes.swatch_files import NamedPalette, ase, css_list, gpl, hex_list, scribus

PRESS = load("newsprint")
NAMED = (("W", Tint()), ("YR3B2 <&>", Tint(25, 50, 100)), ("nul\0led", Tint(k=100)))
MOMENT = dt.datetime(2026, 1, 2, 3, 4, 5, tzinfo=dt.UTC)
PALETTE = NamedPalette("Title", NAMED, PRESS, MOMENT)


def test_cxf_is_read_back_by_the_published_schemas_own_classes() -> None:
    """colour-cxf (BSD) holds classes made from the CxF3 core schema; unknown elements are refused by its parser."""
    from colour_cxf.cxf3 import ColorCielab, ColorCiexyz, CxF
    from xsdata.formats.dataclass.parsers import XmlParser
    from xsdata.formats.dataclass.parsers.config import ParserConfig

    strict = XmlParser(
        config=ParserConfig(
            fail_on_unknown_properties=True, fail_on_unknown_attributes=True, fail_on_converter_warnings=True
        )
    )
    found = strict.from_bytes(cxf3(PALETTE), CxF)
    objects = found.resources.object_collection.object_value
    assert [one.name for one in objects] == ["W", "YR3B2 <&>", "nulled"]
    assert len({one.id for one in objects}) == 3
    inks = as_array(tint for _, tint in NAMED)
    (specification,) = found.resources.color_specification_collection.color_specification
    for one, percentages, lab, xyz in zip(objects, inks, PRESS.lab(inks), PRESS.xyz(inks), strict=True):
        said = {type(value): value for value in one.color_values.choice}
        assert (said[ColorCielab].l, said[ColorCielab].a, said[ColorCielab].b) == pytest.approx(lab, abs=6e-5)
        assert (said[ColorCiexyz].x, said[ColorCiexyz].y, said[ColorCiexyz].z) == pytest.approx(xyz, abs=6e-5)
        (cmyk,) = one.device_color_values.choice
        assert (cmyk.cyan, cmyk.magenta, cmyk.yellow, cmyk.black) == tuple(percentages)
        assert {value.color_specification for value in (*said.values(), cmyk)} == {specification.id}
        assert one.creation_date is not None
    assert "A screen is not a proof" in found.file_information.comment


def test_cxf_has_all_that_the_schema_requires_in_its_order() -> None:
    """Required children and order of the core schema, as the metadata of colour-cxf's classes give them."""
    import dataclasses

    from colour_cxf import cxf3 as schema
    from lxml import etree

    root = etree.fromstring(cxf3(PALETTE))
    checked = 0
    classes = [schema.Object, schema.ColorCielab, schema.ColorCiexyz, schema.ColorCmyk, schema.ColorSpecification]
    classes += [schema.TristimulusSpec, schema.MeasurementSpec, schema.FileInformation, schema.Resources]
    for kind in classes:
        fields = [f.metadata for f in dataclasses.fields(kind)]
        order = [m["name"] for m in fields if m.get("type") == "Element"]
        name = getattr(kind.Meta, "name", kind.__name__)
        for element in root.iter(f"{{{NAMESPACE}}}{name}"):
            children = [etree.QName(child).localname for child in element]
            known = [child for child in children if child in order]
            assert known == sorted(known, key=order.index)
            for needed in (m for m in fields if m.get("required")):
                assert needed["name"] in (children if needed["type"] == "Element" else element.attrib)
            checked += 1
    assert checked > 15


def test_a_csv_runs_nothing_in_a_spreadsheet() -> None:
    """The signs that begin a formula, after OWASP's “CSV Injection”."""
    sheet = Table("x", ("a", "b"), [("=1+1", -3), ("@x", 2.5), ("+y", 0), ("Y", -1)])
    assert list(csv.reader(io.StringIO(b"".join(csv_pieces(sheet)).decode("utf-8-sig")))) == [
        ["a", "b"],
        ["'=1+1", "-3"],
        ["'@x", "2.5"],
        ["'+y", "0"],
        ["Y", "-1"],
    ]
    assert json.loads(b"".join(json_pieces(sheet)))["rows"][0] == {"a": "=1+1", "b": -3}


def test_plain_lists_name_their_press_and_their_limits() -> None:
    palette = NamedPalette("A */ B\nC", NAMED, PRESS, MOMENT)
    text = hex_list(palette).decode()
    lines = [line for line in text.splitlines() if not line.startswith(";")]
    assert lines == [f"{PRESS.hex(tint)}\t{code}".replace("\0", "") for code, tint in NAMED]
    css = css_list(palette).decode()
    assert f"--tint-c25-m50-y100-k0: {PRESS.hex(Tint(25, 50, 100))};" in css
    assert css.count("*/") == css.count("/*") == 1 + len(NAMED)
    for told in (text, css):
        assert PRESS.title in told
        assert "A screen is not a proof" in told


def test_the_style_sheet_is_read_by_a_published_parser() -> None:
    """tinycss2 (BSD) follows the W3C's CSS Syntax Module Level 3; a comment that ended early would leave an error."""
    import tinycss2

    rules = tinycss2.parse_stylesheet(css_list(PALETTE).decode(), skip_comments=True, skip_whitespace=True)
    assert [rule.type for rule in rules] == ["qualified-rule"]
    told = tinycss2.parse_blocks_contents(rules[0].content, skip_comments=True, skip_whitespace=True)
    assert [one.type for one in told] == ["declaration"] * len(NAMED)
    assert [tinycss2.serialize(one.value).strip() for one in told] == PALETTE.hexes


def test_the_text_palette_is_read_by_pillow() -> None:
    """Pillow's reader of GIMP palettes, which had no part in writing them."""
    from PIL.GimpPaletteFile import GimpPaletteFile

    data = gpl(PALETTE)
    colours, mode = GimpPaletteFile(io.BytesIO(data)).getpalette()
    wanted = b"".join(bytes.fromhex(value[1:]) for value in PALETTE.hexes)
    assert (mode, colours[: len(wanted)]) == ("RGB", wanted)
    lines = data.decode().splitlines()
    assert lines[:3] == ["GIMP Palette", "Name: Title", "Columns: 8"]
    assert lines[-2].endswith("\tYR3B2 <&> (C25 M50 Y100)")
    assert "A screen is not a proof" in data.decode()


def test_the_swatch_exchange_file_holds_the_inks(tmp_path: Path) -> None:
    """“swatch” (MIT, PyPI) reads what painting and layout programs write."""
    import swatch

    path = tmp_path / "palette.ase"
    path.write_bytes(ase(PALETTE))
    read = swatch.parse(str(path))
    assert [one["name"] for one in read] == ["W", "YR3B2 <&>", "nulled"]
    assert {(one["type"], one["data"]["mode"]) for one in read} == {("Process", "CMYK")}
    for one, (_, tint) in zip(read, NAMED, strict=True):
        assert one["data"]["values"] == pytest.approx([percent / 100 for percent in tint.percentages], abs=1e-6)


def test_the_layout_programs_list_holds_the_inks() -> None:
    """Elements and attributes of Scribus' own colour lists, from memory: no published reader was to be had."""
    from lxml import etree

    root = etree.fromstring(scribus(PALETTE))
    assert (root.tag, root.get("Name")) == ("SCRIBUSCOLORS", "Title")
    colours = root.findall("COLOR")
    assert [one.get("NAME") for one in colours] == ["W", "YR3B2 <&>", "nulled"]
    assert [one.get("CMYK") for one in colours] == ["#00000000", "#4080ff00", "#000000ff"]
    for one, (_, tint) in zip(colours, NAMED, strict=True):
        assert (one.get("SPACE"), *(int(one.get(ink) or "-1") for ink in "CMYK")) == ("CMYK", *tint.percentages)


def test_the_sheet_shows_every_tint_as_picture_and_as_drawing() -> None:
    """Pillow opens the one and finds every colour on it, lxml the other (SVG 1.1)."""
    from lxml import etree
    from PIL import Image

    picture = Image.open(io.BytesIO(png(PALETTE)))
    found = {"#" + bytes(row).hex() for row in np.unique(np.asarray(picture).reshape(-1, 3), axis=0)}
    assert {value.lower() for value in PALETTE.hexes} <= found
    assert picture.info["icc_profile"][36:40] == b"acsp"
    root = etree.fromstring(svg(PALETTE))
    assert [one.get("fill") for one in root.iter("{*}rect")][1:] == PALETTE.hexes
    words = [one.text for one in root.iter("{*}text")]
    assert {"W", "YR3B2 <&>", "C25 M50 Y100", "no ink", PALETTE.told} <= set(words)


@pytest.mark.parametrize("ending", PALETTE_FORMATS)
def test_an_empty_palette_is_a_file_as_well(ending: str) -> None:
    assert PALETTE_FORMATS[ending].write(NamedPalette("Nothing", (), PRESS, MOMENT))
