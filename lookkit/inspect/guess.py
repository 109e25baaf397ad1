"""What a LUT seems made for, judged from its values alone: likelihoods, not verdicts.

Each possibility is described by where the neutral ramp leaves black, passes its middle and
reaches white; how far the LUT's ramp is from that gives the likelihood. The numbers below
are common practice, no source; the ends of legal range are those of ITU-R BT.709.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from lookkit.inspect.function import Function
from lookkit.inspect.shape import RAMP
from lookkit.spaces.ranges import limits
from lookkit.spaces.working import Array

_BLACK, _WHITE = (code / 1023 for code in limits("legal", 10))


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
    share = np.maximum.accumulate((ramp - low) / (high - low))
    leaves, middle, reaches = (float(np.interp(x, share, steps)) for x in (0.02, 0.5, 0.98))
    spans = f"output {low:.3f} to {high:.3f}"
    moving = np.flatnonzero((ramp > low + 0.002) & (ramp < high - 0.002))
    if not len(moving):
        return ()
    start, end = float(steps[moving[0]]), float(steps[moving[-1]])
    passes = f"leaves black at {leaves:.3f}, half-way at {middle:.3f}, white at {reaches:.3f}"
    output = likelihood(
        {
            "display": max(
                fit((low, 0.0, 0.02), (high, 1.0, 0.1)),
                fit((low, _BLACK, 0.01), (high, _WHITE, 0.1)),
                fit((low, _BLACK, 0.03), (high, _WHITE, 0.01)),
            ),
            # Rarer by far.
            "log": fit((low, 0.09, 0.03), (high, 0.85, 0.17)) - 1.0,
        }
    )
    to_log = next(iter(output)) == "log"
    quarter, most = (float(np.interp(x, share, steps)) for x in (0.25, 0.75))
    slope = 0.5 / max(most - quarter, 1e-3)
    if to_log:
        kinds = {
            "log": fit((leaves, 0.06, 0.05), (middle, 0.5, 0.1)),
            "display": fit((leaves, 0.01, 0.02), (middle, 0.3, 0.1)),
            "scene-linear": fit((leaves, 0.0, 0.008), (middle, 0.05, 0.05)),
        }
    else:
        kinds = {
            "log": fit((leaves, 0.12, 0.045), (middle, 0.43, 0.06), (slope, 2.2, 0.4)),
            "display": fit((leaves, 0.04, 0.03), (middle, 0.52, 0.07), (slope, 1.3, 0.3)),
            "scene-linear": fit((leaves, 0.005, 0.006), (middle, 0.19, 0.06), (slope, 3, 1)),
        }
        # Legal range clipped away leaves a corner at each end, which no log curve has.
        if min(_slope(steps, ramp, start, 0.02), _slope(steps, ramp, end, -0.02)) > 0.3:
            cut = fit((start, _BLACK, 0.01), (end, _WHITE, 0.02), (slope, 1.35, 0.3))
            kinds["display"] = max(kinds["display"], cut)
    source = likelihood(kinds)
    passes += f", slope {slope:.2f}"
    found = [Guess("input", source, passes), Guess("output", output, spans)]
    if not to_log:
        ends = {
            "full": fit((low, 0.0, 0.02), (high, 1.0, 0.1)),
            "legal": fit((low, _BLACK, 0.01), (high, _WHITE, 0.1)),
        }
        found.append(Guess("output range", likelihood(ends), spans))
        if next(iter(source)) == "display":
            ends = {
                "full": fit((start, 0.0, 0.02), (end, 1.0, 0.03)),
                "legal": fit((start, _BLACK, 0.012), (end, _WHITE, 0.025)),
            }
            moves = f"moves between inputs {start:.3f} and {end:.3f}"
            found.append(Guess("input range", likelihood(ends), moves))
    return tuple(found)


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


def likelihood(scores: Mapping[str, float]) -> dict[str, float]:
    """Return the share of each possibility for its log density, the likeliest first."""
    best = max(scores.values())
    weights = {name: math.exp(score - best) for name, score in scores.items()}
    total = sum(weights.values())
    ordered = sorted(weights, key=lambda name: -weights[name])
    return {name: weights[name] / total for name in ordered}
