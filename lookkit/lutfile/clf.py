"""A strict check of Common LUT Format files, every fault with its line.

The rules are those of Academy S-2014-006 (version 3) and SMPTE ST 2136-1. The file's
meaning is not worked out here: OpenColorIO, which implements the standard, does that.
"""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np

from lookkit.errors import expected_one_of
from lookkit.lutfile.faults import Faults, ascii_only, shown
from lookkit.lutfile.model import LutFile
from lookkit.lutfile.source import read_source
from lookkit.lutfile.xmltree import Element, parse

LARGEST_CLF: Final = 128 << 20
DEPTHS: Final = ("8i", "10i", "12i", "16i", "16f", "32f")
NODES: Final = ("LUT1D", "LUT3D", "Matrix", "Range", "Log", "Exponent", "ASC_CDL")
_DESCRIPTIVE: Final = ("Id", "Description", "InputDescriptor", "OutputDescriptor", "Info")
_STYLES: Final = {
    "Range": ("Clamp", "noClamp"),
    "Log": (
        "log10", "antiLog10", "log2", "antiLog2",
        "linToLog", "logToLin", "cameraLinToLog", "cameraLogToLin",
    ),
    "Exponent": (
        "basicFwd", "basicRev", "basicMirrorFwd", "basicMirrorRev",
        "basicPassThruFwd", "basicPassThruRev",
        "monCurveFwd", "monCurveRev", "monCurveMirrorFwd", "monCurveMirrorRev",
    ),
    "ASC_CDL": ("Fwd", "Rev", "FwdNoClamp", "RevNoClamp"),
}  # fmt: skip
_STYLE_NEEDED: Final = ("Log", "Exponent")
_INSIDE: Final = {
    "LUT1D": ("Array",),
    "LUT3D": ("Array",),
    "Matrix": ("Array",),
    "Range": ("minInValue", "maxInValue", "minOutValue", "maxOutValue"),
    "Log": ("LogParams",),
    "Exponent": ("ExponentParams",),
    "ASC_CDL": ("SOPNode", "SatNode"),
}
_INTERPOLATIONS: Final = {"LUT1D": ("linear",), "LUT3D": ("trilinear", "tetrahedral")}
_LOG_PARAMETERS: Final = (
    "base", "logSideSlope", "logSideOffset", "linSideSlope", "linSideOffset",
    "linSideBreak", "linearSlope", "channel",
)  # fmt: skip
_EXPONENT_PARAMETERS: Final = ("exponent", "offset", "channel")
_LARGEST_1D: Final = 65536
_LARGEST_3D: Final = 256
_NOT_NUMBERS: Final = re.compile(r"[^0-9eE+\-. \t\n]")
_NUMBER: Final = re.compile(
    r"[+-]?(?:[0-9]{1,100}(?:\.[0-9]{0,100})?|\.[0-9]{1,100})(?:[eE][+-]?[0-9]{1,9})?"
)


def scan_clf(path: Path) -> LutFile:
    """Return every fault found in a .clf file, and what it consists of in `summary`.

    Raises
    ------
    InputError
        If the file cannot be read at all.
    """
    faults = Faults()
    root = parse(read_source(path, LARGEST_CLF), faults)
    title, summary = "", ""
    comments: tuple[str, ...] = ()
    if root is not None:
        check = _Check(faults)
        check.root(root)
        title = root.attributes.get("name", "") or root.attributes.get("id", "")
        comments = tuple(" ".join(one.text.split()) for one in root.all("Description"))
        summary = ", ".join(check.parts)
    return LutFile(path, "clf", title, comments, (), faults.sorted(), summary)


