"""The recipe: everything a `.toml` recipe may say, as pydantic models."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import (
    AfterValidator,
    AwareDatetime,
    Discriminator,
    Field,
    PrivateAttr,
    StringConstraints,
    Tag,
    ValidationInfo,
    model_validator,
)
from pydantic_core import PydanticCustomError

from lookkit.errors import InputError, UnknownNameError
from lookkit.matchfile.steps import Match
from lookkit.nodes.base import Node, Step, Table, error_at
from lookkit.nodes.film_print import FilmPrint
from lookkit.nodes.rendering import Rendering
from lookkit.recipe.extend import SCHEMA as SCHEMA
from lookkit.recipe.extend import overlay
from lookkit.recipe.kinds import AnyLookNode, AnyRendering
from lookkit.recipe.matches import Matches
from lookkit.recipe.shots import Key, Shot, shot_for
from lookkit.recipe.tables import NOTHING, Own
from lookkit.recipe.texture import Texture
from lookkit.spaces.encodings import Encoding, encoding
from lookkit.spaces.outputs import Output, output
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.whitepoints import (
    HIGHEST_KELVIN,
    LOWEST_KELVIN,
    illuminant,
    illuminants,
)

Name = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,62}$")]
"""A name that is safe as (part of) a file name on every system."""

Bits = Literal[8, 10, 12, 16]
NO_MATCHES = Matches({})


def _own(info: ValidationInfo) -> Own:
    own: Own = (info.context or {}).get("own", NOTHING)
    return own


def _unknown(error: UnknownNameError) -> PydanticCustomError:
    return PydanticCustomError(
        "unknown_name",
        "unknown {what} '{name}', expected {choices}",
        {"what": error.what, "name": error.name, "choices": error.expected},
    )


def _known_encoding(name: str, info: ValidationInfo) -> str:
    try:
        encoding(name, _own(info).encodings)
    except UnknownNameError as error:
        raise _unknown(error) from error
    return name


def _known_output(name: str, info: ValidationInfo) -> str:
    try:
        output(name, _own(info).displays)
    except UnknownNameError as error:
        raise _unknown(error) from error
    return name


_KELVIN: Final = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(?:[kK]|kelvin|Kelvin)?\s*")


def _unquoted(number: str) -> PydanticCustomError:
    return PydanticCustomError(
        "light", "a text, expected a number without quotes and unit: {number}", {"number": number}
    )


def _known_light(name: str, info: ValidationInfo) -> str:
    matches: Matches = (info.context or {}).get("matches", NO_MATCHES)
    if name in matches.lights or not matches.complete:
        # The lights of a match that was not read are not known.
        return name
    try:
        illuminant(name)
    except UnknownNameError as error:
        if kelvin := _KELVIN.fullmatch(name):
            raise _unquoted(kelvin[1]) from error
        choices = (*sorted(matches.lights), *illuminants())
        raise _unknown(UnknownNameError("light", name, choices)) from error
    return name


EncodingName = Annotated[str, AfterValidator(_known_encoding)]
OutputName = Annotated[str, AfterValidator(_known_output)]
Kelvin = Annotated[float, Field(ge=LOWEST_KELVIN, le=HIGHEST_KELVIN)]
Light = Annotated[
    Annotated[Kelvin, Tag("number")] | Annotated[str, AfterValidator(_known_light), Tag("name")],
    Discriminator(lambda value: "name" if isinstance(value, str) else "number"),
]
"""A colour temperature in kelvin, or the name of an illuminant or of a match's light."""

MatchNames = Annotated[
    Annotated[str, Tag("name")] | Annotated[tuple[str, ...], Field(min_length=1), Tag("names")],
    Discriminator(lambda value: "names" if isinstance(value, list | tuple) else "name"),
]
"""One file, or several with different lights."""


