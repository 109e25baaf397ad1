"""Functions in C, compiled when lookkit is installed, and picked for the processor.

The build (`hatch_build.py`) makes one library for each level of x86-64, or one in all for other
processors, from the C files here. Where it found no compiler there is none, and `library` gives
None: whoever asks must be right without.
"""

from __future__ import annotations

import ctypes
from functools import cache
from pathlib import Path
from typing import Any, Final

FOLDER: Final = Path(__file__).with_name("compiled")
"""Where the build puts the libraries: `lookkit-0`, or `lookkit-2` to `-4` for x86-64."""


def levels() -> tuple[int, ...]:
    """Return the levels that were built and that this processor has, the best first."""
    built = sorted(int(path.stem.rpartition("-")[2]) for path in FOLDER.glob("lookkit-*"))
    if not built:
        return ()
    try:
        own = _opened(built[0]).lookkit_level()
    except (OSError, AttributeError):
        return ()
    return tuple(level for level in reversed(built) if level <= own)


@cache
def library(level: int | None = None) -> Any:
    """Return the compiled functions for this processor, or None.

    Parameters
    ----------
    level
        One of `levels`; by default the best.
    """
    if level is None:
        level = next(iter(levels()), None)
    return None if level is None else _opened(level)


def _opened(level: int) -> Any:
    (path,) = FOLDER.glob(f"lookkit-{level}.*")
    return ctypes.CDLL(str(path))
