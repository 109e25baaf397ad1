"""What a match file says.

One file holds one camera's matches to the main camera, one `[[lights]]` table per scene
light. The file is the whole truth: a match that was written and read again is the same,
bit for bit.
"""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, Final, Literal

import numpy as np
from pydantic import Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from lookkit.matchfile.camera_curve import bt709_decode
from lookkit.matchfile.curve import RisingCurve
from lookkit.nodes.base import Matrix, Table, Triple
from lookkit.spaces import ranges

SCHEMA: Final = 1
UNKNOWN: Final = "unknown"
STEEPEST: Final = 1e6
"""The largest slope or coefficient that is not taken for a slip of the pen."""
Name = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,62}$")]
Method = Literal["chart", "published chart", "paired frames", "exposure and white"]


class ToneCurve(Table):
    """The fitted correction of the BT.709 curve: its slope at evenly spaced signals."""

    top: float = Field(
        gt=0.0, le=4.0, description="the signal of the last slope; the first is at 0"
    )
    slopes: Annotated[tuple[float, ...], Field(min_length=2)] = Field(
        description="slopes above zero; between them their logarithm is straight"
    )

    @model_validator(mode="after")
    def _rising(self) -> ToneCurve:
        for index, slope in enumerate(self.slopes):
            if not 0.0 < slope <= STEEPEST:
                raise PydanticCustomError(
                    "slope",
                    f"slope {index + 1} is {slope:g}, expected above zero, at most {STEEPEST:g}",
                )
        return self

    @cached_property
    def rising(self) -> RisingCurve:
        """The curve on light decoded by BT.709."""
        knots = bt709_decode(np.linspace(0.0, self.top, len(self.slopes)))
        return RisingCurve(knots, np.log(np.array(self.slopes)))


class Spread(Table):
    """Delta E 2000 summed up."""

    mean: float = Field(ge=0.0)
    p95: float = Field(ge=0.0)
    max: float = Field(ge=0.0)


class Expected(Table):
    """What a match will miss by: most likely, and in nine of ten matches at most, Delta E 2000."""

    about: float = Field(ge=0.0)
    up_to: float = Field(alias="up-to", ge=0.0)


class Promise(Table):
    """What a match will miss by on colours of a scene in the chart's light."""

    mean: Expected = Field(description="the mean of objects")
    p95: Expected = Field(description="what one in twenty objects exceeds")
    skin: Expected = Field(description="the mean of skin")


class ColourStage(Table):
    """What follows the matrix: scene = matrix y + roots (root terms of y)."""

    learnt: float = Field(
        ge=0.0,
        le=1.0,
        description="the share that is predicted from other cameras; the rest is the chart's own",
    )
    matrix: Matrix
    roots: Matrix


class SceneSeen(Table):
    """The match on frames of the scene itself, Delta E 2000 of places that both cameras saw."""

    pairs: int = Field(ge=0)
    median: float = Field(ge=0.0, description="half of the places lie within")
    most: float = Field(ge=0.0, description="four fifths lie within")
    refitted: float = Field(ge=0.0, description="the median with a match of the scene's own light")


class Statistics(Table):
    """How good the match is, as far as is known."""

    chart: Spread | None = Field(default=None, description="on what the fit saw, Delta E 2000")
    left_out: Spread | None = Field(
        default=None,
        alias="left-out",
        description="on patches, predicted by matrices that did not see their hue",
    )
    promise: Promise | None = Field(
        default=None, description="what to expect on other colours that do not clip, Delta E 2000"
    )
    scene: SceneSeen | None = Field(default=None, description="on frames of the scene itself")
    unlikeness: float | None = Field(
        default=None,
        ge=0.0,
        description="how unlike other cameras' the chart's residuals are; 1 is ordinary",
    )
    patches: int = Field(ge=0, description="colours that counted in the end, all exposures")
    covers: tuple[float, float] = Field(description="light that was observed, stops from mid-grey")
    flare: float | None = Field(
        default=None, description="light over camera B's chart, percent of its white; not undone"
    )
    approximate: bool = Field(default=False, description="exposure and white only")
    warnings: tuple[str, ...] = ()


