"""What every node kind is: parameters, an exact evaluation, and its OCIO form.

A node kind is one file with one subclass of `Node` (or of `Rendering`). Its fields are the recipe
schema (typed, with unit, range and a default that is the identity), `evaluate` is
the float64 truth, `lower` says the same as OpenColorIO transforms, or None where
OpenColorIO cannot say it, and `inverse` undoes it where that is possible.

Evaluation and lowering agree within 1e-5 relative (floor 0.01) for scene values of -6 to 64.
OpenColorIO runs in float32, so where large channels of a pixel cancel each other (in a
matrix, a saturation, a distance from grey) the bound grows by what float32 itself costs
there: what a change of the pixel by 2^-22 of its largest channel does to the result, and
2^-22 of the result's largest channel.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import cos, radians, sin, sqrt
from typing import Annotated, Any, ClassVar, Final, NamedTuple, Protocol

import numpy as np
from pydantic import Discriminator, Field, Tag

from lookkit.kernel import numpy_engine
from lookkit.kernel.formula import (
    Call,
    Nothing,
    Planes,
    Program,
    formula,
    moved,
    slots_of,
    take_entering,
    triple,
)
from lookkit.kernel.formula import Triple as KernelTriple
from lookkit.kernel.maths import Plane, absolute, signed_power, unsure
from lookkit.nodes.only import Only
from lookkit.nodes.table import Table as Table
from lookkit.nodes.table import error_at as error_at
from lookkit.nodes.table import param as param
from lookkit.spaces.oklab import CONES, OPPONENTS
from lookkit.spaces.working import Array, OcioTransform, State

MOST_LIGHT: Final = 65504.0
"""The highest light that a table over light reaches: that of half floats."""
_ROOT: Final = 7.0


class Op(Protocol):
    """One step of a compiled chain: a node, an input transform, an output transform."""

    @property
    def label(self) -> str:
        """What a reader of a trace or a graph sees."""
        ...

    @property
    def takes(self) -> State:
        """The state of the values it takes."""
        ...

    @property
    def gives(self) -> State:
        """The state of the values it gives."""
        ...

    def program(self) -> Program | None:
        """Return its formulas with their parameters, or None where it has an `evaluate` alone."""
        ...

    def evaluate(self, rgb: Array) -> Array:
        """Return the exact result; float64 of shape (..., 3) in and out."""
        ...

    def lower(self) -> list[OcioTransform] | None:
        """Return the same as OpenColorIO transforms, or None if they cannot say it."""
        ...


def evaluated(op: Op, rgb: Array) -> Array:
    """Return what an op's program makes of pixels, run by numpy in float64."""
    program = op.program()
    if program is None:
        raise NotImplementedError(f"{op.label} has neither a program nor an evaluation")
    return numpy_engine.run(program, np.asarray(rgb, dtype=np.float64))


class Step(Table):
    """The common part of all kinds: look nodes and renderings."""

    takes: ClassVar[State] = State.SCENE
    gives: ClassVar[State] = State.SCENE
    example: ClassVar[str]
    """A recipe fragment that loads; the reference pages show it."""

    kind: str
    id: str | None = Field(
        default=None,
        pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,62}$",
        description="a name by which other nodes and scenes refer to this one",
    )

    @property
    def label(self) -> str:
        """The kind, with the id where there is one."""
        return f"{self.kind} ({self.id})" if self.id else self.kind

    def program(self) -> Program | None:
        """Return its formulas with their parameters, or None where it has an `evaluate` instead.

        Light comes in and goes out in slot 0.
        """
        return None

    def evaluate(self, rgb: Array) -> Array:
        """Return the exact result; float64 of shape (..., 3) in and out."""
        return evaluated(self, rgb)

    def lower(self) -> list[OcioTransform] | None:
        """Return the same as OpenColorIO transforms, or None if they cannot say it."""
        raise NotImplementedError

    def inverse(self, rgb: Array) -> Array | None:
        """Return the input that gives `rgb`, or None where no inverse exists."""
        return None

    def warnings(self) -> list[str]:
        """Return what is allowed but close to going wrong, in the user's words."""
        return []


