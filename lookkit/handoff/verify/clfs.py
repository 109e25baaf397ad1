"""Common LUT Format files: OpenColorIO against colour-clf-io, and both against the graph."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.handoff.verify.graph import Truths
from lookkit.handoff.verify.luts import Wanted, ask, compared
from lookkit.handoff.verify.report import Row
from lookkit.inspect.readers import LIBRARIES, ReaderName
from lookkit.lutfile.clf import scan_clf
from lookkit.spaces.working import Array

ARITHMETIC: Final = 2e-4
"""Difference of two readers of a CLF as a share of the value, or of 1 where that is less: the
float32 of OpenColorIO through logarithms and powers. The format's own conformance bound is ten
times as wide (Academy S-2014-006, implementation guide: .002)."""


def clf_rows(
    files: Mapping[str, Mapping[str, Any]],
    folder: Path,
    truths: Truths | None,
    readers: Sequence[ReaderName],
) -> Iterator[Row]:
    """Yield what lookkit's strict check, OpenColorIO, colour-clf-io and the graph make of files."""
    wanted = []
    for name in files:
        found = scan_clf(folder / name)
        if found.errors:
            first, more = found.errors[0].problem(name), len(found.errors) - 1
            rest = f" (and {more} more)" if more else ""
            yield Row(name, "lookkit", "faulty", f"{first}{rest}")
            continue
        pixels = _probe()
        wanted.append(Wanted(name, folder / name, pixels, pixels))
    read = []
    for one, answer in ask("ocio", wanted if "ocio" in readers else ()):
        library = answer.library or LIBRARIES["ocio"]
        if answer.result is None:
            yield Row(one.name, library, "refuses", answer.reason)
            continue
        read.append(Wanted(one.name, one.path, one.pixels, answer.result))
        yield Row(one.name, library, "reads", "")
    for one, answer in ask("clf-io", read if "clf-io" in readers else ()):
        yield compared("clf-io", one, answer, ARITHMETIC, "OpenColorIO")


def _probe() -> Array:
    """Return codes in and around 0-1, and light up to 7 stops over mid-grey with negatives."""
    rng = np.random.default_rng(4)
    light = 0.18 * 2.0 ** rng.uniform(-10.0, 7.0, (1000, 3))
    return np.concatenate([rng.random((2000, 3)), light, -0.05 * rng.random((200, 3))])
