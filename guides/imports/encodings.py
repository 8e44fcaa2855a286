"""Bytes of a text file as text: which encoding they are in is asked where the bytes alone do not tell. No Django in
here."""

from __future__ import annotations

import codecs
import re
from itertools import pairwise

from guides.imports.questions import NO_ANSWERS, Answers, Question, ask
from guides.imports.workbooks import UnreadableTable

OLD = {
    "cp1252": "Western European (Windows-1252)",
    "shift_jis": "Japanese (Shift-JIS)",
    "cp1250": "Central European (Windows-1250)",
    "cp1251": "Cyrillic (Windows-1251)",
    "cp1253": "Greek (Windows-1253)",
    "mac_roman": "Western European, of old Macintosh programs",
    "cp850": "Western European, of DOS programs",
}
"""Encodings without a mark of their own, as Python names them."""
_PYTHON = {"shift_jis": "cp932"}
"""Windows' Shift-JIS holds the signs that Japanese programs write beside the standard's."""
_CONTROLS = re.compile(rb"[\x00-\x08\x0e-\x19\x1b-\x1f]")
"""Bytes that are letters in none of these."""
SAMPLE = 90
_ODD = frozenset("ŠŒŽšœžŸƒˆ˜†‡‰‹›¤¦¨©ª¬®¯±¹²³´¶¸¼½¾¿×÷¡¢£¥§°µ·ºÐÞðþ")
"""Of Windows-1252: signs that words hold seldom, and bytes of other encodings often."""


def decoded(data: bytes, answers: Answers = NO_ANSWERS) -> tuple[str, tuple[str, ...], tuple[Question, ...]]:
    """The text, what was assumed, and what is asked.

    Raises:
        UnreadableTable: the bytes are no text.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16"), (), ()
        except UnicodeDecodeError as error:
            why = "The file begins as UTF-16 and goes on otherwise: save it as CSV in UTF-8."
            raise UnreadableTable(why) from error
    if wide := _wide(data):
        return wide, ("The file is UTF-16 without its mark, and was read as such.",), ()
    try:
        return data.decode("utf-8-sig"), (), ()
    except UnicodeDecodeError:
        return _old(data, answers)


def _wide(data: bytes) -> str:
    """UTF-16 without a mark: of mostly Latin text every second byte is nothing."""
    head = data[:2_000]
    if len(head) < 8 or len(data) % 2:
        return ""
    for start, name in ((1, "utf-16-le"), (0, "utf-16-be")):
        if head[start::2].count(0) > 0.6 * len(head[start::2]) and not head[1 - start :: 2].count(0):
            try:
                return data.decode(name)
            except UnicodeDecodeError:
                return ""
    return ""


def _old(data: bytes, answers: Answers) -> tuple[str, tuple[str, ...], tuple[Question, ...]]:
    texts = {name: text for name in OLD if (text := _decoded(data, name)) is not None}
    if not texts or _CONTROLS.search(data):
        raise UnreadableTable("The file's encoding is not known: save it as CSV in UTF-8, or as .xlsx.")
    choices = tuple((name, f"{OLD[name]}: {_sample(text)}") for name, text in texts.items())
    usual = _plain_western(texts)
    words = "The file does not say how its letters are stored. Which of these reads right?"
    asked = ask("encoding", words, choices, answers, usual)
    name = asked.given or ("shift_jis" if "shift_jis" in texts else next(iter(texts)))
    short = OLD[name].partition("(")[2].rstrip(")") or OLD[name]
    notice = f"The file is not UTF-8 and was read as {short}: look at the accented letters."
    return texts[name], (notice,), (asked,)


def _decoded(data: bytes, name: str) -> str | None:
    try:
        return codecs.decode(data, _PYTHON.get(name, name))
    except UnicodeDecodeError:
        return None


def _plain_western(texts: dict[str, str]) -> str:
    """Windows-1252 where nothing speaks against it: letters of Western words, quotes and dashes, and no bytes that
    make Japanese as well."""
    text = texts.get("cp1252")
    if text is None:
        return ""
    strange = [sign for sign in text if sign > "\x7f"]
    if any(sign in _ODD for sign in strange) or any("\x80" <= sign < "\xa0" for sign in strange):
        return ""
    japanese = texts.get("shift_jis", "")
    kana = sum("\u3040" <= sign <= "\u30ff" for sign in japanese)
    capitals = sum(sign.isupper() for sign in strange)
    mixed = any(a.islower() and b in strange and b.isupper() for a, b in pairwise(text))
    return "" if kana or mixed or capitals > len(strange) / 2 else "cp1252"


def _sample(text: str) -> str:
    """Words with letters that the encodings read differently."""
    words = [word.strip("\"',;|") for word in text.replace(",", " ").replace(";", " ").split() if not word.isascii()]
    return " · ".join(dict.fromkeys(words))[:SAMPLE]
