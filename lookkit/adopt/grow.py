"""Which parts a recipe gets: added while they help on colours left out, then taken away again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.truth import Light
from lookkit.adopt.between import Between, Shown, between_points
from lookkit.adopt.chain import Chain, RenderingKind
from lookkit.adopt.colours import Asked
from lookkit.adopt.parts import (
    CDL,
    COMPRESS,
    DEPTH,
    EXPOSURE,
    FILM,
    FILTER,
    HUE_BANDS,
    LIT_BANDS,
    MATRIX,
    SATURATION,
    TINT,
    TONE,
    Part,
)
from lookkit.adopt.solve import LEANING, Solved, Wanted, solve
from lookkit.adopt.source import Source
from lookkit.progress import Progress
from lookkit.spaces.outputs import Output
from lookkit.spaces.working import Array

WORTH: Final = 0.04
"""The share by which a part must better the colours left out."""
_ALWAYS: Final = FILM[0]
_FOLLOWS: Final[tuple[tuple[Part, ...], ...]] = (
    (CDL,), HUE_BANDS, (MATRIX, COMPRESS), (TONE, DEPTH), (TINT,), LIT_BANDS,
)  # fmt: skip
_LOSABLE: Final = 0.035
"""The share of the error on colours left out that may come back when parts go."""
_BEHIND: Final = 2.5
"""How many times the other's error a rendering may have to be gone on with."""
_CLOSER: Final = 0.78
"""The share of an error below which a LUT is taken for one that was sampled. Any LUT's reading has
the bends of its cells, so one that was fitted comes down to 0.81 too."""
_SEEMS_CLOSER: Final = 0.9
"""The same while parts are still added: what they lack hides the difference."""
_SEEMS_LOSABLE: Final = 0.15
"""The share of its cost that a fit may lose by its slopes, to be tried."""
_FINE: Final = 0.2
"""The share of what the source itself leaves open that is not worth a part."""


@dataclass(frozen=True)
class Error:
    """Delta E 2000 over some colours: the mean, and what 95 % of them stay below."""

    mean: float
    high: float

    @property
    def score(self) -> float:
        """One number to choose by."""
        return self.mean + 0.25 * self.high

    def __str__(self) -> str:
        return f"{self.mean:.2f} mean, 95 % below {self.high:.2f}"


def error_between(one: Array, other: Array) -> Error:
    """Return how far L*a*b* colours are apart, shapes (n, 3)."""
    return error_of(delta_e_2000(one, other))


def error_of(off: Array) -> Error:
    """Return the figures of some Delta E 2000, shape (n,)."""
    return Error(float(off.mean()), float(np.quantile(off, 0.95)))


@dataclass(frozen=True, eq=False)
class Task:
    """What is to be met: the colours of the fit, and those left out that parts are chosen by."""

    wanted: Wanted
    near_grey: Wanted
    tried: Asked
    light: Light
    shown: Output
    grey_only: bool
    open: Error
    """How far the source's own common readings are apart on them."""
    source: Source | None = None
    """The LUT, where it is one."""
    between: Between | None = None
    """What the LUT is between its points, where that is not what it gives there."""

    @property
    def fine(self) -> float:
        """The part of a score that is not worth a part of a recipe."""
        return max(_FINE * self.open.score, 0.01)

    def error(self, found: Solved) -> Error:
        """Return how far a chain is from the source on the colours left out."""
        return self.error_with(found.chain, found.values)

    def error_with(self, chain: Chain, values: Array) -> Error:
        """Return the same for any values."""
        made = self.light.lab(chain.signal(values, self.tried.scene))
        return error_between(made, self.tried.lab)

    def nearer(self, shown: Shown) -> Task | None:
        """Return the task with the look between the LUT's points as steps close to it bend.

        None where the points are not known.
        """
        between = None if self.source is None else between_points(self.source, shown)
        if between is None:
            return None
        lab = between.lab(self.tried.scene)
        other = between.lab(self.tried.scene, "trilinear")
        return replace(
            self,
            wanted=replace(self.wanted, lab=between.lab(self.wanted.scene)),
            near_grey=replace(self.near_grey, lab=between.lab(self.near_grey.scene)),
            tried=replace(self.tried, lab=lab),
            open=error_between(lab, other),
            between=between,
        )


@dataclass(frozen=True, eq=False)
class Grown:
    """A fit with its parts, and how far it is from the source on the colours left out."""

    found: Solved
    error: Error


def grown(task: Task, progress: Progress) -> tuple[Grown, Task]:
    """Return the fit with the parts that are worth having, and what it met in the end.

    Both renderings are begun. Where neither is far behind, both get the parts that turn white and
    hues; the closer one goes on.
    """

    def says(what: str, done: int) -> None:
        progress(f"adopt: {what}", done, 10)

    says("tone and tint", 0)
    begun = [_begun(task, "film-print")]
    if not task.grey_only and task.shown.aces2_style is not None:
        says("ACES 2", 1)
        begun.append(_begun(task, "aces-2"))
    best = min(begun, key=_score)
    rivals = [one for one in begun if one.error.score < _BEHIND * best.error.score]
    if len(rivals) > 1:
        best = min((_with_both(task, one) for one in rivals), key=_score)
    plain = task
    task, best = _nearer(plain, plain, best, _SEEMS_CLOSER)
    follows = () if task.grey_only else _FOLLOWS
    for place, added in enumerate(follows):
        says(", ".join(dict.fromkeys(part.step for part in added)), 2 + place)
        if added is LIT_BANDS and not any(part in best.found.chain.parts for part in HUE_BANDS):
            continue
        best = _if_worth(task, best, added)
    says("taking away what is not needed", 8)
    task, best = _nearer(plain, task, best, _CLOSER)
    return _pruned(task, best), task


