"""Common LUT Format files: OpenColorIO against colour-clf-io, and both against the graph."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.accuracy.truth import Exact
from lookkit.deliver import aces, acescct
from lookkit.deliver.agreement import FLOOR, agreement, as_opencolorio_reads
from lookkit.errors import InputError
from lookkit.handoff.verify.graph import Declared, Truths
from lookkit.handoff.verify.listing import figure
from lookkit.handoff.verify.luts import (
    CERTIFIED,
    PICTURES,
    ROUNDED,
    Wanted,
    ask,
    compared,
    stated_figures,
)
from lookkit.handoff.verify.report import Row, Verdict
from lookkit.inspect.reader_process import plain_reason
from lookkit.inspect.readers import LIBRARIES, ReaderName
from lookkit.lutfile.clf import scan_clf
from lookkit.ocio import Processor, library
from lookkit.spaces.working import AP0_TO_AP1, AP1_TO_AP0, Array

ARITHMETIC: Final = 2e-4
"""Difference of two readers of a CLF for 99.9 % of pixels, as a share of a pixel's largest channel
or of 1 where that is less: the float32 of OpenColorIO through logarithms and powers."""
GUIDE: Final = 0.002
"""The same for all pixels: the bound of the format's own conformance (Academy S-2014-006,
implementation guide), reached where a lattice is steep in light that no scene has."""
CODES: Final = 0.02
"""Ten-bit codes by which a certified figure may be off, in the same way."""
SHARE: Final = 1e-5
"""Share of a value by which a certified figure may be off besides a twentieth of itself: what
single-precision arithmetic of another processor makes of it."""


def clf_rows(
    files: Mapping[str, Mapping[str, Any]],
    folder: Path,
    truths: Truths | None,
    readers: Sequence[ReaderName],
) -> Iterator[Row]:
    """Yield what lookkit's strict check, OpenColorIO, colour-clf-io and the graph make of files."""
    wanted = []
    for name, entry in files.items():
        found = scan_clf(folder / name)
        if found.errors:
            first, more = found.errors[0].problem(name), len(found.errors) - 1
            rest = f" (and {more} more)" if more else ""
            yield Row(name, "lookkit", "faulty", f"{first}{rest}")
            continue
        declared = None
        if truths is not None and entry.get("part") == "lmt":
            yield _look_transform(name, entry, folder / name, truths)
        elif truths is not None:
            try:
                declared = truths.declared(entry)
            except InputError as error:
                yield Row(name, "graph", "faulty", str(error))
            else:
                if declared is not None:
                    yield _against_graph(name, entry, folder / name, declared, same=truths.same)
        pixels = _probe(declared)
        wanted.append(Wanted(name, folder / name, pixels, pixels))
    read = []
    for one, answer in ask("ocio", wanted if "ocio" in readers else ()):
        library = answer.library or LIBRARIES["ocio"]
        if answer.result is None:
            yield Row(one.name, library, "refuses", answer.reason)
            continue
        read.append(Wanted(one.name, one.path, one.pixels, answer.result))
        yield Row(one.name, library, "reads", "the others here are compared with this reading")
    for one, answer in ask("clf-io", read if "clf-io" in readers else ()):
        yield compared("clf-io", one, answer, GUIDE, "OpenColorIO", ARITHMETIC)


def _probe(declared: Declared | None) -> Array:
    """Return what a file may be given, (n, 3).

    That is what its part declares, and any codes; else codes, and light up to 7 stops over
    mid-grey with negatives.
    """
    rng = np.random.default_rng(4)
    codes = rng.random((2000, 3))
    if declared is not None:
        return np.concatenate([codes, *(one[::16] for one in declared.colours().values())])
    light = 0.18 * 2.0 ** rng.uniform(-10.0, 7.0, (1000, 3))
    return np.concatenate([codes, light, -0.05 * rng.random((200, 3))])


def _against_graph(
    name: str, entry: Mapping[str, Any], path: Path, declared: Declared, *, same: bool
) -> Row:
    """Measure a file, as OpenColorIO reads it, against the part of the graph that it declares."""
    try:
        read = as_opencolorio_reads(path)
    except (library().Exception, UnicodeDecodeError) as error:
        return Row(name, "graph", "refuses", plain_reason(error, path))
    stated = entry.get("figures")
    if stated is None:
        return _as_lowered(name, declared, read)
    measured = agreement(read, declared).figures()
    return certified(name, measured, stated, same=same)


