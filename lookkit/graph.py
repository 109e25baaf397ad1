"""From a recipe to the chain of steps that one camera's picture takes to one output.

    code -> input transform -> match -> camera trims -> scene trims -> shot trims -> look
         -> rendering -> output transform -> signal

Where a scene is named, a shot of it that has trims of its own may be (`Recipe.setting`).

A match that was made without knowing the encoding takes the place of the input transform. Where
a camera or an output is in legal range, the conversion is a step of its own. The nodes of
a list form a directed acyclic graph (`recipe/wiring.py`). A chain is serial: at each place where
all light passes through one node the graph is cut, and what lies between two cuts becomes one
step.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

import numpy as np

from lookkit.errors import InputError, UnknownNameError
from lookkit.kernel.formula import (
    Call,
    Ends,
    Nothing,
    Program,
    affine_call,
    hold,
    slots_of,
    take_entering,
)
from lookkit.matchfile.steps import Match, MatchColours, MatchCurve
from lookkit.nodes.base import Node, Op, part_of_matrices
from lookkit.nodes.exposure import Exposure
from lookkit.nodes.only import acting
from lookkit.nodes.white_balance import WhiteBalance
from lookkit.recipe.model import Recipe
from lookkit.recipe.wiring import Wiring, wire
from lookkit.spaces import ranges
from lookkit.spaces.encodings import Encoding
from lookkit.spaces.outputs import Output
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.whitepoints import HIGHEST_KELVIN, LOWEST_KELVIN, light_kelvin
from lookkit.spaces.working import Array, OcioTransform, State

T = TypeVar("T")


@dataclass(frozen=True)
class InputTransform:
    """A camera's code values to the scene."""

    encoding: Encoding
    range: SignalRange | None = None
    bits: int | None = None
    takes: State = State.CODE
    gives: State = State.SCENE

    @property
    def label(self) -> str:
        """Name the encoding."""
        return f"from {self.encoding.name}"

    @property
    def signal_range(self) -> SignalRange:
        """The signal range of the camera's files."""
        return self.range or self.encoding.native_range

    def program(self) -> Program | None:
        """Return range, curve and matrix; None where the curve has no formula."""
        return self.encoding.program(self.range, self.bits)

    def evaluate(self, rgb: Array) -> Array:
        """Return scene-linear AP1."""
        return self.encoding.decode(rgb, range=self.range, bits=self.bits)

    def inverse(self, rgb: Array) -> Array:
        """Return code values."""
        return self.encoding.encode(rgb, range=self.range, bits=self.bits)

    def lower(self) -> list[OcioTransform]:
        """Return the decoding as OCIO transforms."""
        return self.encoding.lower(range=self.range, bits=self.bits)

    def lower_inverse(self) -> list[OcioTransform]:
        """Return the encoding as OCIO transforms."""
        return self.encoding.lower_inverse(range=self.range, bits=self.bits)


@dataclass(frozen=True)
class RangeStep:
    """Code values from one signal range to another; with `held`, then to the file's integers."""

    source: SignalRange
    target: SignalRange
    bits: int
    state: State
    held: bool = False

    @property
    def label(self) -> str:
        """Name both ranges."""
        return f"{self.source} range to {self.target} range, {self.bits} bits"

    @property
    def takes(self) -> State:
        """The state of the values it takes."""
        return self.state

    @property
    def gives(self) -> State:
        """The state of the values it gives."""
        return self.state

    def program(self) -> Program:
        """Return the scaling and, with `held`, the ends."""
        scale, offset = ranges.scale_offset(self.source, self.target, self.bits)
        scaled = affine_call(scale * np.eye(3), offset)
        return (scaled, Call(hold, Ends(0.0, 1.0))) if self.held else (scaled,)

    def evaluate(self, rgb: Array) -> Array:
        """Return the codes in the target range."""
        codes = ranges.convert(rgb, self.source, self.target, self.bits)
        return np.clip(codes, 0.0, 1.0) if self.held else codes

    def inverse(self, rgb: Array) -> Array:
        """Return the codes in the source range."""
        return ranges.convert(rgb, self.target, self.source, self.bits)

    def lower(self) -> list[OcioTransform]:
        """Return a matrix and, with `held`, a clamp."""
        from lookkit.spaces.ocio_ops import clip

        steps = ranges.lower(self.source, self.target, self.bits)
        return [*steps, clip(0.0, 1.0)] if self.held else steps


