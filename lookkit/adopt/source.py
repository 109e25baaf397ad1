"""The LUT that a look is taken from, as a function from scene light to display signal."""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from lookkit.accuracy.interpolate import Reader
from lookkit.accuracy.truth import Light
from lookkit.errors import InputError
from lookkit.inspect.function import Function
from lookkit.inspect.opening import function_in
from lookkit.lattice.of_graph import light_of
from lookkit.spaces.encodings import Encoding, encoding
from lookkit.spaces.outputs import Output, output
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.working import Array


@dataclass(frozen=True, eq=False)
class Source:
    """A LUT, with what its codes and its signal mean.

    Attributes
    ----------
    function
        What the file does to codes.
    camera, camera_range
        The encoding of its codes, and their range where it is not the encoding's own.
    shown
        The output that its signal is for, in the range of the signal.
    """

    path: Path
    function: Function
    camera: Encoding
    camera_range: SignalRange | None
    shown: Output

    @cached_property
    def light(self) -> Light:
        """What a viewer sees of a signal."""
        return light_of(self.shown)

    def code(self, scene: Array) -> Array:
        """Return the camera's codes for scene-linear AP1 (n, 3), clipped to the LUT's domain."""
        code = self.camera.encode(scene, range=self.camera_range)
        code = np.nan_to_num(code, nan=0.0, posinf=1.0, neginf=0.0)
        return np.clip(code, self.function.low, self.function.high)

    def scene(self, code: Array) -> Array:
        """Return scene-linear AP1 of codes, shape (n, 3)."""
        return self.camera.decode(code, range=self.camera_range)

    def signal(self, code: Array, reader: Reader = "tetrahedral") -> Array:
        """Return the LUT's signal for codes (n, 3), held within 0-1."""
        return np.clip(self.function(code, reader), 0.0, 1.0)

    def doubt(self, code: Array) -> Array:
        """Return how far the LUT's two common readings lie apart, in signal, shape (n,).

        Between its points a LUT says only so much: this is about as much as it leaves open.
        """
        apart = self.signal(code) - self.signal(code, "trilinear")
        return np.asarray(np.abs(apart).max(axis=-1))


def open_source(
    path: str | os.PathLike[str],
    camera: str,
    shown: str,
    camera_range: SignalRange | None = None,
    shown_range: SignalRange | None = None,
) -> Source:
    """Return a LUT as the source of a look.

    Parameters
    ----------
    camera, shown
        The names of the encoding that it takes and of the output that it is for.
    camera_range, shown_range
        The ranges of its codes and of its signal; None is that of the encoding or the output.

    Raises
    ------
    InputError
        If the file cannot be read or a name is unknown, or a range is not possible.
    LutFileError
        With all the faults of the file, by line.
    """
    takes, gives = encoding(camera), output(shown)
    if takes.scene_linear and camera_range == "legal":
        raise InputError(f"{takes.name}: legal range of scene-linear light, expected full")
    function = function_in(path)
    return Source(Path(path), function, takes, camera_range, gives.delivered(range=shown_range))
