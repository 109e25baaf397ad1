"""A LUT file as a function, by our own reader or by OpenColorIO where we have none."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np

from lookkit.errors import InputError, LutFileError
from lookkit.inspect.function import Function, function_of, through_ocio
from lookkit.inspect.reader_process import line_in
from lookkit.inspect.readers import readings
from lookkit.lutfile.faults import Fault
from lookkit.lutfile.model import LutFile
from lookkit.lutfile.read import scan_lut


def open_lut(path: str | os.PathLike[str]) -> tuple[LutFile, Function | None]:
    """Return a file with all its faults, and what it does as far as that can be told.

    OpenColorIO reads what has no reader of ours; it is tried in a process of its own first,
    and its complaint becomes a fault.

    Raises
    ------
    InputError
        If the file cannot be read at all or its ending is unknown.
    """
    file = scan_lut(path)
    function = function_of(file)
    if function is not None or file.errors:
        return file, function
    probe = np.zeros((1, 3))
    (tried,) = readings(file.path, probe, probe, False, ("ocio",))
    reason = tried.reason
    if tried.verdict != "refuses":
        try:
            return file, through_ocio(file.path)
        except InputError as error:
            reason = str(error)
    fault = Fault(line_in(reason), "refused", "error", "", f"OpenColorIO: {reason}", "a sound file")
    return replace(file, faults=(*file.faults, fault)), None


def function_in(path: str | os.PathLike[str]) -> Function:
    """Return what a sound file does.

    Raises
    ------
    InputError
        If the file cannot be read at all or its ending is unknown.
    LutFileError
        If it has faults that must be refused, with all of them.
    """
    file, function = open_lut(path)
    if file.errors or function is None:
        raise LutFileError([fault.problem(str(file.path)) for fault in file.errors])
    return function
