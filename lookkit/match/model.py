"""A match as a small text file, and as a step of the graph.

One file holds one camera's matches to the main camera, one `[[lights]]` table per scene
light. The file is the whole truth: a match that was written and read again is the same,
bit for bit.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import numpy as np
from pydantic import Field, StringConstraints, ValidationError, model_validator
from pydantic_core import PydanticCustomError

from lookkit.errors import InputError, Problem, RecipeError, expected_one_of
from lookkit.files import write_beside
from lookkit.match.camera_curve import bt709_decode
from lookkit.match.curve import RisingCurve
from lookkit.match.solve import root_terms
from lookkit.nodes.base import Matrix, Table, matrix_transform
from lookkit.recipe.lines import key_lines, line_of
from lookkit.recipe.load import dotted, parse_toml, read_text
from lookkit.spaces import ranges
from lookkit.spaces.working import Array, OcioTransform, State, as_pixels

SCHEMA: Final = 1
UNKNOWN: Final = "unknown"
Name = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,62}$")]
Method = Literal["chart", "published chart", "paired frames", "exposure and white"]

_LUT_POINTS: Final = 4096
_SIGNAL_SPAN: Final = (-0.25, 1.25)


class ToneCurve(Table):
    """The fitted correction of the BT.709 curve: its slope at evenly spaced signals."""

    top: float = Field(gt=0.0, description="the signal of the last slope; the first is at 0")
    slopes: Annotated[tuple[float, ...], Field(min_length=2)] = Field(
        description="slopes above zero; between them their logarithm is straight"
    )

    @model_validator(mode="after")
    def _rising(self) -> ToneCurve:
        for index, slope in enumerate(self.slopes):
            if slope <= 0.0:
                raise PydanticCustomError(
                    "slope", f"slope {index + 1} is {slope:g}, expected above zero"
                )
        return self

    @cached_property
    def curve(self) -> RisingCurve:
        """The curve on light decoded by BT.709."""
        knots = bt709_decode(np.linspace(0.0, self.top, len(self.slopes)))
        return RisingCurve(knots, np.log(np.array(self.slopes)))


class Spread(Table):
    """Delta E 2000 summed up."""

    mean: float = Field(ge=0.0)
    p95: float = Field(ge=0.0)
    max: float = Field(ge=0.0)


class Statistics(Table):
    """How good the match is, as far as is known."""

    chart: Spread | None = Field(default=None, description="on what the fit saw, Delta E 2000")
    left_out: Spread | None = Field(
        default=None, alias="left-out", description="on patches that the fit did not see"
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


class LightMatch(Table):
    """The match for one light."""

    light: Name = Field(description="the light under which it was made; use it under no other")
    method: Method
    curve: ToneCurve | None = Field(default=None, description="none for a known encoding")
    matrix: Matrix = Field(description="to the main camera's scene-linear AP1")
    roots: Matrix | None = Field(default=None, description="the colour stage, on root terms")
    statistics: Statistics
    provenance: Provenance

    @model_validator(mode="after")
    def _invertible(self) -> LightMatch:
        rows = np.array(self.matrix)
        if abs(np.linalg.det(rows)) < 1e-9 * max(np.abs(rows).max(), 1e-9) ** 3:
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

    @property
    def takes(self) -> State:
        """Code values where the encoding is unknown, else the scene after decoding."""
        return State.CODE if self.encoding == UNKNOWN else State.SCENE

    def for_light(self, light: str | None = None) -> MatchOp:
        """Return the step for a scene's light; with one light in the file, None means that.

        Raises
        ------
        InputError
            If there is no match for that light, with the lights there are.
        """
        names = [one.light for one in self.lights]
        if light is None:
            if len(names) > 1:
                raise InputError(
                    f"the match of camera {self.camera} holds {len(names)} lights "
                    f"({', '.join(names)}): say which one the scene has"
                )
            return MatchOp(self, self.lights[0])
        for one in self.lights:
            if one.light == light:
                return MatchOp(self, one)
        raise InputError(
            f"no match of camera {self.camera} for the light {light!r}: "
            f"{expected_one_of(light, names)}; a match for another light is worse than none, "
            "shoot the chart in this one"
        )

    def with_light(self, one: LightMatch) -> MatchFile:
        """Return the file with a match added, or put in the place of its light's old one."""
        others = [old for old in self.lights if old.light != one.light]
        return self.model_copy(update={"lights": (*others, one)})


