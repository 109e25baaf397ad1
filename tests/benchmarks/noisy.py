"""Noisy pictures in a camera's log, for benchmarks: photographs where there are samples.

The photographs are scene-linear (OpenEXR's sample images and Radiance panoramas); their numbers
are taken for AP1 light, put at mid-grey in the mean, and get noise as a sensor adds it: its
variance is that of reading plus one that grows with light, 3 % of mid-grey at mid-grey and 0.15 %
in the dark (common practice, no source).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from lookkit.look import Look

NAMES = ("exr/StillLife.exr", "exr/Carrots.exr", "exr/Desk.exr", "exr/Cannon.exr",
         "hdr/dikhololo_night.hdr", "hdr/forest_slope.hdr", "hdr/lebombo.hdr")  # fmt: skip


def scenes(width: int, height: int) -> Iterator[tuple[str, np.ndarray]]:
    """Yield names and pictures, scene light of shape (height, width, 3)."""
    samples = os.environ.get("LOOKKIT_SAMPLES")
    if not samples:
        yield "soft colours and lamps (no LOOKKIT_SAMPLES)", _made(width, height)
        return
    import OpenImageIO as oiio

    for name in NAMES:
        light = np.asarray(oiio.ImageBuf(str(Path(samples) / name)).get_pixels(oiio.FLOAT))
        light = np.clip(light[..., :3], 0.0, 60.0)
        rows, columns = light.shape[:2]
        scale = max(width / columns, height / rows)
        down = ((np.arange(height) + 0.5) / scale + (rows - height / scale) / 2).astype(int)
        across = ((np.arange(width) + 0.5) / scale + (columns - width / scale) / 2).astype(int)
        light = light[down.clip(0, rows - 1)][:, across.clip(0, columns - 1)]
        yield name, light * (0.18 / np.exp(np.log(light.mean(axis=-1) + 1e-3).mean()))


def _made(width: int, height: int) -> np.ndarray:
    y, x = np.mgrid[0:height, 0:width] / height
    stops = [3.0 * np.sin(x * (3 + k)) * np.cos(y * (5 - k)) for k in range(3)]
    light = 0.18 * 2.0 ** np.stack(stops, axis=-1)
    light[(x - 1.2) ** 2 + (y - 0.3) ** 2 < 0.01] = (9.0, 0.8, 0.1)
    return light


def noisy(look: Look, camera: str, light: np.ndarray, seed: int) -> np.ndarray:
    """Return a picture as the camera's code, 0-1, with noise."""
    random = np.random.default_rng(seed)
    deviation = np.sqrt(0.03**2 * 0.18 * light + 0.0015**2)
    taken = light + random.normal(0.0, 1.0, light.shape) * deviation
    code: np.ndarray = np.clip(look.graph.input_transform(camera).inverse(taken), 0.0, 1.0)
    return code
