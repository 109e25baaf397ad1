"""Writing a clean .cube of a LUT that is faulty, where that loses nothing."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from lookkit.errors import InputError, LookkitError, LutFileError
from lookkit.lutfile.cube import WRITTEN_SIZES_3D, Domain, read_cube, write_cube, write_cube_1d
from lookkit.lutfile.faults import Fault
from lookkit.lutfile.model import Curve, Lattice, LutFile, Stage

HARMLESS: Final = {
    "bom": "byte order mark dropped",
    "utf-16": "text made ASCII",
    "not-ascii": "letters made ASCII",
    "line-ends-cr": "lines end in LF",
    "line-ends-crlf": "lines end in LF",
    "line-ends-mixed": "lines end in LF",
    "no-final-newline": "last line ended",
    "indented-keyword": "blanks before the keyword dropped",
    "title-quotes": "title put in quotes",
    "range-keyword": "range stated by DOMAIN_MIN and DOMAIN_MAX, or left out where it is 0-1",
    "inline-comment": "comment put on a line of its own",
    "comma-decimal": "decimal commas made points",
    "comma-separated": "commas between values made blanks",
    "keyword-case": "keyword put in capitals",
    "keyword-after-data": "keyword put before the rows",
    "duplicate-keyword": "repetition dropped",
    "unknown-keyword": "unknown keyword kept as a comment",
    "size-number": "size written as one whole number",
    "control-character": "control characters dropped",
    "stray-text": "stray text kept as a comment",
    "positions-missing": "positions taken as evenly spaced",
}
"""Faults that leave no doubt about any number, and what is done about them."""

_EXACT: Final = 1e-13
_MOST_DECIMALS: Final = 15


@dataclass(frozen=True)
class Repair:
    """A clean file, and every change that it took."""

    path: Path
    changes: tuple[str, ...]


def repair(file: LutFile, target: Path) -> Repair:
    """Write `file` as a clean .cube, if that loses nothing, and say what was changed.

    Anything that is one 3D lattice or one evenly spaced curve can be written; the result is
    read back and must hold the same numbers.

    Raises
    ------
    InputError
        If a fault leaves a number in doubt (LutFileError with those faults), the file is
        more than a plain .cube can hold, or `target` exists or is no .cube.
    LookkitError
        If the disk fails.
    """
    if target.suffix.lower() != ".cube":
        raise InputError(f"{target}: ends in {target.suffix!r}, a repaired LUT is a .cube")
    if target.exists():
        raise InputError(f"{target}: exists already, and is left as it is; name another file")
    doubtful = [fault for fault in file.faults if not _harmless(fault)]
    stage, dropped = _only_stage(file)
    if dropped:
        doubtful = [fault for fault in doubtful if fault.code != "two-luts"]
    if not file.stages:
        doubtful = doubtful or list(file.errors)
    if doubtful:
        raise LutFileError([fault.problem(str(file.path)) for fault in doubtful])
    if stage is None:
        raise InputError(f"{file.path}: {_why_not(file)}; nothing was written")
    values = stage.table if isinstance(stage, Curve) else stage.values
    if isinstance(stage, Lattice) and stage.size > WRITTEN_SIZES_3D[1]:
        raise InputError(
            f"{file.path}: {stage.size} points an edge, a .cube that every reader takes has "
            f"at most {WRITTEN_SIZES_3D[1]}; nothing was written"
        )
    decimals = next(
        (
            count
            for count in range(8, _MOST_DECIMALS)
            if np.abs(np.round(values, count) - values).max() <= _EXACT
        ),
        _MOST_DECIMALS,
    )
    domain = _domain(stage)
    write = write_cube_1d if isinstance(stage, Curve) else write_cube
    write(
        target,
        values,
        title=file.title,
        comments=file.comments,
        decimals=decimals,
        domain=domain,
    )
    _check(target, values, decimals)
    return Repair(target, (*_changes(file), *dropped, *_domain_change(file, domain)))


def _harmless(fault: Fault) -> bool:
    return fault.level == "warning" or fault.code in HARMLESS


def _changes(file: LutFile) -> list[str]:
    told: dict[str, str] = {}
    for fault in file.faults:
        change = HARMLESS.get(fault.code, "")
        if change and fault.code not in told:
            same = [one for one in file.faults if one.code == fault.code]
            count = len(same) + sum(one.more for one in same)
            also = f" and {count - 1} more" if count > 1 else ""
            told[fault.code] = f"line {fault.line}{also}: {change}" if fault.line else change
    if file.format != "cube":
        told["format"] = f"the .{file.format} written as a .cube"
    return list(told.values())


def _only_stage(file: LutFile) -> tuple[Curve | Lattice | None, list[str]]:
    """Return the one lattice or curve, and what was dropped because it does nothing."""
    real = [stage for stage in file.stages if not _does_nothing(stage)]
    kept = real or list(file.stages[-1:])
    if len(kept) != 1 or not isinstance(kept[0], Curve | Lattice):
        return None, []
    dropped = len(file.stages) - 1
    return kept[0], ["a curve that changes nothing left out"] * dropped


def _does_nothing(stage: Stage) -> bool:
    if isinstance(stage, Lattice):
        return False
    if isinstance(stage, Curve):
        inputs = np.linspace(stage.low, stage.high, len(stage.table))
        whole = not stage.low.any() and (stage.high == 1).all()
        return whole and bool(np.abs(stage.table - inputs).max() < _EXACT)
    pairs = zip(stage.inputs, stage.outputs, strict=True)
    return all(
        np.array_equal(inputs, outputs) and inputs[0] == 0 and inputs[-1] == 1
        for inputs, outputs in pairs
    )


def _why_not(file: LutFile) -> str:
    if not file.stages:
        return f"its .{file.format} content is read by other libraries alone"
    return "it is a chain of curves and a 3D LUT, which a plain .cube cannot hold (a CLF can)"


def _domain(stage: Curve | Lattice) -> Domain | None:
    if not stage.low.any() and (stage.high == 1).all():
        return None
    low, high = stage.low.tolist(), stage.high.tolist()
    return (low[0], low[1], low[2]), (high[0], high[1], high[2])


def _domain_change(file: LutFile, domain: Domain | None) -> list[str]:
    if domain is None or file.format != "cube":
        return []
    return ["the domain stated behind the size, where more readers look for it"]


def _check(target: Path, values: np.ndarray, decimals: int) -> None:
    again = read_cube(target).stages[0]
    found = again.table if isinstance(again, Curve) else getattr(again, "values", None)
    if found is None or np.abs(found - values).max() > 0.5 * 10.0**-decimals + _EXACT:
        target.unlink(missing_ok=True)
        raise LookkitError(f"{target}: the written file does not hold the same numbers")