class Source(Table):
    """One exposure that went in."""

    camera: Name
    stops: float = 0.0
    files: tuple[str, ...]
    sha256: str = ""


class Provenance(Table):
    """Where a match comes from."""

    made_by: str = Field(alias="made-by")
    sources: tuple[Source, ...] = ()


class ChartSeen(Table):
    """The chart in the main exposures of both cameras, so that a match can be checked again."""

    patches: tuple[Annotated[int, Field(ge=1, le=24)], ...] = Field(
        description="numbers of the patches that neither camera clipped, row by row"
    )
    camera: tuple[Triple, ...] = Field(
        description="full-range signals of the camera; of a known encoding, its scene-linear AP1"
    )
    reference: tuple[Triple, ...] = Field(
        description="the main camera's scene-linear AP1 at that exposure"
    )

    @model_validator(mode="after")
    def _of_one_length(self) -> ChartSeen:
        if not len(self.patches) == len(self.camera) == len(self.reference):
            raise PydanticCustomError(
                "lengths",
                f"{len(self.patches)} patches with {len(self.camera)} and {len(self.reference)} "
                "colours, expected one of each camera for each patch",
            )
        return self


class LightMatch(Table):
    """The match for one light."""

    light: Name = Field(description="the light under which it was made; use it under no other")
    method: Method
    curve: ToneCurve | None = Field(default=None, description="none for a known encoding")
    matrix: Matrix = Field(description="to the main camera's scene-linear AP1")
    stage: ColourStage | None = Field(default=None, description="the colour stage, if any")
    roots: Matrix | None = Field(
        default=None, description="the colour stage of earlier versions, on the camera's own light"
    )
    statistics: Statistics
    chart: ChartSeen | None = Field(default=None, description="none where no chart was there")
    provenance: Provenance

    @model_validator(mode="after")
    def _invertible(self) -> LightMatch:
        if self.stage is not None and self.roots is not None:
            raise PydanticCustomError("stages", "both stage and roots, expected at most one")
        named = [("matrix", self.matrix), ("roots", self.roots or self.matrix)]
        if self.stage is not None:
            named += [("stage.matrix", self.stage.matrix), ("stage.roots", self.stage.roots)]
        for name, rows in named:
            largest = np.abs(np.array(rows)).max()
            if largest > STEEPEST:
                raise PydanticCustomError(
                    "large", f"{name} holds {largest:g}, expected at most {STEEPEST:g}"
                )
        matrix = np.array(self.matrix)
        if abs(np.linalg.det(matrix / max(np.abs(matrix).max(), 1e-9))) < 1e-9:
            raise PydanticCustomError("singular", "a singular matrix, expected an invertible one")
        return self


class MatchFile(Table):
    """One camera's matches to the main camera."""

    schema_: Literal[1] = Field(default=1, alias="schema")
    camera: Name
    reference: str = Field(description="the main camera, or 'chart EDITION'")
    encoding: str = Field(description="the camera's encoding, or 'unknown'")
    range: ranges.SignalRange = "full"
    bits: Literal[8, 10, 12, 16] = 8
    lights: Annotated[tuple[LightMatch, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _consistent(self) -> MatchFile:
        names = [one.light for one in self.lights]
        for name in names:
            if names.count(name) > 1:
                raise PydanticCustomError("twice", f"light {name!r} twice, expected once")
        for one in self.lights:
            if (one.curve is None) != (self.encoding != UNKNOWN):
                raise PydanticCustomError(
                    "curve",
                    f"light {one.light!r} "
                    + ("has no curve" if one.curve is None else "has a curve")
                    + f", expected {'one' if one.curve is None else 'none'} "
                    f"with encoding {self.encoding!r}",
                )
        return self

    def with_light(self, one: LightMatch) -> MatchFile:
        """Return the file with a match added, or put in the place of its light's old one."""
        others = [old for old in self.lights if old.light != one.light]
        return self.model_copy(update={"lights": (*others, one)})
