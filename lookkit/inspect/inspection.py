"""Examining one LUT file: what it is, what is wrong with it, who will misread it."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Final

import numpy as np

from lookkit.errors import InputError, Problem
from lookkit.inspect.function import Function
from lookkit.inspect.guess import Guess, guesses
from lookkit.inspect.opening import open_lut
from lookkit.inspect.readers import READERS, ReaderName, Reading, readings
from lookkit.inspect.shape import Shape, shape_of
from lookkit.inspect.told import Side, is_light, told_by
from lookkit.inspect.tone import Tone, tone_of
from lookkit.lutfile.model import Curve, Lattice, LutFile, Points
from lookkit.progress import Progress, silent
from lookkit.spaces.encodings import encoding
from lookkit.spaces.outputs import output
from lookkit.spaces.working import Array

PROBES: Final = 4096
_SEED: Final = 5


@dataclass(frozen=True, eq=False)
class Inspection:
    """All that is found out about a LUT file.

    Attributes
    ----------
    file
        As the strict reader of its format sees it, faults included.
    read_by
        Whose reading the shape is taken from: "lookkit", "OpenColorIO", or "" if nobody
        makes anything of the file.
    contents
        What it holds, in words: sizes and domain.
    guesses
        What it seems made for; likelihoods from its values, not verdicts.
    readings
        What other libraries make of it.
    shape
        None where its numbers are missing or not finite.
    tone
        Greys through it, if it was said what it expects.
    function
        What it does, or None.
    """

    file: LutFile
    read_by: str
    contents: str
    guesses: tuple[Guess, ...]
    readings: tuple[Reading, ...]
    shape: Shape | None
    tone: Tone | None
    function: Function | None
    told: Mapping[Side, str] = field(default_factory=dict)

    @property
    def takes_light(self) -> bool:
        """Whether it takes scene-linear light, so that figures of codes say nothing."""
        return is_light("input", dict(self.told), self.shape)

    @property
    def gives_light(self) -> bool:
        """Whether it gives scene-linear light, so that figures of codes say nothing."""
        return is_light("output", dict(self.told), self.shape)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """All faults as located messages, by line."""
        return tuple(fault.problem(str(self.file.path)) for fault in self.file.faults)

    @property
    def sound(self) -> bool:
        """Whether a strict reader accepts the file."""
        return not self.file.errors

    def as_dict(self) -> dict[str, Any]:
        """Return all but the pixels, for JSON; numbers that are not finite become None."""
        report = {
            "file": str(self.file.path),
            "format": self.file.format,
            "title": self.file.title,
            "comments": list(self.file.comments),
            "contents": self.contents,
            "read_by": self.read_by,
            "sound": self.sound,
            "faults": [asdict(fault) for fault in self.file.faults],
            "guesses": [asdict(guess) for guess in self.guesses],
            "readings": [asdict(reading) for reading in self.readings],
            "told": dict(self.told),
            "takes_light": self.takes_light,
            "gives_light": self.gives_light,
            "shape": self._figures(),
            "tone": asdict(self.tone) if self.tone else None,
        }
        finite: dict[str, Any] = _finite(report)
        return finite

    def _figures(self) -> dict[str, Any] | None:
        """Return the shape; what is counted in codes is None where light comes out."""
        if self.shape is None:
            return None
        figures = asdict(self.shape)
        if figures["solid"] is not None:
            if self.gives_light:
                figures["solid"] |= dict.fromkeys(("volume", "above", "scallop", "scallop_p99"))
            elif not self.shape.keeps_to_codes:
                figures["solid"]["volume"] = None
        return figures


def inspect(
    path: str | os.PathLike[str],
    expects: str | None = None,
    gives: str | None = None,
    readers: Sequence[ReaderName] = READERS,
    progress: Progress = silent,
) -> Inspection:
    """Examine a LUT file from anywhere.

    Parameters
    ----------
    path
        A .cube, .clf, .3dl, .csp, .spi1d or .spi3d, which have strict readers of lookkit's
        own (the meaning of .clf is OpenColorIO's), or any other LUT that OpenColorIO reads.
    expects, gives
        Names of the encoding the LUT takes and of the output it gives, where known: then
        greys a stop apart are run through it. `gives` needs `expects`.
    readers
        The libraries to try the file with; each runs in a process of its own, for at most two
        minutes, and is skipped where it is not installed.

    Raises
    ------
    InputError
        If the file cannot be read at all, its ending is unknown, or a name is unknown.
    """
    takes = encoding(expects) if expects else None
    shown_on = output(gives) if gives else None
    if gives and not expects:
        raise InputError("what the LUT gives says nothing without what it expects")
    progress("reading", 0, 3)
    file, function = open_lut(path)
    read_by = ""
    if function is not None:
        read_by = "lookkit" if function.stages else "OpenColorIO"
    progress("trying other readers", 1, 3)
    found = _readings(file, function, readers)
    if read_by == "OpenColorIO":
        found = [
            replace(one, reason="the facts here are from its reading")
            if one.reader == "ocio" and one.verdict == "same"
            else one
            for one in found
        ]
    progress("looking at its shape", 2, 3)
    shape = shape_of(function) if function is not None else None
    known = function is not None and shape is not None
    told = told_by(file.path)
    inspection = Inspection(
        file=file,
        read_by=read_by,
        contents=_contents(file),
        guesses=tuple(
            guess
            for guess in (guesses(function) if known and function else ())
            # What the file says itself is not guessed, and light has no range.
            if guess.about.partition(" ")[0] not in told
        ),
        readings=tuple(found),
        shape=shape,
        tone=tone_of(function, takes, shown_on) if known and function and takes else None,
        function=function,
        told=told,
    )
    progress("done", 3, 3)
    return inspection


def probes(function: Function | None) -> Array:
    """Return the inputs with which readers are compared, shape (n, 3), within the domain.

    The corners, a neutral ramp and random colours, the same at each call.
    """
    corners = np.stack(np.meshgrid(*[[0.0, 1.0]] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    ramp = np.repeat(np.linspace(0.0, 1.0, 256)[:, None], 3, axis=1)
    chosen = np.random.default_rng(_SEED).random((PROBES - len(corners) - len(ramp), 3))
    unit = np.concatenate([corners, ramp, chosen])
    # Other libraries compute in 32 bits: all must start from the same numbers.
    places = unit if function is None else function.over(unit)
    return places.astype(np.float32).astype(np.float64)


def _readings(
    file: LutFile, function: Function | None, readers: Sequence[ReaderName]
) -> list[Reading]:
    if not readers:
        return []
    pixels = probes(function)
    ours = function(pixels) if function is not None else None
    curves = function is not None and function.curves_only
    return readings(file.path, pixels, ours, curves, readers)


def _contents(file: LutFile) -> str:
    if not file.stages:
        return file.summary or "nothing that can be read"
    words = [_stage(stage) for stage in file.stages]
    return ", then ".join(words) + (f" ({file.summary})" if file.summary else "")


def _stage(stage: Curve | Points | Lattice) -> str:
    if isinstance(stage, Points):
        return f"curves through {len(stage.inputs[0])} points"
    if isinstance(stage, Curve):
        what = f"a curve of {len(stage.table)} rows"
    else:
        what = f"a 3D LUT of {stage.size} points an edge"
    if not stage.low.any() and (stage.high == 1).all():
        return f"{what} over 0-1"
    spans = [f"{low:g} to {high:g}" for low, high in zip(stage.low, stage.high, strict=True)]
    return f"{what} over {spans[0] if len(set(spans)) == 1 else ', '.join(spans)}"


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(one) for one in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
