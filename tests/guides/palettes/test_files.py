"""Palettes as files, read back by somebody else's readers."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json

import pytest

from bible.colour.press import load
from bible.colour.tints import Tint, as_array
from bible.exports.tables import Table, csv_pieces, json_pieces
from guides.palettes.cxf import NAMESPACE, cxf3
from guides.palettes.files import css_list, hex_list
from tests.factories import make_series

PRESS = load("newsprint")
NAMED = [("W", Tint()), ("YR3B2 <&>", Tint(25, 50, 100)), ("nul\0led", Tint(k=100))]
MOMENT = dt.datetime(2026, 1, 2, 3, 4, 5, tzinfo=dt.UTC)


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
    found = strict.from_bytes(cxf3("Title", NAMED, PRESS, MOMENT), CxF)
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

    root = etree.fromstring(cxf3("Title", NAMED, PRESS, MOMENT))
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


@pytest.mark.django_db
def test_plain_lists_name_their_press_and_their_limits() -> None:
    series = make_series(title="A */ B\nC")
    tints = [tint for _, tint in NAMED]
    text = hex_list(series, tints, PRESS)
    lines = [line for line in text.splitlines() if not line.startswith(";")]
    assert lines == [f"{PRESS.hex(tint)}\t{series.write(tint)}" for tint in tints]
    css = css_list(series, tints, PRESS)
    assert f"--tint-c25-m50-y100-k0: {PRESS.hex(Tint(25, 50, 100))};" in css
    assert css.count("*/") == css.count("/*") == 1 + len(tints)
    for told in (text, css):
        assert PRESS.title in told
        assert "A screen is not a proof" in told
