"""How exposure and white change inside a shot: a cloud, dusk.

Every frame is held against the first pixel by pixel, and the centre that most pixels share is
taken: people who walk through do not move it (in the simulation by .008 stop at most). It is for
a camera that stands still; where the picture moves, most pixels do not agree, and nothing is told.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lookkit.balance.pair import centre
from lookkit.balance.view import View, view_of
from lookkit.media.clip import Clip
from lookkit.media.numbered import Numbered
from lookkit.spaces.working import Array

if TYPE_CHECKING:
    from lookkit.look import Look
    from lookkit.media.jobs import Taken

TOLD: Final = 0.03
"""Stops from which a drift is told."""
_AGREEING: Final = 0.6
_WIDTH: Final = 240
_FIRST_LOOK: Final = (0.0, 0.5, 1.0)
_CLOSE_LOOK: Final = tuple(np.linspace(0.0, 1.0, 9).tolist())


@dataclass(frozen=True, eq=False)
class Drift:
    """How a shot's light changes.

    `shares` are places in its length, 0-1; `gains` what brings each frame to the one in the
    middle, log2 on cones, shape (n, 3).
    """

    shares: tuple[float, ...]
    gains: Array

    @property
    def stops(self) -> float:
        """The largest difference between two frames."""
        return float(np.ptp(self.gains, axis=0).max())


def drift_of(look: Look, taken: Taken) -> Drift | None:
    """Return how a clip or sequence drifts; None where it is too little, or cannot be told."""
    source = taken.source
    count = source.frames if isinstance(source, Clip) else (
        len(source.frames) if isinstance(source, Numbered) else 1)  # fmt: skip
    if count < 3:
        return None
    found = _measured(look, taken, _FIRST_LOOK)
    if found is None or found.stops < TOLD:
        return None
    return _measured(look, taken, _CLOSE_LOOK if count >= 9 else _FIRST_LOOK)


def _measured(look: Look, taken: Taken, shares: tuple[float, ...]) -> Drift | None:
    views = [view_of(look, taken, one, width=_WIDTH, landmarks=False) for one in shares]
    middle = views[len(views) // 2]
    gains = []
    for view in views:
        gain = steady_gain(middle, view)
        if gain is None:
            return None
        gains.append(gain)
    return Drift(shares, np.array(gains))


def steady_gain(middle: View, view: View) -> Array | None:
    """Return what brings a frame of a steady camera to another; None where few pixels agree."""
    sure = middle.sure & view.sure
    sure[::2] = False
    sure[:, ::2] = False
    if sure.sum() < 150:
        return None
    ratio = np.log2(middle.cones[sure] / view.cones[sure])
    gain, agreeing = centre(ratio, 1.0 / (0.05 + middle.edges[sure]))
    return gain if agreeing >= _AGREEING else None
