"""Light in the demo: a fire that falls on skin alone, within an outline, a sky with a name of its own, and a
river that fades."""

from __future__ import annotations

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import Count, Q

from bible.colour.shifts import Op, Shift, Step
from bible.locks.services import lock_tint
from bible.models import Costume, Part, Scene, Series, Subject, Within
from bible.models.roles import BASE_ROLE
from bible.scenes.services import HeldTo, set_scene
from guides.core.scene_areas import apply_scene, outlined
from guides.core.services import rewrite_mark
from guides.models import Guide, Mark

FIRE, EVENING, SKIN, SKY = "Firelight", "Evening", "skin", "sky"
RIVER, FADE, WHY_IT_FADES = "river", "B2 to B3 downwards", "Pale towards the far bank, wherever it is seen whole."
ARROW = 0.04
"""How far the arrow of a fade reaches, as a share of the page."""
REDDER = Shift((Step(Op.UP, "m", 1),))
GLOW = ((0.0, -0.09), (0.08, -0.02), (0.05, 0.07), (-0.05, 0.07), (-0.08, -0.02))
"""Corners around what the fire shines on, in fractions of the page."""


@transaction.atomic
def light_a_page(series: Series, lead: User) -> None:
    """Once, on the newest page at work that has skin and two pieces of background."""
    skins = list(Part.objects.of_series(series).filter(name=SKIN))
    page = _page_for(series, skins)
    if page is None or series.scenes.filter(name=FIRE).exists():
        return
    fire = Scene(series=series, name=FIRE, note="On skin; cloth stays what it is.")
    set_scene(
        scene=fire, rule=REDDER, by=lead, targets=[HeldTo(part=skin.pk) for skin in skins], reason="The galley."
    )
    lit = Mark.objects.live().filter(guide=page, part__in=skins, expected__gte=0).earliest("number")
    corners = [(min(1.0, max(0.0, lit.x + x)), min(1.0, max(0.0, lit.y + y))) for x, y in GLOW]
    apply_scene(guide=page, scene=fire, region=outlined([corners]), by=lead)
    for mark in Mark.objects.live().filter(guide=page, scene=fire).differing():
        _say(mark, lead, written=series.write(mark.expected))  # as the fire has it: the page was painted so
    evening = Scene(series=series, name=EVENING, note="Nothing moves; its panels have one sky.")
    set_scene(scene=evening, rule=Shift(), by=lead, reason="So that the sky stays what it is.")
    apply_scene(guide=page, scene=evening, by=lead)
    sky = _sky(series)
    for mark in Mark.objects.live().filter(guide=page, part=None, tint__gte=0).order_by("y", "number")[:3]:
        _say(mark, lead, part=sky)
    _river(page, sky.costume, lead)


def _river(page: Guide, costume: Costume, lead: User) -> None:
    """Locked as a fade; where it is marked it fades as it should."""
    river = Part.objects.create(costume=costume, name=RIVER, rank=1)
    fade, begins = page.series.read_locked(FADE), page.issue.position
    lock_tint(part=river, role=BASE_ROLE, tint=fade, written=FADE, from_position=begins, by=lead, reason=WHY_IT_FADES)
    seen = Mark.objects.live().filter(guide=page, part=None, tint__gte=0, y__lt=1 - ARROW).order_by("-y").first()
    if seen:
        first, second = FADE.split()[::2][:2]
        place_to = (seen.x, seen.y + ARROW)
        rewrite_mark(mark=seen, written=first, part=river, role=BASE_ROLE, by=lead, to=place_to, to_written=second)


def _page_for(series: Series, skins: list[Part]) -> Guide | None:
    at_work = Guide.objects.filter(series=series, issue__signed_off_at=None).current()
    skin = Count("marks", filter=Q(marks__part__in=skins, marks__live=True, marks__expected__gte=0))
    background = Count("marks", filter=Q(marks__part=None, marks__live=True))
    fitting = at_work.annotate(skin=skin, background=background).filter(skin__gte=1, background__gte=2)
    return fitting.select_related("series", "issue").order_by("-issue__position", "page_order").first()


def _sky(series: Series) -> Part:
    place, _ = Subject.objects.get_or_create(series=series, name="Backgrounds", defaults={"kind": "place"})
    costume, _ = Costume.objects.get_or_create(subject=place, name="as drawn")
    return Part.objects.create(costume=costume, name=SKY, held_within=Within.SCENE)


def _say(mark: Mark, lead: User, *, written: str = "", part: Part | None = None) -> None:
    part, written = part or mark.part, written or mark.written
    rewrite_mark(mark=mark, written=written, to_written=mark.to_written, part=part, role=mark.role, by=lead)
