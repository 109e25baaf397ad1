"""Pictures with and without a chart, drawn for the tests of finding it.

The chart is drawn from the published values that colour-science ships, not from the
package's own table.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

Array = np.ndarray[Any, np.dtype[np.float64]]

SWATCH, GAP, FRAME = 40, 6, 14
"""Pixels of the drawing: a swatch, the line between, the frame around."""


@cache
def chart_colours() -> Array:
    """Linear BT.709 of the 24 patches, (24, 3)."""
    import colour

    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    xyz = colour.xyY_to_XYZ(list(chart.data.values()))
    return np.asarray(colour.XYZ_to_RGB(xyz, "ITU-R BT.709", chart.illuminant))


def draw_chart(colours: Array, swatch: int = SWATCH, gap: int = GAP) -> tuple[Array, Array]:
    """The chart seen straight on, and its outer patch corners in pixels (4, 2)."""
    wide, high = 6 * swatch + 5 * gap, 4 * swatch + 3 * gap
    picture = np.full((high + 2 * FRAME, wide + 2 * FRAME, 3), 0.028)
    for index, colour in enumerate(colours):
        row, column = divmod(index, 6)
        y, x = FRAME + row * (swatch + gap), FRAME + column * (swatch + gap)
        picture[y : y + swatch, x : x + swatch] = colour
    corners = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], dtype=float) + FRAME
    return picture, corners


def clutter(rng: np.random.Generator, height: int, width: int) -> Array:
    """A background: a gradient with rectangles and discs, linear light, no chart."""
    import cv2

    y, x = np.mgrid[0:height, 0:width]
    ends = rng.uniform(0.02, 0.5, size=(2, 3))
    blend = ((x / width) * rng.uniform(0, 1) + (y / height))[..., None] / 2.0
    picture = ends[0] * (1 - blend) + ends[1] * blend
    for _ in range(rng.integers(8, 24)):
        colour = rng.uniform(0.01, 0.8, size=3) * rng.uniform(0.2, 1.0)
        place = rng.uniform([0, 0], [width, height])
        size = rng.uniform(0.03, 0.15) * width
        if rng.random() < 0.5:
            box = cv2.boxPoints((place, (size, size * rng.uniform(0.5, 1.5)), rng.uniform(0, 90)))
            cv2.fillPoly(picture, [box.astype(np.int32)], colour.tolist())
        else:
            cv2.circle(picture, place.astype(int).tolist(), int(size / 2), colour.tolist(), -1)
    return np.asarray(picture)


def squares_but_no_chart(rng: np.random.Generator, height: int, width: int) -> Array:
    """A 6 x 4 grid of squares in random colours, or a window with panes: not the chart."""
    picture = clutter(rng, height, width)
    drawn, _ = draw_chart(rng.uniform(0.01, 0.9, size=(24, 3)))
    y = int(rng.integers(0, height - drawn.shape[0]))
    x = int(rng.integers(0, width - drawn.shape[1]))
    picture[y : y + drawn.shape[0], x : x + drawn.shape[1]] = drawn
    return picture


@dataclass(frozen=True)
class Scene:
    """A picture in code values, and where the chart's outer corners are, (4, 2)."""

    picture: Array
    corners: Array


def random_scene(seed: int) -> Scene:
    """A chart anywhere: turned, tilted, mirrored, log or gamma, dark or bright, portrait."""
    rng = np.random.default_rng(seed)
    height, width = (1080, 1920) if rng.random() < 0.75 else (1920, 1080)
    return scene_with(rng, height, width)


def scene_with(
    rng: np.random.Generator,
    height: int,
    width: int,
    *,
    colours: Array | None = None,
    tilt: float = 0.12,
    mirrored: bool | None = None,
    log: bool | None = None,
    stops: float | None = None,
) -> Scene:
    """Place the chart somewhere whole in a cluttered picture."""
    import cv2

    drawn, own = draw_chart(chart_colours() if colours is None else colours)
    outline = np.array(
        [[0, 0], [drawn.shape[1], 0], [drawn.shape[1], drawn.shape[0]], [0, drawn.shape[0]]],
        dtype=float,
    )
    flip = rng.random() < 0.2 if mirrored is None else mirrored
    while True:
        scale = rng.uniform(0.25, 0.75) * min(height, width) / drawn.shape[0]
        angle = rng.uniform(0, 2 * np.pi)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        local = (outline - outline.mean(axis=0)) * scale * np.array([-1.0 if flip else 1.0, 1.0])
        local *= 1.0 + rng.uniform(-tilt, tilt, size=(4, 1))
        placed = local @ turn.T + rng.uniform([0, 0], [width, height])
        if (placed > 4).all() and (placed < np.array([width, height]) - 4).all():
            break
    matrix = cv2.getPerspectiveTransform(outline.astype(np.float32), placed.astype(np.float32))
    background = clutter(rng, height, width)
    mask = cv2.warpPerspective(
        np.ones(drawn.shape[:2]), matrix, (width, height), flags=cv2.INTER_AREA
    )[..., None]
    warped = cv2.warpPerspective(drawn, matrix, (width, height), flags=cv2.INTER_LINEAR)
    light = background * (1 - mask) + warped * mask
    y, x = np.mgrid[0:height, 0:width]
    slope = rng.uniform(-0.25, 0.25, size=2)
    light = light * (1 + slope[0] * (x / width - 0.5) + slope[1] * (y / height - 0.5))[..., None]
    light = light * 2.0 ** (rng.uniform(-2.5, 0.8) if stops is None else stops)
    light = light * 2.0 ** rng.uniform(-0.4, 0.4, size=3)
    light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.4, 1.6))
    light = light + rng.normal(size=light.shape) * 0.01 * np.sqrt(np.maximum(light, 0) + 0.01)
    if rng.random() < 0.4 if log is None else log:
        code = 0.28 + 0.075 * np.log2(np.maximum(light, 1e-4) / 0.18 + 0.02)
    else:
        code = np.maximum(light, 0.0) ** 0.45
    picture = np.round(np.clip(code, 0.0, 1.0) * 255.0) / 255.0
    homogeneous = np.concatenate([own, np.ones((4, 1))], axis=1) @ matrix.T
    return Scene(picture, homogeneous[:, :2] / homogeneous[:, 2:])
