"""The bytes of a LUT file, in bounded time and memory, and whether they are text."""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Final

from lookkit.errors import InputError
from lookkit.lutfile.faults import Faults

LARGEST_FILE: Final = 256 << 20
"""Bytes; a .cube of 129 points with 17 decimals has 132 million."""

_BYTE_ORDER_MARKS: Final = (
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
_SAMPLE: Final = 4096
_ODD: Final = re.compile("[\x00-\x08\x0b\x0e-\x1f\x7f\ufffd]")


def read_source(path: Path, limit: int = LARGEST_FILE) -> bytes:
    """Return the bytes of a regular file.

    Raises
    ------
    InputError
        If there is no such file, it is a folder, a pipe or a device, it cannot be read, or
        it is larger than `limit`.
    """
    with opened(path) as file:
        # As much as there is: a reader makes room for all that it is asked for.
        data = file.read(min(os.fstat(file.fileno()).st_size, limit) + 1)
    if len(data) > limit:
        raise InputError(f"{path}: larger than {limit >> 20} MiB, expected a LUT file")
    return data


@contextmanager
def opened(path: Path) -> Iterator[BinaryIO]:
    """Give a regular file opened for reading; the errors are those of `read_source`."""
    try:
        # Without waiting: opening a pipe that nobody writes to must not hang.
        handle = os.open(
            path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        )
        with os.fdopen(handle, "rb") as file:
            if not stat.S_ISREG(os.fstat(handle).st_mode):
                raise InputError(f"{path}: not a regular file, expected a LUT file")
            yield file
    except FileNotFoundError:
        raise InputError(f"{path}: no such file") from None
    except IsADirectoryError:
        raise InputError(f"{path}: a folder, expected a LUT file") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(f"{path}: cannot be read ({reason})") from error


def as_text(data: bytes, faults: Faults) -> bytes:
    """Return text bytes whose lines end in LF or CR LF, noting what was odd.

    A byte order mark is dropped, UTF-16 and UTF-32 become UTF-8, a file whose lines end in
    CR alone gets LF. What is no text at all gives b"".
    """
    if not data:
        faults.add(0, "empty", "an empty file", "a LUT")
        return b""
    data = _decoded(data, faults)
    sample = data[:_SAMPLE].decode("utf-8", "replace")
    if len(_ODD.findall(sample)) > 0.1 * len(sample):
        faults.add(0, "binary", "binary data", "text")
        return b""
    if not data.strip():
        faults.add(0, "empty", "nothing but blank lines", "a LUT")
        return b""
    return _with_line_feeds(data, faults)


def _decoded(data: bytes, faults: Faults) -> bytes:
    if data.startswith(b"\xef\xbb\xbf"):
        faults.add(1, "bom", "a UTF-8 byte order mark", "plain ASCII from the first byte")
        return data[3:]
    encoding = next((name for mark, name in _BYTE_ORDER_MARKS if data.startswith(mark)), None)
    if encoding is None:
        # Without a mark: ASCII letters in UTF-16 have a zero in every other byte.
        low, high = data[0:128:2], data[1:128:2]
        if len(high) > 3 and not high.strip(b"\x00") and b"\x00" not in low:
            encoding = "utf-16-le"
        elif len(low) > 3 and not low.strip(b"\x00") and b"\x00" not in high:
            encoding = "utf-16-be"
    if encoding is None:
        return data
    faults.add(1, "utf-16", f"text in {encoding.upper()}", "plain ASCII")
    return data.decode(encoding, "replace").encode("utf-8")


def _with_line_feeds(data: bytes, faults: Faults) -> bytes:
    returns = data.count(b"\r")
    feeds = data.count(b"\n")
    pairs = data.count(b"\r\n") if returns else 0
    if returns and not feeds:
        faults.add(1, "line-ends-cr", "lines that end in CR alone", "lines that end in LF")
        return data.replace(b"\r", b"\n").rstrip(b"\n") + b"\n"
    if pairs and pairs == feeds and pairs == returns:
        faults.add(
            1, "line-ends-crlf", "lines that end in CR LF", "lines that end in LF", level="warning"
        )
    elif pairs < returns:
        lone = re.search(rb"\r(?!\n)", data)
        line = data.count(b"\n", 0, lone.start()) + 1 if lone else 1
        faults.add(line, "line-ends-mixed", "a CR inside a line", "lines that end in LF")
    elif pairs:
        first = data.find(b"\r\n")
        other = re.search(rb"(?<!\r)\n", data)
        place = max(first, other.start() if other else 0)
        line = data.count(b"\n", 0, place) + 1
        faults.add(
            line,
            "line-ends-mixed",
            "lines that end in LF and lines that end in CR LF",
            "lines that end in LF",
            level="warning",
        )
    if not data.endswith(b"\n"):
        faults.add(
            feeds + 1,
            "no-final-newline",
            "a last line without its end",
            "LF after the last line",
            level="warning",
        )
        return data + b"\n"
    return data
