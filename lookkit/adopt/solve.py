"""Levenberg and Marquardt's way to the numbers of a chain, with a leaning to plain values.

What is made small is the mean square of colour differences in L*a*b*, chroma and hue scaled as
CIE94 scales them, and beside it the square of how far each number lies from its plain value,
counted in usual sizes. The leaning is weak: it decides what the colours leave open.

Sources: K. Levenberg (1944), D. Marquardt (1963); the scaling CIE 116 (1995).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from lookkit.accuracy.truth import Light, at_once
from lookkit.adopt.chain import Chain
from lookkit.nodes.print_formula import Fit
from lookkit.spaces.working import Array

LEANING: Final = 0.02
_STEP: Final = 0.02
_FARTHEST: Final = 3.0
_TRIES: Final = 7
_ENOUGH: Final = 2e-3


@dataclass(frozen=True, eq=False)
class Wanted:
    """Scene colours (n, 3) and the L*a*b* that they should have (n, 3).

    With `doubted` a colour that is farther off than that, in Delta E, counts less and less: it may
    have been changed by hand.
    """

    scene: Array
    lab: Array
    light: Light
    doubted: float | None = None

    def residual(self, signal: Array) -> Array:
        """Return the scaled differences, shape (n, 3)."""
        chroma = np.hypot(self.lab[:, 1], self.lab[:, 2])
        # What a* and b* cost together lies between CIE94's costs of chroma and of hue.
        scale = np.stack([np.ones_like(chroma), 1.0 + 0.045 * chroma, 1.0 + 0.03 * chroma], axis=-1)
        return np.asarray((self.light.lab(signal) - self.lab) / scale)


@dataclass(frozen=True, eq=False)
class Solved:
    """The numbers found, and how much each pair of them matters.

    Attributes
    ----------
    values
        Shape (n,).
    matters
        Half the second derivatives of the cost by numbers in usual sizes, shape (n, n).
    """

    chain: Chain
    values: Array
    cost: float
    matters: Array


def solve(chain: Chain, start: Array, wanted: Wanted, most: int) -> Solved:
    """Return the numbers at which a chain comes closest.

    Parameters
    ----------
    start
        Values to begin at, shape (n,).
    most
        Steps at most.
    """
    values = np.clip(start, chain.least, chain.most)
    damping, matters = 1e-3, np.eye(len(chain))
    for _ in range(most):
        # Measuring how a print is fitted into the display takes longer than all else: once a step.
        fit = chain.fit_of(values)
        signal = chain.signal(values, wanted.scene, fit)
        weight = _weights(wanted, signal)
        cost = _cost(chain, values, wanted, signal, weight)
        residual, slopes = _slopes(chain, values, wanted, weight, fit)
        leaning = (values - chain.plain) / chain.usual
        down = slopes.T @ residual + LEANING**2 * leaning
        matters = slopes.T @ slopes + LEANING**2 * np.eye(len(chain))
        # What lies at a limit and would go beyond it is held, so that the others move as they can.
        held = ((values <= chain.least) & (down > 0.0)) | ((values >= chain.most) & (down < 0.0))
        free = np.flatnonzero(~held)
        inner = matters[np.ix_(free, free)]
        better = None
        for _ in range(_TRIES):
            raised = inner + damping * np.diag(np.diag(inner))
            step = np.zeros(len(chain))
            step[free] = np.clip(-np.linalg.solve(raised, down[free]), -_FARTHEST, _FARTHEST)
            tried = np.clip(values + step * chain.usual, chain.least, chain.most)
            tried = chain.within(tried)
            try:
                shown = chain.signal(tried, wanted.scene, fit)
                reached = _cost(chain, tried, wanted, shown, weight)
                # A print that cannot be fitted into the display is no place to go on from.
                good = reached < cost and chain.can_be_shown(tried)
            except ValueError:
                good = False
            if good:
                better = tried, reached
                break
            damping *= 6.0
        if better is None:
            break
        values, reached = better
        damping = max(damping * 0.2, 1e-7)
        if (cost - reached) < _ENOUGH * cost:
            break
    signal = chain.signal(values, wanted.scene)
    weight = _weights(wanted, signal)
    return Solved(chain, values, _cost(chain, values, wanted, signal, weight), matters)


def _weights(wanted: Wanted, signal: Array) -> Array:
    """Return what each colour counts now; they sum to one."""
    weight = np.ones(len(wanted.scene))
    if wanted.doubted is not None:
        off = np.linalg.norm(wanted.residual(signal), axis=-1)
        weight = weight / (1.0 + (off / wanted.doubted) ** 2) ** 1.5
    return np.asarray(weight / weight.sum())


def _cost(chain: Chain, values: Array, wanted: Wanted, signal: Array, weight: Array) -> float:
    off = (wanted.residual(signal) ** 2).sum(axis=-1)
    leaning = (values - chain.plain) / chain.usual
    return float((weight * off).sum() + LEANING**2 * (leaning**2).sum())


def _slopes(
    chain: Chain, values: Array, wanted: Wanted, weight: Array, fit: Fit | None
) -> tuple[Array, Array]:
    """Return the weighted differences, (3 n,), and how each number moves them, (3 n, numbers)."""
    root = np.sqrt(weight)[:, None]
    now = root * wanted.residual(chain.signal(values, wanted.scene, fit))
    slopes = np.zeros((now.size, len(chain)))

    def one(row: int) -> None:
        moved = _moved(chain, values, row, wanted.scene, fit)
        if moved is not None:
            step, signal = moved
            slopes[:, row] = (root * wanted.residual(signal) - now).ravel() / step

    at_once(one, range(len(chain)))
    return now.ravel(), slopes


def _moved(
    chain: Chain, values: Array, row: int, scene: Array, fit: Fit | None
) -> tuple[float, Array] | None:
    """Return the signal with one number moved a little, to the side where that is allowed."""
    for step in (_STEP, -_STEP):
        tried = values.copy()
        tried[row] += step * chain.usual[row]
        if chain.least[row] <= tried[row] <= chain.most[row]:
            try:
                return step, chain.signal(tried, scene, fit)
            except ValueError:
                continue
    return None
