"""The pieces of the guide page that a full page and a small answer share."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any

from django.forms import Form

from bible.colour.tints import Tint
from bible.models import Job, Membership
from bible.models.permissions import Permission
from bible.series.presses import condition
from bible.web.addresses import before_key
from guides.core.flags import Flag, flags_of, reading_trouble
from guides.core.gradients import fade_of
from guides.core.notes import notes_of
from guides.core.once import new_key
from guides.core.page_maps import map_key
from guides.core.scene_areas import SceneBox, boxes_of
from guides.desk.drawn import DrawnMark, drawn_digest, drawn_marks, odd_marks
from guides.desk.forms import MarkForm
from guides.desk.services import steps
from guides.found.asking import offer_of
from guides.found.cast import ask_cast
from guides.found.tasks import key_of_search
from guides.models import CodeSearch, Deed, Guide, Mark, PageNote, SceneArea
from guides.uploads.forms import ColouredByForm

VIEWING = (
    "guides/desk/view",
    "guides/desk/sheet",
    "guides/desk/draw",
    "guides/desk/pointer",
    "guides/desk/keys",
    "guides/desk/areas",
    "guides/desk/labels",
    "guides/desk/viewer",
    "guides/preview/printed",
)
MARKING = (
    *VIEWING[:3],
    "guides/desk/kept",
    "guides/desk/send",
    "guides/desk/cast",
    "guides/desk/form",
    "guides/desk/half",
    "guides/desk/place",
    *VIEWING[3:],
    "guides/found/found",
)
"""Scripts of the desk, in the order in which they need each other; there is no build step."""


@dataclass(frozen=True, slots=True)
class MarkRow:
    """A mark as the page draws and lists it: ``left`` and ``top`` in pixels of the picture; ``paint_odd``
    where the paint disagrees with the code."""

    mark: Mark
    flag: Flag | None
    left: float
    top: float
    paint_odd: bool = False

    @property
    def state(self) -> str:
        """waived, else an ``Agreement``, for shape and words."""
        return "waived" if self.flag and self.mark.waived else self.mark.agreement.value

    @property
    def transform(self) -> str:
        return f"translate({self.left:.1f} {self.top:.1f})"

    @property
    def spoken(self) -> str:
        """The mark in words, for those who do not see the picture."""
        part = f", {self.mark.part.full_name}" if self.mark.part else ""
        says = f"flag: {self.flag.kind.label}" if self.flag else self.state.replace("-", " ")
        says += ", waived" if self.state == "waived" else ""
        says += ", paint disagrees" if self.paint_odd else ""
        says += ", let in by itself" if self.mark.let_in else ""
        return f"Mark {self.mark.number}: {self.mark.both_written}{part}, {says}"

    @property
    def tip(self) -> Tip | None:
        """The point of a gradient's arrow."""
        if self.mark.arrow_end is None:
            return None
        guide = self.mark.guide
        x, y = self.mark.arrow_end[0] * guide.width, self.mark.arrow_end[1] * guide.height
        return Tip(x, y, math.degrees(math.atan2(y - self.top, x - self.left)))


@dataclass(frozen=True, slots=True)
class Tip:
    """An arrow's point in pixels of the picture, and its direction in degrees, clockwise from pointing right."""

    x: float
    y: float
    turn: float

    @property
    def transform(self) -> str:
        return f"translate({self.x:.1f} {self.y:.1f}) rotate({self.turn:.1f})"


def mark_rows(guide: Guide) -> list[MarkRow]:
    """Every mark that stands on a guide, with its flag; also on an older revision, where nothing is flagged."""
    marks = list(Mark.objects.filter(guide=guide, deleted_at=None).with_parts().order_by("number"))
    for mark in marks:
        mark.series, mark.guide = guide.series, guide
    return _rows(guide, marks, odd_marks(guide))


def _rows(guide: Guide, marks: list[Mark], odd: set[int]) -> list[MarkRow]:
    flags = {flag.mark.pk: flag for flag in flags_of(marks, condition(guide.series, guide.issue.press))}
    return [
        MarkRow(mark, flags.get(mark.pk), mark.x * guide.width, mark.y * guide.height, mark.pk in odd)
        for mark in marks
    ]


def scene_boxes(guide: Guide) -> list[SceneBox]:
    """The scenes that hold on a guide, whole page or part of it, oldest first."""
    return boxes_of(guide, SceneArea.objects.filter(guide=guide).standing().select_related("scene"))


