"""A place picked in a picture: a grey card, or the same thing, a face, in several shots."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from lookkit.balance.view import View
from lookkit.errors import InputError
from lookkit.spaces.working import MID_GREY, Array

SPREAD: Final = 0.03
"""Standard error in stops of a pick of a few pixels."""
_REACH: Final = 1
_TWO_LIGHTS: Final = 0.25


@dataclass(frozen=True)
class Pick:
    """Where something is in a file: x and y from the top left, 0-1 of width and height.

    A `grey` one is a grey card: it becomes neutral, and as bright as mid-grey. Any other is the
    same thing in several shots of a scene, and becomes what it is in the hero.
    """

    name: str
    x: float
    y: float
    grey: bool = False


def parse_pick(text: str, *, grey: bool = False) -> Pick:
    """Return the pick of `FILE:X,Y`, in shares of width and height.

    Raises
    ------
    InputError
        If it is no such text.
    """
    name, _, place = text.rpartition(":")
    try:
        x, y = (float(one) for one in place.split(","))
    except ValueError:
        x = y = -1.0
    if not name or not (0 <= x <= 1 and 0 <= y <= 1):
        raise InputError(
            f"{text}: expected FILE:X,Y, with X and Y from 0 to 1 of the picture's width and "
            "height, from the top left"
        )
    return Pick(name, x, y, grey)


def light_at(view: View, pick: Pick) -> Array:
    """Return the cones of a pick, shape (3,): the middle of the pixels around it.

    Raises
    ------
    InputError
        If it is clipped or dark there.
    """
    wide, high = view.size
    x, y = min(int(pick.x * wide), wide - 1), min(int(pick.y * high), high - 1)
    rows = slice(max(y - _REACH, 0), y + _REACH + 1)
    columns = slice(max(x - _REACH, 0), x + _REACH + 1)
    if not view.sure[y, x]:
        raise InputError(f"{pick.name}: clipped, or too dark, at {pick.x:g},{pick.y:g}")
    return np.asarray(np.median(view.cones[rows, columns].reshape(-1, 3), axis=0), np.float64)


def gain_from(hero: Array | None, shot: Array) -> Array:
    """Return the gain that brings a picked light to the hero's; None is a neutral mid-grey."""
    wanted = np.full(3, MID_GREY) if hero is None else hero
    return np.asarray(np.log2(wanted / shot))


def doubts_of(apart: Array) -> str:
    """Return why a pick is doubted: by how much, log2, what the pictures share says otherwise."""
    most = float(np.abs(apart).max())
    if most <= _TWO_LIGHTS:
        return ""
    return (
        f"what both pictures show says otherwise, by {most:.2f} stop: does the pick stand in "
        "another light?"
    )
