"""Writing so that nothing half-written is ever left under a final name."""

from __future__ import annotations

import os
import platform
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from lookkit.errors import InputError, LookkitError

_DEVICE = re.compile(r"CON|PRN|AUX|NUL|COM[0-9]|LPT[0-9]", re.IGNORECASE)


@contextmanager
def write_beside(path: Path) -> Iterator[Path]:
    """Give a temporary file beside `path` and move it there when all went well.

    An existing `path` is replaced in one step; on any error or interrupt the
    temporary file is removed and `path` stays as it was. What a process that is gone by now left
    of the same file is cleared first.

    Raises
    ------
    InputError
        If the folder does not exist or cannot be written.
    LookkitError
        If the disk is full or fails while writing.
    """
    try:
        prefix = _cleared_prefix(path.parent, path.stem)
        handle, name = tempfile.mkstemp(prefix=prefix, suffix=path.suffix, dir=path.parent)
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror})") from error
    os.close(handle)
    beside = Path(name)
    try:
        yield beside
        os.chmod(beside, 0o666 & ~_umask())
        os.replace(beside, path)
    except OSError as error:
        raise LookkitError(f"{path}: writing failed ({error.strerror or error})") from error
    finally:
        beside.unlink(missing_ok=True)


def made_folder(folder: Path) -> Path:
    """Return a folder that is there now.

    Raises
    ------
    InputError
        If it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: cannot be made ({error.strerror})") from error
    return folder


def check_new(path: Path) -> None:
    """Check that a file can be made, before long work: that it is not there, and its folder.

    Raises
    ------
    InputError
        If it is there already, or cannot be written.
    """
    if path.exists():
        raise InputError(f"{path}: is there already, and is left as it is; name another (-o)")
    check_writable(path)


def check_writable(path: Path) -> None:
    """Check that `path` can be written, before long work: its folder, and that it is no folder.

    Raises
    ------
    InputError
        If it cannot.
    """
    if path.is_dir():
        raise InputError(f"{path}: is a folder, expected the name of a file")
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.stem[:40]}-", dir=path.parent)
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror})") from error
    os.close(handle)
    Path(name).unlink()


@contextmanager
def build_beside(folder: Path) -> Iterator[Path]:
    """Give an empty temporary folder beside `folder` and rename it there at the end.

    What a process that is gone by now left of the same folder is cleared first.

    Raises
    ------
    InputError
        If `folder` exists already, or its parent cannot be written.
    LookkitError
        If the disk is full or fails while writing.
    """
    if folder.exists():
        raise InputError(f"{folder}: exists already, and is left as it is; name another folder")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        prefix = _cleared_prefix(folder.parent, folder.name)
        beside = Path(tempfile.mkdtemp(prefix=prefix, dir=folder.parent))
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror})") from error
    try:
        yield beside
        os.chmod(beside, 0o777 & ~_umask())
        os.rename(beside, folder)
    except OSError as error:
        raise LookkitError(f"{folder}: writing failed ({error.strerror or error})") from error
    except LookkitError as error:
        if str(beside) not in str(error):
            raise
        # The folder is gone then; users know it by the name that it was to have.
        raise LookkitError(str(error).replace(str(beside), str(folder))) from error
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _cleared_prefix(place: Path, name: str) -> str:
    """Return how this process names what it makes beside a name, for a while.

    Temporary files and folders of the name whose process, on this machine, is gone are removed.
    """
    prefix = f".{name[:40]}-{safe_name(platform.node())[:20]}-"
    for other in os.listdir(place):
        process = other.removeprefix(prefix).partition("-")[0]
        if other.startswith(prefix) and process.isdecimal() and not _is_running(int(process)):
            shutil.rmtree(place / other, ignore_errors=True)
            with suppress(OSError):
                (place / other).unlink(missing_ok=True)
    return f"{prefix}{os.getpid()}-"


def _is_running(process: int) -> bool:
    """Say whether a process may still run; where that cannot be asked, it may."""
    if os.name != "posix":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def safe_name(name: str) -> str:
    """Return `name` with only letters, digits, dot, dash and underscore, safe in any folder.

    What Windows keeps for devices gets an underscore: it opens none there, with any ending.
    """
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-.")
    if _DEVICE.fullmatch(plain.partition(".")[0]):
        plain = f"_{plain}"
    return plain or "unnamed"


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
