"""Damaged files and made-up codes by the thousand: ``python tests/fuzz.py --uploads 10000 --codes 100000``.

Files go through the pages that take them, as a lead would send them; archives through what restores them. Nothing may
crash, answer with a fault, say something of the machine, or stay behind half-stored. A small part of it runs in the
suite (tests/test_fuzz.py); what is drawn follows from ``--seed`` alone.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import hashlib
import io
import json
import os
import random
import resource
import sys
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.mutations import inside_zip, mutated

LEAKS = ("Traceback", str(ROOT), tempfile.gettempdir() + "/", "site-packages", "django.", "SELECT ")
"""What no answer may say: words of a fault, places on the machine, SQL."""

TABLES = ("bring-bible", "bring-marks-table", "bring-issues", "bring-scenes", "bring-waivers", "bring-assignments")
"""Where tables are brought in."""

CLEAR_EVERY = 40
"""The limits are counted and cleared: this is about files, not about how many."""


class Fault(AssertionError):
    """Something that must not be; it says how to draw it again."""


def pictures() -> list[bytes]:
    """Small valid files over the formats' variants, large enough to be taken."""
    from PIL import Image

    from tests.guides.imaging.intake.pictures import encoded

    grain = Image.effect_noise((24, 30), 60).resize((240, 300))
    colour = Image.merge("RGB", [grain, grain.transpose(Image.Transpose.ROTATE_180), grain])
    veiled = colour.copy()
    veiled.putalpha(grain)
    exif = Image.Exif()
    exif[274] = 6
    return [
        encoded(colour, "PNG", exif=exif),
        encoded(veiled, "PNG"),
        encoded(colour.quantize(7), "PNG", transparency=bytes([0, 128, 255])),
        encoded(grain.convert("1"), "PNG"),
        encoded(colour, "JPEG", exif=exif),
        encoded(grain, "JPEG", progressive=True),
        encoded(colour.convert("CMYK"), "JPEG"),
        encoded(colour, "WEBP", exif=exif),
        encoded(veiled, "WEBP", lossless=True),
        encoded(colour, "TIFF", tiffinfo={274: 5}),
        encoded(colour.convert("CMYK"), "TIFF", compression="tiff_lzw"),
        encoded(colour.convert("LAB"), "TIFF", compression="tiff_adobe_deflate"),
        encoded(colour, "TIFF", compression="jpeg"),
        encoded(grain.convert("1"), "TIFF", compression="group4"),
        encoded(colour, "TIFF", big_tiff=True),
    ]


def sealed(data: bytes) -> bytes:
    """The archive with its manifest put right, as somebody would who knows how."""
    with zipfile.ZipFile(io.BytesIO(data)) as old:
        members = {name: old.read(name) for name in old.namelist()}
    with contextlib.suppress(ValueError, KeyError, TypeError):
        manifest = json.loads(members["manifest.json"])
        for name in members.keys() - {"manifest.json"}:
            found = {"sha256": hashlib.sha256(members[name]).hexdigest(), "bytes": len(members[name])}
            manifest["members"][name] = found
        members["manifest.json"] = json.dumps(manifest).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as new:
        for name, content in members.items():
            new.writestr(name, content)
    return out.getvalue()


NAMES = [
    "p7.{}",
    "p7.{}.png",
    "",
    "\u202egnp.{}",
    "../../p.{}",
    "C:\\p.{}",
    "p" * 300 + ".{}",
    "<b>.{}",
    "ｐ７.{}",
    "7\u0000.{}",
]
SUFFIX = {b"\xff\xd8\xff\xe0": "jpg", b"\xff\xd8\xff\xee": "jpg", b"\xff\xd8\xff\xe1": "jpg", b"RIFF": "webp",
          b"II*\0": "tif", b"II+\0": "tif", b"\x89PNG": "png"}  # fmt: skip
ALPHABET = (
    "YRBKWyrbkw0123456789%+-/.,;:?*()[]{}<>&'\"\\ \t\n\x00\u0660\u0967\uff12\u00bd\u00b2\u202e\u0301é漢🎨CMGcmg"
)
CODES = ["YR3B2", "W", "K", "C25 M50 Y100", "Y2", "R4", "YRB", "base + 25 % cyan", "K50", "c100m100y100k100"]


def made_up_code(draw: random.Random) -> str:
    if draw.random() < 0.5:
        return "".join(draw.choice(ALPHABET) for _ in range(draw.choice([0, 1, 2, 3, 5, 8, 13, 80, 400])))
    code = list(draw.choice(CODES))
    for _ in range(draw.choice([1, 1, 2, 3])):
        at = draw.randrange(len(code) + 1)
        signs = draw.choice([ALPHABET, "YRBKW0123 "])
        code[at : at + draw.choice([0, 1])] = draw.choice(signs) * draw.choice([1, 1, 1, 2, 9])
    return "".join(code)