class _Check:
    def __init__(self, faults: Faults) -> None:
        self.faults = faults
        self.parts: list[str] = []

    def root(self, root: Element) -> None:
        if root.name != "ProcessList":
            self.faults.add(root.line, "header", shown(root.name), "a ProcessList")
            return
        smpte = "smpte" in root.namespace
        if "compCLFversion" not in root.attributes and not smpte:
            self._add(root, "attribute-missing", "no compCLFversion", "the version of the format")
        if "id" not in root.attributes and root.first("Id") is None:
            self._add(root, "attribute-missing", "no id", "an id for the file", warning=True)
        nodes = []
        for child in root.children:
            if child.name in NODES:
                nodes.append(child)
                self._node(child)
            elif child.name not in _DESCRIPTIVE:
                self._unknown(child, (*_DESCRIPTIVE, *NODES))
        if not nodes:
            self._add(root, "empty", "no process node", "at least one")
        for before, after in pairwise(nodes):
            given, taken = before.attributes.get("outBitDepth"), after.attributes.get("inBitDepth")
            if given != taken and given in DEPTHS and taken in DEPTHS:
                self._add(
                    after,
                    "depth-mismatch",
                    f"inBitDepth {taken}",
                    f"{given}, which the node before gives",
                )

    def _node(self, node: Element) -> None:
        self.parts.append(node.name)
        for name in ("inBitDepth", "outBitDepth"):
            value = node.attributes.get(name)
            if value is None:
                self._add(node, "attribute-missing", f"no {name}", expected_one_of("", DEPTHS))
            elif value not in DEPTHS:
                self._add(
                    node,
                    "attribute-value",
                    f"{name} {shown(value)}",
                    expected_one_of(value, DEPTHS),
                )
        if node.name in _STYLES:
            self._style(node)
        if node.name in _INTERPOLATIONS:
            value = node.attributes.get("interpolation")
            known = _INTERPOLATIONS[node.name]
            if value is not None and value not in known:
                self._add(
                    node,
                    "attribute-value",
                    f"interpolation {shown(value)}",
                    expected_one_of(value, known),
                )
        inside = _INSIDE[node.name]
        for child in node.children:
            if child.name not in inside and child.name != "Description":
                self._unknown(child, (*inside, "Description"))
        if node.name in ("LUT1D", "LUT3D", "Matrix"):
            self._array(node)
        elif node.name == "Range":
            self._range(node)
        elif node.name == "ASC_CDL":
            self._cdl(node)
        else:
            self._parameters(node)

    def _style(self, node: Element) -> None:
        style, known = node.attributes.get("style"), _STYLES[node.name]
        if style is None and node.name in _STYLE_NEEDED:
            self._add(node, "attribute-missing", "no style", expected_one_of("", known))
        elif style is not None and style not in known:
            self._add(
                node, "attribute-value", f"style {shown(style)}", expected_one_of(style, known)
            )

    def _array(self, node: Element) -> None:
        arrays = list(node.all("Array"))
        if len(arrays) != 1:
            self._add(node, "element-count", f"{len(arrays)} Array elements", "one")
            return
        array = arrays[0]
        text = ascii_only(array.attributes.get("dim", ""))
        if not re.fullmatch(r"\s*[0-9]{1,9}(?:\s+[0-9]{1,9}){1,3}\s*", text):
            self._add(array, "dim", f"dim {shown(text)}", _dims(node.name))
            return
        dim = [int(token) for token in text.split()]
        if not _dim_fits(node.name, dim):
            self._add(array, "dim", f"dim {shown(text)}", _dims(node.name))
            return
        if node.name == "LUT3D":
            self.parts[-1] += f" of {dim[0]} points"
        elif node.name == "LUT1D":
            self.parts[-1] += f" of {dim[0]} rows"
            if node.attributes.get("halfDomain") == "true" and dim[0] != _LARGEST_1D:
                self._add(array, "dim", f"dim {shown(text)} with halfDomain", f"{_LARGEST_1D} rows")
        wanted = dim[0] * dim[1] if len(dim) < 4 else dim[0] ** 3 * 3
        found = self._numbers(array)
        if found != wanted:
            code = "missing-values" if found < wanted else "extra-values"
            self._add(array, code, f"{found} values", f"{wanted}, as dim {text.strip()} says")

    def _numbers(self, element: Element) -> int:
        """Check that a text is all numbers; return how many."""
        whole = ascii_only(element.text)
        if not _NOT_NUMBERS.search(whole):
            try:
                values = np.fromiter(map(float, whole.split()), dtype=np.float64)
            except ValueError:
                pass
            else:
                if np.isfinite(values).all():
                    return len(values)
        count = 0
        for line, text in enumerate(whole.split("\n"), element.text_line):
            for token in text.split():
                count += 1
                if not _NUMBER.fullmatch(token):
                    finite = not re.match(r"[+-]?(?:nan|inf)", token, re.IGNORECASE)
                    self.faults.add(
                        line,
                        "bad-number" if finite else "not-finite",
                        shown(token),
                        "a decimal number" if finite else "a finite number",
                        key=element.name,
                    )
                elif not np.isfinite(float(token)):
                    self.faults.add(
                        line,
                        "too-large",
                        shown(token),
                        "a number that fits a float",
                        key=element.name,
                    )
        return count

    def _values(self, element: Element, wanted: int) -> list[float]:
        found = self._numbers(element)
        if found != wanted:
            self._add(
                element,
                "row-length",
                f"{found} values, {shown(element.text.strip())}",
                f"{wanted} numbers" if wanted > 1 else "one number",
            )
        tokens = ascii_only(element.text).split()
        return [float(token) for token in tokens if _NUMBER.fullmatch(token)]

    def _range(self, node: Element) -> None:
        given = {}
        for name in _INSIDE["Range"]:
            for child in node.all(name):
                if values := self._values(child, 1):
                    given[name] = values[0]
        for end in ("min", "max"):
            pair = [f"{end}InValue" in given, f"{end}OutValue" in given]
            if any(pair) and not all(pair):
                self._add(node, "element-missing", f"one of {end}InValue and {end}OutValue", "both")
        if not given:
            self._add(node, "element-missing", "no limits", "minimum, maximum or both")
        for side in ("InValue", "OutValue"):
            low, high = given.get(f"min{side}"), given.get(f"max{side}")
            if low is not None and high is not None and not low < high:
                self._add(
                    node,
                    "domain-order",
                    f"min{side} {low:g}, max{side} {high:g}",
                    "the lowest below the highest",
                )

    def _cdl(self, node: Element) -> None:
        names = {"SOPNode": ("Slope", "Offset", "Power"), "SatNode": ("Saturation",)}
        for part, wanted in names.items():
            for group in node.all(part):
                for child in group.children:
                    if child.name not in (*wanted, "Description"):
                        self._unknown(child, wanted)
                for name in wanted:
                    found = group.first(name)
                    if found is None:
                        self._add(group, "element-missing", f"no {name}", name)
                        continue
                    values = self._values(found, 3 if part == "SOPNode" else 1)
                    low = {"Slope": 0.0, "Saturation": 0.0, "Power": 1e-30}.get(name)
                    if low is not None and any(value < low for value in values):
                        bound = "above 0" if name == "Power" else "0 or more"
                        self._add(found, "out-of-range", shown(found.text.strip()), bound)

    def _parameters(self, node: Element) -> None:
        inner = _INSIDE[node.name][0]
        known = _LOG_PARAMETERS if node.name == "Log" else _EXPONENT_PARAMETERS
        for child in node.all(inner):
            for name, value in child.attributes.items():
                if name not in known:
                    self._add(child, "unknown-attribute", shown(name), expected_one_of(name, known))
                elif name == "channel":
                    if value not in ("R", "G", "B"):
                        self._add(child, "attribute-value", f"channel {shown(value)}", "R, G or B")
                elif not _NUMBER.fullmatch(value.strip()):
                    self._add(child, "bad-number", f"{name} {shown(value)}", "a decimal number")
            if node.name == "Exponent" and "exponent" not in child.attributes:
                self._add(child, "attribute-missing", "no exponent", "a number")
        needs = node.name == "Exponent" or node.attributes.get("style", "").startswith("camera")
        if needs and node.first(inner) is None:
            self._add(node, "element-missing", f"no {inner}", inner)

    def _unknown(self, element: Element, known: tuple[str, ...]) -> None:
        self._add(
            element,
            "unknown-element",
            shown(element.name),
            expected_one_of(element.name, known),
            warning=True,
        )

    def _add(
        self, element: Element, code: str, found: str, expected: str, *, warning: bool = False
    ) -> None:
        self.faults.add(
            element.line,
            code,
            found,
            expected,
            key=element.name,
            level="warning" if warning else "error",
        )


def _dims(node: str) -> str:
    return {
        "LUT1D": f"dim 'N 3' or 'N 1', N from 2 to {_LARGEST_1D}",
        "LUT3D": f"dim 'N N N 3', three equal sizes from 2 to {_LARGEST_3D}",
        "Matrix": "dim '3 3' or '3 4'",
    }[node]


def _dim_fits(node: str, dim: list[int]) -> bool:
    if node == "LUT1D":
        return len(dim) == 2 and 2 <= dim[0] <= _LARGEST_1D and dim[1] in (1, 3)
    if node == "LUT3D":
        return len(dim) == 4 and 2 <= dim[0] <= _LARGEST_3D and dim[1:] == [dim[0], dim[0], 3]
    # Version 2 of the format wrote the number of rows once more.
    return dim in ([3, 3], [3, 4], [3, 3, 3], [3, 4, 3])
