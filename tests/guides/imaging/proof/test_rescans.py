"""Marks on a new scan of their page: known warps, a redrawn panel, a scan cut off, another page."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from guides.imaging.proof.registration import NotRegistered, Refusal, project
from guides.imaging.proof.rescans import lay
from tests.guides.imaging.proof.proof_generator import draw_page, paint_guide

Picture = npt.NDArray[np.uint8]


@cache
def page(seed: int) -> tuple[Picture, npt.NDArray[np.float64]]:
    """A painted page of the tests' own generator, and its marks in fractions."""
    drawn = draw_page(seed, 667, 1000)
    painted = paint_guide(drawn, seed)
    height, width = painted.shape[:2]
    at = np.array([[mark.x, mark.y] for mark in drawn.marks]) + 0.5
    return painted, at / [width, height]


def scanned_again(picture: Picture, angle: float, scale: float, shift: tuple[float, float]) -> tuple[Picture, object]:
    """The picture turned about its centre, as another scanner sees it: warmer, noisier, JPEG."""
    height, width = picture.shape[:2]
    turn = np.vstack([cv2.getRotationMatrix2D((width / 2, height / 2), angle, scale), [0, 0, 1]])
    turn[:2, 2] += [shift[0] * width + (scale - 1) * width / 2, shift[1] * height + (scale - 1) * height / 2]
    size = (round(width * scale), round(height * scale))
    scan = cv2.warpPerspective(picture, turn, size, flags=cv2.INTER_AREA, borderValue=(238, 232, 220))
    noise = np.random.default_rng(5).normal(0, 4, scan.shape)
    scan = np.clip(scan * np.array([0.96, 0.95, 0.88]) + 6 + noise, 0, 255).astype(np.uint8)
    scan = cv2.imdecode(cv2.imencode(".jpg", scan, [cv2.IMWRITE_JPEG_QUALITY, 88])[1], cv2.IMREAD_COLOR)
    return np.asarray(scan), turn


def truth(picture: Picture, turn: object, scan: Picture, at: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    px = at * picture.shape[1::-1] - 0.5
    return np.asarray((project(np.asarray(turn), px) + 0.5) / scan.shape[1::-1])


@pytest.mark.parametrize(
    ("angle", "scale", "shift"), [(1.2, 1.0, (0.01, -0.02)), (-0.6, 1.5, (0.0, 0.01)), (180.4, 0.8, (0.0, 0.0))]
)
def test_marks_follow_a_known_turn(angle: float, scale: float, shift: tuple[float, float]) -> None:
    """The turn is ours and known exactly: nobody's registration judges itself here."""
    picture, at = page(3)
    scan, turn = scanned_again(picture, angle, scale, shift)
    laid = lay(picture, scan, at)
    miss = np.linalg.norm((laid.points - truth(picture, turn, scan, at)) * scan.shape[1::-1], axis=1) / scale
    assert np.median(miss) < 1.0
    assert miss.max() < 4.0
    assert laid.sure[laid.inside].mean() >= 0.95


def test_a_grey_scan_is_laid_too() -> None:
    picture, at = page(3)
    grey = np.repeat(picture.mean(axis=2, keepdims=True), 3, axis=2).astype(np.uint8)
    laid = lay(picture, grey, at)
    assert np.abs((laid.points - at) * picture.shape[1::-1]).max() < 2.0


def test_a_redrawn_panel_is_unsure_and_the_rest_is_sure() -> None:
    picture, at = page(3)
    other, _ = page(4)
    redrawn = picture.copy()
    third = picture.shape[0] // 3
    redrawn[:third] = cv2.resize(other, picture.shape[1::-1])[-third:]
    laid = lay(picture, redrawn, at)
    edge = 0.05
    within, away = at[:, 1] < 1 / 3 - edge, at[:, 1] > 1 / 3 + edge
    assert within.sum() >= 5
    assert away.sum() >= 5
    assert laid.sure[within].mean() <= 0.25
    assert laid.sure[away].mean() >= 0.95


def test_what_is_cut_off_falls_outside() -> None:
    picture, at = page(3)
    kept = round(picture.shape[0] * 0.85)
    laid = lay(picture, picture[:kept], at)
    away = np.abs(at[:, 1] - 0.85) > 0.01
    assert (laid.inside == (at[:, 1] <= 0.85))[away].all()
    assert not laid.sure[~laid.inside].any()


def test_another_page_is_refused_in_words() -> None:
    picture, at = page(3)
    with pytest.raises(NotRegistered) as refusal:
        lay(picture, page(4)[0], at)
    assert refusal.value.reason is Refusal.OTHER_PAGE


def test_a_blank_sheet_is_refused_in_words() -> None:
    picture, at = page(3)
    with pytest.raises(NotRegistered) as refusal:
        lay(picture, np.full_like(picture, 244), at)
    assert refusal.value.reason is Refusal.BLANK
    assert "blank" in str(refusal.value)
