"""The ASC CDL that comes closest to a change of scene light.

Least squares of Delta E 2000 between the change and the CDL, over colours as pictures have them,
as a viewer sees them through the look's own rendering. Delta E 2000 is taken as a distance in
L*a*b* with the lengths that it has around the aim, so that it has a derivative. The CDL runs in
ACEScct without clamps. It stays one that can be undone and keeps black in the domain of a LUT:
slope, power and saturation have lower limits, and light of zero stays at a code of zero or more.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.samples import FIT_SEED, image_like
from lookkit.accuracy.truth import Light
from lookkit.deliver.acescct import Change, encode
from lookkit.deliver.cdl import Correction
from lookkit.nodes.cdl import apply_cdl
from lookkit.spaces.working import Array

_COLOURS: Final = 4096
_TIE: Final = 0.3
"""What a difference of one in code costs beside Delta E: it decides where the display clips."""
_STEP: Final = 0.25
"""In L*a*b*: small against the curvature of Delta E 2000, large against rounding."""
_LOWEST_SATURATION: Final = 0.25
_LOW: Final = np.array([*[0.2] * 3, *[0.0] * 3, *[0.3] * 3, _LOWEST_SATURATION])
_HIGH: Final = np.array([*[4.0] * 3, *[0.6] * 3, *[3.0] * 3, 3.0])
_BLACK: Final = float(encode(np.zeros((1, 3)))[0, 0])


def best_cdl(change: Change, light: Light, id: str) -> Correction:
    """Return the CDL in ACEScct that is nearest to `change`, scene light to scene light.

    Parameters
    ----------
    light
        What a viewer sees of ACEScct codes.
    """
    from scipy.optimize import least_squares
    from threadpoolctl import threadpool_limits

    scene = image_like(np.random.default_rng([FIT_SEED, 0]), _COLOURS)
    code = encode(scene)
    aim = encode(change(scene))
    seen = light.lab(aim)
    lengths = _lengths(seen)

    def wrong(numbers: Array) -> Array:
        slope, black, power = (numbers[start : start + 3] for start in (0, 3, 6))
        got = apply_cdl(code, slope, black - slope * _BLACK, power, numbers[9])
        away = ((light.lab(got) - seen)[:, None] @ lengths).ravel()
        return np.concatenate([away, _TIE * (got - aim).ravel()])

    start = np.array([*[1.0] * 3, *[_BLACK] * 3, *[1.0] * 3, 1.0])
    lifted = start.copy()
    lifted[3:6] += (aim - code).mean(axis=0)
    starts = [np.clip(one, _LOW + 1e-6, _HIGH - 1e-6) for one in (start, lifted)]
    first = min(starts, key=lambda one: float(np.square(wrong(one)).sum()))
    # The last digits of sums depend on how many threads share them.
    with threadpool_limits(limits=1, user_api="blas"):
        found = least_squares(
            wrong, first, bounds=(_LOW, _HIGH), xtol=1e-10, ftol=1e-10, max_nfev=60
        )
    slope, black, power = (found.x[start : start + 3] for start in (0, 3, 6))
    offset = black - slope * _BLACK
    return Correction(id, _three(slope), _three(offset), _three(power), _written(found.x[9]))


def _lengths(lab: Array) -> Array:
    """Return L of shape (n, 3, 3), so that |d L| is Delta E 2000 for a small step d from `lab`."""
    squares = np.empty((3, 3, len(lab)))
    for one in range(3):
        for other in range(3):
            step = np.zeros(3)
            step[one] += _STEP
            step[other] += _STEP
            squares[one, other] = (delta_e_2000(lab, lab + step) / _STEP) ** 2
    own = np.array([squares[k, k] for k in range(3)]) / 4.0
    metric = 0.5 * (squares - own[:, None] - own[None])
    for k in range(3):
        metric[k, k] = own[k] + 1e-6
    return np.asarray(np.linalg.cholesky(np.moveaxis(metric, -1, 0)), dtype=np.float64)


def _three(values: Array) -> tuple[float, float, float]:
    red, green, blue = map(_written, values)
    return red, green, blue


def _written(value: float) -> float:
    """Return a number as a file carries it, so that what is measured is what is delivered."""
    return float(f"{value:.7g}")
