"""What this installation is made of: the packages that are installed here, with their versions and licences.

Written as a bill of materials in CycloneDX 1.5 (ECMA-424); packages are named as “purl” has it, licences by their
SPDX expression where the package says one (PEP 639), else in the package's own words.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.metadata import Distribution, distributions
from typing import Any

FORMAT, FORMAT_VERSION = "CycloneDX", "1.5"
UNSAID = "not said"

LONGEST_NAME = 80
"""Letters of a licence that is a name; some packages put the whole text there."""


@dataclass(frozen=True, slots=True)
class Package:
    """``spdx`` is an expression of identifiers or empty; ``licence`` is what to read in any case."""

    name: str
    version: str
    spdx: str
    licence: str
    needs: tuple[str, ...]

    @property
    def as_choice(self) -> dict[str, Any]:
        """The licence as CycloneDX has it: an expression, or a name."""
        return {"expression": self.spdx} if self.spdx else {"license": {"name": self.licence}}

    @property
    def purl(self) -> str:
        return f"pkg:pypi/{self.name}@{self.version}"


def canonical(name: str) -> str:
    """One spelling of a package's name (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def installed() -> list[Package]:
    """Every package of this environment, by name; the first found of two is the one that is imported."""
    packages: dict[str, Package] = {}
    for distribution in distributions():
        if distribution.metadata["Name"]:
            package = _read(distribution)
            packages.setdefault(package.name, package)
    return sorted(packages.values(), key=lambda package: package.name)


def _read(distribution: Distribution) -> Package:
    meta: Any = distribution.metadata  # an e-mail message, which the type stubs say less of
    spdx = str(meta.get("License-Expression") or "")
    classed = [
        classifier.rsplit(" :: ", 1)[-1]
        for classifier in meta.get_all("Classifier") or ()
        if classifier.startswith("License ::")
    ]
    named = str(meta.get("License") or "").strip().split("\n")[0]
    words = spdx or ", ".join(sorted(classed)) or named[:LONGEST_NAME] or UNSAID
    needs = sorted(
        {
            canonical(re.split(r"[^\w.-]", requirement, maxsplit=1)[0])
            for requirement in distribution.requires or ()
            if not _extra(requirement)
        }
    )
    return Package(canonical(meta["Name"]), distribution.version, spdx, words, tuple(needs))


def _extra(requirement: str) -> bool:
    """Whether it is needed for an extra only."""
    return "extra ==" in requirement.replace('"', "").replace("'", "")


def bill(packages: Iterable[Package], *, made_at: str) -> dict[str, Any]:
    """The bill of materials as CycloneDX JSON. ``made_at`` is a moment in ISO 8601."""
    packages = list(packages)
    here = {package.name: package for package in packages}
    return {
        "bomFormat": FORMAT,
        "specVersion": FORMAT_VERSION,
        "version": 1,
        "metadata": {
            "timestamp": made_at,
            "component": {"type": "application", "name": "series-colour-bible", "bom-ref": "series-colour-bible"},
        },
        "components": [
            {
                "type": "library",
                "bom-ref": package.purl,
                "name": package.name,
                "version": package.version,
                "purl": package.purl,
                "licenses": [
                    {"expression": package.spdx} if package.spdx else {"license": {"name": package.licence}}
                ],
            }
            for package in packages
        ],
        "dependencies": [
            {"ref": package.purl, "dependsOn": [here[name].purl for name in package.needs if name in here]}
            for package in packages
        ],
    }
