"""Results that are either whole or not there, and clearing up after a crash."""

from __future__ import annotations

import itertools
import os
import platform
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from lookkit.errors import InputError, NotWrittenError

_NAME = re.compile(r"^\..*\.(?P<host>[A-Za-z0-9-]*)~(?P<pid>\d+)~\d+\.part(\.[^.]+)?$")
_ABANDONED = 24 * 3600.0
"""Seconds after which a part that another machine began counts as left behind."""

_count = itertools.count()


@contextmanager
def whole_or_none(path: Path) -> Iterator[Path]:
    """Give a hidden file beside `path` and move it there, in one step, when all went well.

    Its name says which process writes it, so that `clear_parts` can tell what a crash left.

    Raises
    ------
    InputError
        If the folder is not there.
    NotWrittenError
        If it cannot be written, or the disk is full or fails.
    """
    # A name has room for 255 bytes in most file systems, and a letter may need four of them.
    stem = path.stem.encode(errors="surrogateescape")[:80].decode(errors="ignore")
    name = f".{stem}.{_host()}~{os.getpid()}~{next(_count)}.part{path.suffix}"
    part = path.with_name(name)
    made = False
    try:
        # The name itself is tried first, for all the work would be lost with it.
        with suppress(FileNotFoundError):
            os.lstat(path)
        part.touch()
        made = True
        yield part
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(part, path)
    except OSError as error:
        kind = NotWrittenError if path.parent.is_dir() else InputError
        raise kind(
            f"{path}: cannot be written ({(error.strerror or str(error)).lower()})"
        ) from error
    finally:
        if made:
            part.unlink(missing_ok=True)


def clear_parts(folder: Path) -> int:
    """Remove the parts in a folder that no living process writes; return how many."""
    removed = 0
    try:
        names = os.listdir(folder)
    except OSError:
        return 0
    for name in names:
        found = _NAME.match(name)
        if found is not None and _left_behind(folder / name, found["host"], int(found["pid"])):
            with suppress(OSError):
                (folder / name).unlink(missing_ok=True)
                removed += 1
    return removed


def _left_behind(part: Path, host: str, pid: int) -> bool:
    if host != _host() or os.name == "nt":
        try:
            return time.time() - part.stat().st_mtime > _ABANDONED
        except OSError:
            return False
    if pid == os.getpid():
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False


def _host() -> str:
    return re.sub(r"[^A-Za-z0-9-]", "-", platform.node())[:40]
