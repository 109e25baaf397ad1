"""What a match will miss by on colours that are not the chart's, before anyone sees them.

The fit's residual proves little, and so do single patches left out, for their neighbours in hue
give them away. Whole hues left out (`stage.without_own_hue`) come nearer: multiplied by factors
learnt on simulated matches of the same kind (`prior.json`), their mean gives what errors most
likely are, and what nine in ten matches stay below; the latter is more where the cameras are unlike
those that were learnt from. One colour in sixteen clips in the matched camera among those for
which it is meant.
"""

from __future__ import annotations

from typing import Literal

from lookkit.match.fit import Fit
from lookkit.match.stage import table_of
from lookkit.matchfile.model import Expected, Promise

Kind = Literal["bracket", "single", "known"]
"""Several exposures, one exposure, or a camera of known encoding, whose curve is not fitted."""


def kind_of(known: bool, exposures: int) -> Kind:
    """Return which kind of match it is."""
    if known:
        return "known"
    return "single" if exposures == 1 else "bracket"


def promise(fit: Fit, known: bool) -> Promise:
    """Return what to expect of a fit of the chart; `known` tells whether the encoding is."""
    method = "never" if fit.learnt is None else "always" if fit.learnt == 0.0 else "auto"
    held = table_of("promise")[method][kind_of(known, len(fit.kept))]
    mean = fit.cross.mean
    strange = max(1.0, fit.unlikeness or 1.0) ** float(table_of("promise")["unlike"])
    return Promise(
        **{
            name: Expected.model_validate(
                {"about": round(mean * about, 2), "up-to": round(mean * strange * most, 2)}
            )
            for name, (about, most) in held.items()
        }
    )


def promise_words(made: Promise) -> str:
    """Return the promise in one line."""
    each = (("mean", made.mean), ("p95", made.p95), ("skin", made.skin))
    return ", ".join(f"{name} about {one.about:.1f}, up to {one.up_to:.1f}" for name, one in each)