def _look_transform(name: str, entry: Mapping[str, Any], path: Path, truths: Truths) -> Row:
    """Measure a look modification transform in the form that its name says.

    Its figures are those of the .cube beside it: it must be as near to the graph, or nearer.
    """
    cube = path.with_name(f"{path.stem.rpartition('_')[0]}_{acescct.SPACE}_{aces.SIZE}.cube.json")
    if "figures" in entry and not cube.is_file():
        return Row(name, "graph", "faulty", f"no accuracy report {cube.name} beside it")
    stated = stated_figures(entry, cube, same=truths.same)
    if isinstance(stated, str):
        return Row(name, "graph", "faulty", stated)
    if "tetrahedral" not in stated:
        return Row(name, "graph", "reads", "no accuracy report to hold it against")
    wanted = stated["tetrahedral"][PICTURES]
    try:
        judged = truths.judged(entry)
        assert judged is not None
        read = as_opencolorio_reads(path)
    except InputError as error:
        return Row(name, "graph", "faulty", str(error))
    except (library().Exception, UnicodeDecodeError) as error:
        return Row(name, "graph", "refuses", plain_reason(error, path))
    pictures = judged.audited["image-like"]
    if path.stem.endswith("ACEScct"):
        out = read(pictures.code)
    else:
        light = acescct.decode(pictures.code) @ AP1_TO_AP0.T
        out = acescct.encode(read(light) @ AP0_TO_AP1.T)
    found = float(np.quantile(pictures.delta_e_2000(out), 0.999))
    text = f"Delta E 2000 of pictures 99.9 % {found:.2f}, certified {wanted:.2f} at most"
    verdict: Verdict = "agrees" if found <= wanted + CERTIFIED else "misreads"
    return Row(name, "graph", verdict, text, found, wanted + CERTIFIED)


def certified(name: str, measured: Mapping[str, float], stated: Any, *, same: bool = False) -> Row:
    """Compare figures that were measured again with those of the manifest.

    Parameters
    ----------
    same
        Whether they were certified by the same arithmetic: then they have the same three digits.
    """
    try:
        wanted = {key: figure(stated[key]) for key in measured}
    except (KeyError, TypeError, ValueError):
        return Row(name, "graph", "faulty", "its figures in the manifest cannot be read")
    for key, value in measured.items():
        share, least = (0.0, CERTIFIED)
        if key.startswith("relative"):
            share, least = 0.05, SHARE
        elif key.startswith("codes"):
            share, least = 0.05, CODES
        if same:
            share, least = 0.01, min(least, ROUNDED)
        within = share * wanted[key] + least
        if not abs(value - wanted[key]) <= within:
            text = f"{key} is {value:.3g}, certified {wanted[key]:.3g}"
            return Row(name, "graph", "misreads", text, abs(value - wanted[key]), within)
    if "image-like 99.9 %" in measured:
        seen = f"Delta E 2000 of pictures 99.9 % {measured['image-like 99.9 %']:.2g}"
    else:
        seen = f"99.9 % of values are off by at most a share of {measured['relative 99.9 %']:.1e}"
    return Row(name, "graph", "agrees", f"{seen}, as certified")


def _as_lowered(name: str, declared: Declared, read: Exact) -> Row:
    """Compare a file without a certificate with the same operations as lookkit makes them."""
    own = Processor(declared.transforms()).apply_exact
    codes = np.concatenate([one[::16] for one in declared.colours().values()])
    aim = own(codes)
    share = np.abs(read(codes) - aim) / np.maximum(np.abs(aim), FLOOR)
    found = float(np.quantile(share, 0.999))
    if found <= ARITHMETIC:
        text = (
            f"no accuracy report; lookkit's operations within {ARITHMETIC:.0e} (found {found:.1e})"
        )
        return Row(name, "graph", "agrees", text, found, ARITHMETIC)
    text = f"not lookkit's operations: 99.9 % of values are off by a share of up to {found:.2g}"
    return Row(name, "graph", "misreads", text, found, ARITHMETIC)
