"""A match as steps of the graph.

    light = curve(D(signal))              of a camera of unknown encoding; D decodes BT.709
    y = M light                           M a 3x3 matrix
    scene = N y + R roots(y)              with a colour stage, else scene = y

A camera of known encoding needs no curve: its input transform gives the light. OpenColorIO
carries the curve as a 1D table and M as a matrix; it cannot say the stage. Negative light is
carried; the curve holds signals to -0.25 to 1.25, a quarter beyond black and white, for nothing
is known of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from lookkit.kernel.formula import Call, Program
from lookkit.matchfile.camera_curve import bt709_encode
from lookkit.matchfile.curve import camera_curve
from lookkit.matchfile.model import LightMatch, MatchFile, ToneCurve
from lookkit.matchfile.roots import Staged, match_colours
from lookkit.nodes.base import Matrix, evaluated, matrix_transform
from lookkit.spaces.encoding import camera_light
from lookkit.spaces.working import Array, OcioTransform, State, as_pixels

LOWEST, HIGHEST = -0.25, 1.25
"""The signals between which a curve is carried."""
_POINTS: Final = 4096
IDENTITY: Final[Matrix] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


@dataclass(frozen=True)
class MatchCurve:
    """Full-range signal of a camera of unknown encoding to its own linear light."""

    name: str
    curve: ToneCurve
    takes: State = State.CODE
    gives: State = State.SCENE

    @property
    def label(self) -> str:
        """Name the cameras and the light."""
        return f"curve of {self.name}"

    def program(self) -> Program:
        """Return the curve behind that of BT.709."""
        return (Call(camera_curve, self.curve.rising.numbers(LOWEST, HIGHEST)),)

    def evaluate(self, rgb: Array) -> Array:
        """Return linear light of the camera's own primaries, shape (..., 3)."""
        return evaluated(self, rgb)

    def inverse(self, rgb: Array) -> Array:
        """Return the signal."""
        return bt709_encode(self.curve.rising.inverse(as_pixels(rgb)))

    def lower(self) -> list[OcioTransform]:
        """Return a 1D table of 4096 entries."""
        import PyOpenColorIO as ocio

        from lookkit.spaces.ocio_ops import affine

        column = self.evaluate(np.linspace(LOWEST, HIGHEST, _POINTS)[:, None].repeat(3, axis=1))
        table = ocio.Lut1DTransform(_POINTS, False)
        table.setData(np.ascontiguousarray(column, dtype=np.float32))
        span = HIGHEST - LOWEST
        return [affine(1.0 / span, -LOWEST / span), table]


@dataclass(frozen=True)
class MatchColours:
    """The camera's linear light to the main camera's scene."""

    name: str
    matrix: Matrix
    stage: tuple[Matrix, Matrix] | None = None
    """The stage's N and R."""
    takes: State = State.SCENE
    gives: State = State.SCENE

    @property
    def label(self) -> str:
        """Name the cameras and the light."""
        return self.name

    def program(self) -> Program:
        """Return the matrix, and what a colour stage adds."""
        if self.stage is None:
            return (camera_light(np.array(self.matrix)),)
        return (Call(match_colours, Staged(self.matrix, *self.stage)), camera_light(np.eye(3)))

    def evaluate(self, rgb: Array) -> Array:
        """Return scene-linear AP1, shape (..., 3); negatives and values above one are carried."""
        return evaluated(self, rgb)

    def inverse(self, rgb: Array) -> Array | None:
        """Return what gives `rgb`, or None with a colour stage."""
        if self.stage is not None:
            return None
        back = np.linalg.inv(np.array(self.matrix))
        return np.asarray(as_pixels(rgb) @ back.T)

    def lower(self) -> list[OcioTransform] | None:
        """Return a matrix, or None with a colour stage."""
        if self.stage is not None:
            return None
        return [matrix_transform(np.array(self.matrix))]


@dataclass(frozen=True)
class Match:
    """A camera's match for one light."""

    file: MatchFile
    one: LightMatch

    @property
    def name(self) -> str:
        """The two cameras and the light."""
        return f"match {self.file.camera} to {self.file.reference} ({self.one.light})"

    @property
    def steps(self) -> tuple[MatchCurve | MatchColours, ...]:
        """The match as steps.

        They take the full-range signal where it has a curve, else the light that the camera's
        known encoding gives.
        """
        one, curve = self.one, self.one.curve
        if one.stage is not None:
            colours = MatchColours(self.name, one.matrix, (one.stage.matrix, one.stage.roots))
        elif one.roots is not None:
            # Earlier versions' stage stood on the camera's own light.
            colours = MatchColours(self.name, IDENTITY, (one.matrix, one.roots))
        else:
            colours = MatchColours(self.name, one.matrix)
        return (colours,) if curve is None else (MatchCurve(self.name, curve), colours)

    @property
    def without_stage(self) -> Match:
        """The same less the roots of its colour stage: near it, and with an inverse."""
        less: dict[str, object] = {"roots": None, "stage": None}
        if self.one.stage is not None:
            whole = np.array(self.one.stage.matrix) @ np.array(self.one.matrix)
            less["matrix"] = tuple(tuple(row) for row in whole.tolist())
        return Match(self.file, self.one.model_copy(update=less))

    def scene(self, light: Array) -> Array:
        """Return scene-linear AP1 of light before the curve (D(signal) if it has one), (..., 3)."""
        if self.one.curve is not None:
            light = self.one.curve.rising(light)
        return self.steps[-1].evaluate(light)
