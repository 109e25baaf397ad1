"""The formats of a hand-off, in the order in which they are written."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final

from lookkit.deliver import config, cube
from lookkit.deliver.written import Job

if TYPE_CHECKING:
    from lookkit.look import Look

FORMATS: Final[Mapping[str, Callable[[Look], list[Job]]]] = {
    "cube": cube.jobs,
    "config": config.jobs,
}
"""By the name that `[deliver] formats` uses: what has to be written for a look."""
