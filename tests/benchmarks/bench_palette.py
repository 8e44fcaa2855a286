"""How long the palette room takes among a million marks, with filters, and what a saved mark pays for it.

``python tests/benchmarks/bench_palette.py [MARKS]`` on a scratch SQLite file;
``python tests/postgres.py python tests/benchmarks/bench_palette.py [MARKS]`` on a throw-away PostgreSQL.

600 issues, 20 pages each on which two colourists work, 120 subjects of 20 parts; two fifths of the marks are
background, a fifth shades, one in a hundred a gradient. Bars: 600 issues under 150 ms, 60 issues under 50 ms.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks.large import crowded, long_series, timed

from bible.models.bulk import gather_statistics  # isort: skip (sets Django up)

from django.db import connection
from django.test import Client
from django.test.utils import setup_test_environment
from django.urls import reverse

from bible.colour.tints import Tint
from guides.core import counts, services
from guides.models import Guide, Mark, TintUse
from tests.factories import make_user


def spread(how_many: int) -> None:
    """Background, shades, gradients and a second colourist, chosen by number so that both databases hold the same."""
    everything = Mark.objects.all()
    with connection.cursor() as cursor:
        # By page and number on the page: whole pages of background would not be like a guide.
        cursor.execute("UPDATE guides_mark SET part_id = NULL, lock_id = NULL, expected = -1 WHERE number % 5 < 2")
        cursor.execute("UPDATE guides_mark SET role = 'shade' WHERE number % 5 = 2")
        cursor.execute(
            "UPDATE guides_mark SET to_written = 'x', to_tint = %s, to_x = 0.5, to_y = 0.6 WHERE number %% 100 = 3",
            [Tint(y=25).packed],
        )
    assert everything.count() == how_many
    gather_statistics()


def main(how_many: int) -> None:
    series, lead, parts = long_series(crowded(how_many))
    setup_test_environment()
    other = make_user()
    Guide.objects.update(colourist=lead)
    Guide.objects.filter(page_order__gt=450).update(colourist=other)
    spread(how_many)
    begin = time.perf_counter()
    counts.recount(series)
    took = time.perf_counter() - begin
    print(
        f"{connection.vendor}: {how_many:,} marks, {TintUse.objects.count():,} rows of counts; counting anew {took:.1f} s"
    )
    gather_statistics()
    client = Client()
    client.force_login(lead)
    most = parts[0].costume.subject_id

    def page(name: str = "palette", **asked: Any) -> None:
        assert client.get(reverse(name, args=[series.slug]), asked).status_code == 200

    timed("whole answer, 600 issues", page)
    timed("whole answer, 600 issues, a column each", lambda: page(columns="each"))
    timed("whole answer, 60 issues", lambda: page(issues="301-360"))
    timed("600 issues, background", lambda: page(use="background"))
    timed("600 issues, shades of one colourist", lambda: page(use="shade", colourist=other.pk))
    timed("600 issues, the most used subject", lambda: page(subject=most))
    timed("600 issues, its bases on one colourist's pages", lambda: page(subject=most, use="base", colourist=lead.pk))
    timed("60 issues, the most used subject", lambda: page(subject=most, issues="301-360"))
    timed("two runs of 60 compared", lambda: page("palette-compare", before="1-60", after="61-120"))
    timed("nearest to issue 57", lambda: page("palette-near", issues="57"))
    timed("600 issues as CSV", lambda: page(**{"as": "csv"}))
    mark = Mark.objects.filter(series=series, part__isnull=False).select_related("part").latest("pk")

    def rewrite() -> None:
        services.rewrite_mark(mark=mark, written="YR", part=mark.part, role="base", by=lead)
        services.rewrite_mark(mark=mark, written="Y", part=mark.part, role="base", by=lead)

    timed("a mark rewritten twice, counts kept", rewrite)
    timed("of that, one counting of a mark", lambda: counts.count(Mark.objects.filter(pk=mark.pk)))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
