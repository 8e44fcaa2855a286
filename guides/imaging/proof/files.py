"""Files and JSON of the proof desk: pictures in, marks in, the report out."""

from __future__ import annotations

import json
import warnings
from pathlib import Path
from typing import IO, Any

import numpy as np

from bible.colour import press as presses
from bible.colour import pressfile
from bible.colour.condition import PressCondition
from bible.colour.notation import LETTERS_64, PERCENT, Notation, NotationError
from bible.colour.tints import Tint
from guides.imaging.intake.rules import MAX_PIXELS
from guides.imaging.intake.upright import damage_of
from guides.imaging.proof.proofing import MarkGradient, ProofMark, ProofReport
from guides.imaging.proof.registration import NotRegistered, Picture

PRESS_ENDING = ".press"


class ProofFileError(ValueError):
    """A picture or a list of marks that cannot be used; the message says why."""


def load_picture(source: Path | IO[bytes], name: str) -> Picture:
    """RGB (h, w, 3) uint8, the right way up, on white. ``name`` is what messages call it.

    Raises:
        ProofFileError: it cannot be opened, is no picture, or is too large.
    """
    from PIL import Image, ImageOps

    try:
        if isinstance(source, Path) and (damage := damage_of(source)):
            raise ProofFileError(f"The {name}: {damage}")
        with warnings.catch_warnings():  # of the size: it is looked at here, and said in words
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            picture = Image.open(source)
        with picture as opened:
            if opened.width * opened.height > MAX_PIXELS:
                raise ProofFileError(f"The {name} has {opened.width} x {opened.height} px, too many to be read.")
            upright = ImageOps.exif_transpose(opened)
            if upright.mode.startswith("I") or upright.mode == "F":  # 16 bits of grey: Pillow would clip them
                deep = np.asarray(upright, dtype=np.float64)
                return np.repeat((np.clip(deep / 257.0, 0, 255)).astype(np.uint8)[..., None], 3, axis=2)
            if upright.has_transparency_data:
                clear = upright.convert("RGBA")
                upright = Image.alpha_composite(Image.new("RGBA", clear.size, "white"), clear)
            return np.array(upright.convert("RGB"))
    except ProofFileError:
        raise
    except FileNotFoundError:
        raise ProofFileError(f"There is no {name} “{source}”.") from None
    except (OSError, SyntaxError, ValueError, EOFError, Image.DecompressionBombError) as error:
        raise ProofFileError(f"The {name} is not a picture that can be read: {error}") from error


def load_press(named: str) -> PressCondition:
    """A condition that ships, or the one that a file ending in “.press” holds.

    Raises:
        UnknownPress: none that ships is called so.
        ProofFileError: the file holds none.
    """
    if not named.endswith(PRESS_ENDING):
        return presses.load(named)
    try:
        return pressfile.loads(Path(named).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise ProofFileError(f"{named} is not a press condition that can be read: {error}") from error


def load_marks(path: Path) -> list[ProofMark]:
    """The marks in a file. Raises ProofFileError."""
    try:
        data = json.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise ProofFileError(f"There is no file of marks “{path}”.") from None
    except (OSError, ValueError, RecursionError) as error:
        raise ProofFileError(f"The marks are not JSON: {error}") from error
    return marks_from_json(data)


def marks_from_json(data: object, notation: Notation = LETTERS_64) -> list[ProofMark]:
    """Marks of a MARKS.json: [{"id", "x", "y", "code", "gradient"}]; an unreadable code stays as a mark with its why.

    Raises:
        ProofFileError: it is not such a list; the message names the entry.
    """
    if not isinstance(data, list):
        raise ProofFileError("The marks are a list of objects.")
    return [_mark(entry, place, notation) for place, entry in enumerate(data, 1)]


def _mark(entry: object, place: int, notation: Notation) -> ProofMark:
    if not isinstance(entry, dict):
        raise ProofFileError(f"mark {place} is not an object")
    x, y = _point([entry.get("x"), entry.get("y")], f"mark {place}: x and y")
    name = entry.get("id", place)
    tint, why = _tint(entry.get("code"), notation)
    raw = entry.get("gradient")
    gradient = None
    if raw is not None and raw != {}:
        if not isinstance(raw, dict):
            raise ProofFileError(f"mark {place}: its gradient is not an object")
        to, to_why = _tint(raw.get("to"), notation)
        start = _point(raw.get("from_xy"), f"mark {place}: from_xy")
        end = _point(raw.get("to_xy"), f"mark {place}: to_xy")
        if to is None:
            tint, why = None, to_why
        else:
            gradient = MarkGradient(to, start, end)
    return ProofMark(name, x, y, tint, gradient, why)


def _tint(code: object, notation: Notation) -> tuple[Tint | None, str]:
    if not isinstance(code, str):
        return None, "it has no code"
    try:
        return notation.read(code), ""
    except NotationError as error:
        return None, f"its code can't be read: {error}"


def _point(value: object, name: str) -> tuple[float, float]:
    if isinstance(value, list | tuple) and len(value) == 2:
        x, y = value
        if all(isinstance(v, int | float) and not isinstance(v, bool) and np.isfinite(v) for v in (x, y)):
            return float(x), float(y)
    raise ProofFileError(f"{name} are not two numbers")


def report_to_json(report: ProofReport) -> dict[str, Any]:
    """What ``check_proof --json`` prints; codes in percentages, lengths in guide px, ``proof_xy`` in scan px."""
    return {
        "registered": True,
        "reason": None,
        "error_px": round(report.registration.error_px, 3),
        "turned": round(report.registration.turned, 2),
        "press": report.press,
        "press_shift": {ink: round(shift.share, 4) for ink, shift in report.shift.items()},
        "press_shift_error": {ink: round(shift.error, 4) for ink, shift in report.shift.items()},
        "press_shift_said": report.shift_said,
        "marks": [
            {
                "id": mark.id,
                "verdict": str(mark.verdict),
                "ink": mark.ink,
                "nearest": [PERCENT.write(tint) for tint in mark.nearest],
                "p": round(mark.p, 4),
                "delta_e": None if mark.delta_e is None else round(mark.delta_e, 2),
                "why": mark.why,
                "area": mark.area,
                "confidence": round(mark.confidence, 4),
                "proof_xy": None if mark.proof_xy is None else [round(value, 2) for value in mark.proof_xy],
            }
            for mark in report.marks
        ],
    }


def refusal_to_json(error: Exception) -> dict[str, Any]:
    """The same shape where nothing was decided."""
    return {
        "registered": False,
        "reason": str(error),
        "reason_kind": str(error.reason) if isinstance(error, NotRegistered) else "unusable_input",
        "error_px": None,
        "press_shift": None,
        "marks": [],
    }
