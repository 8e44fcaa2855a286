"""What is handed off of a page and of an issue: every mark with its code, the plates, and what is still open."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING

from django.contrib.auth.models import User
from django.urls import reverse
from django.utils import timezone

from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from bible.models import Edition, Issue, Scene, Series
from bible.models.fields import NoTint
from bible.models.naming import name_of
from bible.scenes.queries import Light, lights
from bible.series.presses import printed_on
from bible.web.names import counted
from guides.core.flags import Flag, flags_of
from guides.core.in_editions import Ends, held_against, with_needed
from guides.core.labels import file_name, page_numbers, runs
from guides.handoff.plates import Marked, PlateList, plate_list
from guides.models import Guide, IssueStep, Mark, MarkNote, PageNote, SinkingPair, Waiver
from guides.preview.services import described, pairs_of, waiting
from guides.proofs.habits import Warning, warnings

if TYPE_CHECKING:
    from guides.handoff.packs import Pack

NOT_LOOKED_AT = "nobody has looked since the marks changed; “as printed” tells"
NOT_LOOKED_AT_IN_EDITION = "nobody has looked at this page with the edition’s codes and on its press"


@dataclass(frozen=True, slots=True)
class CodeLine:
    """One mark as the code list prints it. ``flag`` is open unless there is a ``waiver``."""

    mark: Mark
    flag: Flag | None
    waiver: Waiver | None
    notes: tuple[MarkNote, ...]
    instead: Ends | None = None
    """What an edition needs where that is another code than is written on the page, and what is written is right."""

    @property
    def number(self) -> int:
        return self.mark.number

    @property
    def tint(self) -> Tint | None:
        """What is to be printed."""
        return self.instead[0] if self.instead else self.on_page

    @property
    def on_page(self) -> Tint | None:
        return self.mark.tint if isinstance(self.mark.tint, Tint) else None

    @property
    def to_tint(self) -> Tint | None:
        """The tint at the point of a gradient's arrow."""
        if self.instead:
            return self.instead[1]
        return self.mark.to_tint if isinstance(self.mark.to_tint, Tint) else None

    @property
    def code(self) -> str:
        """The canonical code, both of a gradient; empty where what is written cannot be read."""
        codes = [self.mark.series.write(tint) for tint in (self.tint, self.to_tint) if tint]
        return " > ".join(codes) if len(codes) == 1 + self.fades else ""

    @property
    def fades(self) -> bool:
        """Whether it is to be printed as a gradient."""
        return self.instead[1] is not None if self.instead else self.mark.is_gradient

    @property
    def code_on_page(self) -> str:
        """The canonical code of what is written there, both of a gradient."""
        written = [self.on_page, self.mark.to_tint]
        return " > ".join(self.mark.series.write(tint) for tint in written if isinstance(tint, Tint))

    @property
    def is_open(self) -> bool:
        return self.flag is not None and self.waiver is None

    @property
    def belongs_to(self) -> str:
        """Part and role in words."""
        if self.mark.part is None:
            return "background"
        role = "" if self.mark.role == "base" else f" ({self.mark.series.roles.name(self.mark.role)})"
        return f"{self.mark.part.full_name}{role}"

    @property
    def state(self) -> str:
        """The flag in one sentence, and why it may stand if somebody has said so; empty where there is none."""
        if self.flag is None:
            return ""
        words = flag_words(self.flag)
        return f"{words}; waived by {name_of(self.waiver.waived_by)}: {self.waiver.reason}" if self.waiver else words


@dataclass(frozen=True, slots=True)
class CodeRow:
    """One tint of a page with every mark that carries it."""

    tint: Tint
    code: str
    numbers: tuple[int, ...]

    @property
    def marks(self) -> str:
        return runs(self.numbers)


@dataclass(frozen=True, slots=True)
class PageSheet:
    """A page as it is handed off."""

    guide: Guide
    lines: tuple[CodeLine, ...]
    plates: PlateList
    notes: tuple[PageNote, ...] = ()
    """Notes that hold for the whole page, or for a run of pages that it belongs to."""
    sinking: tuple[SinkingPair, ...] = ()
    """Areas that touch and print look-alike, as far as the page was looked at."""
    looked_at: bool = True
    """Whether it was, since its marks or the press condition changed."""
    unseen: str = NOT_LOOKED_AT
    scenes: tuple[str, ...] = ()
    """Which scenes hold on it, what each falls on, and for which marks, a sentence each."""

    @property
    def translated_lines(self) -> tuple[CodeLine, ...]:
        """Marks that an edition prints in another tint than is written."""
        return tuple(line for line in self.lines if line.instead)

    @property
    def codes(self) -> tuple[CodeRow, ...]:
        """The page's tints, the one with most ink first, with their marks."""
        numbers_by_tint: dict[Tint, list[int]] = defaultdict(list)
        for line in self.lines:
            if line.tint:
                numbers_by_tint[line.tint].append(line.number)
        ordered = sorted(numbers_by_tint, key=lambda tint: (-tint.total_ink, tint.packed))
        return tuple(CodeRow(tint, self.guide.series.write(tint), tuple(numbers_by_tint[tint])) for tint in ordered)

    @property
    def open_lines(self) -> tuple[CodeLine, ...]:
        return tuple(line for line in self.lines if line.is_open)

    @property
    def waived_lines(self) -> tuple[CodeLine, ...]:
        return tuple(line for line in self.lines if line.waiver)

    @property
    def noted_lines(self) -> tuple[CodeLine, ...]:
        return tuple(line for line in self.lines if line.notes)

    @property
    def sinking_said(self) -> tuple[str, ...]:
        """A sentence a pair, and one where nobody has looked."""
        sentences = tuple(described(pair, self.guide.series) for pair in self.sinking)
        return sentences if self.looked_at else (*sentences, self.unseen)

    @property
    def notes_said(self) -> str:
        """The page's notes in one line, each with the run it holds for."""
        return "; ".join(f"{note.text} ({note.run})" for note in self.notes)


