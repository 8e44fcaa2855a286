"""Registration against known warps of pictures that scikit-image carries, and of pages of our own."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest

from guides.imaging.proof.registration import NotRegistered, Refusal, project, register
from tests.guides.imaging.proof.proof_generator import draw_page, paint_guide

Picture = np.ndarray

LOADED = pytest.importorskip("skimage.data")


@cache
def _picture(name: str) -> Picture:
    picture = np.asarray(getattr(LOADED, name)())
    if picture.ndim == 2:
        picture = np.repeat(picture[..., None], 3, axis=2)
    size = (1000, round(1000 * picture.shape[0] / picture.shape[1]))
    return np.ascontiguousarray(cv2.resize(picture[..., :3], size, interpolation=cv2.INTER_CUBIC))


def _warp(angle: float, scale: float, tilt: tuple[float, float], size: tuple[int, int]) -> np.ndarray:
    width, height = size
    centre = np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1.0]])
    c, s = scale * np.cos(np.radians(angle)), scale * np.sin(np.radians(angle))
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    lean = np.array([[1, 0, 0], [0, 1, 0], [tilt[0] / width, tilt[1] / height, 1.0]])
    reach = 1.15 * scale * np.hypot(width, height) / 2
    return np.array([[1, 0, reach], [0, 1, reach], [0, 0, 1.0]]) @ lean @ turn @ centre


def _print_like(picture: Picture, warp: np.ndarray, scale: float) -> Picture:
    """Another exposure, noise and JPEG: pixels alike would prove nothing."""
    height, width = picture.shape[:2]
    side = int(2.3 * scale * np.hypot(width, height) / 2)
    scan = cv2.warpPerspective(picture, warp, (side, side), flags=cv2.INTER_AREA, borderValue=(235, 228, 205))
    rng = np.random.default_rng(3)
    light = rng.standard_normal(scan.shape, dtype=np.float32)
    light *= 5
    light += cv2.transform(scan.astype(np.float32), np.diag([0.92, 0.88, 0.74])) + 8
    scan = np.clip(light, 0, 255, out=light).astype(np.uint8)
    return np.asarray(cv2.imdecode(cv2.imencode(".jpg", scan, [cv2.IMWRITE_JPEG_QUALITY, 85])[1], cv2.IMREAD_COLOR))


@pytest.mark.parametrize("name", ["chelsea", "coffee", "astronaut"])
@pytest.mark.parametrize(("angle", "scale"), [(0.7, 1.0), (-3.0, 1.4), (90.5, 0.8), (181.0, 1.0)])
def test_known_warps_of_photographs(name: str, angle: float, scale: float) -> None:
    """Photographs carried by scikit-image (skimage.data); the warp is known exactly."""
    picture = _picture(name)
    height, width = picture.shape[:2]
    warp = _warp(angle, scale, (0.02, -0.015), (width, height))
    found = register(picture, _print_like(picture, warp, scale))
    points = np.stack(np.meshgrid(np.linspace(80, width - 80, 7), np.linspace(80, height - 80, 7)), -1).reshape(-1, 2)
    error = np.linalg.norm(found.to_proof(points) - project(warp, points), axis=1) / scale
    assert np.median(error) < 0.6
    assert np.percentile(error, 95) < 1.4
    turned = (angle + 180) % 360 - 180
    assert abs((found.turned - turned + 180) % 360 - 180) < 3


@pytest.fixture(scope="module")
def guide() -> Picture:
    return paint_guide(draw_page(11, 640, 960, 10), 11)


def _refusal(guide: Picture, proof: Picture) -> Refusal:
    with pytest.raises(NotRegistered) as caught:
        register(guide, proof)
    assert len(str(caught.value)) > 15
    return caught.value.reason


def test_another_page_is_refused(guide: Picture) -> None:
    for seed in (12, 13, 14):
        other = paint_guide(draw_page(seed, 640, 960, 10), seed)
        assert _refusal(guide, other) is Refusal.OTHER_PAGE


def test_another_page_with_the_same_panels_is_refused() -> None:
    """The grid of panels alone must not pass for the page."""
    pages = [draw_page(seed, 640, 960, 10) for seed in (21, 22)]
    pictures = [paint_guide(page, 3) for page in pages]
    for picture in pictures:
        for box in ((30, 30, 610, 460), (30, 480, 300, 920), (320, 480, 610, 920)):
            cv2.rectangle(picture, box[:2], box[2:], (0, 0, 0), 5)
    assert _refusal(pictures[0], pictures[1]) is Refusal.OTHER_PAGE


def test_a_photograph_is_no_page(guide: Picture) -> None:
    assert _refusal(guide, _picture("astronaut")) is Refusal.OTHER_PAGE


def test_blank_sheets_are_refused(guide: Picture) -> None:
    rng = np.random.default_rng(1)
    sheet = np.clip(rng.normal((236, 229, 205), 3, (900, 600, 3)), 0, 255).astype(np.uint8)
    assert _refusal(guide, sheet) in (Refusal.BLANK, Refusal.NO_COLOUR)
    assert _refusal(guide, np.full((900, 600, 3), 255, np.uint8)) is Refusal.BLANK


@pytest.mark.parametrize("tint", [(1.0, 1.0, 1.0), (1.0, 0.95, 0.8)])
def test_black_and_white_is_refused(guide: Picture, tint: tuple[float, float, float]) -> None:
    grey = np.repeat(cv2.cvtColor(guide, cv2.COLOR_RGB2GRAY)[..., None], 3, axis=2)
    assert _refusal(guide, (grey * np.array(tint)).astype(np.uint8)) is Refusal.NO_COLOUR


def test_a_thumbnail_is_refused(guide: Picture) -> None:
    small = cv2.resize(guide, (20, 30), interpolation=cv2.INTER_AREA)
    assert _refusal(guide, small) is Refusal.TOO_SMALL


def test_one_panel_of_the_page_is_refused(guide: Picture) -> None:
    height, width = guide.shape[:2]
    panel = cv2.resize(guide[: height // 3, : width // 2], None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    assert _refusal(guide, panel) in (Refusal.CROPPED, Refusal.OTHER_PAGE)


def test_a_mirrored_scan_is_refused(guide: Picture) -> None:
    assert _refusal(guide, np.ascontiguousarray(guide[:, ::-1])) in (Refusal.MIRRORED, Refusal.OTHER_PAGE)


def test_four_points_by_hand(guide: Picture) -> None:
    height, width = guide.shape[:2]
    warp = _warp(2.0, 1.2, (0.03, 0.02), (width, height))
    proof = _print_like(guide, warp, 1.2)
    points = np.array([[60, 60], [width - 60, 70], [width - 70, height - 60], [50, height - 70]], float)
    rough = project(warp, points) + np.array([[3, -2], [-2, 3], [2, 2], [-3, -3]])  # a hand is a few px off
    found = register(guide, proof, (points, rough))
    assert found.by_hand
    error = np.linalg.norm(found.to_proof(points) - project(warp, points), axis=1)
    assert error.max() < 1.5


@pytest.mark.parametrize(
    "points",
    [
        [(10, 10), (20, 20), (30, 30), (40, 40)],
        [(10, 10), (600, 10), (600, 900)],
        [(10, 10), (600, 10), (float("nan"), 900), (10, 900)],
    ],
)
def test_points_that_give_no_map_are_refused(guide: Picture, points: list[tuple[float, float]]) -> None:
    with pytest.raises(NotRegistered) as caught:
        register(guide, guide, (points, points))
    assert caught.value.reason is Refusal.BAD_POINTS
