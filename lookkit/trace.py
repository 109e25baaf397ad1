"""What happens to one colour on its way from a camera's codes to a display's signal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from lookkit.errors import InputError
from lookkit.evaluate import clean
from lookkit.graph import Acting, Branches, OutputTransform, RangeStep, share_of
from lookkit.nodes.base import Op
from lookkit.spaces.level import stops_of
from lookkit.spaces.oklab import chroma_of, hue_of, oklab
from lookkit.spaces.primaries import AP1, Primaries, between
from lookkit.spaces.working import Array, State

if TYPE_CHECKING:
    from lookkit.look import Look
    from lookkit.spaces.outputs import Output

_LARGEST_CODE = 4.0
"""Codes beyond are meant as integers."""
_STEP = 2.0 ** (1.0 / 24.0)
_CLOSE = 1e-6
_CLIPPED = 1e-4
_COLOURLESS = 1e-4
"""Below this chroma a hue means nothing."""
_NAMES = ("red", "green", "blue")


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
        Level in stops from mid-grey: of scene light from 0.18, of display light from 10 cd/m2,
        where a print puts mid-grey.
    luminance
        Of display light, in cd/m2; SDR counts its white as 100.
    hue, chroma
        Oklab's, in degrees and as a share: of scene and display light only.
    notes
        What happened in this step: how far the node acted, left the gamut, went negative,
        clipped, folded.
    """

    label: str
    state: State
    values: tuple[float, float, float]
    stops: float | None
    luminance: float | None
    hue: float | None
    chroma: float | None
    notes: tuple[str, ...]


def check_code(look: Look, camera: str, code: Sequence[float]) -> None:
    """Check that code values are such as a file may hold.

    Raises
    ------
    InputError
        If one is far beyond 0-1 and the camera is not scene-linear.
    """
    largest = max(abs(one) for one in code)
    if largest <= _LARGEST_CODE or look.graph.input_transform(camera).encoding.scene_linear:
        return
    bits = next((bits for bits in (8, 10, 12, 16) if largest < 2**bits), 16)
    shares = ",".join(f"{one / (2**bits - 1):.4g}" for one in code)
    raise InputError(
        f"code {','.join(f'{one:g}' for one in code)}: codes are 0-1; if these are {bits} bits, "
        f"write {shares}"
    )


