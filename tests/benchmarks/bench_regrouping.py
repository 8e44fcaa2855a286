"""How long it takes to show, and to do, what re-assigns or merges ten thousand marks.

``python tests/benchmarks/bench_regrouping.py [MARKS]`` on a scratch SQLite file;
``python tests/postgres.py python tests/benchmarks/bench_regrouping.py [MARKS]`` on a throw-away PostgreSQL.

The processor's time is this process's: on SQLite all of it, on PostgreSQL what Python has of it.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks.large import crowded, load_of_the_machine, long_series  # isort: skip (sets Django up)

from django.db import connection, transaction

from bible.models import Part, Series, Subject
from guides.core import continuity
from guides.core.impact import rehearse
from guides.models import Mark
from guides.regrouping.services import merge_parts, merge_subjects, parts_of, reassign_marks

MARKS_MEANT = 10_000
ROUNDS = 7


def main(how_many: int) -> None:
    series, lead, parts = long_series(crowded(how_many))
    source = _part(parts[0].pk)
    target = _part(next(part.pk for part in parts if part.costume.subject_id != source.costume.subject_id))
    _fill(series, source)
    count = Mark.objects.filter(part=source).count()
    print(f"{connection.vendor}: {how_many:,} marks; {count:,} of the part that is merged or re-assigned")
    among = Mark.objects.filter(series=series)
    both = parts_of(source, target)
    said = {"source": source.pk, "target": target.pk}
    deeds: dict[str, tuple[Callable[[], object], set[int]]] = {
        "re-assign": (lambda: reassign_marks(**_afresh(said), among=among, by=lead), both),
        "merge parts": (lambda: merge_parts(**_afresh(said), by=lead), both),
    }
    subjects = _subjects_of(series, source, target)
    of_both = parts_of(*Subject.objects.filter(pk__in=subjects))
    deeds["merge subjects of 20 parts"] = (partial(_merge_subjects, subjects[0], subjects[1], lead), of_both)
    for name, (deed, touched) in deeds.items():
        _timed(f"what it would do: {name}", partial(rehearse, series, deed, touched))
        _timed(f"done: {name}", partial(_undone, deed))
    print(f"  load of the machine at the end: {load_of_the_machine()}")


def _subjects_of(series: Series, *beside: Part) -> list[int]:
    """The subject whose marks are nearest to as many as are meant, and the target's."""
    others = series.subjects.exclude(pk__in=[part.costume.subject_id for part in beside])
    counted = {subject.pk: Mark.objects.of_subject(subject.pk).count() for subject in others}
    source = min(counted, key=lambda pk: abs(counted[pk] - MARKS_MEANT))
    print(f"  {counted[source]:,} marks of the subject that is merged")
    return [source, beside[1].costume.subject_id]


def _part(pk: int) -> Part:
    return Part.objects.select_related("costume__subject__series").get(pk=pk)


def _afresh(said: dict[str, int]) -> dict[str, Any]:
    return {name: _part(pk) for name, pk in said.items()}


def _merge_subjects(source: int, target: int, by: Any) -> None:
    found = Subject.objects.select_related("series").in_bulk([source, target])
    merge_subjects(source=found[source], target=found[target], by=by)


def _fill(series: Series, part: Part) -> None:
    """Give a part other marks of the series until it has as many as are meant."""
    missing = MARKS_MEANT - Mark.objects.filter(part=part).count()
    others = Mark.objects.filter(series=series).exclude(part=part).order_by("number", "pk")
    Mark.objects.filter(pk__in=list(others.values_list("pk", flat=True)[: max(missing, 0)])).update(part=part)
    continuity.resolve(Mark.objects.filter(part=part))


class _Undone(Exception):
    """Rolls back what was timed."""


def _undone(deed: Callable[[], object]) -> None:
    try:
        with transaction.atomic():
            deed()
            raise _Undone
    except _Undone:
        pass


def _timed(name: str, deed: Callable[[], object]) -> None:
    took = []
    for _ in range(ROUNDS):
        begin = time.perf_counter(), time.process_time()
        deed()
        took.append((time.process_time() - begin[1], time.perf_counter() - begin[0]))
    cpu, clock = (sorted(one[at] * 1000 for one in took)[ROUNDS // 2] for at in (0, 1))
    print(f"  {name}: median {cpu:.0f} ms of processor, {clock:.0f} ms by the clock", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