@dataclass(frozen=True)
class OutputTransform:
    """Display light to the code values of a display.

    With `nominal`, to the signal before a `RangeStep` puts it into its range.
    """

    output: Output
    nominal: bool = False
    takes: State = State.DISPLAY
    gives: State = State.SIGNAL

    @property
    def label(self) -> str:
        """Name the output."""
        return f"to {self.output.name}"

    def program(self) -> Program | None:
        """Return the encoding with its clips; None where its curve has no formula."""
        return self.output.program(nominal=self.nominal)

    def evaluate(self, rgb: Array) -> Array:
        """Return code values, clipped to the signal range."""
        return self.output.nominal(rgb) if self.nominal else self.output.encode(rgb)

    def inverse(self, rgb: Array) -> Array:
        """Return the light of code values; what was clipped does not come back."""
        return (self.output.delivered("full") if self.nominal else self.output).decode(rgb)

    def lower(self) -> list[OcioTransform]:
        """Return the encoding as OCIO transforms."""
        return self.output.lower_nominal() if self.nominal else self.output.lower()


DecodingStep = InputTransform | RangeStep | MatchCurve | MatchColours


@dataclass(frozen=True)
class Decoding:
    """What a camera's code values mean: the steps from them to the scene, and back."""

    steps: tuple[DecodingStep, ...]

    @property
    def scene_linear(self) -> bool:
        """Whether codes are scene-linear light, without ends."""
        first = self.steps[0]
        return isinstance(first, InputTransform) and first.encoding.scene_linear

    def evaluate(self, code: Array) -> Array:
        """Return scene-linear AP1, shape (..., 3)."""
        for step in self.steps:
            code = step.evaluate(code)
        return code

    def inverse(self, scene: Array) -> Array:
        """Return code values of scene-linear AP1, shape (..., 3).

        Raises
        ------
        InputError
            If a step has no inverse.
        """
        for step in reversed(self.steps):
            back = step.inverse(scene)
            if back is None:
                raise InputError(f"{step.label!r} has no inverse")
            scene = back
        return scene


@dataclass(frozen=True)
class Acting:
    """A node that makes only a part of its change: out = in + mix w (node(in) - in).

    w is 1, or what the node's `only` says of the light that enters.
    """

    node: Node

    @property
    def label(self) -> str:
        """Name the node."""
        return self.node.label

    @property
    def takes(self) -> State:
        """The state of the values it takes."""
        return self.node.takes

    @property
    def gives(self) -> State:
        """The state of the values it gives."""
        return self.node.gives

    def program(self) -> Program | None:
        """Return the node's program, and how far it acts; None where it has none."""
        if self.node.mix == 0.0:
            return ()
        inner = self.node.program()
        if inner is None or (self.node.mix == 1.0 and self.node.only is None):
            return inner
        kept = slots_of(inner)
        return (
            Call(take_entering, Nothing(), kept, 0),
            *inner,
            acting(self.node.mix, self.node.only, 0, kept),
        )

    def evaluate(self, rgb: Array) -> Array:
        """Return the exact result; float64 of shape (..., 3) in and out."""
        return _acted(self.node, [rgb])

    def lower(self) -> list[OcioTransform] | None:
        """Return the node's own lowering if it acts fully, nothing if not at all, else None.

        A part of a matrix is a matrix too.
        """
        if self.node.mix == 0.0:
            return []
        lowered = self.node.lower()
        if self.node.only is not None or lowered is None:
            return None
        return lowered if self.node.mix == 1.0 else part_of_matrices(lowered, self.node.mix)


