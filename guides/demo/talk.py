"""What people have said to each other in the demo: a scene, proposals, a waiver and notes, by the services all use.

Everything hangs on the first open flags there are, so that it stays true when the story changes.
"""

from __future__ import annotations

from django.contrib.auth.models import User
from django.db import transaction

from bible.colour.shifts import Op, Shift, Step
from bible.locks.notes import note_on_lock
from bible.models import Membership, Scene, Series
from bible.proposals.services import decline_proposal, propose
from bible.scenes.services import set_scene
from guides.core.notes import note_on_mark
from guides.core.waivers import waive
from guides.models import FlagKind, Mark

NIGHT = Shift((Step(Op.UP, "c", 1), Step(Op.DOWN, "y", 1)))
"""As the story paints its night pages (``night_tint``)."""


@transaction.atomic
def load_talk(series: Series) -> None:
    """Once only, and only where there is something to talk about."""
    if series.scenes.exists():
        return
    people = {member.role: member.user for member in series.memberships.select_related("user").order_by("-pk")}
    lead, fill_in = people.get(Membership.Role.LEAD), people.get(Membership.Role.FILL_IN)
    flags = list(Mark.objects.filter(series=series).open().of_kind(FlagKind.DIFFERS).newest_first().with_names())
    if lead is None or fill_in is None or not flags:
        return
    scene = Scene(series=series, name="Night", note="Moonlight on the river; lamps are panels of their own.")
    set_scene(scene=scene, rule=NIGHT, by=lead, reason="As the first night issues were printed.")
    _proposals(flags, fill_in, lead)
    waived = flags[-1]
    waive(marks=[waived], reason="In disguise here, as the script says.", by=lead)
    note_on_mark(mark=flags[0], text="The scan is right, I did paint it so. Ask before you change it?", by=fill_in)
    if flags[0].lock:
        note_on_lock(lock=flags[0].lock, text="Taken from the first model sheet; the later ones fade.", by=lead)


def _proposals(flags: list[Mark], fill_in: User, lead: User) -> None:
    """Two parts that fill-ins paint otherwise: one proposal waits, one has been answered."""
    by_part = list({(mark.part_id, mark.role): mark for mark in flags if mark.lock}.values())[:2]
    for number, mark in enumerate(by_part):
        if mark.part is None:
            continue
        made = propose(
            part=mark.part,
            role=mark.role,
            tint=mark.tint,
            written=mark.written,
            from_position=mark.position,
            note="It has been painted so for a while; the printed pages hold it.",
            by=fill_in,
        )
        if number:
            decline_proposal(
                proposal=made, answer="It prints too close to the background. Stay with the bible.", by=lead
            )