@dataclass(frozen=True, slots=True)
class HandOff:
    """An issue, or one page of it, at the moment of handing off."""

    series: Series
    issue: Issue
    press: PressCondition
    pages: tuple[PageSheet, ...]
    warnings: tuple[Warning, ...] = ()
    signed: IssueStep | None = None
    """The signing that stands; None where the issue is not signed off."""
    leads: tuple[User, ...] = ()
    """Whom to ask."""
    missing: tuple[int, ...] = ()
    """Pages that the issue is to have and that are not in; nothing of a single page."""
    guide: Guide | None = None
    """The page where only one was asked for."""
    made_at: datetime = field(default_factory=timezone.now)
    edition: Edition | None = None
    pack: Pack | None = None
    """Which pack of the issue it is; nothing of a single page."""
    alone: str = ""
    """Of a single page: that it is in no pack, and what has changed on it since the last one."""

    @property
    def pack_said(self) -> str:
        return self.pack.words if self.pack else self.alone

    @property
    def title(self) -> str:
        """“issue 57”, “issue 57 in the edition Album”."""
        return f"issue {self.issue.number}{f' in the edition {self.edition}' if self.edition else ''}"

    @property
    def translated_count(self) -> int:
        return sum(len(page.translated_lines) for page in self.pages)

    def get_absolute_url(self, form: str) -> str:
        """Where it answers as one of its files."""
        if self.guide:
            return reverse("guide-hand-off-file", args=[self.series.slug, self.guide.pk, form])
        return reverse("hand-off-file", args=[self.series.slug, self.issue.pk, form])

    @property
    def state(self) -> str:
        """“Signed off by … on …”, or that it is not."""
        if self.signed is None:
            return "NOT SIGNED OFF"
        return f"Signed off by {name_of(self.signed.by)} on {self.signed.at:%-d %B %Y}"

    @property
    def missing_pages(self) -> str:
        """“page 7”, “pages 2, 4-6”; empty where all are in."""
        return f"page{'s' if len(self.missing) > 1 else ''} {runs(self.missing)}" if self.missing else ""

    @property
    def ask(self) -> str:
        """Names of the leads, and how they are reached where they have said so; empty where there is none."""
        return "; ".join(f"{name_of(lead)} ({lead.email})" if lead.email else name_of(lead) for lead in self.leads)

    @property
    def open_count(self) -> int:
        return sum(len(page.open_lines) for page in self.pages)

    @property
    def waived_count(self) -> int:
        return sum(len(page.waived_lines) for page in self.pages)

    @property
    def mark_count(self) -> int:
        return sum(len(page.lines) for page in self.pages)

    @property
    def name(self) -> str:
        """For file names: short name, issue, and the page where it is only one guide."""
        number = file_name(self.issue.number)
        page = f"-{file_name(self.pages[0].guide.page)}" if len(self.pages) == 1 else ""
        edition = f"-{file_name(self.edition.name)}" if self.edition else ""
        pack = f"-pack-{self.pack.number}" if self.pack and self.pack.made else ""
        return f"{self.series.slug}-{number}{page}{edition}{pack}"


def issue_hand_off(issue: Issue, edition: Edition | None = None) -> HandOff:
    """Everything of an issue's current guides, in as many queries whatever the number of pages; for an edition with
    each mark's code as it is needed there."""
    guides = Guide.objects.filter(issue=issue).current().in_order().select_related("colourist")
    hand_off = _hand_off(issue, list(guides), edition)
    return replace(hand_off, missing=missing_pages(issue, hand_off))


def missing_pages(issue: Issue, hand_off: HandOff) -> tuple[int, ...]:
    """Pages that are to come, by the number the issue or its series says it has."""
    there = {number for sheet in hand_off.pages for number in page_numbers(sheet.guide.page)}
    return tuple(sorted(set(range(1, (issue.pages_expected or 0) + 1)) - there))


def guide_hand_off(guide: Guide, edition: Edition | None = None) -> HandOff:
    """One page."""
    return replace(_hand_off(guide.issue, [guide], edition), guide=guide)


