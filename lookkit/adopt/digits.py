"""How many digits of each number matter."""

from __future__ import annotations

from math import ceil, log10, sqrt
from typing import Final

from lookkit.adopt.solve import Solved

_SHOWS: Final = 0.02
"""Delta E, over all colours, that rounding one number may make."""
_MOST: Final = 4

Digits = dict[str, dict[str, int]]


def digits_of(found: Solved, more: int = 0) -> Digits:
    """Return the decimals of each number, by step and name.

    Parameters
    ----------
    more
        Decimals beyond those that matter by the fit's slopes.
    """
    numbers = [(part, number) for part in found.chain.parts for number in part.numbers]
    digits: Digits = {}
    for row, (part, number) in enumerate(numbers):
        # Half of the last digit, in usual sizes, times the root of what a usual size costs.
        half = _SHOWS * number.usual / sqrt(found.matters[row, row])
        decimals = ceil(-log10(2.0 * half)) + more
        digits.setdefault(part.step, {})[number.name] = min(max(decimals, 0), _MOST + more)
    return digits
