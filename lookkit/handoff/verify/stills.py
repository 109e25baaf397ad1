"""Lattice pictures for photographs: FFmpeg's haldclut against our reading, and the graph."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.accuracy.interpolate import interpolate
from lookkit.deliver.stills import FOLDER, read_picture
from lookkit.errors import InputError, LookkitError
from lookkit.handoff.verify.graph import Truths
from lookkit.handoff.verify.luts import Wanted, ask, compared, judged_lattice, stated_figures
from lookkit.handoff.verify.report import Row
from lookkit.inspect.readers import ReaderName

STEP: Final = 1.0 / 65535.0
"""The integer step of a picture of 16 bits."""


def still_rows(
    files: Mapping[str, Mapping[str, Any]],
    folder: Path,
    truths: Truths | None,
    readers: Sequence[ReaderName],
) -> Iterator[Row]:
    """Yield what lookkit, the graph and FFmpeg make of the lattice pictures."""
    rng = np.random.default_rng(3)
    pixels = np.rint(rng.random((3000, 3)) / STEP) * STEP
    wanted = []
    for name, entry in files.items():
        if not name.startswith(f"{FOLDER}/"):
            continue
        try:
            lattice = read_picture(folder / name)
        except LookkitError as error:
            yield Row(name, "OpenImageIO", "refuses", str(error))
            continue
        ours = interpolate(lattice, pixels, "tetrahedral")
        wanted.append(Wanted(name, folder / name, pixels, ours))
        if truths is None:
            continue
        try:
            judged = truths.judged(entry)
        except InputError as error:
            yield Row(name, "graph", "faulty", str(error))
            continue
        if judged is None:
            text = f"what a {entry.get('part')!r} must be is not known here"
            yield Row(name, "graph", "reads", text)
            continue
        stated = stated_figures(entry, folder / f"{name}.json", same=truths.same)
        yield judged_lattice(name, lattice, judged, stated, truths, STEP)
    for one, answer in ask("haldclut", wanted if "haldclut" in readers else ()):
        # The result is rounded to the step, from a lattice that was.
        yield compared("haldclut", one, answer, 1.5 * STEP)
