"""What one picture, and one person, may take of a machine: passes, time, memory and a share of the decoders."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from guides.imaging.intake import shares
from guides.imaging.intake import take_in as intake
from guides.imaging.intake import worker as intake_worker
from guides.imaging.intake.rules import DecoderLimits, IntakeError
from guides.imaging.intake.scans import scans_of
from guides.imaging.intake.take_in import take_in
from tests.guides.imaging.intake.pictures import encoded, many_scans

ROOT = Path(__file__).resolve().parents[4]


GOOD = encoded(Image.new("RGB", (80, 80)), "PNG")


PATIENT = {"max_scans": 10**6, "max_scanned_pixels": 10**12}
"""Limits that let a picture of too many passes reach the decoder."""


@pytest.mark.parametrize(
    ("limits", "word"),
    [
        (DecoderLimits(cpu_seconds=1, wall_seconds=60, **PATIENT), "processor time"),
        (DecoderLimits(wall_seconds=0.5, **PATIENT), "0.5 seconds"),
    ],
)
def test_a_picture_that_takes_for_ever_is_stopped(limits: DecoderLimits, word: str) -> None:
    with pytest.raises(IntakeError) as caught:
        take_in(io.BytesIO(many_scans(3000, 3000, 8000)), limits=limits)
    assert caught.value.reason == "timeout"
    assert word in caught.value.message


def test_a_picture_that_takes_too_much_memory_is_stopped() -> None:
    data = encoded(Image.new("RGB", (6000, 6000)), "PNG", compress_level=1)
    with pytest.raises(IntakeError) as caught:
        take_in(io.BytesIO(data), limits=DecoderLimits(memory_bytes=150_000_000))
    assert caught.value.reason == "too_demanding"
    assert take_in(io.BytesIO(data)).width == 6000


def test_a_picture_of_thousands_of_passes_is_refused_before_it_is_decoded() -> None:
    """Each pass goes over every block: 0.2 MB of these took a core for as long as the clock allowed."""
    data = many_scans(2000, 3000, 5000)
    began = os.times()
    with pytest.raises(IntakeError, match="more than 64 passes") as caught:
        take_in(io.BytesIO(data))
    ended = os.times()
    assert caught.value.reason == "too_demanding"
    assert ended.children_user + ended.children_system - began.children_user - began.children_system < 3


def test_passes_are_bounded_by_the_size_of_the_picture() -> None:
    assert scans_of(io.BytesIO(many_scans(64, 64, 30)), 64) == 40
    with pytest.raises(IntakeError, match="more than 24 passes"):
        intake_worker._check_scans(io.BytesIO(many_scans(64, 64, 30)), 100_000_000, DecoderLimits())
    assert take_in(io.BytesIO(many_scans(640, 640, 30))).width == 640


@pytest.mark.parametrize("mode", ["L", "RGB", "CMYK"])
@pytest.mark.parametrize("progressive", [False, True])
def test_what_people_save_is_far_below(mode: str, progressive: bool) -> None:
    """libjpeg's own script at its most: 6 scans for grey, 10 for colour, 18 for four inks."""
    grain = Image.effect_noise((640, 480), 60)
    picture = Image.merge(mode, [grain] * len(mode)) if mode != "L" else grain
    data = encoded(picture, "JPEG", progressive=progressive)
    assert scans_of(io.BytesIO(data), 1000) == ({"L": 6, "RGB": 10, "CMYK": 18}[mode] if progressive else 1)


def test_a_picture_inside_a_picture_does_not_count() -> None:
    """Cameras keep a small JPEG in the Exif data: its markers are not the picture's."""
    inner = many_scans(64, 64, 20)
    data = encoded(Image.new("RGB", (90, 70), "red"), "JPEG", exif=b"Exif\0\0II*\0\x08\0\0\0\0\0" + inner)
    assert scans_of(io.BytesIO(data), 1000) == 1


@pytest.mark.parametrize(
    "data", [b"", b"\xff", b"\xff\xd8", b"\xff\xd8\xff\xda", b"\xff\xd8\xff\xda\x00", b"\x00" * 999]
)
def test_no_jpeg_at_all_has_few_scans(data: bytes) -> None:
    assert scans_of(io.BytesIO(data), 64) <= 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
def test_a_disk_without_room_for_the_answer_is_not_the_pictures_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    """Linux's /dev/full answers every write as a full disk does (full(4))."""
    scratch = intake._scratch
    made: list[int] = []

    def second_is_full() -> Any:
        made.append(1)
        return open("/dev/full", "r+b", buffering=0) if len(made) == 2 else scratch()

    monkeypatch.setattr(intake, "_scratch", second_is_full)
    with pytest.raises(IntakeError) as caught:
        take_in(io.BytesIO(GOOD))
    assert caught.value.reason == "unavailable"


def test_one_persons_many_pictures_leave_room_for_anothers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten at once held every core and thread: beyond a person's share they are sent away at once, not kept waiting."""
    pytest.importorskip("fcntl", reason="this system has no locks on files")
    with ExitStack() as held:
        for _ in range(shares.SHARE):
            held.enter_context(shares.share_of("nell"))
        began = time.monotonic()
        with pytest.raises(IntakeError) as caught:
            take_in(io.BytesIO(GOOD), who="nell")
        assert (caught.value.reason, time.monotonic() - began < 2) == ("busy", True)
        assert take_in(io.BytesIO(GOOD), who="ada").format
        assert take_in(io.BytesIO(GOOD)).format, "a command's are nobody's"
    assert take_in(io.BytesIO(GOOD), who="nell").format


def test_a_share_is_one_for_all_processes_and_goes_with_them() -> None:
    pytest.importorskip("fcntl", reason="this system has no locks on files")
    script = (
        "import sys, time\n"
        "from guides.imaging.intake import shares\n"
        "held = [shares.share_of('nell') for _ in range(shares.SHARE)]\n"
        "[one.__enter__() for one in held]\n"
        "print('held', flush=True)\n"
        "time.sleep(60)\n"
    )
    other = subprocess.Popen([sys.executable, "-c", script], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert other.stdout
    try:
        assert other.stdout.readline() == "held\n"
        with pytest.raises(IntakeError, match="Other pictures of yours"), shares.share_of("nell"):
            pass
    finally:
        other.kill()
        other.wait()
        other.stdout.close()
    with shares.share_of("nell"):
        pass