@dataclass(frozen=True)
class MatchOp:
    """A match for one light as a step of the graph; gives the main camera's scene."""

    file: MatchFile
    match: LightMatch
    gives: State = State.SCENE

    @property
    def takes(self) -> State:
        """Code values where the encoding is unknown, else the scene after decoding."""
        return self.file.takes

    @property
    def label(self) -> str:
        """Name the two cameras and the light."""
        return f"match {self.file.camera} to {self.file.reference} ({self.match.light})"

    def evaluate(self, rgb: Array) -> Array:
        """Return scene-linear AP1, shape (..., 3).

        Signals are held to -0.25 to 1.25, a quarter beyond black and white, where the
        curve is unknown; a scene (known encoding) is carried without limits.
        """
        if self.match.curve is None:
            return self.scene(as_pixels(rgb))
        signal = ranges.convert(as_pixels(rgb), self.file.range, "full", self.file.bits)
        return self.scene(bt709_decode(np.clip(signal, *_SIGNAL_SPAN)))

    def scene(self, light: Array) -> Array:
        """Return scene-linear AP1 of light as `Footage.decode` gives it, shape (..., 3)."""
        if self.match.curve is not None:
            light = self.match.curve.curve(light)
        out = light @ np.array(self.match.matrix).T
        if self.match.roots is not None:
            out = out + root_terms(light) @ np.array(self.match.roots).T
        return np.asarray(out)

    def inverse(self, rgb: Array) -> Array | None:
        """Return what gives `rgb`, or None with a colour stage."""
        if self.match.roots is not None:
            return None
        light = np.linalg.solve(np.array(self.match.matrix), as_pixels(rgb)[..., None])[..., 0]
        if self.match.curve is None:
            return np.asarray(light)
        decoded = self.match.curve.curve.inverse(light)
        signal = _bt709_encode(decoded)
        return ranges.convert(signal, "full", self.file.range, self.file.bits)

    def lower(self) -> list[OcioTransform] | None:
        """Return 1D + 3x3 as OpenColorIO transforms, or None with a colour stage."""
        if self.match.roots is not None:
            return None
        matrix = matrix_transform(np.array(self.match.matrix))
        if self.match.curve is None:
            return [matrix]
        import PyOpenColorIO as ocio

        from lookkit.spaces.ocio_ops import affine

        low, high = _SIGNAL_SPAN
        scale, offset = (1.0, 0.0)
        if self.file.range != "full":
            scale, offset = ranges.scale_offset(self.file.range, "full", self.file.bits)
        signal = np.linspace(low, high, _LUT_POINTS)
        column = self.match.curve.curve(bt709_decode(signal)).astype(np.float32)
        lut = ocio.Lut1DTransform(_LUT_POINTS, False)
        lut.setData(np.ascontiguousarray(np.repeat(column[:, None], 3, axis=1)))
        width = high - low
        return [affine(scale / width, (offset - low) / width), lut, matrix]


def _bt709_encode(light: Array) -> Array:
    from lookkit.match.camera_curve import ALPHA, BETA

    bright = np.maximum(light, BETA)
    return np.where(light < BETA, 4.5 * light, ALPHA * bright**0.45 - (ALPHA - 1.0))


def read_match(path: Path) -> MatchFile:
    """Read and check a match file.

    Raises
    ------
    InputError
        If it cannot be read.
    RecipeError
        With every problem and its line.
    """
    return parse_match(read_text(path), str(path))


def parse_match(text: str, file: str = "<match>") -> MatchFile:
    """Check the text of a match file; `file` is named in the problems.

    Raises
    ------
    RecipeError
        With every problem and its line.
    """
    data = parse_toml(text, file)
    try:
        return MatchFile.model_validate_json(json.dumps(data, default=str), strict=True)
    except ValidationError as error:
        lines = key_lines(text)
        raise RecipeError(
            [_problem(detail, data, lines, file) for detail in error.errors(include_url=False)]
        ) from error


