"""How far what a file gives is from the exact graph, where it is no lattice of codes alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

import numpy as np

from lookkit.accuracy.audit import Audited
from lookkit.accuracy.samples import (
    AUDIT_SEED,
    SET_SIZES,
    CodeSpace,
    audit_sets,
    image_like,
    over_range,
    saturated_emitters,
    skin,
)
from lookkit.accuracy.truth import Exact, Light
from lookkit.graph import Decoding
from lookkit.ocio import Processor, library
from lookkit.piece import GOALS
from lookkit.piece_fit import TEN_BIT
from lookkit.spaces.working import Array

FLOOR: Final = 0.1
"""Below it a difference counts as it is: that of the Common LUT Format's guide to implementers."""
_TOP_STOPS: Final = 8.0


class Measured(Protocol):
    """What a form of the look should give, and what it is measured on."""

    @property
    def colours(self) -> Callable[[], Mapping[str, Array]]:
        """Gives sets of colours by name, as the form takes them."""
        ...

    @property
    def light(self) -> Light:
        """What a viewer sees of what comes out."""
        ...

    @property
    def signal(self) -> Callable[[Array], Array]:
        """What comes out to the signal of the display on which it is judged."""
        ...

    def exact(self, colour: Array) -> Array:
        """Return what the form should give, float64 of shape (..., 3)."""
        ...


@dataclass(frozen=True)
class Agreement:
    """Differences over the audited colours.

    Attributes
    ----------
    p999, largest
        Of |difference| / max(|exact|, 0.1), of each channel.
    pictures_mean, pictures_p999, lights_p99
        Delta E 2000 of pictures and of coloured lights.
    codes
        By set of `GOALS`: the share of its colours that it names is within so many ten-bit codes
        of the exact signal.
    """

    p999: float
    largest: float
    pictures_mean: float
    pictures_p999: float
    lights_p99: float
    codes: Mapping[str, float]

    def line(self, *, lattices: bool) -> str:
        """Return it for people: of a file with lattices as seen, else as shares of values."""
        if lattices:
            return (
                f"pictures Delta E 2000 mean {self.pictures_mean:.3f}, 99.9 % "
                f"{self.pictures_p999:.2f}; coloured lights 99 % {self.lights_p99:.2f}; in ten-bit "
                "codes " + ", ".join(f"{what} {off:.2f}" for what, off in self._told())
            )
        return (
            f"99.9 % of values within {self.p999:.1e} of the exact look, the largest difference "
            f"{self.largest:.1e} (as a share of the value, of at least {FLOOR:g})"
        )

    def figures(self) -> dict[str, float]:
        """Return it for the manifest."""
        found = {
            "relative 99.9 %": self.p999,
            "relative largest": self.largest,
            "image-like mean": self.pictures_mean,
            "image-like 99.9 %": self.pictures_p999,
            "saturated-emitters 99 %": self.lights_p99,
            **{f"codes of {what}": off for what, off in self._told()},
        }
        return {key: float(f"{value:.3g}") for key, value in found.items()}

    def _told(self) -> list[tuple[str, float]]:
        return [
            (f"{name} {100.0 * GOALS[name].quantile:g} %", off) for name, off in self.codes.items()
        ]


def agreement(found: Exact, aim: Measured) -> Agreement:
    """Compare a function with what it should be, over sets of colours, each of shape (n, 3)."""
    shares: list[Array] = []
    seen: dict[str, Array] = {}
    codes: dict[str, float] = {}
    for name, colour in aim.colours().items():
        wanted, got = aim.exact(colour), found(colour)
        shares.append((np.abs(got - wanted) / np.maximum(np.abs(wanted), FLOOR)).ravel())
        if name in ("image-like", "saturated-emitters"):
            seen[name] = Audited(colour, wanted, aim.light).delta_e_2000(got)
        if name in GOALS:
            off = TEN_BIT * np.abs(aim.signal(got) - aim.signal(wanted)).max(axis=-1)
            codes[name] = float(np.quantile(off, GOALS[name].quantile))
    share = np.concatenate(shares)
    pictures, lights = seen["image-like"], seen["saturated-emitters"]
    return Agreement(
        float(np.quantile(share, 0.999)),
        float(share.max()),
        float(pictures.mean()),
        float(np.quantile(pictures, 0.999)),
        float(np.quantile(lights, 0.99)),
        codes,
    )


def scene_colours() -> dict[str, Array]:
    """Return the audited sets as scene light, AP1, without a camera's limits."""
    rng = [np.random.default_rng([AUDIT_SEED, order]) for order in range(4)]
    return {
        "image-like": image_like(rng[0], SET_SIZES["image-like"]),
        "skin": skin(rng[1], SET_SIZES["skin"]),
        "saturated-emitters": saturated_emitters(rng[2], SET_SIZES["saturated-emitters"]),
        "over-range": over_range(rng[3], SET_SIZES["over-range"], _TOP_STOPS),
    }


def camera_colours(camera: Decoding) -> dict[str, Array]:
    """Return the audited sets as a camera's codes; scene-linear ones are not clipped."""
    if camera.scene_linear:
        return {name: camera.inverse(light) for name, light in scene_colours().items()}
    sets = audit_sets(CodeSpace(camera.inverse, camera.evaluate))
    return {str(name): codes for name, codes in sets.items()}


def as_opencolorio_reads(path: Path) -> Exact:
    """Return what OpenColorIO makes of a LUT file, shape (n, 3) in and out."""
    ocio = library()
    # OpenColorIO remembers files by name, and would keep each one in memory.
    ocio.ClearAllCaches()
    processor = Processor([ocio.FileTransform(str(path))])
    ocio.ClearAllCaches()
    return processor.apply_exact
