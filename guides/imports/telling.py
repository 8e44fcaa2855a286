"""What a table seems to be, by its headings: a list of flags brought in as a bible would lock painted errors. No
Django in here."""

from __future__ import annotations

from guides.imports.columns import BIBLE, ISSUES, MARKS, Headings, TableField, guess
from guides.imports.questions import Answers, Question, ask
from guides.imports.texts import normal

_CORRECTING = frozenset((
    "flag", "flags", "error", "errors", "mistake", "mistakes", "wrong", "expected", "should be", "should read",
    "correct", "corrected", "was", "now", "severity", "waived", "waived by", "proof", "printed", "fixed", "checked",
    "status", "state", "against the bible", "old", "new", "old code", "new code", "painted", "as painted", "seen",
    "fehler", "korrektur", "soll", "ist", "statt", "richtig", "falsch", "erreur", "faute", "correction", "corrigé",
    "attendu", "error esperado", "errores", "corrección", "correcto", "esperado", "errore", "errori", "correzione",
    "atteso", "誤り", "修正", "正", "誤", "訂正",
))  # fmt: skip
"""Headings of lists that say what is wrong somewhere (common practice, no source)."""
_WITHIN = ("expected ", "was ", "now ", "should ", "correct ", "proposed ")
_PAGES = frozenset(
    ("page", "page label", "page no", "panel", "pages", "seite", "planche", "página", "pagina", "ページ")
)

_LOCK = ("as-asked", "It is what it was brought in for: go on")


def looks_like(kind: str, headings: Headings, answers: Answers) -> Question | None:
    """A question where the headings speak of another kind of table than somebody brings in; none for a hand-off's
    marks, which say their flags too."""
    if headings.row is None:
        return None
    heads = [normal(cell) for cell in headings.row.cells if cell]
    marked = [cell for cell in headings.row.cells if _corrects(normal(cell))]
    paged = [cell for cell in headings.row.cells if normal(cell) in _PAGES or _PAGES & set(normal(cell).split())]
    named = ", ".join(f"“{cell}”" for cell in (*marked, *paged))
    if kind == "bible" and (len(marked) > 1 or paged):
        what = "a list of flags or corrections" if marked else "a list of what stands on pages"
        words = (
            f"This looks like {what} (it has {named}), not like a bible: its codes would be locked for every issue,"
            " errors included. What is it?"
        )
        return ask("kind", words, (("as-asked", "It says which codes are to be locked: go on"),), answers)
    if kind == "issues" and _hits(heads, BIBLE) > _hits(heads, ISSUES) and {"part", "code"} & _found(heads, BIBLE):
        words = "This looks like a table of subjects and codes: its numbers would become issues. What is it?"
        return ask("kind", words, (_LOCK,), answers)
    if kind == "marks" and len(marked) > 1 and not {"x", "y", "written", "instead of"} <= set(heads):
        words = f"This looks like a list of flags (it has {named}). Every row would become a mark. What is it?"
        return ask("kind", words, (_LOCK,), answers)
    return None


def _corrects(heading: str) -> bool:
    return heading in _CORRECTING or heading.startswith(_WITHIN)


def _found(heads: list[str], fields: tuple[TableField, ...]) -> set[str]:
    return {name for name, column in guess(tuple(heads), fields).items() if column is not None}


def _hits(heads: list[str], fields: tuple[TableField, ...]) -> int:
    return len(_found(heads, fields))


KINDS = {"bible": BIBLE, "marks": MARKS, "issues": ISSUES}
