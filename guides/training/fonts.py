"""The free fonts that hands are learnt from: fetched from the npm registry by name and version, never committed."""

from __future__ import annotations

import io
import json
import subprocess
import tarfile
from pathlib import Path
from tempfile import TemporaryDirectory

VERSION = "5.3.0"
"""All packages are taken in this version of the registry's ``@fontsource`` packages, unless it is not there."""

TAUGHT = (
    "amatic-sc", "bad-script", "caveat-brush", "chilanka", "courgette", "damion", "dancing-script", "delius",
    "finger-paint", "gaegu", "gochi-hand", "handlee", "happy-monkey", "itim", "long-cang", "ma-shan-zheng",
    "marck-script", "permanent-marker", "playpen-sans", "poor-story", "short-stack", "sriracha",
    "swanky-and-moo-moo", "twinkle-star", "yomogi", "zen-kurenaido",
)  # fmt: skip
"""Hands the networks learn from."""

WATCHED = ("neucha", "liu-jian-mao-cao", "yusei-magic", "oooh-baby")
"""Hands that odds are fitted on; the networks do not learn from them."""

KEPT_OUT = ("delicious-handrawn", "shantell-sans", "sue-ellen-francisco", "zhi-mang-xing")
"""Hands that judge: nothing is chosen by them."""

CHECKED = "BRYWKCM0123578"
"""A font that lacks one of these is of no use here."""


def fetch(folder: Path, names: tuple[str, ...] = TAUGHT + WATCHED + KEPT_OUT) -> list[Path]:
    """Bring the fonts into ``folder`` as TrueType, one or two weights each, and write down versions and licences."""
    folder.mkdir(parents=True, exist_ok=True)
    ledger = folder / "fonts.json"
    known: dict[str, dict[str, str]] = json.loads(ledger.read_text()) if ledger.exists() else {}
    for name in names:
        if name not in known:
            known[name] = _bring(folder, name)
            ledger.write_text(json.dumps(known, indent=1))
    return sorted(folder.glob("*.ttf"))


def _bring(folder: Path, name: str) -> dict[str, str]:
    with TemporaryDirectory() as place:
        for wanted in (f"@fontsource/{name}@{VERSION}", f"@fontsource/{name}"):
            done = subprocess.run(
                ["npm", "pack", "--silent", wanted], cwd=place, capture_output=True, text=True, check=False
            )
            if done.returncode == 0:
                break
        else:
            raise RuntimeError(f"the registry has no package @fontsource/{name}: {done.stderr.strip()[:200]}")
        with tarfile.open(next(Path(place).glob("*.tgz"))) as package:
            return _unpack(package, folder, name)


def _unpack(package: tarfile.TarFile, folder: Path, name: str) -> dict[str, str]:
    from fontTools.ttLib import TTFont

    files = {member.name: member for member in package.getmembers()}
    described = package.extractfile(files["package/package.json"])
    assert described is not None
    about = json.loads(described.read())
    latin = sorted(f for f in files if f.endswith("-normal.woff2") and "-latin-" in f and "-ext-" not in f)
    for file in dict.fromkeys((latin[0], latin[-1])):
        data = package.extractfile(files[file])
        assert data is not None
        font = TTFont(io.BytesIO(data.read()))
        if not all(ord(sign) in font.getBestCmap() for sign in CHECKED):
            continue
        font.flavor = None
        font.save(folder / f"{name}_{Path(file).stem.split('-latin-')[1]}.ttf")
    return {"package": about["name"], "version": about["version"], "licence": str(about.get("license", ""))}


def family_of(path: Path) -> str:
    """The package a font file came from."""
    return path.stem.split("_")[0]
