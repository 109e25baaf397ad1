"""An inspection in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Final

import numpy as np

from lookkit.inspect.comparison import Comparison, Figures
from lookkit.inspect.function import Function
from lookkit.inspect.inspection import Inspection
from lookkit.inspect.shape import CHANNELS, Ramp, Shape, Solid
from lookkit.inspect.tone import Tone

_LISTED: Final = 3
"""Faults of one kind that are listed."""
_BANDS: Final = 3.0
"""Steps of output for one of input from which 8-bit pictures show bands (common practice, no
source)."""


def describe(inspection: Inspection) -> str:
    """Return all that was found out about a LUT, for a person to read."""
    file = inspection.file
    title = f', titled "{file.title}"' if file.title else ""
    lines = [f"{file.path}: .{file.format}{title}", f"  {inspection.contents}"]
    if inspection.read_by == "OpenColorIO":
        lines.append("  what it does is taken from OpenColorIO's reading")
    lines += ["", "faults"]
    lines += [f"  {line}" for line in _faults(inspection)]
    if inspection.readings:
        lines += ["", "who reads it"]
        lines += [f"  {reading}" for reading in inspection.readings]
    if inspection.told:
        lines += ["", "what it says of itself"]
        lines += [f"  {side}: {words}" for side, words in inspection.told.items()]
    if inspection.guesses:
        lines += ["", "what it seems made for (likelihoods from its values, not verdicts)"]
        lines += [f"  {guess}" for guess in inspection.guesses]
    if inspection.shape is not None:
        lines += ["", "shape"]
        if inspection.takes_light:
            lines.append(
                "  takes scene-linear light, of which inputs 0 to 1 are looked at: up to 2.5 stops "
                "over mid-grey"
            )
        lines += [f"  {line}" for line in _shape(inspection)]
    elif inspection.function is not None:
        lines += ["", "shape", "  not described: some of its values are no finite numbers"]
    if inspection.tone is not None:
        lines += ["", *_tone(inspection.tone)]
    return "\n".join(lines)


def describe_comparison(comparison: Comparison, first: str, second: str) -> str:
    """Return how two LUTs differ, for a person to read."""
    lines = [
        f"{first} against {second}",
        f"  compared over inputs {_three(comparison.low)} to {_three(comparison.high)}",
        f"  ten-bit codes, whole cube: {_figures(comparison.codes)}",
        f"  ten-bit codes, neutral ramp: {_figures(comparison.neutral)}",
    ]
    if comparison.delta_e_2000 is not None:
        lines.append(f"  Delta E 2000, whole cube: {_figures(comparison.delta_e_2000)}")
    if comparison.delta_e_itp is not None:
        lines.append(f"  Delta E ITP, whole cube: {_figures(comparison.delta_e_itp)}")
    if not comparison.worst:
        return "\n".join([*lines, "  they do the same"])
    lines += ["", "worst colours: input, first, second, ten-bit codes apart"]
    for colour in comparison.worst:
        seen = "" if colour.delta_e is None else f"  Delta E 2000 {colour.delta_e:.2f}"
        lines.append(
            f"  {_three(colour.code)}   {_three(colour.first)}   {_three(colour.second)}   "
            f"{colour.difference * 1023:.1f}{seen}"
        )
    return "\n".join(lines)


def _faults(inspection: Inspection) -> Iterator[str]:
    faults = inspection.file.faults
    if not faults:
        yield "none"
        return
    told: Counter[str] = Counter()
    last = {fault.code: index for index, fault in enumerate(faults)}
    for index, (fault, problem) in enumerate(zip(faults, inspection.problems, strict=True)):
        told[fault.code] += 1
        if told[fault.code] <= _LISTED:
            place = f"line {fault.line}" if fault.line else "whole file"
            text = str(problem).removeprefix(f"{problem.file}:{fault.line}: ")
            yield f"{fault.level}, {place}: {text.removeprefix(f'{problem.file}: ')}"
        elif index == last[fault.code]:
            rest = told[fault.code] + fault.more - _LISTED
            yield f"{fault.level}: {rest} more like the last of these ({fault.code})"


def _shape(inspection: Inspection) -> Iterator[str]:
    shape, light, function = inspection.shape, inspection.gives_light, inspection.function
    assert shape is not None
    assert function is not None
    if shape.gives == "one colour":
        yield f"gives one colour, {_three(shape.highest)}, whatever comes in"
        return
    if light:
        yield (
            "gives scene-linear light: tint, steps, banding and the share of the output cube, "
            "which are counted in codes, do not apply"
        )
    if shape.identity:
        yield "changes nothing"
    if shape.gives == "greys":
        yield "gives greys alone: the picture becomes black and white"
    yield f"outputs from {_three(shape.lowest)} to {_three(shape.highest)}"
    yield from _ramp(shape.ramp, light, _Domain(function))
    if shape.per_channel and not shape.identity:
        yield "each channel depends on itself alone: a 1D LUT could do the same"
    if shape.rounded_bits is not None and not light:
        yield f"values are rounded to {shape.rounded_bits} bits: expect banding in smooth areas"
    if shape.solid is not None:
        yield from _solid(shape, shape.solid, light)
    yield f"can be undone: {shape.invertible}"


class _Domain:
    """Where greys lie in a LUT's domain: of red's inputs, where channels have domains apart."""

    def __init__(self, function: Function) -> None:
        self._low, high = float(function.low[0]), float(function.high[0])
        self.width = high - self._low
        apart = np.ptp(function.low) > 0 or np.ptp(function.high) > 0
        self._whose = " of red" if apart else ""

    def at(self, place: float) -> str:
        """Return the input at a place 0-1 of the domain."""
        return f"input {self._low + place * self.width:.3f}{self._whose}"


def _ramp(ramp: Ramp, light: bool, domain: _Domain) -> Iterator[str]:
    yield f"black gives {_three(ramp.first)}, white {_three(ramp.last)}"
    if ramp.reversals:
        for turn in ramp.reversals:
            depth = f"{turn.depth:.4g}" if light else f"{turn.depth * 1023:.1f} ten-bit codes"
            yield (
                f"NOT MONOTONE: on the grey ramp {turn.channel} falls by {depth} between "
                f"{domain.at(turn.start)} and {domain.at(turn.end)}"
            )
    else:
        yield "the grey ramp is monotone in all channels"
    if light:
        pass
    elif ramp.tint * 1023 < 0.5:
        yield "greys stay grey (within half a ten-bit code)"
    else:
        yield (
            f"tint: greys differ between channels by up to {ramp.tint * 1023:.1f} ten-bit "
            f"codes, most at {domain.at(ramp.tint_at)}"
        )
    if ramp.flat_low > 0:
        yield f"clips: greys below {domain.at(ramp.flat_low)} all come out alike"
    if ramp.flat_high < 1:
        yield f"clips: greys above {domain.at(ramp.flat_high)} all come out alike"
    if not light:
        steepest = ramp.steepest / domain.width
        yield (
            f"steepest: one step of input makes {steepest:.2f} of output, at "
            f"{domain.at(ramp.steepest_at)}"
            + (" (8-bit pictures will band)" if steepest > _BANDS else "")
        )
    if ramp.longest_flat > 2:
        codes = ramp.longest_flat * domain.width
        yield f"stairs: {codes:.0f} ten-bit input codes in a row give one output"


def _solid(shape: Shape, solid: Solid, light: bool) -> Iterator[str]:
    if solid.swapped_axes:
        yield "AXES: red follows the blue axis and blue the red one, as if written in wrong order"
    elif solid.mirrored:
        yield "MIRRORED: the order of colours is turned inside out"
    if solid.folded_at is not None:
        yield (
            f"FOLDS: {solid.folded:.2%} of the cube is turned inside out, worst near input "
            f"{_three(solid.folded_at)}"
        )
    elif shape.gives == "colours":
        yield "no folds"
    if solid.flat > 0.001 and shape.gives == "colours":
        yield f"{solid.flat:.1%} of the cube comes out flat: clipped, its differences are lost"
    for name, shares in (("lowest", solid.clipped_low), ("highest", solid.clipped_high)):
        if max(shares) > 0.001:
            each = ", ".join(f"{c} {s:.1%}" for c, s in zip(CHANNELS, shares, strict=True))
            yield f"points clipped at the {name} output: {each}"
    if light:
        if solid.below:
            yield f"points with a channel below 0: {solid.below:.1%}"
        return
    if solid.below or solid.above:
        yield f"points with a channel below 0: {solid.below:.1%}, above 1: {solid.above:.1%}"
    if not shape.keeps_to_codes:
        yield "gamut: outputs leave 0-1, so the share of that cube does not apply"
    elif shape.gives == "colours":
        yield f"gamut: its colours fill {solid.volume:.1%} of the cube of output codes"
    yield (
        f"between points a straight line misses the curve by up to {solid.scallop:.1f} "
        f"ten-bit codes (99 % within {solid.scallop_p99:.1f})"
    )


def _tone(tone: Tone) -> Iterator[str]:
    yield f"greys of {tone.encoding} in {tone.range} range" + (
        f", seen on {tone.output}" if tone.output else ""
    )
    for grey in tone.greys:
        lost = "  outside the domain" if grey.stops in tone.beyond else ""
        light = "" if grey.light is None else f"  {grey.light:9.3f} cd/m2"
        yield f"  {grey.stops:+3d} stops  code {grey.code:.4f}  {_three(grey.signal)}{light}{lost}"
    if tone.input_range is not None:
        yield f"  {tone.input_range}"


def _three(values: tuple[float, float, float]) -> str:
    return " ".join(f"{value:.4f}" for value in values)


def _figures(figures: Figures) -> str:
    return f"mean {figures.mean:.3f}, p99 {figures.p99:.3f}, max {figures.largest:.3f}"
