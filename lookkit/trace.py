"""What happens to one colour on its way from a camera's codes to a display's signal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from lookkit.evaluate import clean
from lookkit.nodes.base import Op
from lookkit.spaces.level import stops_of
from lookkit.spaces.oklab import chroma_of, hue_of, oklab
from lookkit.spaces.primaries import AP1, between
from lookkit.spaces.working import Array, State

if TYPE_CHECKING:
    from lookkit.look import Look
    from lookkit.spaces.outputs import Output

_STEP = 2.0 ** (1.0 / 24.0)
_CLOSE = 1e-6


@dataclass(frozen=True)
class Traced:
    """One colour after one step.

    Attributes
    ----------
    label
        The step; the first entry is what goes in.
    state
        What the values mean after it.
    values
        Red, green and blue.
    stops
        Level in stops from mid-grey, of scene light; of display light in stops from 10 cd/m2.
    hue, chroma
        Oklab's, in degrees and as a share: of scene and display light only.
    notes
        What happened in this step: left the gamut, went negative, clipped, folded.
    """

    label: str
    state: State
    values: tuple[float, float, float]
    stops: float | None
    hue: float | None
    chroma: float | None
    notes: tuple[str, ...]


def trace(
    look: Look,
    code: npt.ArrayLike,
    *,
    camera: str,
    output: str,
    scene: str | None = None,
) -> tuple[Traced, ...]:
    """Follow one colour through every step.

    Parameters
    ----------
    code
        Three code values of the camera, 0-1 for the whole range of its files.

    Raises
    ------
    InputError
        If the camera, output or scene is not in the recipe.
    ValueError
        If `code` is not three numbers.
    """
    chain = look.graph.chain(camera, output, scene)
    pixel = clean(code).pixels
    if pixel.shape != (3,):
        raise ValueError(f"expected three code values, found shape {pixel.shape}")
    target = look.graph.output(output)
    found = [_traced("code values", State.CODE, pixel, target, ())]
    for op in chain:
        after = op.evaluate(pixel)
        notes = (*_notes(op, pixel, after, target), *_folds(op, pixel))
        found.append(_traced(op.label, op.gives, after, target, notes))
        pixel = after
    return tuple(found)


def trace_text(steps: Sequence[Traced]) -> str:
    """Return a trace as a table."""
    head = ["step", "red", "green", "blue", "stops", "hue", "chroma", "what happened"]
    rows = [head]
    for step in steps:
        numbers = [f"{value:.5f}" for value in step.values]
        seen = [
            "" if value is None else form.format(value)
            for value, form in (
                (step.stops, "{:+.2f}"),
                (step.hue, "{:.1f}"),
                (step.chroma, "{:.3f}"),
            )
        ]
        rows.append([step.label, *numbers, *seen, "; ".join(step.notes)])
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = []
    for row in rows:
        cells = [row[0].ljust(widths[0])]
        cells += [cell.rjust(width) for cell, width in zip(row[1:-1], widths[1:-1], strict=True)]
        lines.append("  ".join([*cells, row[-1]]).rstrip())
    return "\n".join(lines)


def _traced(
    label: str, state: State, pixel: Array, target: Output, notes: tuple[str, ...]
) -> Traced:
    light = pixel if state == State.SCENE else None
    if state == State.DISPLAY:
        # 10 cd/m2, where a print puts mid-grey, counts as 0.18.
        light = 1.8 * (between(target.limiting, AP1, "bradford") @ pixel)
    stops = hue = chroma = None
    if light is not None:
        lab = oklab(light)
        stops, hue, chroma = (float(f) for f in (stops_of(light), hue_of(lab), chroma_of(lab)))
    r, g, b = (float(value) for value in pixel)
    return Traced(label, state, (r, g, b), stops, hue, chroma, notes)


def _notes(op: Op, before: Array, after: Array, target: Output) -> tuple[str, ...]:
    """Return what a step did to a colour that it had not been before."""
    notes = []
    if op.gives == State.SCENE:
        was = (before < -_CLOSE) if op.takes == State.SCENE else np.zeros(3, dtype=bool)
        gone = [name for name, one in zip(_NAMES, (after < -_CLOSE) & ~was, strict=True) if one]
        if gone:
            notes.append(f"{', '.join(gone)} went negative: it left the gamut of AP1")
        elif was.any() and not (after < -_CLOSE).any():
            notes.append("came back inside AP1")
    elif op.gives == State.DISPLAY:
        peak = target.peak / 100.0
        if after.min() < -_CLOSE or after.max() > peak + _CLOSE:
            notes.append(f"outside the gamut or peak of {target.name}")
    elif op.gives == State.SIGNAL:
        unclipped = target.decode(after)
        if np.abs(unclipped - before).max() > 1e-4 * max(1.0, float(np.abs(before).max())):
            notes.append("clipped to the signal range")
    return tuple(notes)


_NAMES = ("red", "green", "blue")


def _folds(op: Op, pixel: Array) -> tuple[str, ...]:
    """Tell whether a little more light gives less out of a step, in its strongest channel."""
    if op.takes not in (State.SCENE, State.DISPLAY) or op.gives == State.SIGNAL:
        return ()
    lower, higher = op.evaluate(np.stack([pixel / _STEP, pixel * _STEP]))
    top = int(np.argmax(higher))
    if higher[top] < lower[top] * (1.0 - _CLOSE) and pixel[top] > 0.0:
        return (f"folded: more light gives less {_NAMES[top]}",)
    return ()
