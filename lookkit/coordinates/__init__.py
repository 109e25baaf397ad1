"""Where colours lie in a lattice, and how a lattice holds what comes out.

A lattice is exact at its points and straight between them. So its axes should be such that what
happens to pictures bends little along them, its points should be where pictures are, and what it
holds should be nearly straight in them: scene light is held as stops, and what a display shows as
the stops of the grey that the steps show so.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from lookkit.coordinates.base import Held, Places
from lookkit.coordinates.display import DisplayLight, Signal
from lookkit.coordinates.scene import LOOK, SHOWN, Axes, HeldColours, SceneColours
from lookkit.coordinates.tones import Tones
from lookkit.nodes.base import Op
from lookkit.spaces.working import State

__all__ = [
    "LOOK",
    "SHOWN",
    "Axes",
    "DisplayLight",
    "Held",
    "HeldColours",
    "Places",
    "SceneColours",
    "Signal",
    "Tones",
    "held_by",
    "placed_by",
]


def placed_by(steps: Sequence[Op], peak: float) -> Callable[[int], Places] | None:
    """Return where values that `steps` take lie in a lattice of so many points an edge, or None.

    Parameters
    ----------
    peak
        The most display light, 1.0 = 100 cd/m2.
    """
    takes, gives = steps[0].takes, steps[-1].gives
    if takes == State.SCENE:
        axes = LOOK if gives == State.SCENE else SHOWN
        return lambda size: SceneColours(size, axes)
    return (lambda size: DisplayLight(peak)) if takes == State.DISPLAY else None


def held_by(steps: Sequence[Op], peak: float) -> Held:
    """Return how a lattice holds what `steps` give."""
    takes, gives = steps[0].takes, steps[-1].gives
    if gives == State.SCENE:
        return HeldColours()
    if takes == State.SCENE:
        return Tones(steps, peak)
    return DisplayLight(peak) if gives == State.DISPLAY else Signal()