def trace(
    look: Look,
    code: npt.ArrayLike,
    *,
    camera: str,
    output: str,
    scene: str | None = None,
) -> tuple[Traced, ...]:
    """Follow one colour through every step, in the exact graph.

    Where the graph branches, every node of the branches is a step.

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
    target = look.graph.output(output)
    return _followed(chain, code, _Start("code values", State.CODE), target)


def trace_light(
    look: Look, light: npt.ArrayLike, *, output: str, scene: str | None = None
) -> tuple[Traced, ...]:
    """Follow scene light, as a camera and its own trims give it, through every later step.

    Parameters and errors as in `trace`; `light` is scene-linear AP1.
    """
    graph = look.graph
    chain = (
        *graph.trims(scene),
        *graph.look(scene),
        *graph.rendering(output, scene),
        *graph.output_steps(output),
    )
    return _followed(chain, light, _Start("the light", State.SCENE), graph.output(output))


@dataclass(frozen=True)
class _Start:
    """What goes in."""

    label: str
    state: State


def _followed(
    chain: Sequence[Op], values: npt.ArrayLike, start: _Start, target: Output
) -> tuple[Traced, ...]:
    pixel = clean(values)
    if pixel.shape != (3,):
        raise ValueError(f"expected three values, found shape {pixel.shape}")
    found = [_traced(start.label, start.state, pixel, target.limiting, ())]
    gamut = target.limiting
    for op in chain:
        for label, before, after, notes in _inner(op, pixel):
            notes = (*notes, *_scene_notes(before, after))
            found.append(_traced(label, op.gives, after, gamut, notes))
        after = op.evaluate(pixel)
        notes = (*_acting(op, pixel), *_notes(op, pixel, after, target), *_folds(op, pixel))
        if isinstance(op, Branches):
            last = found.pop()
            notes = (*last.notes, *(note for note in notes if note not in last.notes))
        label = op.nodes[-1].label if isinstance(op, Branches) else op.label
        found.append(_traced(label, op.gives, after, gamut, notes))
        pixel = after
    return tuple(found)


def trace_text(steps: Sequence[Traced]) -> str:
    """Return a trace as a table."""
    head = ["step", "red", "green", "blue", "level", "hue", "chroma", "what happened"]
    rows = [head]
    for step in steps:
        numbers = [f"{value:.5f}" for value in step.values]
        hue = "" if step.hue is None else f"{step.hue:.1f}"
        chroma = "" if step.chroma is None else f"{step.chroma:.3f}"
        rows.append([step.label, *numbers, _level(step), hue, chroma, "; ".join(step.notes)])
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = []
    for row in rows:
        cells = [row[0].ljust(widths[0])]
        cells += [cell.rjust(width) for cell, width in zip(row[1:-1], widths[1:-1], strict=True)]
        lines.append("  ".join([*cells, row[-1]]).rstrip())
    return "\n".join(lines)


def _level(step: Traced) -> str:
    if step.luminance is not None:
        return f"{step.luminance:.2f} cd/m2"
    if step.stops is not None:
        return f"{step.stops:+.2f} stops"
    return "10 bit " + " ".join(f"{1023.0 * value:.0f}" for value in step.values)


def _traced(
    label: str, state: State, pixel: Array, gamut: Primaries, notes: tuple[str, ...]
) -> Traced:
    light = pixel if state == State.SCENE else None
    luminance = None
    if state == State.DISPLAY:
        luminance = 100.0 * float(gamut.to_xyz()[1] @ pixel)
        light = 1.8 * (between(gamut, AP1, "bradford") @ pixel)
    stops = hue = chroma = None
    if light is not None:
        lab = oklab(light)
        stops, chroma = float(stops_of(light)), float(chroma_of(lab))
        hue = float(hue_of(lab) % 360.0) if chroma > _COLOURLESS else None
    r, g, b = (float(value) for value in pixel)
    return Traced(label, state, (r, g, b), stops, luminance, hue, chroma, notes)


def _inner(op: Op, pixel: Array) -> Iterator[tuple[str, Array, Array, tuple[str, ...]]]:
    """Yield label, light before and after, and notes of each node of a branching step."""
    if not isinstance(op, Branches):
        return
    values = op.values(pixel)
    for node, sources, after in zip(op.nodes, op.sources, values, strict=True):
        before = pixel if sources[0] < 0 else values[sources[0]]
        yield node.label, before, after, _acting(Acting(node), before)


def _acting(op: Op, pixel: Array) -> tuple[str, ...]:
    """Return how far a node acts on a colour, where that is not fully."""
    if not isinstance(op, Acting):
        return ()
    share = float(share_of(op.node, pixel))
    return () if share == 1.0 else (f"acts {100.0 * share:.3g} %",)


def _notes(op: Op, before: Array, after: Array, target: Output) -> tuple[str, ...]:
    """Return what a step did to a colour that it had not been before."""
    if op.gives == State.SCENE:
        return _scene_notes(before if op.takes == State.SCENE else np.zeros(3), after)
    if op.gives == State.DISPLAY:
        peak = target.peak / 100.0
        beyond = _named(after < -_CLOSE, "below black", after > peak + _CLOSE, "above the peak")
        return (f"left the gamut of {target.name}: {beyond}",) if beyond else ()
    if not isinstance(op, OutputTransform | RangeStep):
        return ()
    moved = op.inverse(after) - before
    allowed = _CLIPPED * max(1.0, float(np.abs(before).max()))
    clipped = _named(moved > allowed, "at black", moved < -allowed, "at the top")
    return (f"clipped: {clipped}",) if clipped else ()


def _scene_notes(before: Array, after: Array) -> tuple[str, ...]:
    was, now = before < -_CLOSE, after < -_CLOSE
    if (now & ~was).any():
        gone = ", ".join(name for name, one in zip(_NAMES, now & ~was, strict=True) if one)
        return (f"{gone} went negative: it left the gamut of AP1",)
    return ("came back inside AP1",) if was.any() and not now.any() else ()


def _named(low: npt.NDArray[np.bool_], below: str, high: npt.NDArray[np.bool_], above: str) -> str:
    parts = [
        f"{', '.join(name for name, one in zip(_NAMES, which, strict=True) if one)} {words}"
        for which, words in ((low, below), (high, above))
        if which.any()
    ]
    return ", ".join(parts)


def _folds(op: Op, pixel: Array) -> tuple[str, ...]:
    """Tell whether a little more light gives less out of a step, in its strongest channel."""
    if op.takes not in (State.SCENE, State.DISPLAY) or op.gives == State.SIGNAL:
        return ()
    lower, higher = op.evaluate(np.stack([pixel / _STEP, pixel * _STEP]))
    top = int(np.argmax(higher))
    if higher[top] < lower[top] * (1.0 - _CLOSE) and pixel[top] > 0.0:
        return (f"folded: more light gives less {_NAMES[top]}",)
    return ()