class Node(Step):
    """The common part of the look's nodes: where each stands in the graph, and how far it acts."""

    input: str | None = param(
        None,
        "the id of the node that it follows, or `start`, the light before the first node; "
        "default the node above",
    )
    enabled: bool = param(True, "false lets the light through unchanged")
    mix: float = param(
        1.0, "how much of the change is made: out = in + mix (node(in) - in)", ge=0.0, le=1.0
    )
    only: Only | None = param(None, "soft limits in stops, hue and chroma; see the page on `only`")

    def joining(self, inputs: Sequence[int], slot: int) -> list[Call] | None:
        """Return the calls that put into `slot` what it makes of its inputs' slots.

        Nodes but `blend` have one input. None where it has no program of one slot.
        """
        program = self.program()
        if program is None or slots_of(program) > 1:
            return None
        return [Call(take_entering, Nothing(), slot, inputs[0]), *moved(program, slot)]

    def join(self, values: Sequence[Array]) -> Array:
        """Return the exact result of all inputs; nodes but `blend` have one."""
        calls = self.joining(range(1, len(values) + 1), 0)
        if calls is None:
            return self.evaluate(values[0])
        return numpy_engine.run(tuple(calls), values[0], *values)


Triple = Annotated[tuple[float, float, float], Field(description="one number per channel R, G, B")]
Matrix = tuple[Triple, Triple, Triple]


class Wheel(Table):
    """A colour shift as a hue and a strength: three offsets that sum to zero, around a master.

    The hue is that of `hue-bands`: a grey that is shifted a little takes it on. The three
    offsets have the size of (1, -1/2, -1/2) strength.
    """

    former: ClassVar[Mapping[str, str]] = {
        "amount": "strength; and hue is counted as in hue-bands now: red 25 (was 0), "
        "yellow 105 (was 60), green 145 (was 120), cyan 195 (was 180), blue 260 (was 240)",
    }

    hue: float = param(
        25.0,
        "as in hue-bands: red 25, yellow 105, green 145, cyan 195, blue 260, magenta 330",
        unit="degrees of Oklab hue",
    )
    strength: float = param(0.0, "how far it shifts", ge=0.0)
    master: float | None = param(None, "the common value of all channels; default the identity")


def offsets_of_hue(hue: float) -> Array:
    """Return the three offsets, sum zero, size of (1, -1/2, -1/2), that give a grey a hue."""
    # What three relative changes of a grey do to Oklab's a and b, and their sum.
    rows = np.vstack([OPPONENTS[1:] @ CONES, np.ones(3)])
    found = np.linalg.solve(rows, [cos(radians(hue)), sin(radians(hue)), 0.0])
    return np.asarray(found * (sqrt(1.5) / np.linalg.norm(found)))


def _shape_of(value: Any) -> str:
    if isinstance(value, dict | Wheel):
        return "wheel"
    if isinstance(value, list | tuple):
        return "channels"
    return "number"


Channels = Annotated[
    Annotated[float, Tag("number")]
    | Annotated[Triple, Tag("channels")]
    | Annotated[Wheel, Tag("wheel")],
    Discriminator(_shape_of),
]
"""One number, three numbers, or a `Wheel`."""


PerChannel = Annotated[
    Annotated[float, Tag("number")] | Annotated[Triple, Tag("channels")],
    Discriminator(_shape_of),
]
"""One number, or three numbers."""


def per_channel(value: float | tuple[float, float, float] | Wheel, identity: float) -> Array:
    """Return the three numbers that a `Channels` value stands for, shape (3,)."""
    if isinstance(value, Wheel):
        master = identity if value.master is None else value.master
        return np.asarray(master + value.strength * offsets_of_hue(value.hue))
    return np.broadcast_to(np.asarray(value, dtype=np.float64), (3,)).copy()


