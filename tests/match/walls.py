"""A wall of coloured tiles as two cameras film it, for matching and checking without a chart."""

from __future__ import annotations

from typing import Any

import numpy as np

from lookkit.match.frames import Exposure, Footage
from lookkit.spaces.encodings import encoding
from tests.match import simulation as sim

Array = np.ndarray[Any, np.dtype[np.float64]]

HEIGHT, WIDTH = 720, 1280


def wall(rng: np.random.Generator) -> tuple[Array, Array]:
    """Overlapping coloured tiles: which spectrum is where, and the spectra at their brightness."""
    import cv2

    labels = np.zeros((HEIGHT, WIDTH), dtype=np.int32)
    for label in range(1, 420):
        middle = rng.uniform([0, 0], [WIDTH, HEIGHT])
        size = rng.uniform(40, 120, size=2)
        box = cv2.boxPoints((middle, size, rng.uniform(0, 90)))
        cv2.fillPoly(labels, [box.astype(np.int32)], label)
    spectra = sim.training_spectra()[rng.integers(0, 190, 420)]
    return labels, spectra * 2.0 ** rng.uniform(-3.0, 0.3, size=(420, 1))


def filmed(camera_a: sim.CameraA, camera_b: sim.CameraB, seed: int = 4) -> tuple[Array, Array]:
    """Codes of camera A straight on, and of B from the side, 75 % overlap, with a moving thing."""
    import cv2

    rng = np.random.default_rng(seed)
    labels, spectra = wall(rng)
    texture = 2.0 ** (0.06 * rng.normal(size=(HEIGHT // 4, WIDTH // 4)))
    texture = cv2.resize(texture, (WIDTH, HEIGHT))[..., None]
    a = camera_a.truth(spectra)[labels] * texture
    b = camera_b.linear(spectra, 0.0)[labels] * texture
    warp = np.array([[0.95, 0.06, -120.0], [-0.04, 0.97, 60.0], [1e-5, 2e-5, 1.0]])
    b = cv2.warpPerspective(b, warp, (WIDTH, HEIGHT), borderMode=cv2.BORDER_REFLECT)
    b[300:520, 500:760] = camera_b.linear(spectra[:1], 0.0)[0]
    b = b + rng.normal(size=b.shape) * 0.006 * np.sqrt(np.maximum(b, 0) + 0.02)
    return camera_a.codes(a, rng), sim.through_video(camera_b.signal(b))


def footage(a: Array, b: Array) -> tuple[Footage, Footage]:
    """Both cameras' frames as a match takes them."""
    return (
        Footage("A", (Exposure(a, files=("a.dpx",)),), encoding("LogC4")),
        Footage("B", (Exposure(b, files=("b.mov",), bits=8, range="legal"),)),
    )