def _problem(detail: Any, data: Any, lines: dict[tuple[str | int, ...], int], file: str) -> Problem:
    path = tuple(part for part in detail["loc"] if not str(part).startswith("function-"))
    found, _, expected = str(detail["msg"]).partition(", expected ")
    if detail["type"] == "missing":
        found, expected = "missing", "a value"
    elif detail["type"] == "extra_forbidden":
        found, expected = "unknown key", expected_one_of(str(path[-1]), sorted(_keys(path[:-1])))
    elif not expected:
        found = json.dumps(detail.get("input"), default=str)[:60]
        expected = str(detail["msg"]).removeprefix("Input should be ")
    return Problem(file, line_of(lines, path), dotted(path), found, expected)


def _keys(path: tuple[str | int, ...]) -> Iterable[str]:
    tables: dict[str, type[Table]] = {
        "lights": LightMatch, "curve": ToneCurve, "statistics": Statistics, "chart": Spread,
        "left-out": Spread, "provenance": Provenance, "sources": Source,
    }  # fmt: skip
    names = [part for part in path if isinstance(part, str)]
    model = tables.get(names[-1], MatchFile) if names else MatchFile
    return [field.alias or name for name, field in model.model_fields.items()]


def match_text(match: MatchFile) -> str:
    """Return the file's text; `parse_match` gives the same match back."""
    lines = [
        f"# Camera {match.camera}, made to land where {_reference_words(match.reference)} does.",
        "# One [[lights]] table per light; a scene picks its own by name. Delta E is CIEDE2000.",
        f"schema = {SCHEMA}",
        f"camera = {_toml(match.camera)}",
        f"reference = {_toml(match.reference)}",
        f"encoding = {_toml(match.encoding)}",
        f"range = {_toml(match.range)}",
        f"bits = {match.bits}",
    ]
    for one in match.lights:
        lines += ["", *_light_lines(one)]
    return "\n".join(lines) + "\n"


def write_match(match: MatchFile, path: Path) -> None:
    """Write the file in one step; an existing one is replaced.

    Raises
    ------
    InputError, LookkitError
        If it cannot be written.
    """
    with write_beside(path) as beside:
        beside.write_text(match_text(match), encoding="utf-8", newline="\n")


def _reference_words(reference: str) -> str:
    return f"the {reference}" if reference.startswith("chart ") else f"camera {reference}"


def _light_lines(one: LightMatch) -> list[str]:
    lines = [
        "[[lights]]",
        f"light = {_toml(one.light)}",
        f"method = {_toml(one.method)}",
        "# to the main camera's scene-linear AP1",
        *_matrix_lines("matrix", one.matrix),
    ]
    if one.roots is not None:
        lines += ["# the colour stage, on root terms", *_matrix_lines("roots", one.roots)]
    if one.curve is not None:
        lines += [
            "",
            "[lights.curve]",
            "# correction of the BT.709 curve: slopes at even steps of signal from 0 to top",
            f"top = {_toml(one.curve.top)}",
            "slopes = [",
            *_wrapped(one.curve.slopes),
            "]",
        ]
    known = one.statistics.model_dump(by_alias=True, exclude_none=True)
    lines += ["", "[lights.statistics]"]
    lines += [f"{key} = {_toml(value)}" for key, value in known.items()]
    lines += ["", "[lights.provenance]", f"made-by = {_toml(one.provenance.made_by)}"]
    for source in one.provenance.sources:
        lines += ["", "[[lights.provenance.sources]]"]
        lines += [f"{key} = {_toml(value)}" for key, value in source.model_dump().items()]
    return lines


def _matrix_lines(key: str, rows: Matrix) -> list[str]:
    return [f"{key} = [", *(f"  {_toml(row)}," for row in rows), "]"]


def _wrapped(values: Iterable[float], width: int = 9) -> list[str]:
    texts = [_toml(value) for value in values]
    return [
        "  " + " ".join(f"{text}," for text in texts[start : start + width])
        for start in range(0, len(texts), width)
    ]


def _toml(value: Any) -> str:
    """Write a value as TOML; strings as JSON does, which TOML's basic strings accept."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(each)}" for key, each in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(each) for each in value) + "]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return str(value)
