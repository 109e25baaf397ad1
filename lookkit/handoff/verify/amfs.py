"""ACES Metadata Files: valid by the published schema, their links sound, their files the graph."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.accuracy.truth import Exact
from lookkit.deliver.agreement import as_opencolorio_reads
from lookkit.deliver.amf import NAMESPACE, SHA256
from lookkit.errors import InputError
from lookkit.evaluate import evaluator
from lookkit.handoff.verify.graph import Truths, names
from lookkit.handoff.verify.listing import inside, leaves
from lookkit.handoff.verify.report import Row
from lookkit.handoff.verify.schemas import schema_row
from lookkit.lutfile.faults import Faults
from lookkit.lutfile.source import read_source
from lookkit.lutfile.xmltree import Element, parse
from lookkit.ocio import library
from lookkit.spaces.working import AP0_TO_AP1

SCHEMA: Final = "acesMetadataFile.xsd"
_LARGEST: Final = 4 << 20
_TRANSFORMS: Final = ("inputTransform", "lookTransform", "outputTransform")


def amf_rows(
    files: Mapping[str, Mapping[str, Any]],
    listed: Mapping[str, Mapping[str, Any]],
    folder: Path,
    truths: Truths | None,
    schemas: Path | None,
) -> Iterator[Row]:
    """Yield what is wrong with the AMFs, or that it agrees.

    Parameters
    ----------
    files
        Entries of the AMFs.
    listed
        Entries of all files that are as the manifest says.
    schemas
        The folder of the published schemas, or None.
    """
    # The look's file stands in every AMF, and a CLF takes a while to read.
    read = cache(as_opencolorio_reads)
    for name, entry in files.items():
        faults = Faults()
        root = parse(read_source(folder / name, _LARGEST), faults)
        if root is None:
            problem = faults.sorted()[0].problem(name)
            yield Row(name, "lookkit", "faulty", str(problem))
            continue
        yield schema_row(name, folder / name, schemas, SCHEMA)
        named, row = _links(name, root, listed, folder)
        yield row
        if truths is not None and not row.bad and entry.get("part") == "chain":
            yield _pixels(
                name, entry, [None if one is None else folder / one for one in named], read, truths
            )


def _elements(element: Element) -> Iterator[Element]:
    yield element
    for child in element.children:
        yield from _elements(child)


def _links(
    name: str, root: Element, listed: Mapping[str, Mapping[str, Any]], folder: Path
) -> tuple[list[str | None], Row]:
    """Return the file of each transform of the pipeline (None: an id), and a row on all links."""
    named: list[str | None] = []
    if root.name != "acesMetadataFile" or root.namespace != NAMESPACE:
        return named, Row(name, "links", "faulty", f"{root.name}, expected acesMetadataFile 2.0")
    count = 0
    for element in _elements(root):
        file = element.first("file")
        if file is None:
            continue
        link = file.text.strip()
        if leaves(link) or not inside(folder, folder / link):
            return named, Row(name, "links", "faulty", f"{link!r} leads out of the folder")
        if link not in listed:
            return named, Row(name, "links", "faulty", f"names {link}: not there, or changed")
        wrong = _hash_fault(element.first("hash"), folder / link)
        if wrong:
            return named, Row(name, "links", "faulty", f"{link}: {wrong}")
        count += 1
    pipeline = root.first("pipeline")
    for element in pipeline.children if pipeline is not None else ():
        if element.name in _TRANSFORMS:
            file = element.first("file")
            named.append(None if file is None else file.text.strip())
    return named, Row(name, "links", "agrees", f"{count} files that it names are there, unchanged")


def _hash_fault(element: Element | None, path: Path) -> str:
    if element is None:
        return ""
    if element.attributes.get("algorithm") != SHA256:
        return f"a hash by {element.attributes.get('algorithm')}, expected sha256"
    digest = hashlib.sha256(path.read_bytes()).digest()
    text = "".join(element.text.split())
    try:
        # Some writers put hexadecimal digits where the schema says base64.
        same = text.lower() == digest.hex() or base64.b64decode(text, validate=True) == digest
    except ValueError:  # Not base64, or letters beyond ASCII.
        same = False
    return "" if same else "its hash in the AMF is not that of the file"


def _pixels(
    name: str,
    entry: Mapping[str, Any],
    named: Sequence[Path | None],
    read: Callable[[Path], Exact],
    truths: Truths,
) -> Row:
    try:
        camera, output, scene = names(entry, ("camera", "output"))
        chain = truths.chain(camera, output, scene)
    except InputError as error:
        return Row(name, "graph", "faulty", str(error))
    look = truths.look
    pictures = chain.audited["image-like"]
    out = pictures.code
    for place, file in enumerate(named):
        if file is not None:
            try:
                out = read(file)(out)
            except (library().Exception, UnicodeDecodeError) as error:
                return Row(name, "graph", "refuses", f"{file.name}: {error}")
        elif place == len(named) - 1:
            ends = look.graph.rendering(output, scene)
            steps = (*ends, *look.graph.output_steps(output))
            out = evaluator(steps)(out @ AP0_TO_AP1.T)
        else:
            return Row(name, "graph", "reads", "it names transforms by ids alone")
    found = float(np.quantile(pictures.delta_e_2000(out), 0.999))
    limit = look.recipe.deliver.limits.image_like
    text = f"its files in a row: Delta E 2000 of pictures 99.9 % {found:.2g}, at most {limit:g}"
    return Row(name, "graph", "agrees" if found <= limit else "misreads", text, found, limit)