class Camera(Table):
    """One camera of the film: how its code values are to be read."""

    encoding: EncodingName = Field(description="what its code values mean; see `explain encodings`")
    range: SignalRange | None = Field(
        default=None, description="signal range of its files; default the encoding's own"
    )
    bits: Bits | None = Field(
        default=None, description="bit depth of its files; default the encoding's own"
    )
    match: MatchNames | None = Field(
        default=None,
        description="the file, or files, of `lookkit match` that bring it to the main camera, in "
        "the recipe's folder or with their full path; a scene's light picks the match. One that "
        "was made without knowing the encoding takes the place of the input transform, any other "
        "follows it",
    )
    trims: tuple[AnyLookNode, ...] = Field(
        default=(),
        description="nodes that run right after its input transform and match, in a graph of "
        "their own: "
        "a curve that opens the highlights of display-ready pictures, a white balance",
    )
    note: str = Field(default="", description="for people")

    @model_validator(mode="after")
    def _can_be_legal(self, info: ValidationInfo) -> Camera:
        if self.range == "legal" and encoding(self.encoding, _own(info).encodings).scene_linear:
            raise error_at(
                ("range",), "legal range of scene-linear light, expected full", self.range
            )
        return self


class OutputChoice(Table):
    """One display or file that the look is delivered for."""

    output: OutputName = Field(description="a name of the outputs table; see `explain outputs`")
    rendering: AnyRendering | None = Field(
        default=None, description="instead of the recipe's own rendering"
    )
    range: SignalRange | None = Field(
        default=None,
        description="signal range of what is delivered; default the output's own. The delivery "
        "specification decides",
    )
    bits: Bits | None = Field(
        default=None, description="bit depth of what is delivered; default the output's own"
    )
    excursions: bool = Field(
        default=False,
        description="keep sub-black and super-white in legal range, where the delivery "
        "specification allows it; else they are clipped",
    )
    black: float | None = Field(
        default=None,
        ge=0.0,
        description="black of the display, of BT.1886 only; default 0",
        json_schema_extra={"unit": "cd/m2"},
    )
    note: str = Field(default="", description="for people")

    @model_validator(mode="after")
    def _has_a_black(self, info: ValidationInfo) -> OutputChoice:
        if self.black is not None:
            try:
                output(self.output, _own(info).displays).with_black(self.black)
            except InputError as error:
                raise error_at(
                    ("black",), f"{error}, expected none, or BT.1886 and less than its peak",
                    self.black,
                ) from error  # fmt: skip
        return self


class Scene(Table):
    """A set of shots under one light, and what is trimmed for it."""

    cameras: tuple[str, ...] = Field(
        default=(), description="the cameras that took it; default all of the recipe"
    )
    light: Light | None = Field(
        default=None,
        description="the light it was taken under, in kelvin or by name (tungsten, daylight, "
        "D55, ..., or the light of a match): it picks the match that was made in it, and changes "
        "no other pixel, white-balance does",
    )
    trims: tuple[AnyLookNode, ...] = Field(
        default=(), description="nodes that run before the look, in a graph of their own"
    )
    overrides: dict[str, dict[str, Any]] = Field(
        default={},
        description="parameters of the look or rendering that differ, by the id of their node",
    )
    note: str = Field(default="", description="for people")


class Budget(Table):
    """How far a baked file may be from the exact graph, in Delta E 2000.

    Each is a limit on one audited set, read tetrahedrally and trilinearly.
    """

    neutral_ramp: float = Field(default=1.0, gt=0.0, description="its largest error")
    image_like: float = Field(default=2.5, gt=0.0, description="99.9 % of pictures")
    skin: float = Field(default=2.5, gt=0.0, description="99.9 % of skin")
    saturated_emitters: float = Field(default=6.0, gt=0.0, description="99 % of coloured lights")


FormatName = Literal["cube", "config", "clf", "clf-chain", "cdl", "stills", "aces", "amf", "report"]


