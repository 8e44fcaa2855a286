"""Files made to hurt, many at once: always a word, never a crash, nothing left behind."""

from __future__ import annotations

import io
import os
import random
import tempfile
import warnings
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFile, PngImagePlugin

from guides.imaging.intake import take_in as intake
from guides.imaging.intake import worker as intake_worker
from guides.imaging.intake.rules import REASONS, SNIFF_BYTES, DecoderLimits, IntakeError, sniff
from guides.imaging.intake.take_in import take_in
from tests.guides.imaging.intake.pictures import encoded
from tests.mutations import mutated

ROOT = Path(__file__).resolve().parents[4]


def seeds() -> list[bytes]:
    """Small valid files over the formats' variants: what mutations start from."""
    grain = Image.effect_noise((96, 80), 60)
    colour = Image.merge("RGB", [grain, grain.transpose(Image.Transpose.ROTATE_180), grain])
    veiled = colour.copy()
    veiled.putalpha(grain)
    exif = Image.Exif()
    exif[274] = 6
    made = [
        encoded(colour, "PNG", exif=exif),
        encoded(veiled, "PNG"),
        encoded(colour.quantize(7), "PNG", transparency=bytes([0, 128, 255])),
        encoded(grain.convert("1"), "PNG"),
        encoded(Image.new("I;16", (96, 80), 40000), "PNG"),
        encoded(colour, "PNG", save_all=True, append_images=[colour]),
        encoded(colour, "JPEG", exif=exif),
        encoded(grain, "JPEG", progressive=True),
        encoded(colour.convert("CMYK"), "JPEG"),
        encoded(colour, "MPO", save_all=True, append_images=[colour]),
        encoded(colour, "WEBP", exif=exif),
        encoded(veiled, "WEBP", lossless=True),
        encoded(colour, "WEBP", save_all=True, append_images=[veiled]),
        encoded(colour, "TIFF", tiffinfo={274: 5}),
        encoded(colour.convert("CMYK"), "TIFF", compression="tiff_lzw"),
        encoded(colour.convert("LAB"), "TIFF"),
        encoded(colour, "TIFF", compression="jpeg"),
        encoded(veiled, "TIFF", compression="tiff_adobe_deflate"),
        encoded(grain.convert("1"), "TIFF", compression="group4"),
        encoded(colour, "TIFF", save_all=True, append_images=[grain.copy()]),
        encoded(colour, "TIFF", big_tiff=True),
    ]
    profile = b"\0\0\2\0" + bytes(8) + b"mntrRGB XYZ " + bytes(12) + b"acsp" + bytes(88) + b"\0\0\0\1rXYZ"
    made.append(encoded(colour, "JPEG", icc_profile=profile + bytes(100)))
    return made


SEEDS = seeds()


@pytest.fixture
def like_the_worker() -> Iterator[None]:
    """Run `examine` here as the worker runs it: warnings are no errors, and its settings don't outlive the test."""
    before = (ImageFile.LOAD_TRUNCATED_IMAGES, PngImagePlugin.MAX_TEXT_CHUNK, Image.MAX_IMAGE_PIXELS)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield
    ImageFile.LOAD_TRUNCATED_IMAGES, PngImagePlugin.MAX_TEXT_CHUNK, Image.MAX_IMAGE_PIXELS = before


def outcome(data: bytes) -> str:
    """Examine in this process; "accepted" or the reason. Anything but a refusal fails the test."""
    limits = DecoderLimits(max_pixels=200_000, min_side=1)
    try:
        kind = sniff(data[:SNIFF_BYTES])
        facts, screen, thumb = intake_worker.examine(io.BytesIO(data), kind, limits)
    except IntakeError as error:
        return error.reason
    except MemoryError:
        return "too_demanding"
    assert 1 <= facts["width"] * facts["height"] <= limits.max_pixels
    for derivative, name in ((screen, "screen_size"), (thumb, "thumb_size")):
        assert Image.open(io.BytesIO(derivative)).size == tuple(facts[name])
    return "accepted"


@pytest.mark.usefixtures("like_the_worker")
def test_the_seeds_are_what_they_should_be() -> None:
    outcomes = [outcome(data) for data in SEEDS]
    assert outcomes.count("accepted") == len(SEEDS) - 3
    assert sorted(set(outcomes)) == ["accepted", "animated", "several_pages"]


@pytest.mark.usefixtures("like_the_worker")
@settings(max_examples=500, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(range(len(SEEDS))), st.randoms(use_true_random=False))
def test_mutated_files_are_accepted_or_refused_with_a_word(index: int, source: random.Random) -> None:
    assert outcome(mutated(SEEDS[index], source, SEEDS)) in {"accepted", *REASONS}


@pytest.mark.usefixtures("like_the_worker")
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.sampled_from([b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff\xe0", b"II*\0", b"MM\0*", b"RIFF\xff\0\0\0WEBPVP8X"]),
    st.binary(max_size=300),
)
def test_noise_behind_a_true_signature_is_refused(signature: bytes, noise: bytes) -> None:
    assert outcome(signature + noise) != "accepted"


def test_mutated_files_through_the_real_worker_many_at_once_leave_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    source = random.Random(20240917)
    files = [mutated(data, source, SEEDS) for data in SEEDS for _ in range(2)] + SEEDS
    open_before = len(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else 0

    def reason(data: bytes) -> str:
        try:
            return take_in(io.BytesIO(data)).format
        except IntakeError as error:
            return error.reason

    with ThreadPoolExecutor(6) as pool:
        reasons = list(pool.map(reason, files))
    assert set(reasons) <= {*REASONS, "PNG", "JPEG", "TIFF", "WEBP"}
    assert not {"crashed", "busy", "unavailable", "timeout"} & set(reasons)
    assert [reason(data) for data in SEEDS[::5]] == reasons[-len(SEEDS) :: 5], "the same alone as among many"
    assert list(tmp_path.iterdir()) == []
    if open_before:
        assert len(os.listdir("/proc/self/fd")) <= open_before + 1
    assert intake._WORKERS._value == max(1, os.cpu_count() or 1), "every place in the queue was given back"


def test_a_hostile_tag_directory_does_not_hide_a_good_picture() -> None:
    exif = b"Exif\0\0II*\0\x08\0\0\0\xff\xff" + bytes(range(256)) * 3
    data = encoded(Image.new("RGB", (90, 70), "red"), "JPEG", exif=exif)
    assert take_in(io.BytesIO(data)).width == 90
