"""How far apart the cameras land: the same scene colours through each of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.errors import InputError
from lookkit.match.fit import Errors
from lookkit.spaces.working import Array


@dataclass(frozen=True)
class Consistency:
    """Errors between each pair of cameras.

    Attributes
    ----------
    cameras
        Names, in order.
    pairs
        Delta E 2000 by (first, second), first before second in `cameras`.
    count
        How many colours were compared.
    """

    cameras: tuple[str, ...]
    pairs: Mapping[tuple[str, str], Errors]
    count: int

    def between(self, first: str, second: str) -> Errors:
        """Return the errors of a pair in either order."""
        if first == second:
            return Errors(0.0, 0.0, 0.0)
        return self.pairs.get((first, second)) or self.pairs[(second, first)]

    @property
    def worst(self) -> tuple[str, str]:
        """The pair with the largest mean."""
        return max(self.pairs, key=lambda pair: self.pairs[pair].mean)

    def table(self) -> str:
        """Return a text table: mean / p95 / max of each pair."""
        head = "Delta E 2000 (mean / p95 / max)"
        rows = [[head, *self.cameras]]
        for first in self.cameras:
            row = [first]
            for second in self.cameras:
                found = self.between(first, second)
                cell = f"{found.mean:.2f} / {found.p95:.2f} / {found.max:.2f}"
                row.append("-" if first == second else cell)
            rows.append(row)
        widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
        lines = (
            "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
            for row in rows
        )
        return "\n".join(lines)

    def as_dict(self) -> dict[str, object]:
        """Return what JSON holds."""
        return {
            "cameras": list(self.cameras),
            "colours": self.count,
            "pairs": [
                {"first": a, "second": b, "mean": e.mean, "p95": e.p95, "max": e.max}
                for (a, b), e in self.pairs.items()
            ],
        }


def consistency(
    codes: Mapping[str, Array],
    chains: Mapping[str, Callable[[Array], Array]],
    to_lab: Callable[[Array], Array],
) -> Consistency:
    """Send the same scene colours through every camera and compare where they land.

    Parameters
    ----------
    codes
        By camera: the code values with which it recorded the same colours, (n, 3), in one
        order for all. Chart patches will do.
    chains
        By camera: from its code values to what is compared, after match and look (display
        light, signal or scene), (n, 3) to (n, 3).
    to_lab
        From that to CIE L*a*b*.

    Raises
    ------
    InputError
        If there are fewer than two cameras, or their colours differ in number.
    """
    names = tuple(codes)
    if len(names) < 2:
        raise InputError("consistency is between cameras: at least two are needed")
    missing = [name for name in names if name not in chains]
    if missing:
        raise InputError(f"no chain for camera {missing[0]}")
    counts = {len(np.atleast_2d(colours)) for colours in codes.values()}
    if len(counts) > 1:
        raise InputError("the cameras recorded different numbers of colours, expected the same")
    landed = {
        name: to_lab(np.asarray(chains[name](np.asarray(codes[name], dtype=np.float64))))
        for name in names
    }
    pairs = {
        (a, b): Errors.of(delta_e_2000(landed[a], landed[b])) for a, b in combinations(names, 2)
    }
    return Consistency(names, pairs, counts.pop())
