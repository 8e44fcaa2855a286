"""Plain makers of rows: each fills in what a test does not care about; ``**overrides`` set what it does."""

from __future__ import annotations

import dataclasses
import io
import itertools
from collections.abc import Iterable
from typing import Any

from django.contrib.auth.models import User
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from PIL import Image

from bible.colour import press, pressfile
from bible.colour.tints import Tint, as_array
from bible.editions.services import save_edition
from bible.locks.services import lock_tint
from bible.models import POSITION_GAP, Costume, Edition, Issue, Lock, Membership, Part, Series, Subject
from bible.models.stretches import Stretch
from bible.series.presses import condition
from bible.subjects.wearing import tidy
from guides.charts.services import keep_sheet
from guides.core.labels import page_order
from guides.core.services import place_mark, stand_down
from guides.found.sureness import say_what_is_sure
from guides.imaging.press.neighbours import Sinking
from guides.models import (
    SEARCH_VERSION,
    Carry,
    ChartScan,
    CodeSearch,
    CostumePicture,
    FoundCode,
    Guide,
    Mark,
    PaintReading,
    PrintedSheet,
    Proof,
    ProofReading,
    ProofVerdict,
    SinkingPair,
)
from guides.preview.services import keep
from guides.uploads.carrying import carry_marks, foresee

_counter = itertools.count(1)

PASSWORD = "a-lantern-at-noon"


def make_user(**overrides: Any) -> User:
    n = next(_counter)
    return User.objects.create_user(**({"username": f"person{n}", "password": PASSWORD} | overrides))


def make_series(**overrides: Any) -> Series:
    n = next(_counter)
    return Series.objects.create(**({"title": f"Series {n}", "slug": f"series-{n}"} | overrides))


def make_member(series: Series | None = None, role: str = "lead", **overrides: Any) -> User:
    """A person with a role in a series."""
    user = make_user(**overrides)
    Membership.objects.create(series=series or make_series(), user=user, role=role)
    return user


def make_issue(series: Series, **overrides: Any) -> Issue:
    n = series.issues.count() + 1
    return Issue.objects.create(series=series, **({"number": str(n), "position": n * POSITION_GAP} | overrides))


def make_issues(series: Series, how_many: int) -> list[Issue]:
    return [make_issue(series) for _ in range(how_many)]


def make_subject(series: Series, **overrides: Any) -> Subject:
    return Subject.objects.create(series=series, **({"name": f"Subject {next(_counter)}"} | overrides))


def make_costume(subject: Subject, **overrides: Any) -> Costume:
    """``from_position`` and ``to_position`` for one that is worn in one stretch, ``worn`` for several."""
    begins, ends = overrides.pop("from_position", 0), overrides.pop("to_position", None)
    worn = tidy(overrides.pop("worn", [Stretch(begins, ends)]))
    costume = Costume.objects.create(subject=subject, **({"name": f"costume {next(_counter)}"} | overrides))
    for stretch in worn:
        costume.stretches.create(**stretch._asdict())
    return costume


def make_part(series: Series | None = None, costume: Costume | None = None, **overrides: Any) -> Part:
    costume = costume or make_costume(make_subject(series or make_series()))
    return Part.objects.create(costume=costume, **({"name": f"part {next(_counter)}"} | overrides))


def make_lock(part: Part, code: str = "YR3B2", **overrides: Any) -> Lock:
    """Lock a part through the service, from the beginning on unless told otherwise."""
    series = part.costume.subject.series
    by = overrides.pop("by", None) or User.objects.filter(memberships__series=series).first() or make_member(series)
    decision: dict[str, Any] = {"role": "base", "from_position": 0, "reason": "because"} | overrides
    return lock_tint(part=part, tint=series.read_locked(code), written=code, by=by, **decision)


def make_edition(series: Series, issues: Iterable[Issue] = (), **overrides: Any) -> Edition:
    """An edition of some issues, on the series' press unless told otherwise."""
    edition = Edition(series=series, **({"name": f"Edition {next(_counter)}"} | overrides))
    save_edition(edition=edition, issues=issues, by=None)
    return edition


def picture_bytes(width: int = 400, height: int = 600, colour: str = "#c8a050", form: str = "JPEG") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (width, height), colour).save(out, form)
    return out.getvalue()


