"""The film print in two parts, for forms that cannot hold a hue.

The first, from the scene to the light of the print, OpenColorIO can say: matrices, the reference
gamut compression, logarithms and 1D tables. The second holds hues, tints and fits into the
display's gamut. It needs the scene's hue, and finds it from the print's light, for the first part
can be undone. What it does is mild in print light, so a lattice carries it well there.

The second part is exact where the first has lost nothing: light whose negative is clear or at its
densest has no one scene. There hues are let go or white, and what differs is not seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from lookkit.nodes.base import matrix_transform
from lookkit.nodes.film_curve import FilmCurve
from lookkit.nodes.print_formula import Knee, PrintNumbers, print_density, seen_as
from lookkit.spaces.working import Array, OcioTransform, State

_ENTRIES: Final = 16384
_FLAT: Final = 16.0
"""Widths of toe or shoulder beyond which a curve has reached its limit to 1e-7."""
_CLOSE: Final = 1e-9


@dataclass(frozen=True)
class PrintLight:
    """From the scene to the light of the print."""

    label: str
    numbers: PrintNumbers
    takes: State = State.SCENE
    gives: State = State.DISPLAY

    def program(self) -> None:
        """Return None: no pictures go this way, only the points of lattices."""
        return

    def evaluate(self, rgb: Array) -> Array:
        """Return print light, RGB of P3-D65, 1.0 = 100 cd/m2, for scene-linear AP1."""
        density = print_density(rgb[..., 0], rgb[..., 1], rgb[..., 2], self.numbers)
        return np.asarray(self.numbers.scale * 10.0 ** -np.stack(density, axis=-1))

    def lower(self) -> list[OcioTransform]:
        """Return compression, logarithm, table, matrix, table, matrix and antilogarithm."""
        import PyOpenColorIO as ocio

        p = self.numbers
        low, high = _reach(p.negative)
        to_table = ocio.LogAffineTransform(
            linSideSlope=[p.grey_light] * 3,
            logSideSlope=[1.0 / (high - low)] * 3,
            logSideOffset=[-low / (high - low)] * 3,
        )
        to_table.setBase(10.0)
        negative = _densities(p.negative, np.linspace(low, high, _ENTRIES)) - p.negative_grey
        ends = np.array([negative[0], negative[-1]])
        couplers = np.array(p.couplers)
        printed = np.sort(-couplers[None] * ends[:, None, None], axis=0).sum(axis=-1)
        first, last = float(printed[0].min()), float(printed[1].max())
        density = _densities(p.print, np.linspace(first, last, _ENTRIES))
        out = [
            matrix_transform(np.array(p.taking)),
            _compression(p.knee),
            matrix_transform(np.array(p.filter)),
            to_table,
            _table(negative),
            matrix_transform(-couplers / (last - first), np.full(3, -first / (last - first))),
            _table(density),
            matrix_transform(-np.array(p.dyes)),
            ocio.LogTransform(10.0, ocio.TRANSFORM_DIR_INVERSE),
        ]
        return out if p.scale == 1.0 else [*out, matrix_transform(p.scale * np.eye(3))]


@dataclass(frozen=True)
class HeldPrint:
    """From the light of the print to a display's, its hues held."""

    label: str
    numbers: PrintNumbers
    takes: State = State.DISPLAY
    gives: State = State.DISPLAY

    def program(self) -> None:
        """Return None: no pictures go this way, only the points of lattices."""
        return

    def evaluate(self, rgb: Array) -> Array:
        """Return display light for print light, both 1.0 = 100 cd/m2, shape (..., 3)."""
        p = self.numbers
        light = np.clip(rgb / p.scale, 0.0, 1.0)
        scene = scene_of(light, p)
        red, green, blue = (light[..., k] for k in range(3))
        shown = seen_as(red, green, blue, scene[..., 0], scene[..., 1], scene[..., 2], p)
        return np.stack(shown, axis=-1)

    def lower(self) -> None:
        """Return None: OpenColorIO cannot hold a hue."""
        return


def scene_of(light: Array, p: PrintNumbers) -> Array:
    """Return scene light, AP1, that prints as `light` (0-1, P3-D65), shape (..., 3)."""
    density = -np.log10(np.maximum(light, 1e-9)) @ np.linalg.inv(np.array(p.dyes)).T
    h = _exposures(p.print, density)
    negative = p.negative_grey - h @ np.linalg.inv(np.array(p.couplers)).T
    seen = 10.0 ** _exposures(p.negative, negative) / p.grey_light
    top = seen.max(axis=-1, keepdims=True)
    distance = (top - seen) / top
    per_scale = np.array(p.knee[1:])
    over = np.maximum(distance - p.knee.threshold, 0.0)
    share = np.minimum(over * per_scale, 0.9999)
    undone = np.minimum(distance, p.knee.threshold) + over / np.sqrt(1.0 - share * share)
    return np.asarray((top - undone * top) @ np.linalg.inv(np.array(p.taking)).T)


def _reach(curve: FilmCurve) -> tuple[float, float]:
    """Return the log10 exposures between which the density moves."""
    low = curve.start - _FLAT * curve.toe
    return low, curve.start + curve.length + _FLAT * curve.shoulder


def _densities(curve: FilmCurve, x: Array) -> Array:
    u = curve.toe * np.logaddexp(0.0, (x - curve.start) / curve.toe)
    left = curve.shoulder * np.logaddexp(0.0, (curve.length - u) / curve.shoulder)
    return np.asarray(curve.full * (1.0 - left * curve.left))


def _exposures(curve: FilmCurve, density: Array) -> Array:
    """Return the log10 exposure of densities; beyond the curve's ends, where it is flat."""
    inside = np.clip(density, _CLOSE, curve.full * (1.0 - _CLOSE))
    u = curve.length - _softplus_inverse((1.0 - inside / curve.full) / curve.left, curve.shoulder)
    x = _softplus_inverse(np.maximum(u, _CLOSE), curve.toe) + curve.start
    return np.clip(x, *_reach(curve))


def _softplus_inverse(v: Array, width: float) -> Array:
    return np.asarray(v + width * np.log(-np.expm1(-v / width)))


def _compression(knee: Knee) -> OcioTransform:
    """Return OpenColorIO's own form: its limits are where distance becomes 1."""
    import PyOpenColorIO as ocio

    reached = 1.0 - knee.threshold
    limits = [
        knee.threshold + reached / np.sqrt(1.0 - (reached * per_scale) ** 2)
        for per_scale in knee[1:]
    ]
    numbers: list[Any] = [*map(float, limits), *[knee.threshold] * 3, 2.0]
    return ocio.FixedFunctionTransform(ocio.FIXED_FUNCTION_ACES_GAMUT_COMP_13, numbers)


def _table(values: Array) -> OcioTransform:
    from lookkit.ocio import table_transform

    return table_transform(np.repeat(values[:, None], 3, axis=1))