@dataclass(frozen=True)
class Branches:
    """A part of the graph in which light takes several ways, as one step."""

    nodes: tuple[Node, ...]
    """Sources before what takes them; the last one gives the result."""
    sources: tuple[tuple[int, ...], ...]
    """For each node the places in `nodes` of its inputs; -1 is the light that enters."""
    takes: State = State.SCENE
    gives: State = State.SCENE

    @property
    def label(self) -> str:
        """Name the nodes."""
        return f"branches [{', '.join(node.label for node in self.nodes)}]"

    def program(self) -> Program | None:
        """Return all nodes' programs: each node has a slot of its own behind the light's.

        None where a node has none.
        """
        calls: list[Call] = []
        for place, (node, sources) in enumerate(zip(self.nodes, self.sources, strict=True), 1):
            inputs = [source + 1 for source in sources]
            if not node.enabled or node.mix == 0.0:
                calls.append(Call(take_entering, Nothing(), place, inputs[0]))
                continue
            inner = node.joining(inputs, place)
            if inner is None:
                return None
            calls += inner
            if node.mix != 1.0 or node.only is not None:
                calls.append(acting(node.mix, node.only, place, inputs[0]))
        return (*calls, Call(take_entering, Nothing(), 0, len(self.nodes)))

    def evaluate(self, rgb: Array) -> Array:
        """Return the exact result; float64 of shape (..., 3) in and out."""
        *_, result = self.values(rgb)
        return result

    def values(self, rgb: Array) -> list[Array]:
        """Return what each node gives, in their order."""
        values: list[Array] = []
        for node, sources in zip(self.nodes, self.sources, strict=True):
            inputs = [rgb if source < 0 else values[source] for source in sources]
            values.append(_acted(node, inputs))
        return values

    def lower(self) -> None:
        """Return None: OpenColorIO has no branches."""


def _acted(node: Node, inputs: Sequence[Array]) -> Array:
    entering = inputs[0]
    if not node.enabled or node.mix == 0.0:
        return entering
    changed = node.join(inputs)
    if node.mix == 1.0 and node.only is None:
        return changed
    return np.asarray(entering + share_of(node, entering)[..., None] * (changed - entering))


def share_of(node: Node, rgb: Array) -> Array:
    """Return how much of its change a node makes to light that enters it: (..., 3) to (...)."""
    share = np.full(rgb.shape[:-1], node.mix if node.enabled else 0.0)
    return share if node.only is None else share * node.only.weight(rgb)


def serial(nodes: Sequence[Node]) -> tuple[Op, ...]:
    """Return the graph of `nodes` as steps, one after the other; disabled nodes are left out.

    Raises
    ------
    InputError
        If the nodes form no graph; a loaded recipe's always do.
    """
    wiring = wire(nodes)
    if wiring.faults:
        raise InputError("; ".join(fault.found for fault in wiring.faults))
    steps: list[Op] = []
    start = 0
    for end in _cuts(wiring):
        part = wiring.order[start : end + 1]
        before = wiring.order[start - 1] if start else -1
        start = end + 1
        alive = [index for index in part if nodes[index].enabled]
        if len(part) == 1 and len(wiring.sources(part[0])) == 1:
            steps += [Acting(nodes[index]) for index in alive]
        elif alive:
            place = {before: -1, **{index: position for position, index in enumerate(part)}}
            sources = tuple(tuple(place[s] for s in wiring.sources(i)) for i in part)
            steps.append(Branches(tuple(nodes[index] for index in part), sources))
    return tuple(steps)


def _cuts(wiring: Wiring) -> list[int]:
    """Return the places of `wiring.order` behind which all light comes from that node alone."""
    place = {-1: -1, **{index: position for position, index in enumerate(wiring.order)}}
    reach: dict[int, int] = {}
    for position, index in enumerate(wiring.order):
        for source in wiring.sources(index):
            reach[place[source]] = max(reach.get(place[source], -1), position)
    cuts, farthest = [], reach.get(-1, -1)
    for position in range(len(wiring.order)):
        if farthest <= position:
            cuts.append(position)
        farthest = max(farthest, reach.get(position, -1))
    return cuts