def power_mirrored(x: Array, exponent: Array) -> Array:
    """Return sign(x) |x|^exponent: a power that is odd-symmetric below zero."""
    return np.asarray(np.copysign(np.abs(x) ** exponent, x))


class Powers(NamedTuple):
    """What multiplies and is added before, the exponents, and what multiplies after."""

    scale: KernelTriple
    offset: KernelTriple
    exponent: KernelTriple
    after: float


@formula()
def mirrored_powers(r: Plane, g: Plane, b: Plane, p: Powers) -> Planes:
    """Return a power of each channel, odd-symmetric below zero."""
    return (
        p.after * _mirrored(p.scale[0] * r, p.offset[0], p.exponent[0]),
        p.after * _mirrored(p.scale[1] * g, p.offset[1], p.exponent[1]),
        p.after * _mirrored(p.scale[2] * b, p.offset[2], p.exponent[2]),
    )


def _mirrored(light: Plane, offset: Plane, exponent: Plane) -> Plane:
    lifted = light + offset
    # What is left where the two nearly cancel has few digits, and a root magnifies it.
    unsure(absolute(lifted) < 0.003 * (absolute(light) + absolute(offset)))
    return signed_power(lifted, exponent)


def powers_call(scale: Array, offset: Array, exponent: Array, after: float) -> Call:
    """Return the call of `mirrored_powers`; the arrays have shape (3,)."""
    return Call(mirrored_powers, Powers(triple(scale), triple(offset), triple(exponent), after))


def scale_offset(scale: Array, offset: Array | None = None) -> OcioTransform:
    """Return an OCIO matrix that multiplies channels and then adds."""
    return matrix_transform(np.diag(scale), offset)


def matrix_transform(matrix: Array, offset: Array | None = None) -> OcioTransform:
    """Return an OCIO matrix transform from a 3x3 and an offset."""
    from lookkit.spaces import ocio_ops

    return ocio_ops.matrix(matrix, offset)


def part_of_matrices(
    transforms: Sequence[OcioTransform], share: float
) -> list[OcioTransform] | None:
    """Return a share of what matrices change, x + share (M x - x), or None for other steps."""
    import PyOpenColorIO as ocio

    matrix, offset = np.eye(4), np.zeros(4)
    for one in transforms:
        if not isinstance(one, ocio.MatrixTransform):
            return None
        if one.getDirection() != ocio.TRANSFORM_DIR_FORWARD:
            return None
        step = np.reshape(one.getMatrix(), (4, 4))
        matrix, offset = step @ matrix, step @ offset + np.array(one.getOffset())
    mixed = np.eye(4) + share * (matrix - np.eye(4))
    return [matrix_transform(mixed[:3, :3], share * offset[:3])]


def light_table(curve: Callable[[Array], Array], entries: int = 8193) -> list[OcioTransform]:
    """Return a curve by channel over light of either sign as an OCIO table of seventh roots.

    Parameters
    ----------
    curve
        Light, shape (n, 3), to light. It is held beyond `MOST_LIGHT`.

    Notes
    -----
    In seventh roots a smooth curve over stops is nearly straight: 8193 entries are within 1e-5 of
    it, and light around black has entries too. A table over all half floats is eight times as long.
    """
    from lookkit.ocio import table_transform

    most = MOST_LIGHT ** (1.0 / _ROOT)
    roots = np.linspace(-most, most, entries)
    root = np.full(3, 1.0 / _ROOT)
    light = power_mirrored(roots[:, None].repeat(3, axis=1), 1.0 / root)
    return [
        mirrored_exponent(root),
        scale_offset(np.full(3, 0.5 / most), np.full(3, 0.5)),
        table_transform(power_mirrored(curve(light), root)),
        mirrored_exponent(1.0 / root),
    ]


def mirrored_exponent(exponent: Array) -> OcioTransform:
    """Return an OCIO power that is odd-symmetric below zero."""
    from lookkit.spaces import ocio_ops

    return ocio_ops.power(exponent)
