"""How much a build is going to make: files, space and time, told before it begins.

Plain figures for a job of each format, measured once on the demo's recipe (one core of a server
of 2024): 320 s of work, of which 300 s are foretold. A look with more lattices in it takes longer,
a faster machine less, and more cores halve it or better.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from lookkit.look import Look

_JOB: Final = {
    "config": (14, 4.0e6, 30.0),
    "clf": (1, 1.0e6, 0.7),
    "clf-chain": (1, 3.5e6, 2.0),
    "cdl": (5, 1.0e6, 8.0),
    "stills": (3, 1.0e6, 22.0),
    "aces": (3, 3.0e6, 10.0),
    "amf": (1, 5.0e3, 0.01),
    "report": (1, 1.0e6, 4.4),
}
"""By format: files, bytes and seconds of one job."""
_POINT: Final = 33.0
"""Bytes of a point of a .cube."""
_OWN: Final = 4
"""recipe.toml, README.txt, ACCURACY.txt and manifest.json."""


@dataclass(frozen=True)
class Plan:
    """About how much a build makes, and the time it takes on one core."""

    files: int
    bytes: float
    seconds: float
    scenes: tuple[str, ...] = ()

    def text(self) -> str:
        """Return it in a line for people."""
        size = f"{self.bytes / 1e9:.1f} GB" if self.bytes >= 1e9 else f"{self.bytes / 1e6:.0f} MB"
        time = f"{self.seconds:.0f} seconds" if self.seconds < 100 else (
            f"{self.seconds / 60:.0f} minutes")  # fmt: skip
        shown = ", ".join(self.scenes) or "none of its own"
        return f"about {self.files} files, {size}, {time} on one core: scenes {shown}"


def plan(look: Look, formats: Sequence[str]) -> Plan:
    """Return about what a build makes; `formats` has the format of each of its jobs."""
    deliver = look.recipe.deliver
    files, size, seconds = float(_OWN), 1.0e5, 2.0
    for name, count in Counter(formats).items():
        if name == "cube":
            for points in deliver.sizes:
                cells = (33 if points == "auto" else points) ** 3
                files += count * (3 if deliver.certify else 1)
                size += count * cells * _POINT
                share = cells / 33**3
                seconds += count * (0.3 * share + 3.0 * share * deliver.fit + 2.0 * deliver.certify)
        else:
            more, bytes_, time = _JOB[name]
            files += count * more
            size += count * bytes_
            seconds += count * time
    return Plan(round(files), size, seconds, deliver.scenes)