@dataclass(frozen=True)
class Graph:
    """A recipe, ready to be asked for its chains."""

    recipe: Recipe

    def input_transform(self, camera: str) -> InputTransform:
        """Return the step from `camera`'s code values to the scene."""
        chosen = _find("camera", camera, self.recipe.cameras)
        return InputTransform(self.recipe.encoding_of(camera), chosen.range, chosen.bits)

    def camera(self, camera: str, scene: str | None = None) -> tuple[Op, ...]:
        """Return the steps from `camera`'s code values to the scene, its own trims included.

        With a match, that is the main camera's scene; `scene` picks the match.
        """
        steps = _decoding(self.input_transform(camera), self._match(camera, scene))
        return (*steps, *serial(self.recipe.cameras[camera].trims))

    def decoding(self, camera: str, scene: str | None = None) -> Decoding:
        """Return what `camera`'s code values mean in a scene, before any trims.

        The colour stage of a match is left out, for it has no inverse.
        """
        match = self._match(camera, scene)
        without = None if match is None else match.without_stage
        return Decoding(_decoding(self.input_transform(camera), without))

    def _match(self, camera: str, scene: str | None) -> Match | None:
        _find("camera", camera, self.recipe.cameras)
        return self.recipe.match_of(camera, scene)

    def trims(self, scene: str | None) -> tuple[Op, ...]:
        """Return the steps that run before the look in a scene; None is no scene.

        In a shot's setting, those of the scene come first, and the shot's key frames last, as
        they are in their middle (`Look.at_frame` has them as at one frame).
        """
        if scene is None:
            return ()
        whole, shot = self.recipe.in_setting(scene)
        if shot is None:
            return serial(whole.trims)
        stops, mired = shot.key_at()
        keyed: list[Node] = [Exposure(stops=stops)] if shot.keys else []
        if any(key.mired for key in shot.keys):
            usual = light_kelvin(whole.light)
            kelvin = min(max(1e6 / max(1e6 / usual + mired, 1.0), LOWEST_KELVIN), HIGHEST_KELVIN)
            keyed.append(WhiteBalance(kelvin=kelvin, camera=usual))
        return (*serial(whole.trims), *serial(shot.trims), *serial(keyed))

    def look(self, scene: str | None = None) -> tuple[Op, ...]:
        """Return the look's steps, scene light to scene light, with a scene's overrides."""
        return serial(self._in(scene).look)

    def output(self, name: str) -> Output:
        """Return the description of the recipe's output called `name`."""
        _find("output", name, self.recipe.outputs)
        return self.recipe.output_of(name)

    def output_steps(self, name: str) -> tuple[Op, ...]:
        """Return the steps from display light to the code values of the output `name`."""
        target = self.output(name)
        if target.range == "full":
            return (OutputTransform(target),)
        to_range = RangeStep("full", target.range, target.bits, State.SIGNAL, held=True)
        return (OutputTransform(target, nominal=True), to_range)

    def rendering(self, name: str, scene: str | None = None) -> tuple[Op, ...]:
        """Return the steps from the scene to the display light of the output `name`."""
        target = self.output(name)
        return tuple(self._in(scene).rendering_for(name).ops_for(target))

    def chain(self, camera: str, output: str, scene: str | None = None) -> tuple[Op, ...]:
        """Return all the steps from `camera`'s code values to the signal of `output`.

        Raises
        ------
        UnknownNameError
            If the recipe has no such camera, output or scene.
        InputError
            If the scene was not taken by this camera.
        """
        if scene is not None:
            took = self.recipe.cameras_of(scene)
            _find("camera", camera, self.recipe.cameras)
            if camera not in took:
                raise InputError(f"scene {scene!r} was not taken by camera {camera!r}")
        return checked(
            (
                *self.camera(camera, scene),
                *self.trims(scene),
                *self.look(scene),
                *self.rendering(output, scene),
                *self.output_steps(output),
            )
        )

    def _in(self, scene: str | None) -> Recipe:
        if scene is None:
            return self.recipe
        return self.recipe.in_scene(scene)


def _decoding(step: InputTransform, match: Match | None) -> tuple[DecodingStep, ...]:
    """Return the steps from code values to the scene, without trims."""
    matching = () if match is None else match.steps
    bits = step.bits or step.encoding.bits
    to_full = RangeStep(step.signal_range, "full", bits, State.CODE)
    ranged = () if step.signal_range == "full" else (to_full,)
    if matching and matching[0].takes == State.CODE:
        return (*ranged, *matching)
    full = InputTransform(step.encoding, "full", bits) if ranged else step
    return (*ranged, full, *matching)


def checked(chain: Sequence[Op]) -> tuple[Op, ...]:
    """Return `chain` if the states of its steps meet.

    Raises
    ------
    InputError
        Naming the two steps that do not.
    """
    for first, second in pairwise(chain):
        if first.gives != second.takes:
            raise InputError(
                f"{first.label!r} gives {first.gives}, but {second.label!r} takes {second.takes}"
            )
    return tuple(chain)


def _find(what: str, name: str, table: Mapping[str, T]) -> T:
    if name not in table:
        raise UnknownNameError(what, name, table)
    return table[name]
