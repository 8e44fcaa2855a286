"""Headings that a table's columns go by: in English the likeliest first, then in German, French, Spanish, Italian,
Japanese, and a few words of Portuguese, Dutch, Polish, Russian and the North's (common practice, no source).
A series keeps what somebody named by hand beside them. No Django in here."""

from __future__ import annotations

from collections.abc import Mapping

_SUBJECT = (
    "figur", "figuren", "person", "charakter", "wer", "gegenstand", "requisit",
    "personnage", "personnages", "sujet", "nom", "qui", "objet",
    "personaje", "personajes", "sujeto", "nombre", "quién", "quien", "objeto",
    "personaggio", "personaggi", "soggetto", "nome", "chi", "oggetto",
    "キャラクター", "キャラ", "人物", "登場人物", "名前", "キャラクター名",
    "personagem", "personagens", "figuur", "personage", "wie", "postać", "bohater", "персонаж", "герой",
    "karaktär", "vem", "figurer", "karakter", "hvem",
)  # fmt: skip
_COSTUME = (
    "kostüm", "kostuem", "kleidung", "aufmachung", "tenue",
    "habit", "vêtements", "traje", "vestuario", "ropa",
    "abito", "vestito", "衣装", "服装", "コスチューム",
    "figurino", "kostuum", "kleding", "kostium", "strój", "костюм", "одежда", "kostym", "kläder", "drakt",
)  # fmt: skip
_PART = (
    "teil", "stück", "bereich", "element", "kleidungsstück",
    "partie", "élément", "pièce", "zone", "parte", "elemento",
    "pieza", "prenda", "zona", "pezzo", "部分", "部位", "パーツ", "箇所",
    "peça", "peca", "onderdeel", "deel", "część", "czesc", "деталь", "часть", "элемент", "del", "plagg",
)  # fmt: skip
_CODE = (
    "tint value", "colour value", "color value", "tints", "codes", "colours", "colors",
    "farbe", "farbcode", "farbkode", "farbton", "kode", "rasterton",
    "couleur", "teinte", "code couleur", "tinta",
    "código", "codigo", "código de color", "colore", "codice",
    "codice colore", "色", "カラー", "色コード", "コード", "色番号", "色指定", "カラーコード",
    "cor", "cores", "código da cor", "kleur", "kleurcode", "kolor", "kod", "kod koloru", "код", "цвет", "код цвета",
    "färg", "färgkod", "farge", "fargekode", "farve",
)  # fmt: skip
_NUMBER = (
    "nr", "nummer", "heft", "heftnummer", "ausgabe", "numéro",
    "no", "n", "número", "numero", "albo", "号", "号数",
    "番号", "話",
    "edição", "edicao", "aflevering", "zeszyt", "numer", "номер", "выпуск", "häfte", "hefte", "numero",
)  # fmt: skip
_PAGE = ("seite", "blatt", "planche", "página", "pagina", "ページ", "頁")
_ROLE = (
    "rolle",
    "ton",
    "stufe",
    "rôle",
    "rol",
    "ruolo",
    "役割",
    "段階",
    "区分",
    "função",
    "rol",
    "rola",
    "роль",
    "roll",
)

FOREIGN: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "bible": {
        "subject": _SUBJECT,
        "kind": ("art", "typ", "genre", "tipo", "clase", "genere", "種類", "種別"),
        "costume": _COSTUME,
        "worn": ("getragen", "getragen in", "porté", "porté dans",
        "llevado en", "indossato in", "着用", "着用号"),
        "part": _PART,
        "role": _ROLE,
        "code": _CODE,
        "cyan": ("cian", "ciano", "シアン"),
        "magenta": ("マゼンタ",),
        "yellow": ("gelb", "jaune", "amarillo", "giallo", "イエロー", "黄"),
        "key": ("schwarz", "noir", "negro", "nero", "ブラック", "黒", "墨", "スミ"),
        "issues": (
            "hefte", "heft", "ausgaben", "ausgabe", "gilt für",
            "gültig in", "numéros", "numéro", "números", "número",
            "numeri", "numero", "albi", "号", "号数", "話",
        ),
        "first": (
            "ab", "von", "ab heft", "ab ausgabe", "von heft",
            "ab nummer", "ab nr", "seit", "gültig ab", "à partir de",
            "à partir du", "depuis", "dès", "du numéro",
            "desde", "desde el número", "a partir de", "dal", "dal numero",
            "a partire da", "a partir da", "a partir do", "vanaf", "od", "od numeru", "od nr", "с", "с выпуска",
            "från", "fra", "から", "開始", "開始号", "初号",
        ),
        "last": (
            "bis", "bis heft", "bis ausgabe", "bis nr",
            "gültig bis", "jusqu à", "jusqu au", "au numéro", "hasta",
            "hasta el número", "fino a", "fino al", "al numero",
            "até", "tot", "tot en met", "t m", "do", "do numeru", "do nr",
            "по", "по выпуск", "до", "till", "til", "まで", "終了", "終了号",
        ),
        "reason": (
            "grund", "begründung", "warum", "bemerkung",
            "bemerkungen", "anmerkung", "raison", "motif", "pourquoi",
            "remarque", "remarques", "razón", "motivo",
            "observaciones", "comentario", "ragione", "osservazioni",
            "commento", "observação", "observações", "opmerking", "opmerkingen", "uwagi", "примечание", "замечание",
            "anmärkning", "merknad", "理由", "備考",
        ),
        "note": ("notiz", "notizen", "beschreibung", "nota",
        "notas", "descripción", "descrizione", "メモ", "説明"),
    },
    "marks": {
        "issue": _NUMBER,
        "page": _PAGE,
        "written": _CODE,
        "role": _ROLE,
        "subject": _SUBJECT,
        "costume": _COSTUME,
        "part": _PART,
    },
    "issues": {
        "number": _NUMBER,
        "title": ("titel", "titre", "título", "titulo", "titolo", "タイトル", "題名"),
        "published": (
            "datum", "erscheinungsdatum", "erscheint",
            "erschienen", "date de parution", "parution", "fecha",
            "fecha de portada", "fecha de publicación", "data", "data di copertina",
            "uscita", "日付", "発売日", "発行日",
        ),
        "order": ("reihenfolge", "ordre", "orden", "ordine", "順番", "順序"),
    },
    "scenes": {
        "scene": ("szene", "scène", "escena", "scena", "場面"),
        "rule": ("regel", "règle", "regla", "regola"),
        "note": ("notiz", "nota"),
        "reason": ("grund", "raison", "razón", "ragione", "理由"),
    },
    "waivers": {
        "issue": _NUMBER,
        "page": _PAGE,
        "code": _CODE,
        "reason": ("grund", "begründung", "raison", "motif", "razón", "motivo", "ragione", "理由"),
        "subject": _SUBJECT,
        "costume": _COSTUME,
        "part": _PART,
        "role": _ROLE,
    },
    "assignments": {
        "issue": _NUMBER,
        "page": _PAGE,
        "colourist": ("kolorist", "koloristin", "coloriste", "colorista", "wer", "qui", "quién", "chi", "担当"),
        "due": (
            "bis", "abgabe", "fällig", "pour le", "échéance", "para el", "entrega", "entro il", "consegna", "締切",
        ),
        "note": ("notiz", "bemerkung", "remarque", "nota", "備考"),
    },
}  # fmt: skip
