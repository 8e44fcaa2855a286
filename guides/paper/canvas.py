"""ReportLab's canvas, which sets names of every script and knows what it has been told of its words."""

from __future__ import annotations

from typing import Any, cast

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.textobject import PDFTextObject

from guides.paper.fonts import NotingFont
from guides.paper.scripts import SetRun, runs
from guides.paper.tagging import Tags, text_string, write_structure


class PaperText(PDFTextObject):
    """Sets each piece of a line in its own font, and says beside it what is read there."""

    def _formatText(self, text: str) -> str:  # ReportLab's name: every way to set words goes through it
        font = pdfmetrics.getFont(self._fontname)
        if not isinstance(font, NotingFont) or font.sets_alone(text):
            return self._as_it_stands(text)
        code = " ".join(self._set(run) for run in runs(text, font.font_of))
        self._in_font(font.fontName)
        return code

    def _textOut(self, text: str, TStar: int = 0) -> None:  # ReportLab's name: of paragraphs, line by line
        cast(Any, super())._textOut(
            f"{text} " if TStar and text else text, TStar
        )  # a space ends a word where a line ends

    def _as_it_stands(self, text: str) -> str:
        return str(cast(Any, super())._formatText(text))

    def _in_font(self, name: str) -> None:
        self._fontname, self._curSubset = name, -1  # whoever sets the next words names the font once more

    def _set(self, run: SetRun) -> str:
        self._in_font(run.font)
        code = self._as_it_stands(run.glyphs)
        return code if run.is_said else f"/Span <</ActualText {text_string(run.written)}>> BDC {code} EMC"


class PaperCanvas(Canvas):
    tags: Tags | None = None

    def beginText(self, x: float = 0, y: float = 0, direction: Any = None) -> PaperText:
        return PaperText(self, x, y, direction=direction)


class TaggedCanvas(PaperCanvas):
    """Of a document that people read: it says what its words are."""

    def __init__(self, *args: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        self.tags: Tags = Tags()

    def save(self) -> None:
        ours = cast(Any, self)
        if ours._code:
            self.showPage()
        write_structure(self.tags, ours._doc)
        super().save()
