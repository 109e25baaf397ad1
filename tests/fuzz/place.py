"""Where harnesses write the files that they read, and how they read them."""

import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TypeVar

from lookkit.errors import LookkitError

Found = TypeVar("Found")


@cache
def place() -> Path:
    """A folder of this process and its children: in memory, where there is such a place."""
    memory = Path("/dev/shm")
    return Path(tempfile.mkdtemp(prefix="lookkit-", dir=memory if memory.is_dir() else None))


def or_told(read: Callable[[], Found]) -> tuple[Found | None, str]:
    """What is read, or None and what the user is told instead."""
    try:
        return read(), ""
    except LookkitError as error:
        return None, str(error)
