"""What it is made of: bounds that say from which version on, a lock file that says which to the byte, and the bill.

What the bounds promise is tried by ``.ci/lowest``, which installs the lowest versions and runs the tests with them.
"""

from __future__ import annotations

import io
import json
import re
import tomllib
from importlib.metadata import distribution, version
from typing import Any

import pytest
from django.core.management import call_command
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from bible.web.materials import UNSAID, Package, bill, canonical, installed
from tests.test_structure import HOUSE

PROJECT = tomllib.loads((HOUSE / "pyproject.toml").read_text(encoding="utf-8"))["project"]
DIRECT = [Requirement(said) for said in [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["production"]]]
LOCK = (HOUSE / ".deploy/requirements.lock").read_text(encoding="utf-8")
LOCKED = re.findall(
    r"^([a-z0-9.-]+)(?:\[[\w,]+\])?==([^\s;]+)[^\n]*\\\n((?:    --hash=\S+(?: \\)?\n)+)", LOCK, re.MULTILINE
)
"""Name, version and the lines with hashes of every package in the lock file."""


@pytest.mark.parametrize("one", DIRECT, ids=lambda one: one.name)
def test_every_package_has_a_lowest_version_that_is_met_here(one: Requirement) -> None:
    assert any(bound.operator == ">=" for bound in one.specifier), "say from which version on"
    assert Version(version(one.name)) in one.specifier


@pytest.mark.parametrize("one", DIRECT, ids=lambda one: one.name)
def test_the_lock_file_has_it_in_a_version_that_is_allowed(one: Requirement) -> None:
    versions = {canonicalize_name(name): said for name, said, _ in LOCKED}
    assert Version(versions[canonicalize_name(one.name)]) in one.specifier, "run .ci/lock"


def test_everything_in_the_lock_file_is_known_to_the_byte() -> None:
    assert len(LOCKED) == len(re.findall(r"^[a-z0-9]", LOCK, re.MULTILINE)) > 30
    for name, _, hashes in LOCKED:
        assert re.fullmatch(r"(    --hash=sha256:[0-9a-f]{64}(?: \\)?\n)+", hashes), name
    assert not re.search(r"git\+|https?://|file:|--index-url|--find-links", LOCK)


def test_production_installs_from_it() -> None:
    for path in (".deploy/Dockerfile", "README.md"):
        assert "--require-hashes -r .deploy/requirements.lock" in (HOUSE / path).read_text(encoding="utf-8"), path


def test_the_bill_names_what_is_here() -> None:
    """The fields that CycloneDX 1.5 asks for (ECMA-424), against what Python itself says is installed."""
    call_command("sbom", "--json", stdout=(out := io.StringIO()))
    told = json.loads(out.getvalue())
    assert (told["bomFormat"], told["specVersion"], told["version"]) == ("CycloneDX", "1.5", 1)
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", told["metadata"]["timestamp"])
    parts = {part["name"]: part for part in told["components"]}
    assert len(parts) == len(told["components"])
    for one in DIRECT:
        part = parts[canonicalize_name(one.name)]
        assert part["version"] == version(one.name)
        assert part["purl"] == f"pkg:pypi/{canonicalize_name(one.name)}@{version(one.name)}"
        (licence,) = part["licenses"]
        assert licence.get("expression") or licence["license"]["name"] not in ("", UNSAID), one.name
    needs = {said["ref"]: said["dependsOn"] for said in told["dependencies"]}
    assert set(needs) == {part["bom-ref"] for part in parts.values()}
    assert parts["asgiref"]["bom-ref"] in needs[parts["django"]["bom-ref"]]
    assert {ref for refs in needs.values() for ref in refs} <= set(needs)


def test_licences_are_listed_and_none_binds_who_runs_it() -> None:
    """In what production installs: nothing under a licence that would ask for the program's own source."""
    call_command("sbom", stdout=(out := io.StringIO()))
    lines = dict(line.split(" ", 1) for line in out.getvalue().splitlines())
    names = {canonical(name) for name, _, _ in LOCKED} & set(lines)
    assert len(names) > 30
    for name in names:
        assert not lines[name].endswith(UNSAID), name
        assert not re.search(r"\bA?GPL", lines[name].replace("LGPL", "")), lines[name]


def test_what_a_package_says_of_its_licence_is_read_in_order() -> None:
    found = {package.name: package for package in installed()}
    metadata: Any = distribution("django").metadata
    said = metadata.get("License-Expression")
    assert found["django"].spdx == (said or "")
    assert "BSD" in found["django"].licence
    told = bill(
        [Package("a", "1", "", "Own licence", ("b", "gone")), Package("b", "2", "MIT", "MIT", ())], made_at=""
    )
    assert told["components"][0]["licenses"] == [{"license": {"name": "Own licence"}}]
    assert told["components"][1]["licenses"] == [{"expression": "MIT"}]
    assert told["dependencies"][0] == {"ref": "pkg:pypi/a@1", "dependsOn": ["pkg:pypi/b@2"]}