def _nearer(plain: Task, task: Task, best: Grown, share: float) -> tuple[Task, Grown]:
    """Return the task and the fit with the LUT read between its points as the steps bend.

    Both ways of reading it are fitted, and the closer fit tells which of them it is.
    """
    chain, values = best.found.chain, best.found.values
    bent = plain.nearer(lambda scene: chain.signal(values, scene, sound=False))
    if bent is None:
        return task, best
    if task is not plain:
        best = _refitted(plain, best, chain.parts, 5) or Grown(best.found, plain.error(best.found))
    closer = _refitted(bent, best, chain.parts, 5)
    if closer is None or closer.error.score > share * best.error.score:
        return plain, best
    return bent, closer


def _if_worth(task: Task, best: Grown, added: Sequence[Part]) -> Grown:
    """Return the fit with more parts where they better it, else as it was."""
    new = [part for part in added if part not in best.found.chain.parts]
    # Nothing can be gained of what is not there.
    if not new or best.error.score <= task.fine:
        return best
    tried = _refitted(task, best, (*best.found.chain.parts, *new), 9)
    if tried is None:
        return best
    gain = best.error.score - tried.error.score
    return tried if gain > max(WORTH * best.error.score, task.fine) else best


def _begun(task: Task, rendering: RenderingKind) -> Grown:
    """Return a fit of the first parts: near-greys, then all colours, then bands of tone."""
    first: Sequence[Part] = FILM[:4] if rendering == "film-print" else (EXPOSURE, CDL)
    more: Sequence[Part] = (*FILM, SATURATION) if rendering == "film-print" else (
        EXPOSURE, CDL, SATURATION)  # fmt: skip
    if task.grey_only:
        first = more = (*FILM[:4], FILTER)
    chain = Chain(rendering, first, task.shown)
    start = solve(chain, chain.plain, task.near_grey, 20)
    chain = chain.with_parts(more)
    found = solve(chain, chain.carried(start.chain, start.values), task.wanted, 14)
    begun = Grown(found, task.error(found))
    return _if_worth(task, begun, (TONE,)) if task.grey_only else begun


def _with_both(task: Task, best: Grown) -> Grown:
    return _if_worth(task, _if_worth(task, best, (CDL,)), HUE_BANDS)


def _score(one: Grown) -> float:
    return one.error.score


def _refitted(task: Task, best: Grown, parts: Sequence[Part], most: int) -> Grown | None:
    """Return a fit of other parts, or None where what stays of the numbers is no print."""
    chain = best.found.chain.with_parts(parts)
    try:
        found = solve(chain, chain.carried(best.found.chain, best.found.values), task.wanted, most)
        return Grown(found, task.error(found))
    except ValueError:
        return None


def _pruned(task: Task, best: Grown) -> Grown:
    """Return a fit without the parts that it hardly needs.

    What the loss of parts would cost is told by the slopes at the fit, the others moving after it.
    As many as should not show go at once and the fit is made anew; where their loss shows on the
    colours left out, half as many do.
    """
    limit = best.error.score + max(_LOSABLE * best.error.score, 0.5 * task.fine)
    kept: set[Part] = {_ALWAYS, FILTER}
    while True:
        losses = _losses(best.found, kept)
        count = sum(cost <= _SEEMS_LOSABLE * best.found.cost for _, cost in losses)
        order = [part for part, _ in losses]
        if not count:
            return best
        while count:
            lighter = _without(task, best, order[:count])
            if lighter is not None and lighter.error.score <= limit:
                best = lighter
                break
            count //= 2
        else:
            kept.add(order[0])


def _without(task: Task, best: Grown, gone: Sequence[Part]) -> Grown | None:
    return _refitted(task, best, [one for one in best.found.chain.parts if one not in gone], 5)


def _losses(found: Solved, kept: set[Part]) -> list[tuple[Part, float]]:
    """Return parts, those first that can be lost the cheapest, with what they and all before cost.

    A cost is what their loss would add to the fit's, the others moving after it.
    """
    chain = found.chain
    far = (found.values - chain.plain) / chain.usual
    spread = np.linalg.inv(found.matters + 1e-9 * np.eye(len(chain)))
    rows_of = {one: np.flatnonzero(chain.rows_of(one)) for one in chain.parts if one not in kept}

    def cost(rows: Array) -> float:
        block = np.linalg.inv(spread[np.ix_(rows, rows)])
        leaning = LEANING**2 * float((far[rows] ** 2).sum())
        return max(float(far[rows] @ block @ far[rows]) - leaning, 0.0)

    gone = np.zeros(0, dtype=int)
    losses: list[tuple[Part, float]] = []
    while rows_of:
        costs = {part: cost(np.concatenate([gone, rows])) for part, rows in rows_of.items()}
        least = min(costs, key=costs.__getitem__)
        losses.append((least, costs[least]))
        gone = np.concatenate([gone, rows_of.pop(least)])
    return losses
