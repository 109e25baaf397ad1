"""ASC CDL files: `.cc`, `.ccc` and `.cdl`, in the urn:ASC:CDL:v1.01 namespace.

The numbers are meant for ACEScct without clamps, as the node `cdl` applies them; the
description in each file says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np

from lookkit.errors import InputError, LookkitError
from lookkit.files import write_beside
from lookkit.nodes.cdl import Cdl, apply_cdl, undo_cdl
from lookkit.ocio import library, quiet
from lookkit.spaces.working import Array, OcioTransform

NAMESPACE = "urn:ASC:CDL:v1.01"


@dataclass(frozen=True)
class Correction:
    """One ASC CDL correction: an id, the ten numbers, and words for people."""

    id: str
    slope: tuple[float, float, float] = (1.0, 1.0, 1.0)
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    power: tuple[float, float, float] = (1.0, 1.0, 1.0)
    saturation: float = 1.0
    description: str = ""

    @property
    def numbers(self) -> tuple[float, ...]:
        """Slope, offset and power of R, G and B, and the saturation."""
        return (*self.slope, *self.offset, *self.power, self.saturation)

    @classmethod
    def of(cls, node: Cdl, id: str, description: str = "") -> Correction:
        """Return a `cdl` node's numbers as a correction."""
        return cls(id, node.slope, node.offset, node.power, node.saturation, description)

    def transform(self) -> OcioTransform:
        """Return the no-clamp CDL of OpenColorIO, for ACEScct codes."""
        return library().CDLTransform(
            slope=[*self.slope], offset=[*self.offset], power=[*self.power], sat=self.saturation
        )

    def apply(self, code: Array) -> Array:
        """Return the no-clamp CDL of ACEScct `code`, shape (..., 3)."""
        return apply_cdl(
            code, np.array(self.slope), np.array(self.offset), np.array(self.power), self.saturation
        )

    def undo(self, code: Array) -> Array:
        """Return the code that `apply` made `code` of, shape (..., 3)."""
        return undo_cdl(
            code, np.array(self.slope), np.array(self.offset), np.array(self.power), self.saturation
        )


def read_cc(path: Path) -> Correction:
    """Return the correction of a .cc, as OpenColorIO reads it.

    Raises
    ------
    InputError
        If it is not there, or OpenColorIO refuses it.
    """
    ocio = library()
    # Another file may have had this path before.
    ocio.ClearAllCaches()
    try:
        with quiet():
            found = ocio.CDLTransform.CreateFromFile(str(path), "")
    except (ocio.Exception, ocio.ExceptionMissingFile) as error:
        raise InputError(f"{path.name}: no CDL that OpenColorIO reads") from error
    slope, offset, power = (
        (float(r), float(g), float(b))
        for r, g, b in (found.getSlope(), found.getOffset(), found.getPower())
    )
    return Correction(found.getID(), slope, offset, power, float(found.getSat()))


def write_cdl(corrections: Sequence[Correction], path: Path) -> None:
    """Write corrections; the extension of `path` decides: .cc (one), .ccc or .cdl (several).

    Raises
    ------
    LookkitError
        If the extension is another, or a .cc is to hold other than one correction.
    """
    text = cdl_text(corrections, path)
    with write_beside(path) as beside:
        beside.write_text(text, encoding="utf-8")


def cdl_text(corrections: Sequence[Correction], path: Path) -> str:
    """Return the text that `write_cdl` writes."""
    if path.suffix == ".cc":
        if len(corrections) != 1:
            raise LookkitError(f"{path}: a .cc holds one correction, found {len(corrections)}")
        root = _correction(corrections[0])
    elif path.suffix == ".ccc":
        root = ET.Element("ColorCorrectionCollection")
        root.extend(_correction(one) for one in corrections)
    elif path.suffix == ".cdl":
        root = ET.Element("ColorDecisionList")
        for one in corrections:
            ET.SubElement(root, "ColorDecision").append(_correction(one))
    else:
        raise LookkitError(f"{path}: expected .cc, .ccc or .cdl")
    root.set("xmlns", NAMESPACE)
    ET.indent(root)
    text = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def _correction(one: Correction) -> ET.Element:
    element = ET.Element("ColorCorrection", id=one.id)
    if one.description:
        ET.SubElement(element, "Description").text = one.description
    sop = ET.SubElement(element, "SOPNode")
    for name, values in (("Slope", one.slope), ("Offset", one.offset), ("Power", one.power)):
        ET.SubElement(sop, name).text = " ".join(f"{value:.7g}" for value in values)
    sat = ET.SubElement(element, "SatNode")
    ET.SubElement(sat, "Saturation").text = f"{one.saturation:.7g}"
    return element