def _hand_off(issue: Issue, guides: list[Guide], edition: Edition | None) -> HandOff:
    series = issue.series
    for guide in guides:
        guide.issue, guide.series = issue, series
    press = printed_on(issue, edition)
    live = Mark.objects.filter(guide__in=guides, deleted_at=None)
    rows = live.with_shared_parts().select_related("created_by").order_by("number")
    marks = list(with_needed(rows, edition))
    by_pk = {guide.pk: guide for guide in guides}
    for mark in marks:
        mark.series, mark.guide = series, by_pk[mark.guide_id]
    lines = _lines(marks, press)
    otherwise = {page for page, page_lines in lines.items() if any(line.instead for line in page_lines)}
    if edition and press.name != issue.press_name:
        otherwise = set(by_pk)
    sinking, unseen = _looked_at(issue, guides, otherwise)
    standing = list(PageNote.objects.filter(issue=issue).standing().with_writers())
    here = {mark.scene_id for mark in marks if mark.scene_id}
    by_scene = lights(series, Scene.objects.filter(pk__in=here))
    pages = tuple(
        PageSheet(
            guide,
            tuple(lines[guide.pk]),
            plates_of(lines[guide.pk]),
            tuple(note for note in standing if note.holds_on(guide)),
            tuple(sinking[guide.pk]),
            guide.pk not in unseen,
            NOT_LOOKED_AT_IN_EDITION if edition else NOT_LOOKED_AT,
            tuple(_scenes_said(lines[guide.pk], by_scene)),
        )
        for guide in guides
    )
    cautions = warnings(series, guides, marks)
    return HandOff(series, issue, press, pages, cautions, _signed(issue), tuple(leads_of(series)), edition=edition)


def _scenes_said(lines: list[CodeLine], scenes: list[Light]) -> Iterator[str]:
    for light in scenes:
        numbers = [line.number for line in lines if line.mark.scene_id == light.scene.pk]
        if numbers:
            held = f" on {light.words}" if light.words else ""
            marks = "mark" if len(numbers) == 1 else "marks"
            yield f"{light.scene.name} ({light.scene.rule}){held}: {marks} {runs(numbers)}"


def _lines(marks: list[Mark], press: PressCondition) -> dict[int, list[CodeLine]]:
    """The lines of some marks fetched ``with_needed``, by the key of their page."""
    instead = held_against(marks)
    pks = [mark.pk for mark in marks]
    flags = {flag.mark.pk: flag for flag in flags_of(marks, press)}
    alive = Waiver.objects.filter(mark__in=pks).alive().select_related("waived_by")
    waivers = {waiver.mark_id: waiver for waiver in alive}
    notes: dict[int, list[MarkNote]] = defaultdict(list)
    for note in MarkNote.objects.filter(mark__in=pks).select_related("written_by"):
        notes[note.mark_id].append(note)
    lines: dict[int, list[CodeLine]] = defaultdict(list)
    for mark in marks:
        flag = flags.get(mark.pk)
        waiver = waivers.get(mark.pk) if flag else None
        lines[mark.guide_id].append(CodeLine(mark, flag, waiver, tuple(notes[mark.pk]), instead.get(mark.pk)))
    return lines


def _looked_at(
    issue: Issue, guides: list[Guide], otherwise: set[int]
) -> tuple[dict[int, list[SinkingPair]], set[int]]:
    """By page the areas that sink into their neighbours, and the pages on which nobody has looked for them as they
    are printed: ``otherwise`` are those that an edition prints in other codes or on another press."""
    sinking: dict[int, list[SinkingPair]] = defaultdict(list)
    for pair in pairs_of(issue.series).filter(look__guide__in=guides).in_order().with_names():
        if pair.first.guide_id not in otherwise:
            sinking[pair.first.guide_id].append(pair)
    return sinking, otherwise | {guide.pk for guide in waiting(issue.series, issue)}


def _signed(issue: Issue) -> IssueStep | None:
    if issue.signed_off_at is None:
        return None
    return IssueStep.objects.filter(issue=issue).signings().newest_first().first()


def leads_of(series: Series) -> list[User]:
    memberships = series.memberships.leads().select_related("user")
    return sorted((membership.user for membership in memberships), key=lambda lead: name_of(lead).casefold())


def plates_of(lines: Iterable[CodeLine]) -> PlateList:
    return plate_list(_marked(line) for line in lines)


def _marked(line: CodeLine) -> Marked:
    half_read = line.fades and line.to_tint is None
    return Marked(line.number, None if half_read else line.tint, line.to_tint)


def translated_words(hand_off: HandOff) -> str:
    """What an edition prints otherwise, in a sentence."""
    marks = counted(hand_off.translated_count, "mark")
    return f"{marks} printed in another tint than is written on the page: the code list has what to print."


def flag_words(flag: Flag) -> str:
    """What is wrong with a mark, in one sentence."""
    mark = flag.mark
    if flag.severity and not isinstance(mark.expectation, NoTint):
        words = f"{flag.kind.label}: the bible says {mark.series.write(mark.expectation)}"
        return f"{words} ({flag.severity.word}, CIEDE2000 {flag.delta_e:.1f})" if flag.severity else words
    if mark.tint == NoTint.UNREADABLE:
        return f"“{mark.written}” cannot be read" if mark.written else "no code is written"
    return flag.kind.label
