"""How long taking pictures in needs. Figures are reported, not judged; the checks only see that work was done."""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest
from PIL import Image

from guides.imaging.intake.take_in import take_in
from guides.imaging.intake.upright import read_upright

WIDTH, HEIGHT = 3400, 4420
"""15 megapixels: a reduced comic page, 8.5 × 11 inches at 400 dots an inch."""


def scan(width: int, height: int, seed: int = 0, channels: int = 3) -> Image.Image:
    """Areas of paint with brush grain, paper and line art: as hard to compress as a scan."""
    rng = np.random.default_rng(seed)
    areas = rng.integers(90, 256, (height // 160 + 1, width // 160 + 1, channels), np.uint8)
    page = np.repeat(np.repeat(areas, 160, axis=0), 160, axis=1)[:height, :width]
    page[::160] = page[:, ::160] = 20
    grain = rng.integers(-6, 7, (512, 512, 1), np.int16)
    for top in range(0, height, 512):
        for left in range(0, width, 512):
            tile = page[top : top + 512, left : left + 512]
            tile[:] = np.clip(tile + grain[: tile.shape[0], : tile.shape[1]], 0, 255)
    if channels == 4:
        return Image.frombytes("CMYK", (width, height), page.tobytes())
    return Image.fromarray(page)


def encoded(image: Image.Image, kind: str, **options: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


VARIANTS: dict[str, tuple[str, int, dict[str, Any]]] = {
    "JPEG": ("JPEG", 3, {"quality": 90}),
    "progressive JPEG": ("JPEG", 3, {"quality": 90, "progressive": True}),
    "CMYK JPEG": ("JPEG", 4, {"quality": 90}),
    "PNG": ("PNG", 3, {"compress_level": 3}),
    "TIFF": ("TIFF", 3, {}),
    "CMYK TIFF, LZW": ("TIFF", 4, {"compression": "tiff_lzw"}),
    "WebP": ("WEBP", 3, {"quality": 85, "method": 0}),
}


@pytest.mark.parametrize("variant", VARIANTS)
def test_one_page_of_15_megapixels(benchmark: Any, variant: str) -> None:
    kind, channels, options = VARIANTS[variant]
    data = encoded(scan(WIDTH, HEIGHT, channels=channels), kind, **options)
    benchmark.extra_info["megabytes"] = round(len(data) / 1e6, 1)
    if len(data) > 60_000_000:
        pytest.skip(f"{variant} of this page is over the limit")
    intake = benchmark.pedantic(lambda: take_in(io.BytesIO(data)), rounds=3, warmup_rounds=1)
    assert (intake.width, intake.height) == (WIDTH, HEIGHT)


def test_28_pages_of_15_megapixels_two_at_a_time(benchmark: Any) -> None:
    page = np.asarray(scan(WIDTH, HEIGHT))
    pages = [encoded(Image.fromarray(np.roll(page, 37 * turn, axis=0)), "JPEG", quality=90) for turn in range(28)]

    def issue() -> int:
        with ThreadPoolExecutor(2) as pool:
            return len({intake.sha256 for intake in pool.map(lambda data: take_in(io.BytesIO(data)), pages)})

    benchmark.extra_info["megabytes"] = round(sum(map(len, pages)) / 1e6, 1)
    assert benchmark.pedantic(issue, rounds=3) == 28


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_one_picture_of_100_megapixels(benchmark: Any, kind: str) -> None:
    options: dict[str, Any] = {"quality": 80} if kind == "JPEG" else {"compress_level": 6}
    # Grain on the upper part only, since a PNG of this size that is all grain is far beyond 60 MB.
    image = scan(1000, 1000, 1).resize((10_000, 10_000), Image.Resampling.NEAREST)
    image.paste(scan(10_000, 2_500), (0, 0))
    data = encoded(image, kind, **options)
    benchmark.extra_info["megabytes"] = round(len(data) / 1e6, 1)
    intake = benchmark.pedantic(lambda: take_in(io.BytesIO(data)), rounds=3)
    assert intake.screen_size == (2400, 2400)


def test_a_refusal_from_the_header(benchmark: Any) -> None:
    data = encoded(Image.new("1", (10_001, 10_000)), "PNG")

    def refused() -> str:
        with pytest.raises(ValueError, match="limit") as caught:
            take_in(io.BytesIO(data))
        return str(caught.value)

    assert "100.0 megapixels" in benchmark.pedantic(refused, rounds=10)


def test_reading_an_accepted_original_at_full_size(benchmark: Any) -> None:
    data = encoded(scan(WIDTH, HEIGHT), "JPEG", quality=90)
    result = benchmark.pedantic(lambda: read_upright(io.BytesIO(data)), rounds=3)
    assert result.image.size == (WIDTH, HEIGHT)
