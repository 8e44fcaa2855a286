"""What to read before one colours some pages: the cast with its codes in force, the notes, the scenes, and what was
painted otherwise before."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Count, Max

from bible.models import Issue, Lock, LockNote, Series
from bible.models.fields import NoTint
from bible.models.naming import name_of
from bible.models.roles import BASE_ROLE
from bible.series.running_order import AsOf
from guides.assignments.labels import pages_in_words
from guides.assignments.queries import GivenPage, given_pages
from guides.booklets.queries import Book, ColourSheet, CostumeBlock, PartLine, make_book
from guides.core.labels import page_order, pages_shown
from guides.models import Guide, Mark, PageNote, SceneArea

LOOK_BACK = 3
"""Issues looked back for who is likely to come again, as before an issue goes out."""

SLIPS_SHOWN = 3
"""A part: what was written instead, most often first."""


@dataclass(frozen=True, slots=True)
class EarlierSlip:
    """A code that stood where another was locked: how often, and in which issue last."""

    role: str
    role_name: str
    wrote: str
    owed: str
    times: int
    last: str

    def __str__(self) -> str:
        role = "" if self.role == BASE_ROLE else f"{self.role_name}: "
        owed = f" for {self.owed}" if self.owed else ""
        return f"{role}{self.wrote}{owed}, {self.times} ×, last in issue {self.last}"


@dataclass(frozen=True, slots=True)
class PartToRead:
    part: PartLine
    slips: tuple[EarlierSlip, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CostumeToRead:
    costume: CostumeBlock
    parts: tuple[PartToRead, ...]


@dataclass(frozen=True, slots=True)
class SubjectToRead:
    sheet: ColourSheet
    costumes: tuple[CostumeToRead, ...]


@dataclass(frozen=True, slots=True)
class Chapter:
    """Some of the cast, and why they are in it."""

    title: str
    subjects: tuple[SubjectToRead, ...]


@dataclass(frozen=True, slots=True)
class PagesToRead:
    """Everything for some pages of an issue. ``scenes``: (scene's name, pages it holds on, its note)."""

    series: Series
    issue: Issue
    pages: tuple[str, ...]
    given: tuple[GivenPage, ...]
    chapters: tuple[Chapter, ...]
    notes: tuple[PageNote, ...]
    scenes: tuple[tuple[str, str, str], ...]
    book: Book

    @property
    def pages_words(self) -> str:
        return pages_in_words(self.pages) or "no pages yet"


def to_read(issue: Issue, pages: Sequence[str]) -> PagesToRead:
    """What there is to read for some pages, in as many queries whatever their number."""
    series = issue.series
    shown = {page for label in pages for page in pages_shown(label)}
    guides = list(Guide.objects.filter(issue=issue).current().with_counts().select_related("series"))
    here = [guide for guide in guides if pages_shown(guide.page) & shown]
    cast = _cast(issue, here)
    keys = [pk for _, subjects in cast for pk in subjects]
    book = make_book(series, AsOf.at(series, issue), series.subjects.active().filter(pk__in=keys), crops=False)
    parts = [part.pk for sheet in book.sheets for block in sheet.costumes for part in block.parts]
    slips, notes = _slips(issue, parts), _lock_notes(issue, parts)
    sheets = {sheet.subject.pk: _subject(sheet, slips, notes) for sheet in book.sheets}
    chapters = [Chapter(title, tuple(sheets[pk] for pk in subjects if pk in sheets)) for title, subjects in cast]
    given = [
        given_page
        for given_page in given_pages(issue.assignments.in_order(), guides)
        if given_page.assignment.page in set(pages)
    ]
    return PagesToRead(
        series=series,
        issue=issue,
        pages=tuple(pages),
        given=tuple(given),
        chapters=tuple(chapter for chapter in chapters if chapter.subjects),
        notes=tuple(_page_notes(issue, pages)),
        scenes=tuple(_scenes(here)),
        book=book,
    )


def _cast(issue: Issue, here: Iterable[Guide]) -> list[tuple[str, list[int]]]:
    """Subjects by where they are marked, each once, with a title: on the pages, in the issue, in those before."""
    before = list(issue.series.issues.active().filter(position__lt=issue.position).order_by("-position")[:LOOK_BACK])
    marks = Mark.objects.filter(series=issue.series_id, part__isnull=False).live().order_by()
    subject = "part__costume__subject"
    numbers = ", ".join(earlier.number for earlier in reversed(before))
    heading = f"In the issue{'s' if len(before) > 1 else ''} before ({numbers}), and not marked here yet"
    chapters = [
        ("Marked on these pages", marks.filter(guide__in=list(here))),
        ("Marked elsewhere in the issue", marks.filter(position=issue.position)),
        (heading, marks.filter(position__in=[earlier.position for earlier in before])),
    ]
    seen: set[int] = set()
    cast = []
    for title, rows in chapters:
        counts = dict(rows.values_list(subject).annotate(n=Count("id")))
        keys = sorted(counts.keys() - seen, key=lambda pk: (-counts[pk], pk))
        seen |= set(keys)
        cast.append((title, keys))
    return cast


def _slips(issue: Issue, parts: list[int]) -> dict[int, list[EarlierSlip]]:
    """What stood at these parts in earlier issues against the bible, and nobody has allowed."""
    rows = Mark.objects.filter(series=issue.series_id, position__lt=issue.position, part__in=parts).open().order_by()
    counted = rows.values_list("part", "role", "tint", "expected").annotate(n=Count("id"), last=Max("position"))
    numbers = dict(issue.series.issues.values_list("position", "number"))
    slips: dict[int, list[EarlierSlip]] = defaultdict(list)
    for part, role, tint, owed, times, last in sorted(counted, key=lambda row: (-row[4], -row[5])):
        if len(slips[part]) < SLIPS_SHOWN:
            wrote, locked = _said(issue.series, tint), _said(issue.series, owed, "")
            slips[part].append(EarlierSlip(role, issue.series.roles.name(role), wrote, locked, times, numbers[last]))
    return slips


def _said(series: Series, tint: object, unread: str = "unreadable") -> str:
    return unread if tint is None or isinstance(tint, NoTint) else series.write(tint)  # type: ignore[arg-type]


def _lock_notes(issue: Issue, parts: list[int]) -> dict[int, list[str]]:
    """Notes on the locks in force; each with its writer."""
    locks = Lock.objects.filter(part__in=parts).in_force(issue.position)
    notes: dict[int, list[str]] = defaultdict(list)
    for note in LockNote.objects.filter(lock__in=locks).select_related("lock", "written_by").order_by("id"):
        notes[note.lock.part_id].append(f"{note.text} ({name_of(note.written_by)})")
    return notes


def _subject(sheet: ColourSheet, slips: dict[int, list[EarlierSlip]], notes: dict[int, list[str]]) -> SubjectToRead:
    """The costumes that are worn in the issue, with what is known of each part."""
    worn = [block for block in sheet.costumes if block.in_use]

    def line(part: PartLine) -> PartToRead:
        return PartToRead(part, tuple(slips.get(part.pk, ())), tuple(notes.get(part.pk, ())))

    return SubjectToRead(sheet, tuple(CostumeToRead(block, tuple(map(line, block.parts))) for block in worn))


def _page_notes(issue: Issue, pages: Iterable[str]) -> list[PageNote]:
    """Notes that hold on one of the pages, whether it is in or not."""
    notes = PageNote.objects.filter(issue=issue).standing().select_related("written_by").order_by("first_order", "id")
    asked = [Guide(page=page, page_order=page_order(page)) for page in pages]
    return [note for note in notes if any(note.holds_on(guide) for guide in asked)]


def _scenes(here: Iterable[Guide]) -> list[tuple[str, str, str]]:
    areas = SceneArea.objects.filter(guide__in=list(here)).standing().select_related("scene", "guide")
    by_scene: dict[tuple[str, str], list[str]] = defaultdict(list)
    for area in areas:
        by_scene[area.scene.name, area.scene.note].append(area.guide.page)
    return [(name, pages_in_words(pages), note) for (name, note), pages in by_scene.items()]
