"""Writing Common LUT Format files: OpenColorIO writes the operations, this writes their head.

Academy S-2014-006 version 3 names the format by one XML namespace, SMPTE ST 2136-1 by another;
the operations are the same. The Academy has the id as an attribute of the root, ST 2136-1 as an
element; a file in the latter's namespace carries both, for either kind of reader. Everything reads
the Academy's form.

Numbers are written as short as they are: OpenColorIO pads them to a column, and parsers refuse
text of ten megabytes in one element.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final, Literal
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from lookkit.errors import LookkitError
from lookkit.files import write_beside
from lookkit.lutfile.xmltree import printable
from lookkit.ocio import library
from lookkit.spaces.working import OcioTransform

ClfNamespace = Literal["smpte", "academy"]

NAMESPACES: Final[Mapping[ClfNamespace, tuple[str, str]]] = {
    "smpte": ("http://www.smpte-ra.org/ns/2136-1/2024", "3"),
    "academy": ("urn:AMPAS:CLF:v3.0", "3.0"),
}
"""The XML namespace of each form, and its `compCLFversion`."""

_FORMAT: Final = "Academy/ASC Common LUT Format"
_ROOT: Final = re.compile(r"\A.*?<ProcessList [^>]*>\n", re.DOTALL)
_ARRAY: Final = re.compile(r"(<Array [^>]*>)([^<]*)( *</Array>)")
_WHOLE: Final = re.compile(r"\.0(?= |$)", re.MULTILINE)
_LEADING: Final = re.compile(r"(?<![0-9.])0\.")
_MATRIX: Final = 12
"""Numbers in the largest matrix."""
_FIRST_NODE: Final = re.compile(r"^    <(?!Description|Info|InputDesc|OutputDesc)", re.MULTILINE)


@dataclass(frozen=True)
class ClfHead:
    """What a file says of itself.

    Attributes
    ----------
    name
        A short title.
    takes, gives
        What goes in and comes out: `InputDescriptor` and `OutputDescriptor`.
    description
        Lines for people, each one a `Description`.
    info
        Elements of `Info`, name to text; names must be XML names.
    """

    name: str
    takes: str
    gives: str
    description: Sequence[str] = ()
    info: Mapping[str, str] = field(default_factory=dict)

    def saying(self, *lines: str) -> ClfHead:
        """Return the same head with more lines for people."""
        return replace(self, description=(*self.description, *lines))


class Clf:
    """The operations of a file, as text that a head is put before.

    Parameters
    ----------
    transforms
        Operations that the format can say, with no file among them.

    Raises
    ------
    LookkitError
        If there is one that it cannot say.
    """

    def __init__(self, transforms: Sequence[OcioTransform]) -> None:
        ocio = library()
        group = ocio.GroupTransform()
        for transform in transforms or [ocio.MatrixTransform()]:
            group.appendTransform(transform)
        try:
            text = group.write(formatName=_FORMAT, config=ocio.Config.CreateRaw())
        except ocio.Exception as error:
            raise LookkitError(f"no Common LUT Format file can say it ({error})") from error
        body, found = _ROOT.subn("", text, count=1)
        start = _FIRST_NODE.search(body)
        if not found or start is None:
            raise LookkitError("OpenColorIO wrote a CLF in a form that is not known here")
        self._body = _ARRAY.sub(_short, body[start.start() :])

    def text(self, head: ClfHead, namespace: ClfNamespace = "academy") -> str:
        """Return the whole file; its id follows from its content alone."""
        where, version = NAMESPACES[namespace]
        lines = [f"    <Description>{_clean(line)}</Description>" for line in head.description]
        lines.append(f"    <InputDescriptor>{_clean(head.takes)}</InputDescriptor>")
        lines.append(f"    <OutputDescriptor>{_clean(head.gives)}</OutputDescriptor>")
        if head.info:
            inside = [f"        <{key}>{_clean(text)}</{key}>" for key, text in head.info.items()]
            lines += ["    <Info>", *inside, "    </Info>"]
        rest = "\n".join(lines) + "\n" + self._body
        id = f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, f'{where} {head.name} {rest}')}"
        name = quoteattr(printable(head.name))
        root = f'<ProcessList compCLFversion="{version}" xmlns="{where}" id="{id}" name={name}>'
        element = f"    <Id>{id}</Id>\n" if namespace == "smpte" else ""
        return f'<?xml version="1.0" encoding="UTF-8"?>\n{root}\n{element}{rest}'

    def write(self, path: Path, head: ClfHead, namespace: ClfNamespace = "academy") -> None:
        """Write the file: UTF-8, lines ending in LF.

        Raises
        ------
        InputError, LookkitError
            As `files.write_beside`.
        """
        with write_beside(path) as beside:
            beside.write_bytes(self.text(head, namespace).encode())


def _short(array: re.Match[str]) -> str:
    """Return an Array with the shortest numbers that are the same in 32-bit floats.

    A matrix keeps all its digits.
    """
    head, numbers, end = array[1], array[2], array[3]
    columns = int(head.split('dim="')[1].split('"')[0].split()[-1])
    if 'dim="3 ' in head and columns in (3, 4) and len(numbers.split()) <= _MATRIX:
        rows = [" ".join(line.split()) for line in numbers.strip().splitlines()]
    else:
        # Libraries change how numpy prints; numbers in files must not follow them.
        with np.printoptions(legacy=False, formatter=None, floatmode="maxprec", precision=8):
            written = np.array(numbers.split(), dtype=np.float32).astype("U").reshape(-1, columns)
        text = "\n".join(map(" ".join, written.tolist()))
        text = _WHOLE.sub("", text)
        rows = _LEADING.sub(".", text).split("\n")
    return f"{head}\n" + "\n".join(rows) + f"\n{end}"


def _clean(text: str) -> str:
    """Return text for XML: escaped, and what XML 1.0 cannot carry as `?`."""
    return escape(printable(text))
