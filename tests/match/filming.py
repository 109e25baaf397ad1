"""Frames of the chart as the two simulated cameras film it, and clips of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from tests.match.scenes import draw_chart
from tests.match.simulation import (
    CameraA,
    CameraB,
    chart_spectra,
    from_planes,
    to_planes,
)

Array = np.ndarray[Any, np.dtype[np.float64]]

HEIGHT, WIDTH = 360, 640
A_CORNERS = np.array([[150.0, 70.0], [470.0, 84.0], [462.0, 296.0], [158.0, 290.0]])
B_CORNERS = np.array([[500.0, 306.0], [170.0, 300.0], [182.0, 80.0], [492.0, 66.0]])
"""Where the chart's outer corners are in each camera's picture: B's is upside down."""


def view(colours: Array, corners: Array, around: Array, unevenness: Array | float = 1.0) -> Array:
    """Linear light of the chart in a picture, (HEIGHT, WIDTH, 3).

    `colours` (24, 3) and `around` (3,) are in the camera's own linear light; `unevenness`
    multiplies the patches' light on the chart, broadcast to its drawing.
    """
    import cv2

    swatch, gap = 60, 9
    drawn, own = draw_chart(colours, swatch, gap)
    drawn = drawn * unevenness
    matrix = cv2.getPerspectiveTransform(own.astype(np.float32), corners.astype(np.float32))
    size = (WIDTH, HEIGHT)
    mask = cv2.warpPerspective(np.ones(drawn.shape[:2]), matrix, size, flags=cv2.INTER_LINEAR)
    warped = cv2.warpPerspective(drawn, matrix, size, flags=cv2.INTER_LINEAR)
    return np.asarray(around * (1.0 - mask[..., None]) + warped)


def ramp(rise: float) -> Array:
    """Light that rises by that many stops from the left to the right of the drawn chart."""
    width = draw_chart(np.ones((24, 3)), 60, 9)[0].shape[1]
    return np.asarray(2.0 ** (rise * (np.arange(width) / width - 0.5)))[None, :, None]


def frame_a(camera: CameraA, stops: float, rng: np.random.Generator, **how: Any) -> Array:
    """10-bit LogC4 codes of the chart."""
    level = 2.0**stops
    around = np.full(3, 0.12)
    light = view(camera.truth(chart_spectra()), A_CORNERS, around, **how)
    return camera.codes(light * level, rng)


def signal_b(
    camera: CameraB,
    stops: float,
    rng: np.random.Generator,
    glare: dict[int, float] | None = None,
    corners: Array = B_CORNERS,
    **how: Any,
) -> Array:
    """R'G'B' signal of the chart, before it is stored as video."""
    level = 2.0 ** (camera.stops + stops)
    chart = camera.linear(chart_spectra(), stops)
    for patch, amount in (glare or {}).items():
        chart[patch] += amount * level
    light = view(chart, corners, np.full(3, 0.12) * level, **how)
    grain = rng.normal(size=light.shape) * camera.noise * np.sqrt(np.maximum(light, 0.0) + 0.02)
    return camera.signal(light + grain)


def frame_b(camera: CameraB, stops: float, rng: np.random.Generator, **how: Any) -> Array:
    """8-bit legal-range codes of the chart; 0-1 spans the integers."""
    return from_planes(*to_planes(signal_b(camera, stops, rng, **how)))


def write_clip(path: Path, signals: list[Array]) -> None:
    """Store signals as a lossless clip, 8-bit limited-range 4:2:0, BT.709 (FFV1)."""
    import av

    with av.open(str(path), "w") as container:
        height, width = signals[0].shape[:2]
        stream = container.add_stream("ffv1", rate=24)
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        stream.codec_context.color_range = 1
        stream.codec_context.colorspace = 1
        for signal in signals:
            planes = [plane.astype(np.uint8) for plane in to_planes(signal)]
            whole = np.concatenate([plane.ravel() for plane in planes])
            frame = av.VideoFrame.from_ndarray(
                whole.reshape(height * 3 // 2, width), format="yuv420p"
            )
            frame.color_range, frame.colorspace = 1, 1
            container.mux(stream.encode(frame))
        container.mux(stream.encode())


def write_codes(path: Path, codes: Array) -> None:
    """Write codes as a 16-bit PNG."""
    from lookkit.media.stills import write_still

    write_still(path, codes.astype(np.float32), bits=16)
