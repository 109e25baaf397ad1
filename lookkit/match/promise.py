"""What a match will miss by on colours that are not the chart's, before anyone sees them.

The fit's residual proves little, and so do single patches left out, for their neighbours in hue
give them away. Whole hues left out (`stage.without_own_hue`) come nearer. Simulated matches taught
how errors grow with these and the other signs (`signs`): their logarithms add up. The middle is
what errors most likely are; the upper figure is what nine in ten matches stay below. Both are for
colours of which one in sixteen clips in the matched camera.
"""

from __future__ import annotations

import numpy as np

from lookkit.match.fit import Fit
from lookkit.match.stage import table_of
from lookkit.matchfile.model import Expected, Promise
from lookkit.spaces.working import Array

_LEAST = 0.05
"""Delta E below which a sign tells no more."""
_MOST_STRAY = 5.0
"""Percent above which none was learnt from."""


def signs(
    left_out: float,
    plain: float,
    unlikeness: float,
    single: bool,
    known: bool,
    stray: float | None,
) -> Array:
    """Return the numbers that the logarithms of errors go with, (10,).

    Parameters
    ----------
    left_out
        Mean Delta E of patches predicted by a matrix that never saw their hue.
    plain
        Mean Delta E that curve and matrix leave of the chart.
    unlikeness
        Of the chart's residuals; below 1 they are as good as any.
    single
        Whether there is but one exposure.
    known
        Whether the encoding is known, so that no curve is fitted.
    stray
        Percent of stray light over a single exposure; None where it is not known.
    """
    group = np.log(max(left_out, _LEAST))
    return np.array(
        [
            1.0,
            group,
            np.log(max(plain, _LEAST)),
            np.log(max(unlikeness, 1.0)),
            float(single),
            float(known),
            single * group,
            known * group,
            single * float(stray is None),
            single * np.log1p(min(max(stray or 0.0, 0.0), _MOST_STRAY)),
        ]
    )


def promise(fit: Fit, known: bool) -> Promise:
    """Return what to expect of a fit of the chart; `known` tells whether the encoding is."""
    method = "never" if fit.learnt is None else "always" if fit.learnt == 0.0 else "auto"
    single, unlike = len(fit.kept) == 1, fit.unlikeness or 1.0
    told = signs(fit.cross.mean, fit.plain, unlike, single, known, fit.stray)
    made = {}
    for name, weights in table_of("promise")[method].items():
        about, most = (float(np.exp(np.array(weights[end]) @ told)) for end in ("about", "up-to"))
        made[name] = Expected.model_validate(
            {"about": round(about, 2), "up-to": round(max(about, most), 2)}
        )
    return Promise(**made)


def promise_words(made: Promise) -> str:
    """Return the promise in one line."""
    each = (("mean", made.mean), ("p95", made.p95), ("skin", made.skin))
    return ", ".join(f"{name} about {one.about:.1f}, up to {one.up_to:.1f}" for name, one in each)