def damaged_picture() -> bytes:
    """A JPEG of 240 × 320 pixels whose last third is missing."""
    image = Image.effect_noise((240, 320), 40)
    out = io.BytesIO()
    image.save(out, "JPEG")
    return out.getvalue()[: len(out.getvalue()) * 2 // 3]


def make_guide(issue: Issue, **overrides: Any) -> Guide:
    """A guide with small files, stored without the intake."""
    data = picture_bytes(40, 60)
    page = overrides.get("page", str(next(_counter)))
    by = overrides.pop("by", None) or make_user()
    values = {
        "series": issue.series,
        "issue": issue,
        "page": page,
        "page_order": page_order(page),
        "filename": "page.jpg",
        "sha256": "0" * 64,
        "byte_size": len(data),
        "width": 400,
        "height": 600,
        "uploaded_by": by,
    }
    guide = Guide(**(values | overrides))
    for field in ("original", "screen", "thumb"):
        getattr(guide, field).save(f"tests/{next(_counter)}-{field}.jpg", ContentFile(data), save=False)
    guide.save()
    return guide


def make_mark(guide: Guide, written: str = "YR3B2", **overrides: Any) -> Mark:
    """Place a mark through the service."""
    by = overrides.pop("by", None) or guide.uploaded_by
    values = {"x": 0.5, "y": 0.5, "part": None, "role": "base"} | overrides
    return place_mark(guide=guide, written=written, by=by, **values)


def make_search(guide: Guide, **overrides: Any) -> CodeSearch:
    """A page that was looked through for codes: one panel, areas 1 and 2 side by side."""
    said: dict[str, Any] = {"series": guide.series, "panels": [[0, 0, 400, 600]], "bordering": [[1, 2]]}
    said |= {"version": SEARCH_VERSION} | overrides
    return CodeSearch.objects.update_or_create(guide=guide, defaults=said)[0]


def make_found(guide: Guide, code: str = "YR3B2", **overrides: Any) -> FoundCode:
    """A code that was found on a page and waits: read without doubt, and sure to be its part's where it has one."""
    if not CodeSearch.objects.filter(guide=guide).exists():
        make_search(guide)
    part = overrides.get("part")
    role = overrides.get("role", "base" if part else "")
    values: dict[str, Any] = {
        "number": FoundCode.objects.filter(guide=guide).count() + 1,
        "x": 0.5,
        "y": 0.5,
        "area": 1,
        "how": "inside",
        "p_place": 0.99,
        "text": code,
        "p": 0.99,
        "readings": [[code, 0.99]],
        "role": role,
        "p_part": 0.97,
        "owners": [[part.pk if part else None, role, 0.97]],
        "expected": code if part else "",
    } | overrides
    x, y = values["x"], values["y"]
    box = {"left": x - 0.02, "top": y - 0.01, "right": x + 0.02, "bottom": y + 0.01}
    row = FoundCode(series=guide.series, guide=guide, code=code, **(box | values))
    if "was_sure" not in overrides:
        say_what_is_sure([row])
    row.save()
    return row


def make_carry(issue: Issue, by: User, **mark: Any) -> Carry:
    """A page with an older scan that has one mark, carried over to the new one at the same place."""
    page = str(next(_counter))
    source = make_guide(issue, page=page, by=by)
    make_mark(source, by=by, **mark)
    guide = make_revision(source)
    return carry_marks(guide=guide, plan=foresee(guide, source, Carry.Way.FRACTIONS), by=by)


def make_sinking_pair(guide: Guide, **measures: Any) -> SinkingPair:
    """Two yellow marks of a page whose areas a look is said to have found side by side, beside those found before."""
    known = {pair.first_id: pair for pair in SinkingPair.objects.filter(look__guide=guide).with_names()}
    marks = [make_mark(guide, code, x=x) for code, x in (("Y", 0.4), ("Y3", 0.6))]
    told = [
        Sinking(one.first.number, one.second.number, one.border, one.risk, one.word, one.difference, one.x, one.y)
        for one in known.values()
    ]
    values: dict[str, Any] = {"border": 0.1, "risk": 0.2, "word": "", "difference": 5.3, "x": 0.5, "y": 0.5}
    values |= measures
    found = [*told, Sinking(marks[0].number, marks[1].number, **values)]
    live = list(Mark.objects.filter(guide=guide).live())
    keep(guide=guide, marks=live, pairs=found, press=condition(guide.series))
    return SinkingPair.objects.get(first=marks[0])


def make_revision(guide: Guide, **overrides: Any) -> Guide:
    """A new scan of a guide's page, which stands down; stored without the intake."""
    with transaction.atomic():
        stand_down(Guide.objects.filter(issue=guide.issue, page=guide.page))
        values = {"page": guide.page, "revision": guide.revision + 1, "by": guide.uploaded_by} | overrides
        return make_guide(guide.issue, **values)


def make_proof(guide: Guide, **overrides: Any) -> Proof:
    """A proof with small files that was read, its page's current one, stored without the intake or the engine."""
    by = overrides.pop("by", None) or guide.uploaded_by
    data = picture_bytes(40, 60)
    values = {
        "series": guide.series,
        "guide": guide,
        "number": Proof.objects.of_page(guide).count() + 1,
        "is_current": True,
        "state": Proof.State.READ,
        "filename": "proof.jpg",
        "sha256": "0" * 64,
        "byte_size": len(data),
        "width": 400,
        "height": 600,
        "error_px": 0.4,
        "agreeing": 0.9,
        "turned": 0.3,
        "press": "newsprint",
        "shift": {"c": [0.01, 0.02], "m": [-0.12, 0.03], "y": [0.0, 0.02]},
        "shift_said": "all magenta prints light (-12 %): the press, not the plates",
        "matrix": [1, 0, 0, 0, 1, 0, 0, 0, 1],
        "uploaded_by": by,
    }
    proof = Proof(**(values | overrides))
    for field in ("original", "screen", "thumb", "laid"):
        getattr(proof, field).save(f"tests/{next(_counter)}-{field}.jpg", ContentFile(data), save=False)
    proof.save()
    return proof


def make_chart_sheet(series: Series, by: User, **overrides: Any) -> PrintedSheet:
    """The sheet of the series' chart."""
    return keep_sheet(series=series, page=overrides.get("page", "a4"), by=by)


def make_chart_scan(series: Series, by: User, **overrides: Any) -> ChartScan:
    """A scan that was read as the series' sheet printed on newsprint, one patch amiss, without intake or engine."""
    press_found = dataclasses.replace(press.load("uncoated-fogra29"), name="chart-scan", title="run", notes=())
    tints = series.chart.tints
    labs = press_found.lab(as_array(tints)).round(2).tolist()
    wrong = {"kind": "ink_missing", "said": "cyan is missing", "looks_like": [0, 0, 0, 0]}
    corner = 1 / len(tints)
    patches = [
        {
            "code": series.write(tint),
            "tint": list(tint.percentages),
            "lab": lab,
            "doubt": 2.1,
            "quad": [[at * corner, 0.1], [(at + 1) * corner, 0.1], [(at + 1) * corner, 0.2], [at * corner, 0.2]],
            "amiss": wrong | {"difference": 9.1, "weight": 30.0} if at == 5 else None,
        }
        for at, (tint, lab) in enumerate(zip(tints, labs, strict=True))
    ]
    data = picture_bytes(40, 60)
    values = {
        "series": series,
        "number": ChartScan.objects.filter(series=series).count() + 1,
        "state": ChartScan.State.READ,
        "run": "Issue 1",
        "filename": "chart.jpg",
        "sha256": "0" * 64,
        "byte_size": len(data),
        "width": 400,
        "height": 600,
        "patches": patches,
        "notes": ["No target was scanned along."],
        "mean_doubt": 2.1,
        "press_text": pressfile.dumps(press_found),
        "uploaded_by": by,
    }
    scan = ChartScan(**(values | overrides))
    for field in ("original", "screen", "thumb"):
        getattr(scan, field).save(f"tests/{next(_counter)}-{field}.jpg", ContentFile(data), save=False)
    scan.save()
    return scan


def make_drawing(costume: Costume, by: User, **overrides: Any) -> CostumePicture:
    """A model drawing that stands for a costume, without intake."""
    values = {"width": 400, "height": 600, "filename": "model.jpg", "chosen_by": by} | overrides
    drawing = CostumePicture(series=costume.subject.series, costume=costume, **values)
    for field in ("original", "screen", "thumb"):
        file = ContentFile(picture_bytes(40, 60))
        getattr(drawing, field).save(f"tests/{next(_counter)}-{field}.jpg", file, save=False)
    drawing.save()
    return drawing


def make_paint(mark: Mark, **overrides: Any) -> PaintReading:
    """What the paint says at a mark as it is now: that another code was meant, unless told otherwise."""
    said = {"series": mark.series, "version": mark.version, "wrong": 0.9, "odd": True} | overrides
    return PaintReading.objects.update_or_create(mark=mark, defaults=said)[0]


def make_reading(proof: Proof, mark: Mark, **overrides: Any) -> ProofReading:
    """What a proof says of a mark; a missing magenta that nobody has decided on unless told otherwise."""
    printed = dataclasses.replace(mark.tint, m=0) if isinstance(mark.tint, Tint) else None
    values: dict[str, Any] = {
        "verdict": ProofVerdict.INK_MISSING,
        "ink": "m",
        "amount": 0,
        "printed": printed,
        "nearest": [printed.packed] if printed else [],
        "p": 0.98,
        "delta_e": 20.0,
        "why": "magenta is missing",
    } | overrides
    named = values["verdict"] not in (ProofVerdict.AS_CALLED, ProofVerdict.CANNOT_TELL)
    if not named:
        values |= {"ink": "", "amount": None} | overrides
    values.setdefault("open", named and proof.is_current and not values.get("decision"))
    values.setdefault("weight", values["p"] * (values["delta_e"] or 0))
    if values.get("decision"):
        values.setdefault("decided_by", proof.uploaded_by)
        values.setdefault("decided_at", timezone.now())
    return ProofReading.objects.create(
        series=proof.series,
        proof=proof,
        mark=mark,
        x=mark.x,
        y=mark.y,
        called=mark.tint,
        called_to=mark.to_tint,
        **values,
    )