class Deliver(Table):
    """What a build writes."""

    sizes: Annotated[tuple[Literal[17, 33, 65, "auto"], ...], Field(min_length=1)] = Field(
        default=(33,),
        description="points per edge of the .cube files; auto is the smallest of them "
        "that keeps to the budget",
    )
    fit: bool = Field(
        default=True,
        description="choose the values at the points so that what readers interpolate "
        "is closest; false samples the graph at the points",
    )
    certify: bool = Field(
        default=True, description="measure each written file against the exact graph"
    )
    pictures: bool = Field(
        default=False, description="draw each measured .cube's errors into a picture beside it"
    )
    budget: Budget | None = Field(
        default=None,
        description="a build fails where a file exceeds it; without it, exceeding the defaults "
        "is only a warning",
    )
    scenes: tuple[str, ...] = Field(
        default=(),
        description="scenes that get files of their own, beside the plain look; default those of "
        "the shot list, so that each of its shots has the trims and the match of its scene",
    )
    shots: bool = Field(
        default=False,
        description="files of their own for each line of the shot list that has trims, as for a "
        "scene",
    )
    formats: tuple[FormatName, ...] = Field(
        default=("cube", "config", "clf", "cdl", "stills", "amf", "report"),
        description="what kinds of files are written",
    )
    date: AwareDatetime | None = Field(
        default=None,
        description="date and time with its zone, for files whose format demands one (AMF); "
        "default that of SOURCE_DATE_EPOCH, else 2000-01-01T00:00:00Z",
    )
    clf_namespace: Literal["smpte", "academy"] = Field(
        default="academy",
        description="the form of CLF files: the Academy's version 3, which everybody reads, or "
        "SMPTE ST 2136-1, which only newer readers do",
    )

    @property
    def limits(self) -> Budget:
        """What files are held to: the recipe's budget, or the default that only warns."""
        return self.budget or Budget()


Entry = dict[str, Any]
"""An entry of a user's table; `spaces/read.py` checks it."""


