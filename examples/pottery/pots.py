"""Pots: thrown profiles, and glazes that pool, break and run."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from pottery.noise import fractal, noise, roughen
from pottery.render import Glow
from pottery.solids import Lathe, Points, Solid, Surface, placed, ramp, turned

# fmt: off
# Outlines in units of the pot's height: (radius, height) up the outside, over the lip and
# down the inside.
SHAPES: dict[str, Sequence[tuple[float, float]]] = {
    "jar": [(0, 0), (0.24, 0), (0.26, 0.02), (0.36, 0.22), (0.42, 0.48), (0.38, 0.74),
            (0.25, 0.90), (0.235, 0.94), (0.27, 1.0), (0.245, 1.0), (0.20, 0.94), (0.21, 0.88),
            (0.33, 0.72), (0.37, 0.48), (0.31, 0.22), (0.2, 0.06), (0, 0.05)],
    "vase": [(0, 0), (0.17, 0), (0.18, 0.02), (0.25, 0.18), (0.29, 0.36), (0.23, 0.56),
             (0.105, 0.74), (0.085, 0.84), (0.10, 0.94), (0.14, 1.0), (0.122, 1.0), (0.075, 0.93),
             (0.06, 0.84), (0.075, 0.75), (0.1, 0.68), (0, 0.66)],
    "bowl": [(0, 0), (0.34, 0), (0.36, 0.07), (0.34, 0.11), (0.62, 0.28), (0.86, 0.58),
             (1.0, 0.98), (0.985, 1.0), (0.955, 0.98), (0.80, 0.60), (0.56, 0.33), (0.3, 0.19),
             (0, 0.16)],
    "cup": [(0, 0), (0.30, 0), (0.33, 0.03), (0.40, 0.14), (0.43, 0.45), (0.46, 0.98),
            (0.448, 1.0), (0.43, 0.98), (0.395, 0.45), (0.35, 0.16), (0, 0.08)],
    "bottle": [(0, 0), (0.22, 0), (0.24, 0.02), (0.28, 0.10), (0.29, 0.42), (0.25, 0.56),
               (0.10, 0.68), (0.075, 0.76), (0.075, 0.92), (0.105, 0.97), (0.105, 1.0),
               (0.075, 1.0), (0.055, 0.95), (0.05, 0.76), (0, 0.72)],
    "moon": [(0, 0), (0.20, 0), (0.22, 0.02), (0.40, 0.22), (0.49, 0.50), (0.42, 0.78),
             (0.24, 0.95), (0.215, 0.965), (0.225, 1.0), (0.20, 1.0), (0.185, 0.96), (0.36, 0.78),
             (0.43, 0.5), (0.35, 0.25), (0, 0.08)],
}
# fmt: on

# Glaze: body, thin (rims and ridges), pool or run, gloss, mirror or satin width.
GLAZES: dict[str, tuple[str, str, str, float, float]] = {
    "celadon": ("celadon", "slip", "celadon pool", 1.0, 0.05),
    "tenmoku": ("tenmoku", "tenmoku rim", "tenmoku", 1.0, 0.05),
    "iron red": ("iron red", "iron red thin", "tenmoku", 0.9, 0.06),
    "cobalt": ("cobalt", "cobalt thin", "cobalt", 1.0, 0.05),
    "ash white": ("ash white", "slip", "ash drip", 0.8, 0.22),
    "copper green": ("copper green", "tenmoku rim", "copper green", 1.0, 0.05),
    "honey": ("honey", "slip", "iron red", 1.0, 0.05),
    "raw": ("raw clay", "dry clay", "dark clay", 0.10, 0.7),
    "dark": ("dark clay", "raw clay", "soot", 0.12, 0.6),
}

_LATHES: dict[str, Lathe] = {}


def _lathe(shape: str) -> Lathe:
    if shape not in _LATHES:
        _LATHES[shape] = Lathe(SHAPES[shape])
    return _LATHES[shape]


def pot(
    shape: str,
    height: float,
    at: Sequence[float],
    glaze: str,
    seed: int,
    foot: float = 0.16,
    tilt: float = 0.0,
    handle: bool = False,
    glow: Callable[[Points, Points], Glow] | None = None,
) -> Solid:
    """Return a pot standing at `at`; below `foot` (part of the height) the clay is bare."""
    lathe = _lathe(shape)
    k = np.float32(height)
    body, thin, run, gloss, rough = GLAZES[glaze]
    clay = "dark clay" if seed % 2 else "raw clay"
    bare = glaze in ("raw", "dark")
    ear = 0.0
    if handle:
        ear = 0.30

    def distance(p: Points, order: int = 1) -> np.ndarray:
        d = lathe.distance(p / k, order)
        if handle:
            q = p / k
            ring = np.hypot(q[0] - 0.43, (q[1] - 0.52) * 0.82) - 0.235
            grip = np.hypot(ring, q[2]) - 0.038
            inner = np.hypot(q[0], q[2]) - 0.40
            d = np.minimum(d, np.maximum(grip, -inner))
        return d * k

    def paint(p: Points, n: Points) -> Surface:
        q = p / k
        angle = np.arctan2(q[2], q[0])
        round_ = np.stack([np.cos(angle), q[1] * 1.2, np.sin(angle)])
        runs = noise(np.stack([round_[0], round_[1] * 0.12, round_[2]]), 7, seed)
        edge = foot + 0.035 * runs + 0.012 * noise(round_, 26, seed + 1)
        glazed = ramp(edge - 0.006, edge + 0.006, q[1]) if not bare else np.ones_like(runs)
        throwing = np.sin(q[1] * 46 + 1.5 * runs) * 0.5 + 0.5 * np.sin(q[1] * 87 + seed)
        lip = ramp(lathe.height - 0.055, lathe.height - 0.012, q[1])
        break_ = np.clip(0.85 * lip + 0.16 * np.maximum(throwing, 0) - 0.03, 0, 0.92)
        pooled = ramp(edge + 0.16, edge + 0.01, q[1] + 0.05 * runs)
        drip = np.maximum(pooled * 0.75, ramp(0.9, 1.6, runs) * ramp(0.2, 0.8, q[1]) * 0.7)
        cloud = np.clip(0.5 + 0.28 * fractal(round_, 9, 3, seed), 0, 1)
        drip = np.clip(drip + 0.25 * (cloud - 0.5), 0, 0.9)
        speck = ramp(2.1, 2.5, noise(round_, 62, seed + 5)) * 0.7
        w_thin = break_
        w_run = drip * (1 - w_thin)
        w_body = 1 - w_thin - w_run
        mix = np.stack([w_body, w_thin, w_run, np.zeros_like(w_run)], axis=1)
        mix *= (1 - 0.75 * speck)[:, np.newaxis]
        mix[:, 3] += 0.75 * speck
        mix *= glazed[:, np.newaxis]
        mix = np.concatenate([mix, (1 - glazed)[:, np.newaxis]], axis=1)
        groove = 0.05 * np.cos(q[1] * 46 + 1.5 * runs) + 0.03 * np.cos(q[1] * 87 + seed)
        bent = n.copy()
        bent[1] += groove * (0.5 if not bare else 1.0)
        bent = roughen(round_, bent, 5.0, 0.035 + 0.05 * bare, seed)
        if bare:
            bent = roughen(round_, bent, 40, 0.05, seed)
        bent = bent / np.sqrt((bent * bent).sum(axis=0))
        coat = gloss * glazed + 0.08 * (1 - glazed)
        width = np.where(glazed > 0.5, rough, 0.6)
        surface = Surface((body, thin, run, "soot", clay), mix, coat, width, bent)
        if glow is not None:
            surface.glow = glow(p, n)
        return surface

    reach = lathe.width * k
    return placed(
        f"{glaze} {shape}",
        distance,
        ((-reach, 0, -reach), (reach + ear * height, lathe.height * height, reach)),
        at,
        turned(37.0 * seed, 0, tilt),
        paint,
        fine=lambda p: distance(p, 3),
    )
