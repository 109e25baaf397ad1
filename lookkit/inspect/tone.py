"""What a LUT does to greys a stop apart, when it is known what it takes and gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from lookkit.inspect.function import Function
from lookkit.inspect.guess import Guess, fit, likelihood
from lookkit.kernel.formula import triple
from lookkit.spaces.encodings import Encoding
from lookkit.spaces.outputs import Output
from lookkit.spaces.ranges import RANGES, SignalRange
from lookkit.spaces.working import MID_GREY, Array

STOPS: Final = tuple(range(-8, 9))
"""From mid-grey."""


@dataclass(frozen=True)
class Grey:
    """One grey of a scene through a LUT.

    Attributes
    ----------
    stops
        From mid-grey, 18 % reflectance.
    code
        In the encoding that the LUT expects.
    signal
        The LUT's output.
    light
        cd/m2 on the display that the LUT is for; None if that is not known.
    """

    stops: int
    code: float
    signal: tuple[float, float, float]
    light: float | None


@dataclass(frozen=True)
class Tone:
    """Greys through a LUT, and which signal range of its input suits it.

    Attributes
    ----------
    encoding, output
        Names of what the LUT is said to take and give; `output` may be "".
    range
        The range in which the greys were encoded: the camera's own.
    beyond
        Stops whose code lies outside the LUT's domain: they are lost.
    input_range
        None for scene-linear input, which has no legal range.
    """

    encoding: str
    output: str
    range: SignalRange
    greys: tuple[Grey, ...]
    beyond: tuple[int, ...]
    input_range: Guess | None


def tone_of(function: Function, expects: Encoding, gives: Output | None) -> Tone:
    """Return greys from -8 to +8 stops through a LUT said to take `expects`."""
    greys, beyond = [], []
    for stops in STOPS:
        scene = np.full(3, MID_GREY * 2.0**stops)
        code = expects.encode(scene)
        signal = function(code)
        if (code < function.low - 1e-6).any() or (code > function.high + 1e-6).any():
            beyond.append(stops)
        light = None if gives is None else luminance(gives, signal)
        greys.append(Grey(stops, float(code.mean()), triple(signal), light))
    return Tone(
        encoding=expects.name,
        output=gives.name if gives else "",
        range=expects.native_range,
        greys=tuple(greys),
        beyond=tuple(beyond),
        input_range=None if expects.scene_linear else _input_range(function, expects),
    )


def luminance(output: Output, signal: Array) -> float:
    """Return the luminance in cd/m2 of a display that is given `signal`, shape (3,)."""
    row = output.limiting.to_xyz()[1]
    return float(output.decode(signal) @ row) * 100.0


def _input_range(function: Function, expects: Encoding) -> Guess:
    """Judge by where black, deep shadow and mid-grey come out under either range."""
    ends = function(np.stack([function.low, function.high])).mean(axis=1)
    low, high = float(ends.min()), float(ends.max())
    scenes = np.repeat(np.array([[0.0], [MID_GREY / 32], [MID_GREY]]), 3, axis=1)
    scores, words = {}, []
    for name in RANGES:
        out = function(expects.encode(scenes, range=name)).mean(axis=1)
        black, shadow, grey = ((out - low) / max(high - low, 1e-9)).tolist()
        # A fitting range puts black at the bottom and yet keeps a shadow five stops down
        # apart from it; mid-grey of a display picture lies a little below the middle.
        scores[name] = fit((black, 0.0, 0.02), (min(shadow - black, 0.03), 0.03, 0.01)) + fit(
            (grey, 0.43, 0.08)
        )
        words.append(f"as {name} range black gives {black:.0%}, mid-grey {grey:.0%}")
    return Guess("input range", likelihood(scores), "; ".join(words) + " of the output")
