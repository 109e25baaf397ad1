"""The formats of a hand-off, in the order in which they are written."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final

from lookkit.deliver import aces, amf, cdl_residual, clf, config, cube, stills
from lookkit.deliver.written import Job
from lookkit.handoff import pages

if TYPE_CHECKING:
    from lookkit.look import Look

FORMATS: Final[Mapping[str, Callable[[Look], list[Job]]]] = {
    "cube": cube.jobs,
    "config": config.jobs,
    "clf": clf.jobs,
    "clf-chain": clf.chain_jobs,
    "cdl": cdl_residual.jobs,
    "stills": stills.jobs,
    "aces": aces.jobs,
    "amf": amf.jobs,
    "report": pages.jobs,
}
"""By the name that `[deliver] formats` uses: what has to be written for a look."""