def panel_context(
    guide: Guide, membership: Membership, *, chosen: Mark | None, form: Form | None, new: bool = False
) -> dict[str, Any]:
    """What the panel beside the picture says about one mark; of a ``new`` one nobody has said anything yet."""
    series = guide.series
    context: dict[str, Any] = {
        "series": series,
        "guide": guide,
        "chosen": chosen,
        "form": form,
        "may_mark": membership.may(Permission.MARK) and guide.stands,
        "may_lock": membership.may(Permission.LOCK),
        "page_notes": PageNote.objects.of_page(guide).standing().with_writers(),
        "write_key": new_key(),
    }
    if chosen:
        context |= {"waivers": [] if new else chosen.waivers.all()}
        context |= notes_of(chosen, new=new) if membership.may(Permission.DISCUSS) else {}
        flags = flags_of([chosen], condition(guide.series, guide.issue.press))
        readable = isinstance(chosen.tint, Tint)
        context["copy"] = json.dumps(_copied(chosen))
        context["fade"] = fade_of(chosen, condition(guide.series, guide.issue.press))
        context["fade_trouble"] = reading_trouble(series, chosen.to_written) if chosen.to_written else ""
        context["flag"] = flags[0] if flags else None
        context["trouble"] = "" if readable else reading_trouble(series, chosen.written)
    return context


def _copied(mark: Mark) -> dict[str, Any]:
    """What a copy of a mark says elsewhere; a gradient's arrow as its reach from the mark."""
    fields: dict[str, Any] = {
        "written": mark.written,
        "to_written": mark.to_written,
        "part": mark.part.full_name if mark.part else "",
        "role": mark.role,
    }
    if mark.arrow_end:
        fields["reach"] = [mark.arrow_end[0] - mark.x, mark.arrow_end[1] - mark.y]
    return fields


def found_context(guide: Guide, asked: int | None = None) -> dict[str, Any]:
    """What the page proposes by itself; ``asked`` is the key of the code to ask about."""
    search = CodeSearch.objects.filter(guide=guide).first()
    job = None if search else Job.objects.of(key_of_search(guide)).open().with_run().first()
    offer = offer_of(guide, asked)
    cast = ask_cast(guide, offer.waiting) if offer.waiting else None
    return {"offer": offer, "page_cast": cast, "code_search": search, "code_job": job}


def page_context(
    guide: Guide, membership: Membership, *, chosen: Mark | None, form: Form | None, asked: int | None = None
) -> dict[str, Any]:
    """The panel and all marks around it."""
    rows = mark_rows(guide)
    panel = panel_context(guide, membership, chosen=chosen, form=form)
    return (
        panel
        | (steps(guide, membership.user) | found_context(guide, asked) if panel["may_mark"] else {})
        | {
            "let_in_count": sum(row.mark.let_in for row in rows) if panel["may_mark"] else 0,
            "rows": rows,
            "boxes": scene_boxes(guide),
            "mark_count": len(rows),
            "flag_count": sum(1 for row in rows if row.flag),
            "drawn": drawn_digest(guide, (DrawnMark.of(row.mark, row.paint_odd) for row in rows)),
        }
        | _addresses(guide)
    )


def _addresses(guide: Guide) -> dict[str, str]:
    """What the addresses of the page's marks begin with; each mark has three."""
    return {"guide_address": guide.get_absolute_url(), "marks_address": before_key("mark", guide.series)}


def added_context(
    guide: Guide, membership: Membership, *, placed: Deed, chosen: Mark, form: Form, shown: str
) -> dict[str, Any] | None:
    """The panel and one new mark, for a desk that has drawn every other mark as it is now.

    Args:
        shown: the digest of what the desk has drawn.

    Returns:
        None where something else is different as well, or nothing is drawn yet: ``page_context`` has it all.
    """
    now = drawn_marks(guide)
    others = [mark for mark in now if mark.key != chosen.pk]
    if not others or drawn_digest(guide, others) != shown:
        return None
    chosen.guide = guide
    more = {
        "row": _rows(guide, [chosen], set())[0],
        "mark_count": len(now),
        "flag_count": sum(mark.is_flagged for mark in now),
        "drawn": drawn_digest(guide, now),
        # What was just done is what can be taken back, and after it nothing can be done again.
        "to_undo": placed,
        "to_redo": None,
    }
    return panel_context(guide, membership, chosen=chosen, form=form, new=True) | more | _addresses(guide)


def desk_context(
    guide: Guide, membership: Membership, *, chosen: Mark | None, form: Form | None, asked: int | None = None
) -> dict[str, Any]:
    """The whole guide page: the panel, the marks, the other pages of the issue and the other revisions."""
    pages = Guide.objects.filter(issue=guide.issue_id).current().in_order()
    revisions = Guide.objects.filter(issue=guide.issue_id, page=guide.page).order_by("-revision")
    page = page_context(guide, membership, chosen=chosen, form=form, asked=asked)
    return page | {
        "desk_scripts": [f"{name}.js" for name in (MARKING if page["may_mark"] else VIEWING)],
        "map_key": map_key(guide),
        "pages": pages.select_related("series"),
        "revisions": revisions.select_related("series"),
        "coloured_by": ColouredByForm(guide, auto_id=False) if page["may_mark"] else None,
        "blank_form": MarkForm(guide, initial={"x": 0.5, "y": 0.5}) if membership.may(Permission.MARK) else None,
    }
