"""A palette as CxF3 (Color Exchange Format, ISO 17972-1): Lab and XYZ under the press condition, CMYK as ordered.

Names, order and ranges of the elements follow the core schema, namespace http://colorexchangeformat.com/CxF3-core.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence

from bible.colour.tints import INK_NAMES, INKS, as_array
from bible.exports.tables import CAUTION
from guides.palettes.swatch_files import NamedPalette, xml_text

NAMESPACE = "http://colorexchangeformat.com/CxF3-core"
SPECIFICATION = "press"


def cxf3(palette: NamedPalette) -> bytes:
    """The file, UTF-8 with an XML declaration."""
    press, moment = palette.press, palette.made_at.isoformat(timespec="seconds")
    ET.register_namespace("cc", NAMESPACE)
    root = ET.Element(_tag("CxF"))
    information = _add(root, "FileInformation")
    _add(information, "Creator", "Series colour bible")
    _add(information, "CreationDate", moment)
    _add(information, "Description", palette.title)
    _add(information, "Comment", f"Computed for {press.title} ({press.source}). {CAUTION}")
    resources = _add(root, "Resources")
    objects = _add(resources, "ObjectCollection")
    inks = as_array(palette.tints)
    xyz, lab = press.xyz(inks), press.lab(inks)
    for at, (name, tint) in enumerate(palette.named):
        entry = _add(objects, "Object", ObjectType="Standard", Name=name, Id=f"c{at + 1}")
        _add(entry, "CreationDate", moment)
        values = _add(entry, "ColorValues")
        _numbers(_add(values, "ColorCIELab", ColorSpecification=SPECIFICATION), "LAB", lab[at])
        _numbers(_add(values, "ColorCIEXYZ", ColorSpecification=SPECIFICATION), "XYZ", xyz[at])
        ordered = _add(_add(entry, "DeviceColorValues"), "ColorCMYK", ColorSpecification=SPECIFICATION)
        for ink in INKS:
            word = "Black" if ink == "k" else INK_NAMES[ink].capitalize()
            _add(ordered, word, str(getattr(tint, ink)))
    _specification(_add(_add(resources, "ColorSpecificationCollection"), "ColorSpecification", Id=SPECIFICATION))
    ET.indent(root, " ")
    return ET.tostring(root, encoding="utf-8", xml_declaration=True)


def _specification(where: ET.Element) -> None:
    """D50 and 2°, as the characterization data are; colours are predicted, so the method is unknown to the schema."""
    tristimulus = _add(where, "TristimulusSpec")
    _add(tristimulus, "Illuminant", "D50")
    _add(tristimulus, "Observer", "2_Degree")
    _add(tristimulus, "Method", "unknown")
    measured = _add(where, "MeasurementSpec")
    _add(measured, "MeasurementType", "Colorimetric_Reflectance")
    angle = _add(_add(measured, "GeometryChoice"), "SingleAngle")
    _add(angle, "SingleAngleConfiguration", "Annular")
    _add(angle, "IlluminationAngle", "45")
    _add(angle, "MeasurementAngle", "0")


def _numbers(where: ET.Element, names: str, values: Sequence[float]) -> None:
    for name, value in zip(names, values, strict=True):
        _add(where, name, f"{float(value):.4f}")


def _add(parent: ET.Element, name: str, text: str | None = None, **attributes: str) -> ET.Element:
    element = ET.SubElement(parent, _tag(name), {key: xml_text(value) for key, value in attributes.items()})
    element.text = None if text is None else xml_text(text)
    return element


def _tag(name: str) -> str:
    return f"{{{NAMESPACE}}}{name}"