class Bench:
    """A series, a lead at its pages, and the files that are damaged."""

    def __init__(self, seed: int) -> None:
        from bible.models import Membership
        from tests.factories import make_guide, make_issue, make_lock, make_mark, make_member, make_part, make_series
        from tests.pages import client_of

        self.draw = random.Random(seed)
        self.series = make_series()
        self.lead = make_member(self.series, Membership.Role.LEAD)
        self.client = client_of(self.lead)
        self.client.raise_request_exception = False
        self.issue = make_issue(self.series)
        part = make_part(self.series)
        make_lock(part, by=self.lead)
        self.guide = make_guide(self.issue, by=self.lead)
        make_mark(self.guide, "YR", part=part, by=self.lead)
        self.pictures = pictures()
        self.tables = [
            b'Subject;Costume;Part;Role;Code;From\nAda;coat;cloth;base;YR3B2;1\n"Net; torn";;rope;;K50;\n',
            'Issue,Page,x,y,Code,Subject,Part\n1,7,0.5,0.25,Y2,Åse,"hat"\n'.encode("utf-16"),
            b"Number,Title\n1,One\n2,Two\nAnnual 1,\n",
        ]
        self.books = [self._workbook()]
        self.cgats = [(ROOT / "tests/data/press" / name).read_bytes() for name in ("TR002.ti3", "TR003.ti3")]
        self.charts = [b"label;c;m;y\nW;0;0;0\nY;0;0;100\nB;100;0;0\nYR3;0;50;50\n", b"label,c,m,y,k\nK,0,0,0,100\n"]
        self.archives = [self._archive()]
        self.marks = [self._handed_off("csv"), self._handed_off("jsonld")]
        self.said: Counter[str] = Counter()

    def _workbook(self) -> bytes:
        from openpyxl import Workbook

        book, out = Workbook(), io.BytesIO()
        for row in (["Subject", "Part", "Code", "From"], ["Ada", "coat", "YR3B2", 1], ["Bo", "hat", "K50", 2.5]):
            book.active.append(row)  # type: ignore[union-attr]
        book.save(out)
        return out.getvalue()

    def _archive(self) -> bytes:
        from guides.archive.exports import export_series

        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "series.zip"
            export_series(self.series, path)
            return path.read_bytes()

    def _handed_off(self, form: str) -> bytes:
        from django.urls import reverse

        answer: Any = self.client.get(reverse("guide-hand-off-file", args=[self.series.slug, self.guide.pk, form]))
        return b"".join(answer.streaming_content) if answer.streaming else answer.content

    # --- what is sent where ---------------------------------------------------------------------------------------

    def picture(self) -> str:
        field = {"page": self.draw.choice(["", "7", "cover", "\u202e", "7" * 40]), "again": "on"}
        return self.send("upload", "scans", self.pictures, ("png", "jpg", "tif", "webp"), field, self.issue.pk)

    def table(self) -> str:
        name = self.draw.choice(TABLES)
        return self.send(name, "file", self.tables, ("csv", "txt", "xlsx"), {})

    def book(self) -> str:
        name = self.draw.choice(TABLES)
        return self.send(name, "file", self.books, ("xlsx",), {}, zipped=True)

    def press(self) -> str:
        field = {"title": "T", "name": f"n{self.draw.randrange(10**9)}", "source": "S", "ruling_lpi": "85"}
        return self.send("new-press", "data_file", self.cgats, ("ti3", "txt"), field | {"angles": "105, 75, 90, 45"})

    def chart(self) -> str:
        return self.send("chart-audit", "file", self.charts, ("csv",), {})

    def annotations(self) -> str:
        return self.send("bring-marks", "file", self.marks, ("csv", "jsonld"), {}, self.guide.pk)

    def archive(self) -> str:
        from bible.series.refusals import Refused
        from guides.archive.check import Archive
        from guides.archive.restore import restore_series

        if self.draw.random() < 0.7:
            data = inside_zip(self.archives[0], self.draw, self.pictures)
            data = sealed(data) if self.draw.random() < 0.7 else data
        else:
            data = mutated(self.archives[0], self.draw, self.pictures)
        try:
            restore_series(Archive(io.BytesIO(data)), slug=f"again-{self.draw.randrange(10**9)}")
        except Refused as refused:
            self._hold(200, str(refused), "archive")
            return "refused"
        return "taken"

    def send(
        self, name: str, field: str, seeds: list[bytes], endings: tuple[str, ...], more: dict[str, str], *pk: int,
        zipped: bool = False,
    ) -> str:  # fmt: skip
        from django.core.files.uploadedfile import SimpleUploadedFile
        from django.urls import reverse

        damage, seed = inside_zip if zipped and self.draw.random() < 0.6 else mutated, self.draw.choice(seeds)
        data = damage(seed, self.draw, seeds)
        ending = SUFFIX.get(seed[:4], endings[0])
        if self.draw.random() < 0.2:
            ending = self.draw.choice(endings)
        called = self.draw.choice(NAMES).format(ending) if self.draw.random() < 0.2 else f"p7.{ending}"
        file = SimpleUploadedFile("x", data)
        cast(Any, file)._name = called  # as a stranger's program would call it, not as the class would have it
        answer = self.client.post(reverse(name, args=[self.series.slug, *pk]), more | {field: file}, follow=True)
        self._hold(answer.status_code, "" if answer.streaming else answer.content.decode("utf-8", "replace"), name)
        return "taken" if answer.status_code == 200 else "refused"

    def _hold(self, status: int, text: str, what: str) -> None:
        if status >= 500 or status == 429:
            raise Fault(f"{what} answered {status}")
        for leak in LEAKS:
            if leak in text:
                raise Fault(f"{what} says {leak!r}: …{text[max(0, text.index(leak) - 100) :][:300]}…")

    # --- the rounds -----------------------------------------------------------------------------------------------

    def uploads(self, how_many: int, tell: Callable[[int], None] = lambda done: None) -> None:
        """Half of them pictures: they are decoded by the most foreign code."""
        ways = [self.picture] * 6 + [self.table, self.book, self.press, self.chart, self.annotations, self.archive]
        from bible.models import Allowance

        for n in range(how_many):
            way = self.draw.choice(ways)
            try:
                self.said[f"{way.__name__} {way()}"] += 1
            except Fault as fault:
                raise Fault(f"upload {n}: {fault}") from fault
            if n % CLEAR_EVERY == 0:
                Allowance.objects.all().delete()
                tell(n)

    def codes(self, how_many: int, by_page: int) -> None:
        """Every code read; one in ``by_page`` sent to the pages as well, as a mark and as a question."""
        from bible.colour.notation_errors import NotationError

        for n in range(how_many):
            code = made_up_code(self.draw)
            try:
                found = self.series.read(code)
            except NotationError as refused:
                self._hold(200, str(refused), f"code {code!r}")
                self.said["code not read"] += 1
            else:
                if self.series.read(self.series.write(found)) != found:
                    raise Fault(f"code {n}: {code!r} is written as something else")
                self.said["code read"] += 1
            if n % by_page == 0:
                self._ask(code)

    def _ask(self, code: str) -> None:
        from django.urls import reverse

        slug, pk = self.series.slug, self.guide.pk
        mark = {"written": code, "x": "0.5", "y": "0.5", "role": "base"}
        for answer in (
            self.client.post(reverse("new-mark", args=[slug, pk]), mark),
            self.client.get(reverse("find-tint", args=[slug]), {"code": code}, follow=True),
            self.client.get(reverse("lookup", args=[slug]), {"q": code}),
            self.client.get(reverse("chart", args=[slug]), {"press": code}),
        ):
            self._hold(answer.status_code, answer.content.decode("utf-8", "replace"), f"code {code!r}")
            self.said["code sent to a page"] += 1

    def left_behind(self) -> list[str]:
        """Files that no row names, rows without their file, as the doctor finds them."""
        import datetime as dt

        from django.utils import timezone

        from guides.maintenance.doctor import examine

        return [f"{found.kind}: {found.what}" for found in examine(timezone.now() + dt.timedelta(days=7))
                if found.kind in ("orphan", "missing", "pieces-lost")]  # fmt: skip


