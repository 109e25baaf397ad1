"""The shape of a LUT: order, folds, clipping, tint, steps, gamut, whether it can be undone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.folds import orientation
from lookkit.accuracy.sampling import corner_values, grid
from lookkit.inspect.function import Function
from lookkit.kernel.formula import triple
from lookkit.spaces.working import Array

RAMP: Final = 1024
"""Steps of the neutral ramp, the codes of ten bits."""
AT_END: Final = 1e-5
"""How near to its lowest or highest output a channel counts as clipped there."""
SAME: Final = 1e-4
"""A tenth of a ten-bit code: differences below are none to a viewer."""
_NOTICED: Final = 0.25 / 1023
_ROUNDED: Final = (8, 10, 12, 16)
_FLAT: Final = 0.01
"""Volume of a tetrahedron, of that of three perpendicular edges, below which it is flat."""
_OUTSIDE: Final = 0.1
_ENOUGH: Final = 16
"""Different values that it takes to say that values are rounded."""
CHANNELS: Final = ("red", "green", "blue")


@dataclass(frozen=True)
class Reversal:
    """Where the neutral ramp turns back: brighter input, darker output.

    Attributes
    ----------
    start, end
        Inputs between which the output falls, as a place 0-1 in the domain.
    depth
        By how much it falls.
    """

    channel: str
    start: float
    end: float
    depth: float


@dataclass(frozen=True)
class Ramp:
    """The neutral ramp of 1024 steps through a LUT; inputs are places 0-1 in its domain.

    Attributes
    ----------
    first, last
        Outputs of black and white.
    reversals
        Empty if all channels rise or stay; the deepest of each channel first.
    tint, tint_at
        Largest spread between channels, and the input where.
    flat_low, flat_high
        Input up to which, and from which, the output stays at its end.
    steepest, steepest_at
        Largest output step for a step of the input, as a ratio, over a ten-bit step.
    longest_flat
        Most ten-bit input codes in a row that give one output between the ends.
    """

    first: tuple[float, float, float]
    last: tuple[float, float, float]
    reversals: tuple[Reversal, ...]
    tint: float
    tint_at: float
    flat_low: float
    flat_high: float
    steepest: float
    steepest_at: float
    longest_flat: int


@dataclass(frozen=True)
class Solid:
    """The whole lattice, or a regular sampling of a LUT that has none.

    Attributes
    ----------
    folded, folded_at
        Share of tetrahedra that are turned inside out, and the input of the worst.
    flat
        Share that is collapsed, as clipped colours are.
    mirrored
        Whether most are turned inside out, as when two axes are swapped.
    swapped_axes
        Whether red follows the blue axis and blue the red one.
    volume
        Share of the unit cube of output that the colours fill.
    clipped_low, clipped_high
        Share of points at the lowest, highest output of each channel, less the one face
        that is there in any case.
    below, above
        Share of points with a channel below 0, above 1.
    scallop
        Largest and 99th percentile departure of the curve through three neighbouring points
        from the straight line that readers draw, in ten-bit codes: banding where large.
    """

    size: int
    folded: float
    folded_at: tuple[float, float, float] | None
    flat: float
    mirrored: bool
    swapped_axes: bool
    volume: float
    clipped_low: tuple[float, float, float]
    clipped_high: tuple[float, float, float]
    below: float
    above: float
    scallop: float
    scallop_p99: float


@dataclass(frozen=True)
class Shape:
    """What is to be said about a LUT's shape.

    Attributes
    ----------
    identity
        Whether it changes nothing.
    per_channel
        Whether each output depends on its own input alone.
    lowest, highest
        Outputs over all points.
    rounded_bits
        The smallest depth of 8, 10, 12 and 16 bits to which all points are rounded, or None.
    invertible
        "yes", "except where it clips" or "no".
    gives
        "colours", "greys" where all outputs are neutral, or "one colour" where all are alike.
    """

    identity: bool
    per_channel: bool
    lowest: tuple[float, float, float]
    highest: tuple[float, float, float]
    rounded_bits: int | None
    invertible: str
    gives: str
    ramp: Ramp
    solid: Solid | None

    @property
    def keeps_to_codes(self) -> bool:
        """Whether outputs stay within 0-1, less a tenth: else a share of that cube says nothing."""
        return min(self.lowest) >= -_OUTSIDE and max(self.highest) <= 1.0 + _OUTSIDE


def shape_of(function: Function) -> Shape | None:
    """Return the shape of a LUT, or None if it holds anything but finite numbers."""
    steps = np.linspace(0.0, 1.0, RAMP)
    ramp = function(function.over(np.repeat(steps[:, None], 3, axis=1)))
    if function.curves_only:
        return _of_curves(function, steps, ramp)
    lattice = function.sampled()
    if not (np.isfinite(lattice).all() and np.isfinite(ramp).all()):
        return None
    inputs = function.over(grid(len(lattice)))
    neutral = describe_ramp(steps, ramp)
    solid = describe_solid(lattice, inputs)
    gives = _gives(lattice)
    if gives != "colours" or solid.folded > 0 or neutral.reversals:
        invertible = "no"
    else:
        invertible = "except where it clips" if solid.flat > 0 else "yes"
    return Shape(
        identity=bool(np.abs(lattice - inputs).max() < SAME),
        per_channel=_per_channel(lattice),
        lowest=triple(lattice.min(axis=(0, 1, 2))),
        highest=triple(lattice.max(axis=(0, 1, 2))),
        rounded_bits=_rounded_bits(lattice),
        invertible=invertible,
        gives=gives,
        ramp=neutral,
        solid=solid,
    )


def _of_curves(function: Function, steps: Array, ramp: Array) -> Shape | None:
    if not np.isfinite(ramp).all():
        return None
    neutral = describe_ramp(steps, ramp)
    inside = (steps >= neutral.flat_low) & (steps <= neutral.flat_high)
    rising = (np.diff(ramp[inside], axis=0) > 0).all()
    invertible = "no"
    if not neutral.reversals and rising:
        whole = neutral.flat_low <= 0 and neutral.flat_high >= 1
        invertible = "yes" if whole else "except where it clips"
    return Shape(
        identity=bool(np.abs(ramp - function.over(np.repeat(steps[:, None], 3, 1))).max() < SAME),
        per_channel=True,
        lowest=triple(ramp.min(axis=0)),
        highest=triple(ramp.max(axis=0)),
        rounded_bits=None,
        invertible=invertible,
        gives="colours" if (np.ptp(ramp, axis=0) > SAME).any() else "one colour",
        ramp=neutral,
        solid=None,
    )


def describe_ramp(steps: Array, ramp: Array) -> Ramp:
    """Describe outputs, shape (n, 3), of evenly spaced neutral inputs `steps`, shape (n,)."""
    spread = ramp.max(axis=1) - ramp.min(axis=1)
    slope = np.diff(ramp, axis=0) / np.diff(steps)[:, None]
    steepest = np.unravel_index(int(np.argmax(np.abs(slope))), slope.shape)
    low = np.abs(ramp - ramp[0]).max(axis=1) <= AT_END
    high = np.abs(ramp - ramp[-1]).max(axis=1) <= AT_END
    first = int(np.argmin(low)) - 1 if not low.all() else 0
    last = len(high) - int(np.argmin(high[::-1])) if not high.all() else len(high) - 1
    return Ramp(
        first=triple(ramp[0]),
        last=triple(ramp[-1]),
        reversals=tuple(
            turn for index in range(3) if (turn := _reversal(steps, ramp[:, index], index))
        ),
        tint=float(spread.max()),
        tint_at=float(steps[spread.argmax()]),
        flat_low=float(steps[max(first, 0)]),
        flat_high=float(steps[last]),
        steepest=float(np.abs(slope[steepest])),
        steepest_at=float(steps[steepest[0]]),
        longest_flat=_longest_flat(ramp[max(first, 0) : last + 1]),
    )


def describe_solid(lattice: Array, inputs: Array) -> Solid:
    """Describe outputs, shape (n, n, n, 3), indexed [r, g, b], at `inputs` of that shape."""
    size = len(lattice)
    with np.errstate(all="ignore"):
        turned = orientation(corner_values(lattice))
    mirrored = bool(np.median(turned) < -_FLAT)
    if mirrored:
        turned = -turned
    folded = turned < -_FLAT
    worst = None
    if folded.any():
        cell = int(np.argmin(np.where(folded, turned, 0.0).min(axis=0)))
        index = np.unravel_index(cell, (size - 1,) * 3)
        worst = triple(inputs[index] * 0.5 + inputs[tuple(i + 1 for i in index)] * 0.5)
    flat = np.abs(turned) <= _FLAT
    low, high = lattice.min(axis=(0, 1, 2)), lattice.max(axis=(0, 1, 2))
    bends = np.concatenate(
        [np.abs(np.diff(lattice, 2, axis=axis)).ravel() / 8 for axis in range(3)]
    )
    return Solid(
        size=size,
        folded=float(folded.mean()),
        folded_at=worst,
        flat=float(flat.mean()),
        mirrored=mirrored,
        swapped_axes=_swapped(lattice),
        volume=abs(_volume(lattice)),
        clipped_low=_beyond_a_face(lattice <= low + AT_END),
        clipped_high=_beyond_a_face(lattice >= high - AT_END),
        below=float((lattice < -AT_END).any(axis=-1).mean()),
        above=float((lattice > 1 + AT_END).any(axis=-1).mean()),
        scallop=float(bends.max(initial=0.0)) * 1023,
        scallop_p99=float(np.quantile(bends, 0.99)) * 1023 if bends.size else 0.0,
    )


def _gives(lattice: Array) -> str:
    if (np.ptp(lattice, axis=(0, 1, 2)) <= SAME).all():
        return "one colour"
    return "greys" if np.ptp(lattice, axis=-1).max() <= SAME else "colours"


def _beyond_a_face(at_end: npt.NDArray[np.bool_]) -> tuple[float, float, float]:
    return triple(np.maximum(at_end.mean(axis=(0, 1, 2)) - 1 / len(at_end), 0.0))


def _reversal(steps: Array, output: Array, channel: int) -> Reversal | None:
    """Return the deepest fall below what was reached before, if it can be noticed."""
    reached = np.maximum.accumulate(output)
    falls = reached - output
    end = int(falls.argmax())
    if falls[end] <= _NOTICED:
        return None
    start = int(np.argmax(output[: end + 1]))
    return Reversal(CHANNELS[channel], float(steps[start]), float(steps[end]), float(falls[end]))


def _longest_flat(ramp: Array) -> int:
    still = np.atleast_1d((np.abs(np.diff(ramp, axis=0)) <= 1e-9).all(axis=1))
    longest = run = 0
    # The flat parts at the ends are clipping and not counted here.
    for same in still[1:-1]:
        run = run + 1 if same else 0
        longest = max(longest, run)
    return longest + 1 if longest else 1


def _per_channel(lattice: Array) -> bool:
    for channel in range(3):
        others = tuple(axis for axis in range(3) if axis != channel)
        values = lattice[..., channel]
        if (values.max(axis=others) - values.min(axis=others)).max() > SAME:
            return False
    return True


def _rounded_bits(values: Array) -> int | None:
    if len(np.unique(values[..., 0])) < _ENOUGH:
        return None
    for bits in _ROUNDED:
        codes = values * (2**bits - 1)
        # Files of few decimals are not exactly on a code: allow what six decimals leave.
        if np.abs(codes - np.round(codes)).max() < min(0.02, 1e-6 * 2**bits):
            return bits
    return None


def _swapped(lattice: Array) -> bool:
    """Whether red follows the blue axis more than its own, and blue the red axis."""
    follows = np.array(
        [
            [np.abs(np.diff(lattice[..., channel], axis=axis)).mean() for axis in range(3)]
            for channel in range(3)
        ]
    )
    return bool(follows[0, 2] > 2 * follows[0, 0] and follows[2, 0] > 2 * follows[2, 2])


def _volume(lattice: Array) -> float:
    """Signed volume inside the outer surface, by the divergence theorem."""
    total = 0.0
    for axis in range(3):
        for end in (0, -1):
            face = np.take(lattice, end, axis=axis)
            a, b = face[:-1, :-1].reshape(-1, 3), face[1:, :-1].reshape(-1, 3)
            c, d = face[1:, 1:].reshape(-1, 3), face[:-1, 1:].reshape(-1, 3)
            sign = (1.0 if end == -1 else -1.0) * (-1.0 if axis == 1 else 1.0)
            for first, second, third in ((a, b, c), (a, c, d)):
                total += sign * float(np.einsum("ni,ni->", first, np.cross(second, third))) / 6
    return total
