"""Any LUT file, read by the strict reader of its kind."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final

from lookkit.errors import InputError, expected_one_of
from lookkit.lutfile.clf import LARGEST_CLF, scan_clf
from lookkit.lutfile.csp import scan_csp
from lookkit.lutfile.cube_scan import scan_cube
from lookkit.lutfile.faults import Faults
from lookkit.lutfile.model import LutFile, accepted
from lookkit.lutfile.source import opened, read_source
from lookkit.lutfile.spi import scan_spi1d, scan_spi3d
from lookkit.lutfile.threedl import scan_3dl
from lookkit.lutfile.xmltree import parse

STRICT: Final[Mapping[str, Callable[[Path], LutFile]]] = MappingProxyType(
    {
        ".cube": scan_cube,
        ".clf": scan_clf,
        ".3dl": scan_3dl,
        ".csp": scan_csp,
        ".spi1d": scan_spi1d,
        ".spi3d": scan_spi3d,
    }
)
"""The endings that have a strict reader of ours."""
XML: Final = (".ctf", ".cc", ".ccc", ".cdl")
"""Of these only the XML is checked; OpenColorIO reads what it says."""
OTHERS: Final = (".spimtx", ".vf", ".lut", ".mga", ".m3d", ".cub", ".itx", ".look")
"""These only OpenColorIO reads."""


def scan_lut(path: str | os.PathLike[str]) -> LutFile:
    """Return what a LUT file holds and every fault found, by the reader of its ending.

    For .clf the check is strict, and for other XML it is that of XML; `stages` is empty for
    these and for the formats that only OpenColorIO reads.

    Raises
    ------
    InputError
        If the file cannot be read at all or its ending is unknown.
    """
    file = Path(path)
    ending = file.suffix.lower()
    if ending in STRICT:
        return STRICT[ending](file)
    if ending in XML:
        faults = Faults()
        root = parse(read_source(file, LARGEST_CLF), faults)
        summary = f"XML, {root.name}" if root else ""
        return LutFile(file, ending[1:], "", (), (), faults.sorted(), summary)
    if ending in OTHERS:
        faults = Faults()
        if not read_source(file, LARGEST_CLF).strip():
            faults.add(0, "empty", "an empty file", "a LUT")
        return LutFile(file, ending[1:], "", (), (), faults.sorted())
    with opened(file):
        pass
    known = (*STRICT, *XML, *OTHERS)
    raise InputError(
        f"{file}: no LUT format with the ending {ending!r}: {expected_one_of(ending, known)}"
    )


def read_lut(path: str | os.PathLike[str]) -> LutFile:
    """Return what a LUT file holds, or refuse it with every fault that must be refused.

    Raises
    ------
    InputError
        If the file cannot be read at all or its ending is unknown.
    LutFileError
        With all the faults, each with its line.
    """
    return accepted(scan_lut(path))
