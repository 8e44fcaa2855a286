"""Rows that say of themselves that they do not hold, in a column of their own or in brackets: old, cancelled,
rejected, only proposed. Asked, for they are locked as the others otherwise. No Django in here."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from guides.imports.columns import Headings
from guides.imports.grid import GridRow
from guides.imports.questions import Answers, Question, ask
from guides.imports.texts import SEEN, alike, listed, normal

KEY = "retired"


def _words(words: str) -> frozenset[str]:
    return frozenset(word.strip() for word in words.split(","))


RETIRED = _words(
    "old, cancelled, canceled, rejected, obsolete, void, superseded, deleted, withdrawn, not used, unused, "
    "discarded, outdated, dropped, invalid, retired, replaced, do not use, don't use, no longer used, "
    "not in use, inactive, out, scrapped, refused, wrong, no longer valid, not valid, expired, dead, killed, "
    "cut, archived, deprecated, disused, alt, veraltet, verworfen, abgelehnt, gestrichen, ungültig, "
    "storniert, überholt, ersetzt, gelöscht, entfällt, nicht verwenden, nicht mehr gültig, abgesetzt, "
    "inaktiv, hinfällig, ancien, ancienne, annulé, annulée, rejeté, rejetée, refusé, refusée, périmé, "
    "périmée, supprimé, abandonné, obsolète, remplacé, ne pas utiliser, invalide, inactif, viejo, vieja, "
    "antiguo, antigua, anulado, cancelado, rechazado, rechazada, descartado, eliminado, obsoleto, obsoleta, "
    "sustituido, no usar, inválido, inactivo, anulada, cancelada, vecchio, vecchia, annullato, annullata, "
    "rifiutato, scartato, scartata, respinto, eliminato, superato, sostituito, non usare, non valido, "
    "cancellato, 旧, 廃止, 没, ボツ, 却下, 無効, 取消, 取り消し, 不採用, 使用不可, 削除, 中止, 古い, antigo, "
    "antiga, rejeitado, descartada, substituído, não usar, oud, vervallen, afgewezen, geannuleerd, "
    "vervangen, verouderd, ongeldig, niet gebruiken, stary, stare, stara, anulowany, odrzucony, odrzucone, "
    "nieaktualny, nieaktualne, usunięty, старый, старое, старая, отменён, отменен, отменено, отклонён, "
    "отклонен, отклонено, устарел, устарело, удалено, не использовать, недействительно, gammal, gammalt, "
    "struken, avvisad, utgått, makulerad, ersatt, gammel, gammelt, avvist, slettet, forkastet, erstattet"
)
UNDECIDED = _words(
    "proposed, proposal, draft, pending, idea, maybe, undecided, to be decided, to be confirmed, "
    "to be approved, open, not approved, unapproved, on hold, waiting, to do, todo, wip, in progress, "
    "in review, under review, suggestion, test, entwurf, vorschlag, vorgeschlagen, offen, unklar, in arbeit, "
    "wartet, nicht freigegeben, zu prüfen, proposé, proposition, brouillon, en attente, à valider, "
    "à confirmer, en cours, propuesto, propuesta, borrador, pendiente, por confirmar, en curso, proposto, "
    "proposta, bozza, in attesa, da confermare, da approvare, 案, 提案, 未定, 保留, 検討中, 仮, 未承認, "
    "確認中, rascunho, pendente, a confirmar, voorstel, concept, in behandeling, propozycja, szkic, "
    "do zatwierdzenia, черновик, предложение, на рассмотрении, förslag, utkast, väntar, forslag, venter"
)
_HOLDS = _words(
    "active, valid, in use, used, current, approved, ok, okay, final, confirmed, released, accepted, "
    "signed off, holds, gültig, aktiv, freigegeben, aktuell, verwendet, bestätigt, valide, actif, approuvé, "
    "validé, en vigueur, utilisé, válido, activo, vigente, aprobado, confirmado, valido, attivo, approvato, "
    "confermato, in uso, 有効, 採用, 承認, 決定, 使用, ativo, aprovado, geldig, actief, goedgekeurd, "
    "aktywny, aktualny, zatwierdzony, действует, утверждено, активно, giltig, aktiv, godkänd, gyldig, "
    "godkjent"
)
_YES = _words(
    "yes, y, x, ja, j, oui, o, sí, si, s, true, 1, はい, ○, ◯, ✓, ✔, ☑, да, sim, tak, wahr, vrai, verdadero, vero"
)
_NO = _words(
    "no, n, nein, non, false, 0, いいえ, ×, ✗, ✘, ☐, нет, nee, não, nie, nej, nei, falsch, faux, falso, "
    "not yet, noch nicht"
)
"""All of these are common practice, no source."""
_STATES = _words(
    "status, state, standing, stand, zustand, statut, état, etat, estado, stato, 状態, ステータス, 状況, "
    "situação, staat, stan, статус, состояние, approval, freigabe, decision, validation, validación, "
    "approvazione"
)
_BRACKETS = re.compile(r"[(\[（［]([^()\[\]（）［］]+)[)\]）］]")
_FIRST = re.compile(r"[,;:.!?(\[–—-]\s*|\s+[–—-]\s+|\n")
NAMES = ("subject", "costume", "part", "role", "kind", "code")
"""Fields that may be called “old” by right: an old coat is a part. There only what stands in brackets counts."""


@lru_cache(SEEN)
def says_retired(text: str) -> bool:
    """Whether a few words say that something does not hold, or not yet."""
    words = alike(text).strip(" .!?*–—-")
    return words in RETIRED or words in UNDECIDED


@dataclass(frozen=True, slots=True)
class Retired:
    """``rows``: by line, the words that say it; ``columns``: where they stand."""

    rows: Mapping[int, str]
    columns: frozenset[int] = frozenset()

    @classmethod
    def of(cls, rows: Sequence[GridRow], columns: Mapping[str, int | None], headings: Headings) -> Retired:
        names = {columns[name] for name in NAMES if columns.get(name) is not None}
        others = {at for name, at in columns.items() if name not in (*NAMES, "reason", "note", "written")} - names
        retired: dict[int, str] = {}
        where: set[int] = set()
        for row in rows:
            for at, cell in enumerate(row.cells):
                if not cell or at in others or row.line in retired:
                    continue
                heading = headings.row.cell(at) if headings.row else ""
                wordings = _in_brackets(cell) if at in names else _said_below(cell, heading)
                if wording := next(wordings, ""):
                    retired[row.line] = wording
                    where |= set() if at in names else {at}
        return cls(retired, frozenset(where))

    def left_out(self, line: int, answers: Answers) -> bool:
        """Until somebody says so a row is not taken."""
        return line in self.rows and answers.get(KEY) != "take"

    def questions(self, answers: Answers) -> list[Question]:
        if not self.rows:
            return []
        words = ", ".join(f"“{wording}”" for wording in list(dict.fromkeys(self.rows.values()))[:6])
        asked = (
            f"Some rows say that they do not hold, or not yet ({listed(self.rows)}): {words}. What becomes of them?"
        )
        choices = (("leave", "leave them out"), ("take", "lock them as the others"))
        return [ask(KEY, asked, choices, answers)]

    def told(self, answers: Answers) -> list[str]:
        if not self.rows or answers.get(KEY) != "leave":
            return []
        return [f"What says that it does not hold is left out: {listed(self.rows)}."]


def _in_brackets(cell: str) -> Iterator[str]:
    return (" ".join(remark.split()) for remark in _BRACKETS.findall(cell) if says_retired(remark))


def _said_below(cell: str, heading: str) -> Iterator[str]:
    """What a cell says about its row: by itself, by its first words, or as an answer to its heading."""
    head, text = normal(heading), alike(cell)
    if head in _HOLDS and text in _NO:
        yield f"{heading}: {cell}"
    if (head in RETIRED or head in UNDECIDED) and text in _YES:
        yield f"{heading}: {cell}"
    if head in _STATES and text in _NO:
        yield f"{heading}: {cell}"
    words = f" {normal(cell)} "
    if head in _STATES and any(f" {normal(word)} " in words for word in (*RETIRED, *UNDECIDED)):
        yield cell[:40]
    for piece in _pieces(cell):
        if says_retired(piece):
            yield cell[:40]


def _pieces(cell: str) -> Iterable[str]:
    return (cell, _FIRST.split(cell, maxsplit=1)[0], *_BRACKETS.findall(cell))
