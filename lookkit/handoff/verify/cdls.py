"""ASC CDL files: OpenColorIO against lxml, the published schema, and the figures they state."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.deliver.cdl import NAMESPACE, Correction, cdl_text, read_cc
from lookkit.deliver.cdl_residual import (
    FOLDER,
    described,
    difference,
    figures_told,
    pictures,
    viewing_light,
)
from lookkit.errors import InputError
from lookkit.handoff.verify.graph import Truths
from lookkit.handoff.verify.listing import figure
from lookkit.handoff.verify.luts import CERTIFIED
from lookkit.handoff.verify.report import Row
from lookkit.handoff.verify.schemas import schema_row
from lookkit.lutfile.faults import Faults
from lookkit.lutfile.source import read_source
from lookkit.lutfile.xmltree import Element, parse
from lookkit.ocio import library, quiet

SCHEMA: Final = "ASC-CDL_schema_v1.01.xsd"
NUMBERS: Final = 1e-6
"""Difference of a number as OpenColorIO and an XML parser read it: seven written digits."""
_LARGEST: Final = 16 << 20


def cdl_rows(
    files: Mapping[str, Mapping[str, Any]],
    folder: Path,
    truths: Truths | None,
    schemas: Path | None,
) -> Iterator[Row]:
    """Yield what OpenColorIO, lxml and the graph make of CDL files."""
    for name, entry in files.items():
        path = folder / name
        faults = Faults()
        root = parse(read_source(path, _LARGEST), faults)
        if root is None:
            yield Row(name, "lookkit", "faulty", str(faults.sorted()[0].problem(name)))
            continue
        yield schema_row(name, path, schemas, SCHEMA)
        try:
            corrections = list(_corrections(root))
        except (ValueError, KeyError) as error:
            yield Row(name, "lookkit", "faulty", f"no CDL: {error}")
            continue
        row = _as_opencolorio(name, path, corrections)
        yield row
        if row.bad or truths is None:
            continue
        if truths.same and path.read_text(encoding="utf-8") != cdl_text(corrections, path):
            yield Row(name, "lookkit", "faulty", "is not as lookkit writes what it says")
        if path.suffix == ".cc" and str(entry.get("part")).startswith("cdl-"):
            yield _figures(name, entry, corrections[0], truths)
        elif path.suffix != ".cc":
            yield _collected(name, corrections, folder, same=truths.same)


def _corrections(root: Element) -> Iterator[Correction]:
    """Yield the corrections of a file, read from its elements alone."""
    if root.namespace != NAMESPACE:
        raise ValueError(f"namespace {root.namespace!r}, expected {NAMESPACE!r}")
    waiting = [root]
    while waiting:
        element = waiting.pop(0)
        if element.name == "ColorCorrection":
            yield _correction(element)
        waiting += element.children


def _correction(element: Element) -> Correction:
    sop, sat = element.first("SOPNode"), element.first("SatNode")
    values = {}
    for name, default in (("Slope", 1.0), ("Offset", 0.0), ("Power", 1.0)):
        found = None if sop is None else sop.first(name)
        numbers = [default] * 3 if found is None else [float(part) for part in found.text.split()]
        r, g, b = numbers
        values[name] = (r, g, b)
    saturation = None if sat is None else sat.first("Saturation")
    words = element.first("Description")
    made = Correction(
        element.attributes["id"],
        values["Slope"],
        values["Offset"],
        values["Power"],
        1.0 if saturation is None else float(saturation.text),
        "" if words is None else words.text,
    )
    if not np.isfinite(made.numbers).all():
        raise ValueError("a number that is not finite")
    return made


def _as_opencolorio(name: str, path: Path, corrections: list[Correction]) -> Row:
    reader = f"OpenColorIO {library().GetVersion()}"
    worst = 0.0
    for one in corrections:
        try:
            with quiet() as ocio:
                ocio.ClearAllCaches()
                found = ocio.CDLTransform.CreateFromFile(str(path), one.id)
        except (ocio.Exception, ocio.ExceptionMissingFile) as error:
            return Row(name, reader, "refuses", f"{one.id}: {error}")
        slope, offset, power = found.getSlope(), found.getOffset(), found.getPower()
        theirs = np.array([*slope, *offset, *power, found.getSat()])
        worst = max(worst, float(np.abs(theirs - np.array(one.numbers)).max()))
    if worst > NUMBERS:
        text = f"numbers differ from the XML's by up to {worst:.2g}"
        return Row(name, reader, "misreads", text, worst, NUMBERS)
    text = f"{len(corrections)} corrections, numbers within {NUMBERS:.0e} of the XML's"
    return Row(name, reader, "agrees", text, worst, NUMBERS)


def _figures(name: str, entry: Mapping[str, Any], one: Correction, truths: Truths) -> Row:
    try:
        change = truths.change(entry)
        stated = (
            figure(entry["figures"]["CDL alone mean"]),
            figure(entry["figures"]["CDL alone 99 %"]),
        )
    except InputError as error:
        return Row(name, "graph", "faulty", str(error))
    except (KeyError, TypeError, ValueError):
        return Row(name, "graph", "faulty", "its figures in the manifest cannot be read")
    code, aim = pictures(change)
    found = difference(viewing_light(truths.look, change), aim, one.apply(code))
    told = described(change, figures_told(truths.look, entry["figures"]))
    if truths.same and one.description != told:
        return Row(
            name, "graph", "faulty", f"says other than its recipe and figures: expected {told!r}"
        )
    apart = max(abs(found.mean - stated[0]), abs(found.p99 - stated[1]))
    if not apart <= CERTIFIED:
        text = (
            f"alone it is Delta E 2000 {found} from the look, certified {stated[0]} / {stated[1]}"
        )
        return Row(name, "graph", "misreads", text, apart, CERTIFIED)
    text = f"alone: Delta E 2000 {found}, as certified within {CERTIFIED:g}"
    return Row(name, "graph", "agrees", text, apart, CERTIFIED)


def _collected(name: str, corrections: list[Correction], folder: Path, *, same: bool) -> Row:
    """Say whether a collection holds the corrections of the single files beside it."""
    for one in corrections:
        path = folder / FOLDER / f"{one.id}.cc"
        try:
            single = read_cc(path)
        except InputError:
            return Row(name, "links", "faulty", f"holds {one.id[:80]!r}: no such .cc file")
        if np.abs(np.subtract(single.numbers, one.numbers)).max() > NUMBERS:
            return Row(name, "links", "misreads", f"{one.id} is not that of {path.name}")
        if same and cdl_text([one], path) != path.read_text(encoding="utf-8"):
            return Row(name, "links", "misreads", f"{one.id} has other words than {path.name}")
    return Row(name, "links", "agrees", f"the {len(corrections)} corrections of the .cc files")
