"""Frames before and after, made: log codes, and the same through a look as one finds them."""

from pathlib import Path

import cv2
import numpy as np

from lookkit.accuracy.samples import image_like
from lookkit.look import Look
from lookkit.spaces.encodings import encoding

WIDE, HIGH = 720, 480


def painted(seed: int) -> np.ndarray:
    """Scene light of even shapes over each other, with a little texture, AP1."""
    rng = np.random.default_rng(seed)
    light = image_like(rng, 512)
    picture = np.broadcast_to(light[0], (HIGH, WIDE, 3)).copy()
    for colour in light[1:160]:
        mask = np.zeros((HIGH, WIDE), np.uint8)
        centre = rng.uniform(0, [WIDE, HIGH])
        corners = centre + rng.uniform(-70, 70, (5, 2))
        cv2.fillPoly(mask, [cv2.convexHull(corners.astype(np.int32))], 1)
        picture[mask == 1] = colour
    return np.maximum(picture, 0.001) * np.exp(rng.normal(0, 0.01, (HIGH, WIDE, 1)))


def write_pair(
    look: Look,
    scene: np.ndarray,
    name: str,
    before: Path,
    after: Path,
    *,
    jpeg: bool = False,
    seed: int = 0,
    window: bool = True,
) -> np.ndarray:
    """Write a frame before, and after: half size, three pixels off, noise, a window of its own.

    Returns which pixels the window touched.
    """
    rng = np.random.default_rng(seed)
    code = np.clip(encoding("LogC4").encode(scene), 0.0, 1.0)
    high, wide = code.shape[:2]
    touched = np.zeros((high, wide), bool)
    light = scene.copy()
    if window:
        y, x = np.mgrid[:high, :wide]
        shape = ((x - 0.3 * wide) / (0.18 * wide)) ** 2 + ((y - 0.45 * high) / (0.25 * high)) ** 2
        part = np.clip(1.4 - shape, 0.0, 0.4) / 0.4
        touched = part > 0.2
        light = scene * np.exp2(0.8 * part)[..., None] * (1 + part[..., None] * [0.1, 0.0, -0.1])
    graded = np.clip(encoding("LogC4").encode(light), 0.0, 1.0)
    signal = look.evaluate(graded, camera="A", output="main")
    moved = np.roll(signal, (3, -3), axis=(0, 1)).astype(np.float32)
    small = cv2.resize(moved, (wide // 2, high // 2), interpolation=cv2.INTER_AREA)
    small = small + rng.normal(0, 0.004, small.shape)
    if jpeg:
        cv2.imwrite(str(before / f"{name}.jpg"), _bytes(code), [cv2.IMWRITE_JPEG_QUALITY, 92])
    else:
        tens = np.rint(code * 1023) / 1023
        cv2.imwrite(str(before / f"{name}.png"), np.rint(tens * 65535).astype(np.uint16)[..., ::-1])
    cv2.imwrite(str(after / f"{name}.jpg"), _bytes(small), [cv2.IMWRITE_JPEG_QUALITY, 92])
    return touched


def _bytes(signal: np.ndarray) -> np.ndarray:
    return np.rint(np.clip(signal, 0, 1) * 255).astype(np.uint8)[..., ::-1]
