"""How long exporting and restoring a long series takes, and how much memory: bars 120 s each and 300 MB.

``python tests/benchmarks/bench_archive.py [MARKS]`` on a scratch SQLite file;
``python tests/postgres.py python tests/benchmarks/bench_archive.py [MARKS]`` on a throw-away PostgreSQL. Its pages have
no pictures: those are copied block by block, as fast as the disk is.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks import large

EXPORT, RESTORE = "export", "restore"


def step(deed: str, path: Path, slug: str) -> None:
    """One deed in a process of its own, so that its memory is its own."""
    from bible.models import Series
    from guides.archive.check import Archive
    from guides.archive.exports import export_series
    from guides.archive.restore import restore_series

    at_rest = _peak()
    begin, worked = time.perf_counter(), time.process_time()
    if deed == EXPORT:
        export_series(Series.objects.get(slug=slug), path)
    else:
        restore_series(Archive.open(path), slug=f"{slug}-again")
    took, at_work = time.perf_counter() - begin, time.process_time() - worked
    said = f"{took:.1f} s ({at_work:.1f} s of them this process at work), {_peak():.0f} MB at most"
    print(f"  {deed}: {said}, {at_rest:.0f} MB at rest", flush=True)


def _peak() -> float:
    """The most memory this program has had, in MB. Not ``ru_maxrss``: that remembers the process it was started from."""
    (line,) = [line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM")]
    return int(line.split()[1]) / 1024


def main(how_many: int) -> None:
    from guides.maintenance.made_history import Size

    series, _, _ = large.long_series(Size.of_marks(how_many))
    print(f"{large.connection.vendor}: {how_many:,} marks")
    large.connection.close()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "series.zip")
        for deed in (EXPORT, RESTORE):
            subprocess.run([sys.executable, __file__, deed, str(path), series.slug], check=True)
        print(f"  {path.stat().st_size / 1e6:.1f} MB; load of the machine at the end: {large.load_of_the_machine()}")


if __name__ == "__main__":
    if sys.argv[1:2] and sys.argv[1] in (EXPORT, RESTORE):
        step(sys.argv[1], Path(sys.argv[2]), sys.argv[3])
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
