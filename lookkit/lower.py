"""The fast and portable form of a chain: OpenColorIO transforms.

What OpenColorIO can say stays analytic. From the first step that it cannot say to the last
one, the chain becomes one lattice behind a shaper, read tetrahedrally, so there is one piece
at the most. The shaper is a logarithm that also carries negatives:

    u = log2(1 + x / c)             for x >= 0, c = 0.18 / 256
    u = -a log2(1 - x / (a c))      for x < 0,  a = 0.15

scaled so that -8 to 512 fill the lattice; light beyond is held at these ends. It is smooth at
zero, has a third of a stop between lattice points at 65, and spends a tenth of them on negatives.
Tetrahedra meet along the neutral diagonal, so a neutral that is neutral in the chain stays so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lookkit.errors import LookkitError
from lookkit.evaluate import evaluate
from lookkit.nodes.base import Op
from lookkit.ocio import Processor, lattice_transform
from lookkit.spaces.working import MID_GREY, Array, OcioTransform, State

LOWEST, HIGHEST = -8.0, 512.0
PIECE_SIZE = 65
_SMALL = MID_GREY / 256.0
_NEGATIVE = 0.15
_BACK_ENTRIES = 65536
_MARGIN = 1.25
_SEARCHED = 128


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
        found) of the difference from the exact steps over random scene light from 10 stops
        under mid-grey to 8 over, as a share of the pixel's largest channel (at least 0.01).
    """

    label: str
    transforms: tuple[OcioTransform, ...]
    size: int = 0
    error: float = 0.0
    largest: float = 0.0


def lower(chain: Sequence[Op]) -> list[OcioTransform]:
    """Return `chain` as OpenColorIO transforms.

    Raises
    ------
    LookkitError
        If a step that OpenColorIO cannot express takes or gives other than scene light.
    """
    return [transform for piece in pieces(chain) for transform in piece.transforms]


def is_analytic(chain: Sequence[Op]) -> bool:
    """Tell whether OpenColorIO can say every step of `chain`."""
    return all(op.lower() is not None for op in chain)


def pieces(chain: Sequence[Op]) -> list[Piece]:
    """Return `chain` as pieces: what is analytic, and at most one lattice.

    Raises
    ------
    LookkitError
        As `lower`.
    """
    lowered = [op.lower() for op in chain]
    opaque = [place for place, transforms in enumerate(lowered) if transforms is None]
    if not opaque:
        return [_analytic(chain, lowered)] if chain else []
    first, last = opaque[0], opaque[-1] + 1
    parts = [
        _analytic(chain[:first], lowered[:first]),
        _lattice(chain[first:last]),
        _analytic(chain[last:], lowered[last:]),
    ]
    return [part for part in parts if part.transforms]


def _analytic(chain: Sequence[Op], lowered: Sequence[list[OcioTransform] | None]) -> Piece:
    transforms = tuple(one for transforms in lowered for one in transforms or ())
    return Piece(_labels(chain), transforms)


def _labels(chain: Sequence[Op]) -> str:
    return ", ".join(op.label for op in chain)


def _lattice(chain: Sequence[Op]) -> Piece:
    if (chain[0].takes, chain[-1].gives) != (State.SCENE, State.SCENE):
        raise LookkitError(f"{_labels(chain)!r} cannot be expressed as OpenColorIO operations")
    import PyOpenColorIO as ocio

    from lookkit.spaces.ocio_ops import half_lut

    axis = from_shaped(np.linspace(0.0, 1.0, PIECE_SIZE))
    light = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
    table = lattice_transform(to_shaped(evaluate(chain, light)))
    back = ocio.Lut1DTransform(_BACK_ENTRIES, False)
    values = from_shaped(np.linspace(0.0, 1.0, _BACK_ENTRIES))
    back.setData(np.repeat(values[:, None], 3, axis=1).astype(np.float32).ravel())
    transforms = (half_lut(to_shaped), table, back)
    error, largest = _measured(chain, transforms)
    return Piece(_labels(chain), transforms, PIECE_SIZE, error, _MARGIN * largest)


def to_shaped(light: Array) -> Array:
    """Return scene light as the lattice counts it, 0-1, any shape."""
    bounded = np.clip(light, LOWEST, HIGHEST)
    return (_units(bounded) - _FIRST) / (_LAST - _FIRST)


def from_shaped(shaped: Array) -> Array:
    """Return the scene light at a place of the lattice; the inverse of `to_shaped`."""
    units = _FIRST + np.clip(shaped, 0.0, 1.0) * (_LAST - _FIRST)
    above = _SMALL * np.expm1(np.maximum(units, 0.0) * np.log(2.0))
    below = -_NEGATIVE * _SMALL * np.expm1(np.maximum(-units, 0.0) / _NEGATIVE * np.log(2.0))
    return np.asarray(np.where(units >= 0.0, above, below))


def _units(light: Array) -> Array:
    above = np.log1p(np.maximum(light, 0.0) / _SMALL)
    below = -_NEGATIVE * np.log1p(np.maximum(-light, 0.0) / (_NEGATIVE * _SMALL))
    return np.asarray((above + below) / np.log(2.0))


_FIRST, _LAST = (float(_units(np.array(end))) for end in (LOWEST, HIGHEST))


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


def _measured(chain: Sequence[Op], transforms: Sequence[OcioTransform]) -> tuple[float, float]:
    """Return the 99th percentile of the error, and the worst found by a local search."""
    processor = Processor(transforms)

    def wrong(light: Array) -> Array:
        return relative_error(evaluate(chain, light), processor.apply_exact(light))

    light = probe_light(1 << 16, seed=1)
    found = wrong(light)
    error = float(np.quantile(found, 0.99))
    worst = np.argsort(found)[-_SEARCHED:]
    light, found = light[worst], found[worst]
    rng = np.random.default_rng(2)
    for step in 0.5 ** np.arange(10):
        moved = light[:, None] * 2.0 ** (step * rng.standard_normal((_SEARCHED, 24, 3)))
        moved = np.minimum(moved, MID_GREY * 2.0**8)
        tried = wrong(moved)
        best = tried.argmax(axis=1)
        rows = np.arange(_SEARCHED)
        better = tried[rows, best] > found
        light = np.where(better[:, None], moved[rows, best], light)
        found = np.where(better, tried[rows, best], found)
    return error, float(found.max())
