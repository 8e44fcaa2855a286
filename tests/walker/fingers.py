"""What somebody might type, choose and send: mostly plausible, now and then nonsense. Everything follows from the seed."""

from __future__ import annotations

import io
import random
from collections import Counter
from dataclasses import dataclass, field

from tests.walker.sight import Field, Form

NONSENSE = (
    "", " ", "²", "٣", "½", "-1", "0", "9" * 30, "2147483648", "1e400", "nan", "<b>x</b>", "'; --", "x" * 3000, "🎨",
    "\u202egnp", "a\x00b", "../..", "%", "Y Y Y", "none",
)  # fmt: skip
CODES = ("YR3B2", "Y", "YR3", "B2", "W", "R4", "rb3", "Y2 R2", "K50", "C25 M50 Y100")
DATES = ("2026-03-01", "1999-12-31", "2026-02-30")
CODE_NAMES = ("written", "to_written", "code", "start", "end", "first", "second")
PLACES = ("x", "y", "to_x", "to_y", "left", "top", "width", "height")
"""Fields that a click on the page fills in."""
TABLES = (
    b"Subject;Costume;Part;Role;Code;From\nAda Penn;work coat;coat;base;YR3B2;1\nBo;as drawn;hat;base;K50;\n",
    b"Issue,Page,x,y,Code,Subject,Part\n1,7,0.5,0.25,Y2,Ada Penn,coat\n1,7,0.6,0.2,YR,,\n",
    b"Number,Title\n1,One\n2,Two\nAnnual 1,\n",
    b"label;c;m;y\nW;0;0;0\nY;0;0;100\nB;100;0;0\nYR3;0;50;50\n",
    b"\x00\xff\x00 no table",
)


@dataclass
class Fingers:
    draw: random.Random
    password: str
    nonsense: float = 0.35
    """Chance that one of the typed fields gets nonsense."""
    tried: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    codes: list[str] = field(default_factory=list)
    typed: int = 0
    pictures: list[bytes] = field(default_factory=list)

    def fill(self, form: Form) -> tuple[list[tuple[str, str]], list[tuple[str, str, bytes]], dict[str, str]]:
        """Fill a form in, half of the time only some fields of it.

        Returns:
            what is sent; files as (name, file name, bytes); and by name what was typed otherwise than the page showed.
        """
        share = self.draw.choice((0.2, 0.2, 1.0))
        mine = [one.name for one in form.fields if self.is_mine(one)]
        listed = [one.name for one in form.fields if one.kind == "select"]
        turned = set(listed) if share == 1 else {self.draw.choice(listed)} if listed else set()
        silly = self.draw.choice(mine) if mine and self.draw.random() < self.nonsense else ""
        sent: list[tuple[str, str]] = []
        files: list[tuple[str, str, bytes]] = []
        typed: dict[str, str] = {}
        radios: dict[str, list[Field]] = {}
        for one in form.fields:
            if one.kind == "radio":
                radios.setdefault(one.name, []).append(one)
            elif one.kind == "file":
                files += self.file(one)
            elif one.kind == "checkbox":
                if one.checked != (self.draw.random() < share * 0.4):
                    sent.append((one.name, one.value))
            elif one.kind == "select":
                sent += [
                    (one.name, value) for value in (self.choose(form, one) if one.name in turned else [one.value])
                ]
            else:
                value = one.value
                if one.name == silly:
                    value = self.draw.choice(NONSENSE)
                elif self.is_mine(one) and (self.draw.random() < share or self.is_due(one)):
                    value = self.write(one)
                sent.append((one.name, value))
                if value != one.value:
                    typed[one.name] = value
        for name, group in radios.items():
            value = self.least_tried(form, name, [one.value for one in group])
            sent.append((name, value))
        return sent, files, typed

    def is_mine(self, one: Field) -> bool:
        return one.is_typed or one.kind in ("color", "range") or (one.name in PLACES and not one.value)

    def is_due(self, one: Field) -> bool:
        """What stands empty and has to be filled in: codes are what the forms are about."""
        return not one.value and (one.required or one.name in ("code", "written"))

    def choose(self, form: Form, one: Field) -> list[str]:
        if not one.choices:
            return []
        if one.multiple:
            return [value for value in one.choices if self.draw.random() < 0.3]
        return [self.least_tried(form, one.name, list(one.choices))]

    def least_tried(self, form: Form, name: str, values: list[str]) -> str:
        """Every choice gets its turn, the least tried ones first."""
        self.draw.shuffle(values)
        value = min(values, key=lambda one: self.tried[form.shape, name, one])
        self.tried[form.shape, name, value] += 1
        return value

    def write(self, one: Field) -> str:
        if "password" in one.kind or "password" in one.name:
            return self.password if self.draw.random() < 0.5 else self.draw.choice(NONSENSE)
        if one.name in PLACES:
            return f"{self.draw.random() / (2 if one.name in ('width', 'height') else 1):.4f}"
        if one.offered and self.draw.random() < 0.85:
            return self.draw.choice(one.offered)
        if one.kind in ("number", "range"):
            low, high = (int(float(end)) if end else other for end, other in ((one.least, 0), (one.most, 100)))
            return str(self.draw.randint(low, max(low, high)))
        if one.kind == "date":
            return self.draw.choice(DATES)
        if any(one.name.endswith(name) for name in CODE_NAMES):
            return self.draw.choice((*CODES, *self.codes[-40:]))
        if "issue" in one.name or "number" in one.name:
            return self.draw.choice(("1", "2", "3", "Annual 1", "57"))
        self.typed += 1
        return f"walked {self.typed}"

    def file(self, one: Field) -> list[tuple[str, str, bytes]]:
        if self.draw.random() < 0.1:
            return []
        if "image" in one.accept or "scan" in one.name:
            return [(one.name, f"p{self.draw.randrange(1, 12)}.png", self.picture())]
        ending = "ti3" if "data" in one.name else "csv"
        return [(one.name, f"rows.{ending}", self.draw.choice(TABLES))]

    def picture(self) -> bytes:
        """A small page, a few of them over and over: the same file twice is a case of its own."""
        from PIL import Image

        if len(self.pictures) < 4:
            out = io.BytesIO()
            colours = [self.draw.randrange(256) for _ in range(3)]
            Image.new("RGB", (240, 330), (colours[0], colours[1], colours[2])).save(out, "PNG")
            self.pictures.append(out.getvalue())
        return self.draw.choice(self.pictures)

    def meddle(self, pairs: list[tuple[str, str]]) -> list[tuple[str, str]]:
        """One value of an address or a form changed as only somebody does who writes into the address bar."""
        if not pairs:
            return pairs
        at = self.draw.randrange(len(pairs))
        return [(name, self.draw.choice(NONSENSE) if n == at else value) for n, (name, value) in enumerate(pairs)]
