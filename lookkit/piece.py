r"""A run of steps as one lattice, for what OpenColorIO cannot say step by step.

    u     = log2(1 + x / c)            for x >= 0,  c = 0.18 / 32
    u     = -a log2(1 - x / (a c))     for x < 0,   a = 0.15
    v     = ((u_R + u_G + u_B) / 3, u_R - u_G, u_B - (u_R + u_G) / 2)
    place = v_1 evenly, v_2 and v_3 by asinh(v / 0.6), scaled to 0-1
    out   = the lattice at that place, read tetrahedrally, as u of each channel, and back to light

The logarithm carries negatives and is smooth at zero. Colours are counted as differences from
grey in stops, with most points near grey: there hues lie close together, and there are the
colours of skin and of most pictures. Neutrals lie exactly on points of the lattice, so what is
neutral after the steps stays so. Light from -8 to 512 is carried (11.5 stops over
mid-grey), and held at these ends beyond. The construction is ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lookkit.errors import LookkitError
from lookkit.evaluate import evaluate
from lookkit.nodes.base import Op, matrix_transform
from lookkit.ocio import Processor, lattice_transform, table_transform
from lookkit.spaces.working import MID_GREY, Array, OcioTransform, State

LOWEST, HIGHEST = -8.0, 512.0
SIZES = (33, 65)
"""Points per edge: the first whose error is small enough, else the last."""
SMALL_ERROR = 0.002
"""A share of the light: three thousandths of a stop."""

_C = MID_GREY / 32.0
_A = 0.15
_GREY = 0.6
_ENTRIES = 65535
"""An odd number: the middle, where grey lies, is an entry."""
_BEYOND = (-1.5, 6.0)
"""How far outside its ends light is evaluated, in u, for points that no light reaches."""
_MARGIN = 1.25
_SEARCHED = 128
_PROBES = 1 << 16

_TO_DIFFERENCES = np.array([[1 / 3, 1 / 3, 1 / 3], [1.0, -1.0, 0.0], [-0.5, -0.5, 1.0]])
_FROM_DIFFERENCES = np.linalg.inv(_TO_DIFFERENCES)


@dataclass(frozen=True, eq=False)
class Piece:
    """A part of a chain as OpenColorIO transforms.

    Attributes
    ----------
    label
        The steps it stands for.
    transforms
        What it is lowered to.
    size
        Points per edge of its lattice; 0 if it is analytic.
    error, largest
        Of a lattice: the 99th percentile and an upper estimate (a quarter more than the worst
        that a search found) of the difference from the exact steps over random scene light of
        all hues from 10 stops under mid-grey to 8 over, as a share of the pixel's largest
        channel (at least 0.01). Colours with negative channels are carried but not counted.
    """

    label: str
    transforms: tuple[OcioTransform, ...]
    size: int = 0
    error: float = 0.0
    largest: float = 0.0


def labels(chain: Sequence[Op]) -> str:
    """Return the names of the steps."""
    return ", ".join(op.label for op in chain)


def lattice_piece(chain: Sequence[Op]) -> Piece:
    """Return steps that take scene light as one lattice with its measured error.

    Parameters
    ----------
    chain
        What the last step gives, light or a signal, lies between -8 and 512.

    Raises
    ------
    LookkitError
        If they take anything else.
    """
    if chain[0].takes != State.SCENE:
        raise LookkitError(f"{labels(chain)!r} cannot be expressed as OpenColorIO operations")
    light = probe_light(_PROBES, seed=1)
    exact = evaluate(chain, light)
    for size in SIZES:
        transforms = _lattice(chain, size)
        found = relative_error(exact, Processor(transforms).apply_exact(light))
        error = float(np.quantile(found, 0.99))
        if error <= SMALL_ERROR or size == SIZES[-1]:
            break
    largest = _MARGIN * _worst(chain, Processor(transforms), light, found)
    return Piece(labels(chain), transforms, size, error, largest)


def _lattice(chain: Sequence[Op], size: int) -> tuple[OcioTransform, ...]:
    from lookkit.spaces.ocio_ops import half_lut

    place = np.linspace(0.0, 1.0, size)
    points = np.stack(np.meshgrid(place, place, place, indexing="ij"), axis=-1)
    out = (to_log(evaluate(chain, light_at(points))) - _FIRST) / _SPAN
    even = np.linspace(0.0, 1.0, _ENTRIES)
    aside = _spread((2.0 * even - 1.0) * _SPAN)
    back = from_log(_FIRST + even * _SPAN)
    return (
        half_lut(to_log),
        matrix_transform(_TO_DIFFERENCES * _SCALE[:, None], _OFFSET),
        table_transform(np.stack([even, aside, aside], axis=-1)),
        lattice_transform(out),
        table_transform(np.repeat(back[:, None], 3, axis=1)),
    )


def to_log(light: Array) -> Array:
    """Return u of light between -8 and 512, any shape; beyond it is held."""
    held = np.clip(light, LOWEST, HIGHEST)
    above = np.log1p(np.maximum(held, 0.0) / _C)
    below = -_A * np.log1p(np.maximum(-held, 0.0) / (_A * _C))
    return np.asarray((above + below) / np.log(2.0))


def from_log(u: Array) -> Array:
    """Return the light of u, any shape; the inverse of `to_log`."""
    above = _C * np.expm1(np.maximum(u, 0.0) * np.log(2.0))
    below = -_A * _C * np.expm1(np.maximum(-u, 0.0) / _A * np.log(2.0))
    return np.asarray(np.where(u >= 0.0, above, below))


def place_of(light: Array) -> Array:
    """Return where in the lattice scene light lies, 0-1, shape (..., 3)."""
    even = to_log(light) @ (_TO_DIFFERENCES * _SCALE[:, None]).T + _OFFSET
    return np.concatenate([even[..., :1], _spread((2.0 * even[..., 1:] - 1.0) * _SPAN)], axis=-1)


def light_at(place: Array) -> Array:
    """Return the scene light at a place of the lattice, shape (..., 3)."""
    first = _FIRST + place[..., :1] * _SPAN
    aside = _GREY * np.sinh((2.0 * place[..., 1:] - 1.0) * _REACH)
    u = np.concatenate([first, aside], axis=-1) @ _FROM_DIFFERENCES.T
    return from_log(np.clip(u, _FIRST + _BEYOND[0], _LAST + _BEYOND[1]))


def _spread(difference: Array) -> Array:
    """Return the place, 0-1, of a difference from grey in u."""
    return np.asarray(0.5 + 0.5 * np.arcsinh(difference / _GREY) / _REACH)


_FIRST, _LAST = (float(to_log(np.array(end))) for end in (LOWEST, HIGHEST))
_SPAN = _LAST - _FIRST
_REACH = float(np.arcsinh(_SPAN / _GREY))
_SCALE = np.array([1.0, 0.5, 0.5]) / _SPAN
_OFFSET = np.array([-_FIRST / _SPAN, 0.5, 0.5])


def probe_light(count: int, seed: int) -> Array:
    """Return random scene light as `Piece` measures it, shape (count, 3)."""
    rng = np.random.default_rng(seed)
    level = MID_GREY * 2.0 ** rng.uniform(-10.0, 8.0, (count, 1))
    spread = 2.0 ** (rng.standard_normal((count, 3)) * rng.uniform(0.0, 2.0, (count, 1)))
    return np.asarray(level * spread / spread.max(axis=1, keepdims=True))


def relative_error(exact: Array, found: Array) -> Array:
    """Return each pixel's error as a share of its largest channel, at least 0.01."""
    scale = np.maximum(np.abs(exact).max(axis=-1), 0.01)
    return np.asarray(np.abs(found - exact).max(axis=-1) / scale)


def _worst(chain: Sequence[Op], processor: Processor, light: Array, found: Array) -> float:
    """Return the largest error that a search around the worst of `light` finds."""
    worst = np.argsort(found)[-_SEARCHED:]
    light, found = light[worst], found[worst]
    rng = np.random.default_rng(2)
    rows = np.arange(_SEARCHED)
    for step in 0.5 ** np.arange(10):
        moved = light[:, None] * 2.0 ** (step * rng.standard_normal((_SEARCHED, 24, 3)))
        moved = np.minimum(moved, MID_GREY * 2.0**8)
        tried = relative_error(evaluate(chain, moved), processor.apply_exact(moved))
        best = tried.argmax(axis=1)
        better = tried[rows, best] > found
        light = np.where(better[:, None], moved[rows, best], light)
        found = np.where(better, tried[rows, best], found)
    return float(found.max())
