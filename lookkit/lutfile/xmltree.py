"""XML as a small tree with line numbers: no document types, no entities, bounded depth.

Only what a LUT or a colour decision needs is read; whatever could make a parser fetch,
expand or recurse is refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final
from xml.parsers import expat

from lookkit.lutfile.faults import Faults

DEEPEST: Final = 24
MOST_ELEMENTS: Final = 20_000
_BUFFER: Final = 1 << 20
_SEPARATOR: Final = " "
_NO_XML: Final = re.compile(r"[^\t\n\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass
class Element:
    """One element.

    Attributes
    ----------
    name
        Without its namespace.
    line, text_line
        Where the element starts, and where its own text starts.
    text
        Its own text, without that of its children.
    """

    name: str
    namespace: str
    attributes: dict[str, str]
    line: int
    children: list[Element] = field(default_factory=list)
    text: str = ""
    text_line: int = 0

    def all(self, name: str) -> Iterator[Element]:
        """Give the children of a name."""
        return (child for child in self.children if child.name == name)

    def first(self, name: str) -> Element | None:
        """Return the first child of a name, or None."""
        return next(self.all(name), None)


def _nothing(*_: object) -> None:
    pass


class _Refused(Exception):
    pass


class _Builder:
    def __init__(self, faults: Faults) -> None:
        self.faults = faults
        self.parser = expat.ParserCreate(namespace_separator=_SEPARATOR)
        # Else each line of a lattice is a call. A buffer ends where anything but text begins.
        self.parser.buffer_text = True
        self.parser.buffer_size = _BUFFER
        self.parser.CommentHandler = self.parser.ProcessingInstructionHandler = _nothing
        self.parser.StartCdataSectionHandler = self.parser.EndCdataSectionHandler = _nothing
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.characters
        self.parser.StartDoctypeDeclHandler = self.doctype
        self.parser.EntityDeclHandler = self.doctype
        self.root: Element | None = None
        self.open: list[Element] = []
        self.pieces: list[list[str]] = []
        self.count = 0

    @property
    def line(self) -> int:
        return int(self.parser.CurrentLineNumber)

    def refuse(self, code: str, found: str, expected: str) -> None:
        self.faults.add(self.line, code, found, expected)
        raise _Refused

    def doctype(self, *_: object) -> None:
        self.refuse("doctype", "a document type declaration", "plain XML without one")

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.count += 1
        if len(self.open) >= DEEPEST:
            self.refuse("too-deep", f"elements nested over {DEEPEST} deep", "a flatter file")
        if self.count > MOST_ELEMENTS:
            self.refuse("too-long", f"over {MOST_ELEMENTS} elements", "fewer")
        namespace, _, name = tag.rpartition(_SEPARATOR)
        plain = {key.rpartition(_SEPARATOR)[2]: value for key, value in attributes.items()}
        element = Element(name, namespace, plain, self.line)
        if self.open:
            self.open[-1].children.append(element)
        else:
            self.root = element
        self.open.append(element)
        self.pieces.append([])

    def end(self, _: str) -> None:
        self.open.pop().text = "".join(self.pieces.pop())

    def characters(self, text: str) -> None:
        if not self.open:
            return
        if not self.pieces[-1]:
            # Text is told when what follows it begins.
            self.open[-1].text_line = self.line - text.count("\n")
        self.pieces[-1].append(text)


def parse(data: bytes, faults: Faults) -> Element | None:
    """Return the root element, or None with a located fault where the XML is not sound."""
    if not data.strip():
        faults.add(0, "empty", "an empty file", "XML")
        return None
    builder = _Builder(faults)
    try:
        builder.parser.Parse(data, True)
    except _Refused:
        return None
    except expat.ExpatError as error:
        reason = expat.errors.messages.get(error.code, "broken XML")
        faults.add(error.lineno, "not-xml", reason, "well-formed XML")
        return None
    except (LookupError, ValueError) as error:
        # An encoding that Python does not know, or that is no 8-bit one.
        faults.add(1, "not-xml", f"an encoding that cannot be read ({error})", "UTF-8")
        return None
    return builder.root


def printable(text: str) -> str:
    """Return text with what XML 1.0 cannot carry as `?`."""
    return _NO_XML.sub("?", text)
