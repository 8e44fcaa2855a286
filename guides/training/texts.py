"""What stands on pages: codes in the notations people use, and everything written that is no code."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

STEPS = (25, 50, 70, 75, 100)
_WORDS = (
    "hold same sky night glow ditto all pages darker lighter hat coat boots shade light red blue yellow grey skin"
    " hair water fade flat key line none paper see note ref page panel detail cover colour tone wash left right up"
    " down more less warm cold ok no yes drop keep off on over under back front fix redo check later wait tues wed"
    " rush issue annual proof final copy rough new old first last brown green orange purple flesh gold silver tan"
    " Otto Ines Bram Mara Tove Pell Wren Kit Ruth Yara Col To From For Miss Mr Dr"
)
_TALK = (
    "THE BOAT IS LATE AGAIN WHO TOOK MY LAMP LOOK OUT BELOW I NEVER SAID THAT WE MUST GO NOW COME BACK HERE WAIT FOR"
    " ME RIVER RISES EVERY NIGHT MAYBE TOMORROW YOU CAN NOT STAY BRING WATER AND ROPE MEANWHILE BY THE QUAY OH NO WHY"
    " YES WORK CRY BUY MY RUBY CRY KEY BROKEN MARKET WORRY"
)
_LETTERS = "ABCDEFGHIJKLNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class Style:
    """How one page's colourist writes codes: letters by ink (cyan, magenta, yellow, key), paper, order and figures.

    ``form`` is "letters", "percent" or "slashes"; ``gap`` the chance of a space between inks.
    """

    form: str
    letters: str
    paper: str
    order: tuple[int, ...]
    figures: tuple[str, ...]
    gap: float
    percent_sign: bool
    zeros: bool


def style(rng: np.random.Generator) -> Style:
    """A colourist's way; most use the trade's letters, some their own, many percentages."""
    form = str(rng.choice(["letters", "percent", "slashes"], p=[0.47, 0.4, 0.13]))
    letters, paper = "BRYK", "W"
    if form == "letters" and rng.random() < 0.15:
        picked = rng.permutation([sign for sign in _LETTERS if sign not in "CMYK"])
        letters, paper = "".join(picked[:3]) + "K", str(picked[3])
    if form != "letters":
        letters = "CMYK"
    order: tuple[int, ...] = (2, 1, 0) if form == "letters" else (0, 1, 2)
    if rng.random() < 0.25:
        order = tuple(int(i) for i in rng.permutation(3))
    figures = ("", "3", "2") if rng.random() < 0.7 else ("", str(rng.choice(list("4567"))), "3", "2")
    gap = float(rng.choice([0.0, 0.0, 0.15, 1.0])) if form == "letters" else float(rng.choice([0.0, 0.3, 1.0, 1.0]))
    return Style(form, letters, paper, order, figures, gap, bool(rng.random() < 0.12), bool(rng.random() < 0.1))


def code(way: Style, rng: np.random.Generator) -> str:
    """A code as this colourist writes it, with spaces; seldom one that is not on any chart."""
    if way.form == "slashes":
        values = [str(int(rng.choice((0, 25, 50, 75, 100, 0, 25)))) for _ in range(3)]
        return "/".join(values) if rng.random() > 0.1 else " / ".join(values)
    inks = [ink for ink in way.order if rng.random() < 0.62]
    if not inks:
        if rng.random() < 0.4:
            return way.paper
        inks = [int(rng.integers(3))]
    order = way.order if rng.random() < 0.9 else tuple(int(i) for i in rng.permutation(3))
    pieces = [_piece(way, ink, rng) for ink in order if ink in inks]
    if way.form == "percent" and way.zeros:
        pieces = [_piece(way, ink, rng) if ink in inks else way.letters[ink] + "0" for ink in way.order]
    if rng.random() < 0.03:
        pieces.append(way.letters[3] + ("" if way.form == "letters" else str(rng.choice(STEPS))))
    gap = way.gap
    return "".join(pieces[:1] + [(" " if rng.random() < gap else "") + piece for piece in pieces[1:]])


def _piece(way: Style, ink: int, rng: np.random.Generator) -> str:
    if way.form == "letters":
        figure = way.figures[int(rng.integers(len(way.figures)))] if rng.random() > 0.03 else str(rng.integers(1, 10))
        return way.letters[ink] + figure
    value = (
        int(rng.choice(STEPS, p=[0.3, 0.3, 0.05, 0.08, 0.27])) if rng.random() > 0.06 else int(rng.integers(1, 101))
    )
    between = " " if rng.random() < 0.03 else ""
    return way.letters[ink] + between + str(value) + ("%" if way.percent_sign else "")


def note(rng: np.random.Generator) -> str:
    """One word of a note, a date, a number, initials, a page number: no code."""
    kind = rng.random()
    if kind < 0.05:
        return str(rng.choice([*"?xX!+=", "??", "xx", "A", "n", "s", "o", "h"]))
    if kind < 0.55:
        word = str(rng.choice(_WORDS.split()))
        return str(rng.choice([word, word.upper(), word.capitalize(), word, word + "."]))
    if kind < 0.67:
        day, month, year = rng.integers(1, 32), rng.integers(1, 13), rng.integers(50, 100)
        return f"{day}{rng.choice(['/', '.', '-'])}{month}{rng.choice(['/', '.', '-'])}{year}"
    if kind < 0.8:
        return str(rng.choice(["p ", "No ", "", "", "#", "pg "])) + str(rng.integers(1, 300))
    if kind < 0.9:
        return ".".join(rng.choice(list("ADEFGHJLMNOPSTUV"), 2)) + "."
    if kind < 0.95:
        return str(rng.integers(1000, 100_000))
    return "".join(rng.choice(list("abcdefghijklmnopqrstuvwxyz"), int(rng.integers(3, 8))))


def talk(rng: np.random.Generator, words: int) -> list[str]:
    """Words of balloon lettering."""
    if rng.random() < 0.3:
        signs = list("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
        return ["".join(rng.choice(signs, int(rng.integers(1, 8)))) for _ in range(words)]
    return [str(word) + ("!" if rng.random() < 0.08 else "") for word in rng.choice(_TALK.split(), words)]


def folded(text: str) -> str:
    """Capitals without spaces: what the reader is taught to say."""
    return "".join(text.upper().split())
