"""How long flags, the impact of a lock and its saving take among a million marks.

``python tests/benchmarks/bench_impact.py [MARKS]`` on a scratch SQLite file;
``python tests/postgres.py python tests/benchmarks/bench_impact.py [MARKS]`` on a throw-away PostgreSQL.
"""

from __future__ import annotations

import sys
from functools import partial
from itertools import cycle
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks.large import crowded, in_database, load_of_the_machine, long_series, timed  # isort: skip (sets Django up)

from django.db import connection

from bible.colour.tints import Tint
from bible.locks.services import lock_tint
from bible.models import Part, Scene
from bible.models.fields import NoTint
from bible.scenes.services import set_scene
from guides.core import impact
from guides.models import Mark


def main(how_many: int) -> None:
    series, lead, parts = long_series(crowded(how_many))
    set_scene(scene=Scene(series=series, name="Night"), rule=Scene().rule, by=lead)
    everything = Mark.objects.filter(series=series)
    used = everything.filter(part=parts[0]).count()
    print(
        f"{connection.vendor}: {how_many:,} marks, {everything.flagged().count():,} flags; most used part: {used:,}"
    )
    part = Part.objects.select_related("costume__subject__series").get(pk=parts[0].pk)
    tint = Tint(c=100, y=25)
    assert everything.filter(expected=NoTint.NO_LOCK).count() == 0
    timed("count of open flags", lambda: everything.open().count())
    timed("count of waived flags", lambda: everything.waived().count())
    timed("first 50 open flags", lambda: list(everything.open().in_order()[:50]))
    show = partial(impact.of_lock, part, "base", tint, 0, None)
    timed("impact of a lock on the most used part, in the database", in_database(show))
    timed("the same with what Python makes of it", show)

    tints = cycle([tint, Tint(c=100, y=50)])

    def apply() -> None:
        lock_tint(part=part, role="base", tint=next(tints), written="B", from_position=0, by=lead)

    timed("saving that lock, commit and all", apply)
    print(f"  load of the machine at the end: {load_of_the_machine()}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
