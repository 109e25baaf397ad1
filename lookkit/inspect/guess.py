"""What a LUT seems made for, judged from its values alone: likelihoods, not verdicts.

Each possibility is described by where the neutral ramp leaves black, passes its middle and
reaches white; how far the LUT's ramp is from that gives the likelihood. The numbers below
are common practice, no source; the ends of legal range are those of ITU-R BT.709.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np

from lookkit.inspect.function import Function
from lookkit.inspect.shape import RAMP
from lookkit.spaces.ranges import RANGES, limits
from lookkit.spaces.working import Array

_BLACK, _WHITE = (code / 1023 for code in limits("legal", 10))
_DOUBT: Final = 0.06
"""Share kept for LUTs that are like none of the descriptions below."""

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True)
class Guess:
    """What one side of a LUT seems to be.

    Attributes
    ----------
    about
        "input", "output", "input range" or "output range".
    likelihood
        The possibilities, the likeliest first; they sum to 1.
    because
        The values it was judged by.
    """

    about: str
    likelihood: Mapping[str, float]
    because: str

    def __str__(self) -> str:
        parts = [f"{name} {share:.0%}" for name, share in self.likelihood.items()]
        return f"{self.about}: {', '.join(parts)} ({self.because})"


def guesses(function: Function) -> tuple[Guess, ...]:
    """Guess what a LUT takes and gives; empty if its neutral ramp says nothing.

    A LUT over a domain other than 0-1, one that changes nothing, one whose ramp does not
    rise and one that goes far beyond 0-1 have nothing to be judged by.
    """
    if not (np.array_equal(function.low, [0, 0, 0]) and np.array_equal(function.high, [1, 1, 1])):
        return ()
    steps = np.linspace(0.0, 1.0, RAMP)
    ramp = function(np.repeat(steps[:, None], 3, axis=1)).mean(axis=1)
    if not np.isfinite(ramp).all() or ramp[-1] - ramp[0] < 0.2:
        return ()
    low, high = float(ramp.min()), float(ramp.max())
    if np.abs(ramp - steps).max() < 0.004 or low < -0.2 or high > 1.5:
        return ()
    moving = np.flatnonzero((ramp > low + 0.002) & (ramp < high - 0.002))
    if not len(moving):
        return ()
    start, end = float(steps[moving[0]]), float(steps[moving[-1]])
    share = np.maximum.accumulate((ramp - low) / (high - low))
    leaves, quarter, middle, most = (
        float(np.interp(x, share, steps)) for x in (0.02, 0.25, 0.5, 0.75)
    )
    slope = 0.5 / max(most - quarter, 1e-3)
    # Legal range cut away leaves a corner at each end, which no log curve has.
    corners = min(_slope(steps, ramp, start, 0.02), _slope(steps, ramp, end, -0.02)) > 0.3
    lowest, highest = _ends(function, ramp)

    gives = {
        "full": max(
            fit((lowest, 0.02, 0.04), (highest, 0.99, 0.03)),
            # A look whose white stays low, here and below.
            fit((lowest, 0.01, 0.03), (highest, 0.8, 0.15)) - 1.0,
        ),
        "legal": max(
            fit((lowest, 0.08, 0.03), (highest, 0.908, 0.015)),
            fit((lowest, _BLACK, 0.004), (highest, 0.75, 0.12)) - 2.0,
        ),
        # Rarer by far.
        "log": fit((lowest, 0.09, 0.03), (highest, 0.8, 0.15)) - 2.0,
    }
    to_display = {
        "log": fit((leaves, 0.12, 0.045), (middle, 0.44, 0.06), (slope, 2.0, 0.45)),
        "display": max(
            fit((leaves, 0.04, 0.03), (middle, 0.52, 0.07), (slope, 1.3, 0.3)),
            fit((start, _BLACK, 0.01), (end, _WHITE, 0.02), (slope, 1.35, 0.3))
            if corners
            else -math.inf,
        ),
        "scene-linear": fit((leaves, 0.005, 0.006), (middle, 0.19, 0.06), (slope, 1.6, 0.8)),
    }
    to_log = {
        "log": fit((leaves, 0.06, 0.05), (middle, 0.5, 0.08), (slope, 1.3, 0.4)),
        "display": fit((leaves, 0.01, 0.02), (middle, 0.3, 0.1), (slope, 1.5, 0.5)),
        "scene-linear": fit((leaves, 0.0, 0.008), (middle, 0.05, 0.05), (slope, 3, 2)),
    }
    together = likelihood(
        {
            (takes, target): first + second
            for target, second in gives.items()
            for takes, first in (to_log if target == "log" else to_display).items()
        }
    )
    source = _marginal(together, lambda takes, _: takes)
    output = _marginal(together, lambda _, target: "log" if target == "log" else "display")
    spans = f"output {lowest:.3f} to {highest:.3f}, greys {low:.3f} to {high:.3f}"
    passes = f"leaves black at {leaves:.3f}, half-way at {middle:.3f}, slope {slope:.2f}"
    found = [Guess("input", source, passes), Guess("output", output, spans)]
    if next(iter(output)) == "display":
        ranges = likelihood({name: gives[name] for name in RANGES})
        found.append(Guess("output range", ranges, spans))
    if next(iter(source)) == "display":
        ends = {
            "full": fit((start, 0.0, 0.02), (end, 1.0, 0.03)),
            "legal": fit((start, _BLACK, 0.012), (end, _WHITE, 0.025)),
        }
        moves = f"moves between inputs {start:.3f} and {end:.3f}"
        found.append(Guess("input range", likelihood(ends), moves))
    return tuple(found)


def _ends(function: Function, ramp: Array) -> tuple[float, float]:
    """Return the lowest and highest output of any colour: where a signal range would end."""
    values = ramp if function.curves_only else function.sampled()
    return float(values.min()), float(values.max())


def _marginal(
    together: Mapping[tuple[str, str], float], name: Callable[[str, str], str]
) -> dict[str, float]:
    """Return the likelihood of each name over all the pairs that have it."""
    summed: dict[str, float] = {}
    for pair, share in together.items():
        summed[name(*pair)] = summed.get(name(*pair), 0.0) + share
    return dict(sorted(summed.items(), key=lambda item: -item[1]))


def likelihood(scores: Mapping[Key, float]) -> dict[Key, float]:
    """Return the share of each possibility for its log density, the likeliest first."""
    best = max(scores.values())
    weights = {name: math.exp(score - best) for name, score in scores.items()}
    total = sum(weights.values())
    ordered = sorted(weights, key=lambda name: -weights[name])
    even = _DOUBT / len(scores)
    return {name: even + (1.0 - _DOUBT) * weights[name] / total for name in ordered}


def _slope(steps: Array, ramp: Array, start: float, reach: float) -> float:
    """Return the ramp's slope between `start` and `start + reach`."""
    first, last = (float(np.interp(x, steps, ramp)) for x in (start, start + reach))
    return (last - first) / reach


def fit(*features: tuple[float, float, float]) -> float:
    """Return the log density of (value, ideal, width) features, each normally distributed."""
    # A feature counts as eight widths off at most: it alone rules no possibility out.
    return sum(
        -0.5 * min(abs(value - ideal) / width, 8.0) ** 2 - math.log(width)
        for value, ideal, width in features
    )