class Recipe(Table):
    """A whole recipe."""

    schema_: Literal[1] = Field(alias="schema", description="version of the recipe's form")
    name: Name = Field(description="the look's name")
    show: Name = Field(default="show", description="the film's name; begins the hand-off's name")
    version: int = Field(default=1, ge=1, le=999, description="counts up with each hand-off")
    note: str = Field(default="", description="for people")
    cameras: dict[Name, Camera] = Field(default={}, description="the cameras, by name")
    look: tuple[AnyLookNode, ...] = Field(default=(), description="the look's nodes, in order")
    rendering: AnyRendering = Field(
        default=FilmPrint(), description="from scene light to display light"
    )
    texture: Texture | None = Field(
        default=None,
        description="halation, softness and grain of the negative, for film-print; `apply`, "
        "sheets and the page show it, LUTs and timelines cannot carry it",
    )
    outputs: dict[Name, OutputChoice] = Field(default={}, description="the outputs, by name")
    scenes: dict[Name, Scene] = Field(default={}, description="the scenes, by name")
    shots: tuple[Shot, ...] = Field(
        default=(), description="whose file is whose, by patterns of names; the first that fits"
    )
    deliver: Deliver = Field(default=Deliver(), description="what a build writes")
    encodings: dict[str, Entry] = Field(
        default={}, description="encodings of your own, in the form of configs/encodings.toml"
    )
    displays: dict[str, Entry] = Field(
        default={}, description="displays of your own, in the form of configs/outputs.toml"
    )
    primaries: dict[str, Entry] = Field(
        default={}, description="primaries that encodings and displays of your own name"
    )
    curves: dict[str, Entry] = Field(
        default={}, description="curves that encodings and displays of your own name"
    )
    _context: dict[str, Any] = PrivateAttr(default={})

    def model_post_init(self, context: Any) -> None:
        """Keep what the recipe was validated with: its folder, own tables and matches."""
        self._context.update(context or {})
        scenes = self.deliver.scenes
        if "scenes" not in self.deliver.model_fields_set:
            shot = {one.scene for one in self.shots}
            scenes = tuple(name for name in self.scenes if name in shot)
        if self.deliver.shots:
            scenes = (*scenes, *self.shot_settings)
        if scenes != self.deliver.scenes:
            deliver = self.deliver.model_copy()
            # Not as a set field: so it is still known that the recipe does not say it.
            deliver.__dict__["scenes"] = scenes
            self.__dict__["deliver"] = deliver

    @property
    def shot_settings(self) -> tuple[str, ...]:
        """The settings of the shots that have trims of their own."""
        return tuple(dict.fromkeys(shot.setting for shot in self.shots if shot.is_trimmed))

    def setting(self, camera: str, scene: str | None, path: Path) -> str | None:
        """Return what a file is graded in: its scene, or a setting of its own inside it.

        A setting is taken wherever a scene is. It is that of the first line of the shot list that
        the file's name fits, where that line has trims and names the same camera and scene.
        """
        shot = shot_for(self.shots, path)
        own = shot is not None and (shot.camera, shot.scene) == (camera, scene)
        return shot.graded_in if shot is not None and own else scene

    def is_known(self, setting: str) -> bool:
        """Say whether the recipe has a scene, or a shot with a setting, of this name."""
        return setting in self.scenes or setting in self.shot_settings

    def shots_left(self) -> list[str]:
        """Return in words how many shots' own trims no delivered file holds."""
        settings = self.shot_settings
        left = [one for one in settings if one not in self.deliver.scenes]
        if not left:
            return []
        many = f"{len(left)} lines of the shot list have" if len(left) > 1 else (
            f"the line {left[0]!r} of the shot list has")  # fmt: skip
        return [f"{many} trims that no file here holds (--shots writes them)"]

    def is_keyed(self, setting: str | None) -> bool:
        """Say whether a setting is that of a shot with key frames."""
        if setting is None or setting in self.scenes:
            return False
        shot = self.in_setting(setting)[1]
        return shot is not None and bool(shot.keys)

    def at_frame(self, setting: str, frame: int) -> Recipe:
        """Return the recipe with the key frames of a shot held as they are at one of its frames."""
        shots = []
        for shot in self.shots:
            if shot.keys and shot.setting == setting:
                stops, mired = shot.key_at(frame)
                held = (Key(frame=0, stops=stops, mired=mired),)
                shots.append(shot.model_copy(update={"keys": held}))
            else:
                shots.append(shot)
        return self.model_copy(update={"shots": tuple(shots)})

    def in_setting(self, setting: str) -> tuple[Scene, Shot | None]:
        """Return the scene of a setting, and the shot where it is one's own.

        Raises
        ------
        UnknownNameError
            If the recipe has neither.
        """
        if setting in self.scenes:
            return self.scenes[setting], None
        for shot in self.shots:
            if shot.is_trimmed and shot.setting == setting:
                return Scene() if shot.scene is None else self.scenes[shot.scene], shot
        raise UnknownNameError("scene", setting, self.scenes)

    def rendering_for(self, name: str) -> Rendering:
        """Return the rendering of the output called `name`."""
        return self.outputs[name].rendering or self.rendering

    def encoding_of(self, camera: str) -> Encoding:
        """Return the encoding of the camera called `camera`."""
        return encoding(self.cameras[camera].encoding, self._own.encodings)

    def output_of(self, name: str) -> Output:
        """Return the output called `name`, as it is delivered."""
        choice = self.outputs[name]
        target = output(choice.output, self._own.displays)
        if choice.black is not None:
            target = target.with_black(choice.black)
        return target.delivered(choice.range, choice.bits, choice.excursions)

    def matches_of(self, camera: str) -> tuple[Match, ...]:
        """Return all matches of the camera called `camera`, one for each light."""
        return tuple(self._matches.by_camera.get(camera, {}).values())

    def match_of(self, camera: str, scene: str | None = None) -> Match | None:
        """Return the match that the camera called `camera` takes in a scene; None is no scene.

        It is the one for the scene's light. Where no light is said, it is the first of the
        camera's; where there is none for that light, none.
        """
        lights = self._matches.by_camera.get(camera, {})
        light = self.light_of(scene)
        return next(iter(lights.values()), None) if light is None else lights.get(light)

    def is_matched_apart(self, camera: str, scene: str | None) -> bool:
        """Say whether a camera has another match in a scene that it took than without one."""
        if scene is None or camera not in self.cameras_of(scene):
            return False
        return self.match_of(camera, scene) != self.match_of(camera)

    def match_warnings(self, camera: str, scene: str | None = None) -> list[str]:
        """Return in words why a matched camera may not land where the main camera does."""
        found = self._missing_match(camera, scene)
        span = self.cameras[camera].range or self.encoding_of(camera).native_range
        for match in self.matches_of(camera):
            file = match.file
            if match.one.curve is not None and file.range != span:
                found.append(
                    f"camera {camera} is read in {span} range, its match was made from frames in "
                    f"{file.range} range: right only if both are true of their files"
                )
            if not file.reference.startswith("chart ") and file.reference not in self.cameras:
                found.append(
                    f"camera {camera} is matched to camera {file.reference}, which is not in the "
                    "recipe"
                )
        return list(dict.fromkeys(found))

    def all_match_warnings(self, scenes: Iterable[str | None]) -> list[str]:
        """Return `match_warnings` of all cameras that took one of `scenes`, each once."""
        found = [
            warning
            for scene in scenes
            for camera in self.cameras_of(scene)
            for warning in self.match_warnings(camera, scene)
        ]
        return list(dict.fromkeys(found))

    def _missing_match(self, camera: str, scene: str | None) -> list[str]:
        lights = self._matches.by_camera.get(camera, {})
        light = self.light_of(scene)
        if not lights or light in lights or (light is None and len(lights) == 1):
            return []
        known = ", ".join(lights)
        if light is not None:
            return [
                f"camera {camera} has no match for {light}, the light of scene {scene} (only for "
                f"{known}): there it will not land where the main camera does; shoot the chart "
                "in that light"
            ]
        where = "without a scene" if scene is None else f"in scene {scene}, which names no light,"
        return [f"camera {camera} {where} takes the first of its matches ({known})"]

    def light_of(self, scene: str | None) -> str | None:
        """Return the name of a scene's light as matches have it: 3000 for 3000 kelvin."""
        light = None if scene is None else self.in_setting(scene)[0].light
        return f"{light:g}" if isinstance(light, int | float) else light

    def cameras_of(self, scene: str | None) -> tuple[str, ...]:
        """Return the names of the cameras that took a scene, or a shot of it; None is any."""
        if scene is None:
            return tuple(self.cameras)
        whole, shot = self.in_setting(scene)
        took = whole.cameras or tuple(self.cameras)
        return took if shot is None else tuple(one for one in took if one == shot.camera)

    def in_scene(self, scene: str) -> Recipe:
        """Return the recipe with the overrides of one of its scenes.

        Raises
        ------
        ValidationError
            If an override does not fit its node; loading has made sure that it does.
        """
        changes = self.in_setting(scene)[0].overrides
        if not changes:
            return self

        def changed(node: Any) -> Any:
            return overridden(node, changes[node.id], self._context) if node.id in changes else node

        outputs = {
            name: choice
            if choice.rendering is None
            else choice.model_copy(update={"rendering": changed(choice.rendering)})
            for name, choice in self.outputs.items()
        }
        return self.model_copy(
            update={
                "look": tuple(changed(node) for node in self.look),
                "rendering": changed(self.rendering),
                "outputs": outputs,
            }
        )

    def named_nodes(self) -> Iterator[tuple[str, Node | Rendering]]:
        """Yield the id and node of everything that overrides may name."""
        renderings = [choice.rendering for choice in self.outputs.values()]
        for node in (*self.look, self.rendering, *renderings):
            if node is not None and node.id is not None:
                yield node.id, node

    @property
    def folder(self) -> Path:
        """Where the files that it names are."""
        folder: Path = self._context.get("folder", Path())
        return folder

    @property
    def _matches(self) -> Matches:
        matches: Matches = self._context.get("matches", NO_MATCHES)
        return matches

    @property
    def _own(self) -> Own:
        own: Own = self._context.get("own", NOTHING)
        return own


def overridden(node: Step, changes: Mapping[str, Any], context: Mapping[str, Any]) -> Step:
    """Return a node with some parameters changed.

    Raises
    ------
    ValidationError
        If the result is no valid node.
    """
    given = node.model_dump(mode="json", by_alias=True, exclude_unset=True)
    data = {"kind": node.kind, **overlay(given, changes)}
    return type(node).model_validate_json(
        json.dumps(data, default=str), strict=True, context=dict(context)
    )


EXTENDING: dict[str, dict[str, Any]] = {
    "extends": {
        "type": "string",
        "description": "a recipe in this one's folder or below it (its path), or a shipped look "
        "(its name), to change",
    },
    "overrides": {
        "type": "object",
        "additionalProperties": {"type": "object"},
        "description": "parameters of the extended recipe's nodes, by the id of their node",
    },
}
"""The JSON Schema of the keys by which a recipe changes another."""


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a recipe file, for editors."""
    schema = Recipe.model_json_schema(by_alias=True)
    schema["properties"] |= EXTENDING
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "lookkit recipe",
    }
