"""How two LUTs differ: by how much, and in which colours most."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.difference import delta_e_2000, delta_e_itp, itp, lab
from lookkit.accuracy.sampling import grid
from lookkit.errors import InputError
from lookkit.inspect.function import Function
from lookkit.inspect.opening import function_in
from lookkit.kernel.formula import triple
from lookkit.spaces.outputs import Output, output
from lookkit.spaces.working import Array

_WORST: Final = 10
_APART: Final = 0.06
"""Colours nearer than this, in any channel's share of the domain, are listed as one."""
_RANDOM: Final = 100_000
_GRID: Final = 33
_SEED: Final = 20


@dataclass(frozen=True)
class Colour:
    """A colour in which two LUTs differ.

    Attributes
    ----------
    code, first, second
        Input and the two outputs.
    difference
        The largest of the channels, in code values 0-1.
    delta_e
        CIEDE2000 on the display, or None if that is not known.
    """

    code: tuple[float, float, float]
    first: tuple[float, float, float]
    second: tuple[float, float, float]
    difference: float
    delta_e: float | None


@dataclass(frozen=True)
class Figures:
    """Statistics of one measure of difference over the whole cube."""

    mean: float
    p99: float
    largest: float


@dataclass(frozen=True)
class Comparison:
    """How two LUTs differ over the part of their domains that both cover.

    Attributes
    ----------
    low, high
        The inputs that were compared.
    codes
        Largest channel difference, in ten-bit codes.
    neutral
        The same on the neutral ramp.
    delta_e_2000, delta_e_itp
        On the display; None if it is not known.
    worst
        Up to ten colours, the worst first, no two close together.
    """

    low: tuple[float, float, float]
    high: tuple[float, float, float]
    codes: Figures
    neutral: Figures
    delta_e_2000: Figures | None
    delta_e_itp: Figures | None
    worst: tuple[Colour, ...]


def compare_files(
    first: str | os.PathLike[str], second: str | os.PathLike[str], gives: str | None = None
) -> Comparison:
    """Compare two LUT files; `gives` names the output that both are for.

    Raises
    ------
    InputError
        If a file cannot be read or is faulty (LutFileError), a name is unknown, or the two
        have nothing in common.
    """
    shown_on = output(gives) if gives else None
    return compare(function_in(first), function_in(second), shown_on)


def compare(first: Function, second: Function, gives: Output | None = None) -> Comparison:
    """Compare two LUTs on a regular grid, at random colours and on the neutral ramp.

    Parameters
    ----------
    gives
        The display that both are for, to measure what a viewer sees.

    Raises
    ------
    InputError
        If their domains do not overlap or one gives anything but finite numbers.
    """
    low, high = np.maximum(first.low, second.low), np.minimum(first.high, second.high)
    if not (low < high).all():
        raise InputError("the domains of the two LUTs do not overlap")
    size = max(_GRID, *(one.size for one in (first, second) if not one.curves_only), 2)
    places = np.concatenate(
        [
            grid(min(size, 65)).reshape(-1, 3),
            np.random.default_rng(_SEED).random((_RANDOM, 3)),
        ]
    )
    ramp = np.repeat(np.linspace(0.0, 1.0, 1024)[:, None], 3, axis=1)
    code = low + np.concatenate([places, ramp]) * (high - low)
    one, other = first(code), second(code)
    if not (np.isfinite(one).all() and np.isfinite(other).all()):
        raise InputError("one of the LUTs gives anything but finite numbers")
    apart = np.abs(one - other).max(axis=1)
    seen = None if gives is None else _light(gives)
    two_thousand = in_itp = None
    if seen is not None and gives is not None:
        white = seen(np.asarray(gives.encode(np.full((1, 3), gives.reference_white / 100))))[0]
        xyz_one, xyz_other = seen(one), seen(other)
        two_thousand = delta_e_2000(lab(xyz_one, white), lab(xyz_other, white))
        in_itp = delta_e_itp(itp(xyz_one), itp(xyz_other))
    order = np.argsort(-(apart if two_thousand is None else two_thousand), kind="stable")
    return Comparison(
        low=triple(low),
        high=triple(high),
        codes=_figures(apart[: len(places)] * 1023),
        neutral=_figures(apart[len(places) :] * 1023),
        delta_e_2000=None if two_thousand is None else _figures(two_thousand[: len(places)]),
        delta_e_itp=None if in_itp is None else _figures(in_itp[: len(places)]),
        worst=tuple(
            Colour(
                code=triple(code[row]),
                first=triple(one[row]),
                second=triple(other[row]),
                difference=float(apart[row]),
                delta_e=None if two_thousand is None else float(two_thousand[row]),
            )
            for row in _spread_out(code, order, high - low)
            if apart[row] > 0
        ),
    )


def _light(gives: Output) -> Callable[[Array], Array]:
    matrix = gives.limiting.to_xyz() * 100.0
    return lambda signal: np.asarray(np.maximum(gives.decode(signal), 0.0) @ matrix.T)


def _spread_out(code: Array, order: npt.NDArray[np.intp], span: Array) -> list[int]:
    """Return the first rows in order of which no two are close together."""
    kept: list[int] = []
    for row in order[:5000].tolist():
        near = (np.abs(code[kept] - code[row]) / span < _APART).all(axis=1) if kept else ()
        if not np.any(near):
            kept.append(row)
        if len(kept) == _WORST:
            break
    return kept


def _figures(values: Array) -> Figures:
    return Figures(float(values.mean()), float(np.quantile(values, 0.99)), float(values.max()))
