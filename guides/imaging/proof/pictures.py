"""A proof drawn on its guide's pixels, so that both can be wiped and blinked at the same place."""

from __future__ import annotations

import io

import numpy as np
import numpy.typing as npt

from guides.imaging.proof.registration import Picture, Registration

OFF_THE_SCAN = (138, 138, 138)
"""Neutral grey where the scan shows nothing: the stage's own."""

JPEG_QUALITY = 86

STRIDE = 24
"""Guide px between places whose map is worked out exactly; the field of line patches is smoother than that."""


def laid_over(guide_size: tuple[int, int], proof: Picture, registration: Registration) -> Picture:
    """The proof (RGB uint8) on the pixels of a guide of (width, height), grey where the scan ends."""
    import cv2

    width, height = guide_size
    across = np.linspace(0, width - 1, max(2, width // STRIDE + 1))
    down = np.linspace(0, height - 1, max(2, height // STRIDE + 1))
    grid = np.stack(np.meshgrid(across, down), -1)
    coarse = registration.to_proof(grid.reshape(-1, 2)).reshape(*grid.shape)
    rows, columns = _between(len(down), height), _between(len(across), width)
    where = [(rows @ coarse[..., axis] @ columns.T).astype(np.float32) for axis in (0, 1)]
    return np.asarray(
        cv2.remap(
            proof, where[0], where[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=OFF_THE_SCAN
        )
    )


def _between(nodes: int, count: int) -> npt.NDArray[np.float64]:
    """Weights (count, nodes) that interpolate between nodes spread evenly over ``count`` pixels, ends included."""
    place = np.arange(count) * ((nodes - 1) / max(count - 1, 1))
    return np.clip(1.0 - np.abs(place[:, None] - np.arange(nodes)), 0.0, 1.0)


def jpeg(picture: Picture) -> bytes:
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=JPEG_QUALITY)
    return out.getvalue()