def scratch() -> set[str]:
    """What lies in the folder for temporary files and is ours to clear away."""
    return {name for name in os.listdir(tempfile.gettempdir()) if name.startswith(("tmp", "upload"))}


def memory() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--uploads", type=int, default=10_000)
    parser.add_argument("--codes", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="fuzz-") as home:
        os.environ |= {"BIBLE_DATA": home, "DJANGO_SETTINGS_MODULE": "bible.settings", "BIBLE_DEBUG": ""}
        import django

        django.setup()
        import logging

        from django.core.management import call_command
        from django.test.utils import setup_test_environment

        logging.disable(logging.WARNING)
        setup_test_environment()
        call_command("migrate", verbosity=0)
        bench, began, before, files = Bench(asked.seed), time.monotonic(), memory(), scratch()
        bench.codes(asked.codes, 100)
        between, at_codes = time.monotonic(), memory()
        bench.uploads(
            asked.uploads, lambda done: print(done, memory(), "MiB", flush=True) if done % 1000 == 0 else None
        )
        gc.collect()
        with contextlib.suppress(FileNotFoundError):
            files |= {name for name in scratch() if name in home}
        told = {
            "seed": asked.seed,
            "codes": asked.codes,
            "codes_seconds": round(between - began),
            "uploads": asked.uploads,
            "uploads_seconds": round(time.monotonic() - between),
            "said": dict(sorted(bench.said.items())),
            "memory_mib": {"before": before, "after codes": at_codes, "after uploads": memory()},
            "left_in_media": bench.left_behind(),
            "left_in_scratch": sorted(scratch() - files),
        }
        print(json.dumps(told, indent=1))
        sys.exit(bool(told["left_in_media"] or told["left_in_scratch"]))


if __name__ == "__main__":
    main()
