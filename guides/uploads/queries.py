"""What would become of a folder of scans, told before anything is sent: the list that people correct."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Count, Q
from django.template.defaultfilters import filesizeformat

from bible.models import Issue
from guides.core.labels import clean_label, labels_from_filenames, page_order, pages_shown
from guides.imaging.intake.rules import MAX_BYTES, IntakeError, check_ending, megabytes
from guides.models import PAGE_LABEL_LENGTH, Arrival, Guide
from guides.uploads.services import known_contents, where

if TYPE_CHECKING:
    from django.contrib.auth.models import User

MOST_FILES = 200
"""Files looked at in one list: an annual with its alternatives has fewer than a hundred pages."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """A file somebody means to bring in. ``sha256`` is empty where the browser cannot work it out.

    ``page`` is the label as typed, None as long as nobody has typed one; ``again`` the person's yes to a file that
    the series has already.
    """

    name: str
    size: int
    sha256: str = ""
    page: str | None = None
    again: bool = False


@dataclass(frozen=True, slots=True)
class ArrivalRow:
    """What is known about one chosen file.

    Attributes:
        place: of the file among those chosen, from 0.
        page: its label, as read from the name or as typed and tidied.
        revision: which one of the page it would become, from 1.
        trouble: why it cannot come in as things stand; empty if it can.
        duplicate: where this very file is already; it comes in only with a yes.
        remarks: what is worth knowing, none of it in the way.
        marks: on the page's revision that is current now.
    """

    place: int
    file: Chosen
    page: str
    revision: int
    trouble: str = ""
    duplicate: str = ""
    remarks: tuple[str, ...] = ()
    marks: int = 0

    @property
    def is_ready(self) -> bool:
        return not self.trouble and (not self.duplicate or self.file.again)


def _here(issue: Issue) -> dict[str, Guide]:
    """The current guides by page, with how many marks each has."""
    counted_marks = Count("marks", filter=Q(marks__live=True))
    guides = Guide.objects.filter(issue=issue).current().annotate(mark_count=counted_marks)
    return {guide.page: guide for guide in guides.select_related("uploaded_by")}


def _remarks(file: Chosen, label: str, here: Mapping[str, Guide], part: Arrival | None) -> Iterator[str]:
    yield from _overlaps(label, here)
    if file.page is None and page_order(label) == page_order("?"):
        yield "The name speaks of no page: check the label."
    if part and part.received:
        yield f"{filesizeformat(part.received)} of it are here already; it goes on from there."


def foresee(*, issue: Issue, files: Sequence[Chosen], by: User) -> list[ArrivalRow]:
    """What each file would become, in the order of the pages. A fixed number of queries for any number."""
    read = labels_from_filenames([file.name for file in files], issue.number)
    labels = [
        clean_label(file.page) if file.page is not None else label for file, label in zip(files, read, strict=True)
    ]
    here = _here(issue)
    known = known_contents(issue.series, [file.sha256 for file in files])
    begun = {
        arrival.sha256: arrival
        for arrival in Arrival.objects.filter(issue=issue, started_by=by).unfinished().exclude(sha256="")
    }
    first_with = _firsts(files)
    sharing = _sharing(files, labels, first_with)
    rows = []
    for place, (file, label) in enumerate(zip(files, labels, strict=True)):
        before = here.get(label)
        known_guide = known.get(file.sha256) if file.sha256 else None
        first = first_with[place]
        same = f"the same file as {files[first].name}" if first != place else ""
        part = begun.get(file.sha256) if file.sha256 else None
        rows.append(
            ArrivalRow(
                place=place,
                file=file,
                page=label,
                revision=before.revision + 1 if before else 1,
                trouble=_trouble(file, label) or sharing.get(place, ""),
                duplicate=f"already here: {where(known_guide)}" if known_guide else same,
                remarks=tuple(_remarks(file, label, here, part)),
                marks=before.mark_count if before else 0,  # type: ignore[attr-defined]
            )
        )
    return sorted(rows, key=lambda row: (page_order(row.page), row.page, row.place))


def _firsts(files: Sequence[Chosen]) -> list[int]:
    """For each file the place of the first with the same content; its own where that is not known."""
    seen: dict[str, int] = {}
    return [seen.setdefault(file.sha256, place) if file.sha256 else place for place, file in enumerate(files)]


def _sharing(files: Sequence[Chosen], labels: Sequence[str], first_with: Sequence[int]) -> dict[int, str]:
    """Why files cannot come in that are labelled as one page. Copies of one file are no clash: they stay out."""
    claims: dict[str, list[int]] = defaultdict(list)
    for place, label in enumerate(labels):
        if (first_with[place] == place or files[place].again) and not _trouble(files[place], label):
            claims[label].append(place)
    return {
        place: f"Also page {label}: {', '.join(files[other].name for other in places if other != place)}. "
        "Say which page each one is."
        for label, places in claims.items()
        if len(places) > 1
        for place in places
    }


def _trouble(file: Chosen, label: str) -> str:
    if file.size < 1:
        return "The file is empty (0 bytes); it may not have been copied to the end."
    if file.size > MAX_BYTES:
        return f"The file ({megabytes(file.size)}) is larger than the {megabytes(MAX_BYTES)} allowed."
    try:
        check_ending(file.name)
    except IntakeError as error:
        return error.message
    if not label:
        return "Say which page it is."
    if len(label) > PAGE_LABEL_LENGTH:
        return f"Say which page it is, in at most {PAGE_LABEL_LENGTH} letters."
    return ""


def _overlaps(label: str, here: Iterable[str]) -> list[str]:
    """Pages here that go by another label and show one of the same pages."""
    others = [other for other in here if other != label and pages_shown(other) & pages_shown(label)]
    return [f"“{other}” is here: is it the same page?" for other in sorted(others, key=page_order)]
