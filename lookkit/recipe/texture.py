"""The recipe's table `[texture]`: what film does to a picture where pixels have neighbours.

Sources: granularity as handbooks of photographic materials give it, 1000 times the standard
deviation of density through an aperture of 48 micrometres; widths of camera apertures from memory
of SMPTE's standards for each gauge; the two ready textures were chosen by eye on pictures.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Final, Literal, NamedTuple

from pydantic import AfterValidator, Discriminator, Field, Tag, field_validator
from pydantic_core import PydanticCustomError

from lookkit.errors import UnknownNameError
from lookkit.kernel.formula import triple
from lookkit.nodes.base import PerChannel, Table, param, per_channel

GATES: Final = {
    "super 8 mm": 5.79,
    "16 mm": 10.26,
    "super 16 mm": 12.52,
    "35 mm sound": 21.95,
    "35 mm": 24.89,
    "35 mm stills": 36.0,
    "65 mm": 52.48,
}
"""Width of the picture on film, in millimetres; from memory."""


class Numbers(NamedTuple):
    """A texture as numbers, by layer: red-, green- and blue-sensitive.

    `gate` is in millimetres; `halation` and `reach` (of the edge) are a share and micrometres;
    `softness` is in cycles per millimetre, `edge` a share; `granularity` is 1000 sigma of density
    through 48 micrometres, `grain` a radius in micrometres; `by_density` has pairs of a density
    and the share of sigma there.
    """

    gate: float
    halation: tuple[float, float, float]
    base: float
    softness: tuple[float, float, float]
    edge: float
    reach: float
    granularity: tuple[float, float, float]
    grain: tuple[float, float, float]
    by_density: tuple[tuple[float, float], ...]
    seed: int


def _usual(density: float) -> float:
    """Return the share of sigma at a density, 1 at density 1 (common practice, no source)."""
    return float(((density + 0.06) * (1.0 - 0.25 * density / 2.6) / 0.958) ** 0.5)


_DENSITIES: Final = (
    0.0, 0.03, 0.07, 0.12, 0.2, 0.3, 0.45, 0.6, 0.8, 1.0, 1.25, 1.5, 1.75, 2.0, 2.3, 2.6, 3.0,
)  # fmt: skip
_BY_DENSITY: Final = tuple((one, round(_usual(one), 4)) for one in _DENSITIES)

SETS: Final = {
    "gentle": Numbers(
        24.89, (0.006, 0.0018, 0.0002), 130.0, (60.0, 70.0, 75.0), 0.05, 18.0,
        (3.0, 2.7, 3.3), (2.0, 1.8, 2.6), _BY_DENSITY, 1,
    ),
    "strong": Numbers(
        12.52, (0.014, 0.0045, 0.0006), 130.0, (45.0, 55.0, 60.0), 0.08, 18.0,
        (4.0, 3.6, 4.4), (2.4, 2.1, 3.0), _BY_DENSITY, 1,
    ),
}  # fmt: skip
"""Ready textures."""


def _known_gate(name: str) -> str:
    if name not in GATES:
        error = UnknownNameError("gate", name, GATES)
        raise PydanticCustomError(
            "unknown_name", "unknown gate '{name}', expected {choices}",
            {"name": name, "choices": error.expected},
        )  # fmt: skip
    return name


Width = Annotated[float, Field(ge=2.0, le=100.0)]
Gate = Annotated[
    Annotated[Width, Tag("number")] | Annotated[str, AfterValidator(_known_gate), Tag("name")],
    Discriminator(lambda value: "name" if isinstance(value, str) else "number"),
]
_NAMES: Final = ", ".join(f"{name} ({width:g})" for name, width in GATES.items())


class Texture(Table):
    """Halation, softness and grain of the negative, for pictures and clips that `apply` writes."""

    like: Literal["gentle", "strong"] = param(
        "gentle", "a ready texture, which the keys below change"
    )
    amount: float = param(
        1.0, "how much of it there is: 0 none, 1 as it is described", ge=0.0, le=3.0
    )
    gate: Gate | None = param(
        None,
        "the width of film that the longer side of a picture stands for, as a number or a name: "
        f"{_NAMES}",
        unit="mm",
    )
    halation: PerChannel | None = param(
        None,
        "the share of light that passes each layer and comes back from the base, by layer "
        "(red-, green-, blue-sensitive); red's is the largest on film",
    )
    base: float | None = param(
        None, "thickness of the film's base: the halo's ring is at 1.8 times it",
        unit="micrometres", ge=20.0, le=400.0,
    )  # fmt: skip
    softness: PerChannel | None = param(
        None,
        "the detail of which half is left, by layer; higher is sharper",
        unit="cycles per mm",
    )
    edge: float | None = param(
        None, "how much density rises beside an edge, as developer makes it", ge=0.0, le=0.5
    )
    granularity: PerChannel | None = param(
        None,
        "1000 times the standard deviation of density 1, through an aperture of 48 micrometres, "
        "by layer",
    )
    grain: PerChannel | None = param(
        None, "radius of the grain's clouds of dye, by layer", unit="micrometres"
    )
    by_density: tuple[tuple[float, float], ...] | None = param(
        None,
        "how grain depends on density: pairs of a density over the clear film and the standard "
        "deviation there, as a share of that at density 1; between them straight lines",
    )
    seed: int = param(1, "another number, another grain", ge=0, le=999_999)

    @field_validator("halation", "softness", "granularity", "grain")
    @classmethod
    def _within(cls, value: PerChannel | None, info: Any) -> PerChannel | None:
        low, high = _BOUNDS[info.field_name]
        for one in () if value is None else per_channel(value, 0.0):
            if not low <= one <= high:
                raise PydanticCustomError("range", f"out of range, expected {low:g} to {high:g}")
        return value

    @field_validator("by_density")
    @classmethod
    def _rising(
        cls, value: tuple[tuple[float, float], ...] | None
    ) -> tuple[tuple[float, float], ...] | None:
        if value is None:
            return None
        if len(value) < 2 or any(b[0] <= a[0] for a, b in pairwise(value)):
            raise PydanticCustomError(
                "rising", "densities out of order, expected two pairs or more, each denser"
            )
        if any(not 0.0 <= share <= 10.0 for _, share in value):
            raise PydanticCustomError("range", "a share out of range, expected 0 to 10")
        return value

    @property
    def numbers(self) -> Numbers:
        """The whole texture: the ready one's numbers, changed by the table's own and `amount`."""
        ready = SETS[self.like]
        gate = GATES[self.gate] if isinstance(self.gate, str) else self.gate
        amount = self.amount

        def three(name: str) -> tuple[float, float, float]:
            own = getattr(self, name)
            found: tuple[float, float, float] = (
                getattr(ready, name) if own is None else triple(per_channel(own, 0.0))
            )
            return found

        def scaled(name: str, by: float) -> tuple[float, float, float]:
            r, g, b = three(name)
            return r * by, g * by, b * by

        r, g, b = scaled("halation", amount)
        return Numbers(
            gate=ready.gate if gate is None else gate,
            halation=(min(r, 1.0), min(g, 1.0), min(b, 1.0)),
            base=ready.base if self.base is None else self.base,
            softness=scaled("softness", 1.0 / max(amount, 1e-9)),
            edge=amount * (ready.edge if self.edge is None else self.edge),
            reach=ready.reach,
            granularity=scaled("granularity", amount),
            grain=three("grain"),
            by_density=self.by_density or ready.by_density,
            seed=self.seed,
        )

    @property
    def is_on(self) -> bool:
        """Whether it changes anything."""
        return self.amount > 0.0


_BOUNDS: Final = {
    "halation": (0.0, 0.5),
    "softness": (5.0, 10000.0),
    "granularity": (0.0, 60.0),
    "grain": (0.2, 20.0),
}
