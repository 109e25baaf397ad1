"""The 24-patch chart: standing in the scene, and filling the frame for camera matching."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pottery.render import Glow
from pottery.solids import Solid, Surface, block, placed, turned, vec
from pottery.spectra import CHANNELS, SKINS, chart_names

GAP = 0.16
"""Width of the black between two patches, in patches."""
BORDER = 0.34
"""Width of the black about the patches, in patches."""
WIDE = 6 + 5 * GAP
TALL = 4 + 3 * GAP
_STRIP = 1.15


def patch_centres() -> np.ndarray:
    """Return centres of the 24 patches in reading order, (24, 2), in patches from the corner."""
    rows, columns = np.divmod(np.arange(24), 6)
    return np.stack([columns, rows], axis=1) * (1 + GAP) + 0.5


def patch_index(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Return the patch at u right and v down from the grid's corner, or 24 for the card."""
    column, row = np.floor(u / (1 + GAP)), np.floor(v / (1 + GAP))
    inside = (u - column * (1 + GAP) < 1) & (v - row * (1 + GAP) < 1)
    inside &= (column >= 0) & (column < 6) & (row >= 0) & (row < 4)
    return np.where(inside, row * 6 + column, 24).astype(int)


@dataclass
class SceneChart:
    """A chart in a holder, with four skin-like patches below."""

    solid: Solid
    corners: np.ndarray
    board: np.ndarray
    centres: np.ndarray
    skins: np.ndarray
    normal: np.ndarray
    grey: np.ndarray


def scene_chart(
    at: tuple[float, float, float], width: float, yaw: float, pitch: float, roll: float = 0.0
) -> SceneChart:
    """Return a chart `width` metres wide whose foot stands at `at`, leaning by `pitch`."""
    unit = width / (WIDE + 2 * BORDER)
    high = (TALL + 2 * BORDER + _STRIP) * unit
    turn = turned(yaw, -pitch, roll)
    half = (width / 2, high / 2, 0.006)
    middle = np.asarray(at, np.float32) + turn @ vec(0, high / 2, 0)
    names = (*chart_names(), "black card", *SKINS)

    def paint(p: np.ndarray, n: np.ndarray) -> Surface:
        u = (p[0] + width / 2) / unit - BORDER
        v = (high / 2 - p[1]) / unit - BORDER
        patch = patch_index(u, v)
        below = v - TALL - BORDER * 0.9
        slot = u / (WIDE / 4)
        inner = slot - np.floor(slot)
        skin = (below > 0) & (below < 0.9) & (inner > 0.08) & (inner < 0.92)
        skin &= (slot > 0) & (slot < 4)
        patch = np.where(skin, 25 + np.clip(slot, 0, 3).astype(int), patch)
        patch = np.where(n[2] > 0.5, patch, 24)
        return Surface(names, np.eye(len(names), dtype=np.float32)[patch])

    solid = placed(
        "chart",
        lambda p: block(p, half, 0.002),
        ((-half[0], -half[1], -half[2]), half),
        tuple(middle),
        turn,
        paint,
    )

    def world(points: np.ndarray) -> np.ndarray:
        """Grid units to world points (3, n)."""
        local = np.stack(
            [
                (points[:, 0] + BORDER) * unit - width / 2,
                high / 2 - (points[:, 1] + BORDER) * unit,
                np.full(len(points), half[2]),
            ]
        )
        return (turn @ local + middle[:, np.newaxis]).astype(np.float32)

    b = BORDER
    grid = np.array([[0, 0], [WIDE, 0], [WIDE, TALL], [0, TALL]], float)
    card = np.array([[-b, -b], [WIDE + b, -b], [WIDE + b, TALL + b], [-b, TALL + b]])
    skins = np.stack([(np.arange(4) + 0.5) * WIDE / 4, np.full(4, TALL + b * 0.9 + 0.45)], 1)
    spread = np.linspace(-0.3, 0.3, 4)
    patch = np.array([[x, y] for x in spread for y in spread])
    return SceneChart(
        solid,
        world(grid),
        world(card),
        world(patch_centres()),
        world(skins),
        turn @ vec(0, 0, 1),
        world(patch + patch_centres()[21]),
    )


def bracket_picture(
    light: Glow,
    emitted: dict[str, np.ndarray],
    reflected: dict[str, Callable[[tuple[str, ...]], np.ndarray]],
    width: int,
    height: int,
    tilt: int,
) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Return a frame filled by the chart (height, width, 12) and its pixel positions.

    The chart is tilted a little (`tilt` picks how), the light falls off by .06 stop.
    """
    names = (*chart_names(), "black card", "plaster stain")
    rows = np.zeros((len(names), CHANNELS), dtype=np.float32)
    for source, amount in light.items():
        rows += reflected[source](names) * np.float32(np.mean(amount))
    rng = np.random.default_rng(700 + tilt)
    middle = np.array([WIDE / 2, TALL / 2])
    scale = 0.70 * width / WIDE
    angle = np.radians(rng.uniform(-3.5, 3.5))
    lean = rng.uniform(-0.022, 0.022, 2)
    spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    centre = np.array([width, height]) * (0.5 + rng.uniform(-0.02, 0.02, 2))

    # pixel = centre + scale * spin q / (1 + lean . q), q in patches from the middle
    def to_pixel(points: np.ndarray) -> np.ndarray:
        q = points - middle
        return centre + scale * (q @ spin.T) / (1 + q @ lean)[:, np.newaxis]

    y, x = np.mgrid[0:height, 0:width].reshape(2, -1)
    image = np.zeros((height * width, CHANNELS), dtype=np.float32)
    for dx, dy in ((0.1, 0.3), (0.3, 0.9), (0.5, 0.5), (0.7, 0.1), (0.9, 0.7)):
        r = (np.stack([x + dx, y + dy], axis=1) - centre) / scale @ spin
        q = r / (1 - r @ lean)[:, np.newaxis]
        u, v = q[:, 0] + middle[0], q[:, 1] + middle[1]
        which = patch_index(u, v)
        outside = (u < -BORDER) | (u > WIDE + BORDER) | (v < -BORDER) | (v > TALL + BORDER)
        which[outside] = 25
        fall = 2.0 ** (0.03 * np.clip(q[:, 0] / 3.4, -2, 2))
        wall = np.where(outside, 0.55 * np.exp(-0.03 * (q**2).sum(axis=1)), 1.0)
        image += rows[which] * (fall * wall / 5)[:, np.newaxis].astype(np.float32)
    image = image.reshape(height, width, CHANNELS)
    b = BORDER
    corners = np.array([[0, 0], [WIDE, 0], [WIDE, TALL], [0, TALL]], float)
    card = np.array([[-b, -b], [WIDE + b, -b], [WIDE + b, TALL + b], [-b, TALL + b]])
    where = {
        "corners": to_pixel(corners),
        "board": to_pixel(card),
        "patches": to_pixel(patch_centres()),
    }
    return image, where
