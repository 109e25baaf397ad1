"""The smallest lattice that keeps to an error budget."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from lookkit.lattice.audit import audit
from lookkit.lattice.budget import Budget, breaches
from lookkit.lattice.certificate import Certificate, certify
from lookkit.lattice.fit import Fit, fit_lattice
from lookkit.lattice.interpolate import READERS, Reader
from lookkit.lattice.samples import CodeSpace
from lookkit.lattice.truth import Exact, Light, steady
from lookkit.progress import Progress, silent

SIZES: Final = (17, 33, 65)


def smallest_fit(
    exact: Exact,
    space: CodeSpace,
    light: Light,
    budget: Budget,
    *,
    readers: Sequence[Reader] = READERS,
    sizes: Sequence[int] = SIZES,
    progress: Progress = silent,
) -> tuple[Fit, Certificate]:
    """Fit lattices of growing size until one keeps to the budget.

    Parameters
    ----------
    exact
        The graph, from camera code in 0-1 to signal.
    space
        The camera's encoding.
    light
        The display.
    budget
        What the certificate must keep to.
    readers
        How the file will be read.
    sizes
        Points along an edge to try, in order.
    progress
        Told of each fit and certificate.

    Returns
    -------
    tuple
        The first lattice that keeps to the budget, or the last one if none does, and its
        certificate: see `breaches`.

    Raises
    ------
    ValueError
        If no size is given.
    """
    if not sizes:
        raise ValueError("expected at least one size")
    graph = steady(exact)
    audited = audit(graph, space, light)
    for size in sizes:
        fit = fit_lattice(
            exact, space, light, size, readers=readers, audited=audited, progress=progress
        )
        certificate = certify(
            fit.lattice, None, exact, space, light, readers, audited=audited, progress=progress
        )
        if not breaches(certificate, budget, ""):
            break
    return fit, certificate
