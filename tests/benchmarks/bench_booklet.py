"""The bar for the booklet: 400 subjects with pictures under 20 seconds.

``python tests/benchmarks/bench_booklet.py`` makes a series of 400 subjects (two costumes, six parts, base and shade,
two scenes, a marked guide of 2,400 pixels for every ten of them) in a database of its own and times the maker.
"""

from __future__ import annotations

import copy
import io
import os
import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
BAR = 20.0
SUBJECTS = 400


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        os.environ["BIBLE_DATA"] = folder
        os.environ["DJANGO_SETTINGS_MODULE"] = "bible.settings"
        import django

        django.setup()
        from django.core.management import call_command

        call_command("migrate", verbosity=0)
        measure()


def measure() -> None:
    import numpy as np
    from django.core.files.base import ContentFile
    from PIL import Image
    from pypdf import PdfReader

    from bible.colour.shifts import Op, Shift, Step
    from bible.models import Lock, Part, Scene
    from bible.scenes.services import set_scene
    from bible.tasks.worker import work_off
    from guides.booklets.tasks import ask_for_booklet
    from guides.models import Guide, Mark
    from tests.factories import (
        make_costume,
        make_guide,
        make_issue,
        make_mark,
        make_member,
        make_series,
        make_subject,
    )

    rng = np.random.default_rng(7)
    series = make_series()
    lead = make_member(series)
    issue = make_issue(series)
    for name, ink in (("Night", "c"), ("Lamplight", "y")):
        set_scene(scene=Scene(series=series, name=name), rule=Shift((Step(Op.ADD, ink, 25),)), by=lead)
    tints = [tint for tint in series.chart.tints if tint.total_ink]
    noise = rng.integers(0, 255, (75, 50, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(noise).resize((1600, 2400), Image.Resampling.BICUBIC).save(out, "JPEG", quality=85)
    guide = None
    locks = []
    places: list[tuple[Guide, Part]] = []
    for number in range(SUBJECTS):
        subject = make_subject(series, name=f"Subject {number:03}")
        if number % 10 == 0:
            guide = make_guide(issue, by=lead, width=1600, height=2400)
            guide.screen.save(f"bench/{number}.jpg", ContentFile(out.getvalue()))
        for rank in range(2):
            costume = make_costume(subject, rank=rank)
            parts = Part.objects.bulk_create([Part(costume=costume, name=f"part {at}", rank=at) for at in range(6)])
            for part in parts:
                for role in ("base", "shade"):
                    tint = tints[int(rng.integers(len(tints)))]
                    values = {"series": series, "part": part, "role": role, "tint": tint, "from_position": 0}
                    locks.append(
                        Lock(written=series.write(tint), decided_by=lead, decided_at=series.created_at, **values)
                    )
        assert guide
        for part in parts[:3]:
            places.append((guide, part))
    Lock.objects.bulk_create(locks, batch_size=500)
    model = make_mark(places[0][0], "Y", part=places[0][1], by=lead)
    marks = []
    for number, (guide, part) in enumerate(places[1:], 2):
        mark = copy.copy(model)
        mark.pk, mark.guide, mark.part, mark.number = None, guide, part, number
        mark.x, mark.y = float(rng.uniform(0.2, 0.5)), float(rng.uniform(0.2, 0.5))
        mark._state = copy.copy(model._state)
        marks.append(mark)
    Mark.objects.bulk_create(marks, batch_size=200)
    booklet, _ = ask_for_booklet(series=series, issue=None, by=lead)
    start, worked = time.perf_counter(), time.process_time()
    work_off()  # here, where it can be timed
    took, worked = time.perf_counter() - start, time.process_time() - worked
    booklet.refresh_from_db()
    with booklet.file.open("rb") as file:
        pages = len(PdfReader(file).pages)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{SUBJECTS} subjects, {pages} pages, {booklet.file.size / 1e6:.1f} MB: {took:.1f} s (bar {BAR:.0f} s), "
        f"{worked:.1f} s of them at work, peak {peak:.0f} MB"
    )
    sys.exit(took > BAR)


if __name__ == "__main__":
    main()
