"""The functions that formulas are written in.

On numpy planes they are numpy's. On the recorded values of `record.py` they write C. So a
formula is one text for both. It must not branch on its values: `where` chooses between two
results that are both worked out.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np

Plane = Any
"""A numpy array of any shape, a number, or a recorded value."""


class Recordable:
    """What a recorded value is; `record.py` has the only kind."""

    def called(self, name: str, values: tuple[Plane, ...]) -> Plane:
        """Write the call of a function with these values, and return its result."""
        raise NotImplementedError


def _function(name: str, of_numpy: Callable[..., Any], text: str) -> Callable[..., Plane]:
    def call(*values: Plane) -> Plane:
        for value in values:
            if isinstance(value, Recordable):
                return value.called(name, values)
        return of_numpy(*values)

    call.__name__ = call.__qualname__ = name
    call.__doc__ = text
    return call


exp2 = _function("exp2", np.exp2, "2^x.")
log2 = _function("log2", np.log2, "log2(x), x > 0.")
power = _function("power", np.power, "x^p, x >= 0.")
cbrt = _function("cbrt", np.cbrt, "The cube root, with the sign of x.")
sqrt = _function("sqrt", np.sqrt, "The square root, x >= 0.")
sin = _function("sin", np.sin, "The sine of radians, -8 to 8.")
cos = _function("cos", np.cos, "The cosine of radians, -8 to 8.")
atan2 = _function("atan2", np.arctan2, "The angle of (y, x) in radians, -pi to pi.")
softplus = _function("softplus", lambda x: np.logaddexp(0.0, x), "ln(1 + e^x).")
growth = _function("growth", lambda x: _growth(x), "(e^x - 1) / x, and 1 at 0.")
absolute = _function("absolute", np.abs, "|x|.")
copysign = _function("copysign", np.copysign, "|x| with the sign of y.")
maximum = _function("maximum", np.maximum, "The larger.")
minimum = _function("minimum", np.minimum, "The smaller.")
where = _function("where", np.where, "a where the condition holds, else b.")
unsure = _function(
    "unsure",
    lambda condition: None,
    "Say where float32 is not exact enough; such pixels are worked out in float64.",
)

PER_RADIAN: Final = 57.29577951308232
"""Degrees."""
_LARGEST_DOUBLINGS: Final = 115.41560327111707
"""80 / ln 2: powers of two stop here (5e34), so that finite codes stay finite, in float32 too."""


def _growth(x: Any) -> Any:
    small = np.abs(x) < 1e-300
    safe = np.where(small, 1.0, x)
    return np.where(small, 1.0, np.expm1(safe) / safe)


def clip(x: Plane, low: Plane, high: Plane) -> Plane:
    """Return x held between two ends."""
    return minimum(maximum(x, low), high)


def piece_at(x: Plane, pieces: Any) -> tuple[Plane, ...]:
    """Return the numbers of the piece in which x lies.

    `pieces` are tuples of one length, each beginning with where it starts, in rising order.
    """
    found = tuple(pieces[0])
    for one in pieces[1:]:
        past = x >= one[0]
        found = tuple(where(past, new, old) for new, old in zip(one, found, strict=True))
    return found


def smooth(x: Plane) -> Plane:
    """Return the smooth step: 0 below 0, x^2 (3 - 2 x) in 0-1, 1 above."""
    t = clip(x, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def held_exp2(x: Plane) -> Plane:
    """Return 2^x, held at 5e34."""
    return exp2(minimum(x, _LARGEST_DOUBLINGS))


def signed_power(x: Plane, p: float) -> Plane:
    """Return sign(x) |x|^p, |x| held so that the result stays below 5e34.

    `p` is a number above 0, or a recorded one.
    """
    return copysign(held_exp2(p * log2(maximum(absolute(x), 1e-37))), x) * where(
        absolute(x) > 1e-37, 1.0, 0.0
    )


def mixed(rows: Any, r: Plane, g: Plane, b: Plane) -> tuple[Plane, Plane, Plane]:
    """Return a 3x3 matrix, as three rows, times (r, g, b)."""
    (rr, rg, rb), (gr, gg, gb), (br, bg, bb) = rows
    return (
        rr * r + rg * g + rb * b,
        gr * r + gg * g + gb * b,
        br * r + bg * g + bb * b,
    )
