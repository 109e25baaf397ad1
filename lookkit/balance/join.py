"""The pairs of a scene as one: each shot's gain by robust least squares, the hero's being none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from lookkit.spaces.working import Array

Link = tuple[int, int, Array, float]
"""Hero, shot, gain that brings the shot to it (log2, shape (3,)), and its standard error."""


def joined(count: int, heroes: Sequence[int], links: Sequence[Link]) -> Mapping[int, Array]:
    """Return the gains of the shots that links lead from a hero to, heroes with none.

    A link that contradicts the others loses weight (Huber, then squared).
    """
    reached = _reached(heroes, links)
    gains: dict[int, Array] = {one: np.zeros(3) for one in heroes}
    free = sorted(reached - set(heroes))
    if not free:
        return gains
    place = {shot: row for row, shot in enumerate(free)}
    used = [one for one in links if one[0] in reached and one[1] in reached]
    found = np.zeros((count, 3))
    weights = np.array([1.0 / one[3] for one in used])
    for turn in range(12):
        if turn:
            wrong = np.array([np.abs(found[j] - found[i] - g).max() / s for i, j, g, s in used])
            softer = np.maximum(wrong / 2.0, 1.0) ** (0.5 if turn < 6 else 1.0)
            now = weights / softer
        else:
            now = weights
        rows, wanted = np.zeros((len(used), len(free))), np.zeros((len(used), 3))
        for row, (hero, shot, gain, _) in enumerate(used):
            if shot in place:
                rows[row, place[shot]] += now[row]
            if hero in place:
                rows[row, place[hero]] -= now[row]
            wanted[row] = now[row] * gain
        solved = np.linalg.lstsq(rows, wanted, rcond=None)[0]
        for shot, row in place.items():
            found[shot] = solved[row]
    gains |= {shot: found[shot] for shot in free}
    return gains


def _reached(heroes: Sequence[int], links: Sequence[Link]) -> set[int]:
    reached = set(heroes)
    grown = True
    while grown:
        grown = False
        for hero, shot, _, _ in links:
            if (hero in reached) != (shot in reached):
                reached |= {hero, shot}
                grown = True
    return reached
