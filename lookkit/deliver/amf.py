"""ACES Metadata Files, version 2: one for each camera and output, plain and for each scene.

A file says how a picture was meant to be seen: input transform, look, output transform, each a
CLF file of the same hand-off with its hash. Where the rendering is that of ACES 2 itself, the
output transform is its published id. Nothing has been applied to the camera's files yet, so
`applied` is false throughout.

The files lie at the top of the folder: paths in an AMF are relative and must not climb. CLF files
that a recipe's formats leave out are written all the same where an AMF names them. The look is
one exact CLF here. The nearest ASC CDL and its residual (`cdl/`) stand for the same look: use the
one or the other, never both.

An AMF must have a date and unique ids. The date is the recipe's `[deliver] date` (or `build
--date`), else that of the environment variable SOURCE_DATE_EPOCH, else 2000-01-01T00:00:00Z, which
stands for "none given": so the same recipe gives the same bytes. The ids are version 5 uuids of
the recipe's hash, lookkit's version, the date and the names; two files never share one.

The hash is the sha256 of the file's bytes in base64, as the schema's type demands; some published
examples have hexadecimal digits there.

Sources: Academy S-2019-001 and its schema acesMetadataFile.xsd (urn:ampas:aces:amf:v2.0); ids of
the ACES 2 outputs as in OpenColorIO's own ACES 2 config.
"""

from __future__ import annotations

import base64
import hashlib
import os
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree as ET

from lookkit.deliver.clf import ClfFile, input_file, look_file, output_file, write_clf_file
from lookkit.deliver.cube import scenes_of
from lookkit.deliver.names import chain_stem, codes_of, shown_look, signal_of
from lookkit.deliver.written import Job, Written
from lookkit.errors import InputError
from lookkit.files import write_beside
from lookkit.lutfile.xmltree import printable
from lookkit.nodes.aces_2 import Aces2
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

NAMESPACE: Final = "urn:ampas:aces:amf:v2.0"
SHA256: Final = "http://www.w3.org/2001/04/xmlenc#sha256"
ACES_VERSION: Final = (2, 0, 0)
UNDATED: Final = datetime(2000, 1, 1, tzinfo=UTC)
"""The date of a file for which none was given."""

_ID: Final = "urn:ampas:aces:transformId:v2.0:Output.Academy.{}.a2.v1"
ACES_OUTPUTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "Rec.709 BT.1886": "Rec709-D65_100nit_in_Rec709-D65_BT1886",
        "sRGB": "Rec709-D65_100nit_in_Rec709-D65_sRGB-Piecewise",
        "Display P3": "P3-D65_100nit_in_P3-D65_sRGB-Piecewise",
        "P3-D65 2.6": "P3-D65_48nit_in_P3-D65_Gamma2pt6",
        **{
            f"Rec.2100 PQ {peak}{limit}": f"{space}-D65_{peak}nit_in_Rec2100-D65_ST2084"
            for peak in (500, 1000, 2000, 4000)
            for limit, space in (("", "Rec2100"), (" P3", "P3"))
        },
    }
)
"""By the name of an output: the middle of its ACES 2 transform id."""


@dataclass(frozen=True)
class AmfFile:
    """One AMF to be written.

    Attributes
    ----------
    files
        The CLF files that it names, in the order in which they act.
    transform_id
        The published id of the output transform, or None where that is the last of `files`.
    """

    name: str
    camera: str
    output: str
    scene: str | None
    files: tuple[ClfFile, ...]
    transform_id: str | None


def jobs(look: Look) -> list[Job]:
    """Return one job per camera, output and scene; each writes what it names and is not there."""
    return [Job(f"amf {one.name}", partial(write_amf, look, one)) for one in files(look)]


def files(look: Look) -> list[AmfFile]:
    """Return all files of the format.

    Raises
    ------
    InputError
        If SOURCE_DATE_EPOCH holds no date.
    """
    found = []
    stamp = dated(look).strftime("%Y-%m-%d_%H%M%SZ")
    for camera in look.cameras:
        for scene in scenes_of(look, camera):
            for output in look.outputs:
                transform = aces_output(look, output, scene)
                parts = [input_file(look, camera, scene), look_file(look, scene)]
                if transform is None:
                    parts.append(output_file(look, output, scene))
                name = f"{chain_stem(look, camera, output, scene)}_{stamp}.amf"
                found.append(AmfFile(name, camera, output, scene, tuple(parts), transform))
    return found


def dated(look: Look) -> datetime:
    """Return the date of this hand-off in UTC: the recipe's, the environment's, or none.

    Raises
    ------
    InputError
        If SOURCE_DATE_EPOCH is no whole number of seconds.
    """
    if look.recipe.deliver.date is not None:
        return look.recipe.deliver.date.astimezone(UTC).replace(microsecond=0)
    given = os.environ.get("SOURCE_DATE_EPOCH", "")
    if not given:
        return UNDATED
    try:
        return datetime.fromtimestamp(int(given), UTC)
    except (ValueError, OverflowError, OSError) as error:
        raise InputError(
            f"SOURCE_DATE_EPOCH is {given!r}, expected whole seconds since 1970"
        ) from error


def aces_output(look: Look, output: str, scene: str | None) -> str | None:
    """Return the published id of an output transform that is ACES 2's own, or None."""
    recipe = look.recipe if scene is None else look.recipe.in_scene(scene)
    choice = recipe.outputs[output]
    target = look.graph.output(output)
    if not isinstance(recipe.rendering_for(output), Aces2) or choice.black is not None:
        return None
    middle = None if choice.excursions else ACES_OUTPUTS.get(target.name)
    return None if middle is None else _ID.format(middle)


def write_amf(look: Look, one: AmfFile, folder: Path) -> list[Written]:
    """Write one AMF at the top of `folder`, and the CLF files that it names and are not there.

    Raises
    ------
    LookkitError
        If the disk fails.
    """
    written = [
        write_clf_file(look, file, folder)
        for file in one.files
        if not (folder / file.path).exists()
    ]
    path = folder / one.name
    with write_beside(path) as beside:
        beside.write_text(amf_text(look, one, folder), encoding="utf-8")
    note = f"{codes_of(look, one.camera, one.scene)}, in; {signal_of(look, one.output)}, out"
    return [*written, Written(path, "amf", "chain", one.camera, one.output, one.scene, note)]


def amf_text(look: Look, one: AmfFile, folder: Path) -> str:
    """Return the text of an AMF; the CLF files that it names are in `folder`."""
    root = _document(look, one, folder)
    ET.indent(root)
    text = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def amf_uuid(look: Look, one: AmfFile, part: str = "file") -> str:
    """Return the id of an AMF, or of its pipeline, as a urn."""
    names = (look.recipe_hash, __version__, one.name, one.camera, one.output, one.scene or "", part)
    return f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, 'lookkit/amf/' + '/'.join(names))}"


def file_hash(path: Path) -> str:
    """Return the sha256 of a file in base64."""
    return base64.b64encode(hashlib.sha256(path.read_bytes()).digest()).decode("ascii")


def _document(look: Look, one: AmfFile, folder: Path) -> ET.Element:
    ET.register_namespace("aces", NAMESPACE)
    root = ET.Element(_tag("acesMetadataFile"), version="2.0")
    recipe = look.recipe
    shown = shown_look(look, one.scene)
    said = f"{shown}, version {recipe.version}, show {recipe.show}: camera {one.camera}"
    info = ET.SubElement(root, _tag("amfInfo"))
    _info(info, look, f"{said} to {one.output}", amf_uuid(look, one))
    pipeline = ET.SubElement(root, _tag("pipeline"))
    described = ET.SubElement(pipeline, _tag("pipelineInfo"))
    way = f"{codes_of(look, one.camera, one.scene)} to {signal_of(look, one.output)}"
    _info(described, look, way, amf_uuid(look, one, "pipeline"))
    version = ET.SubElement(described, _tag("systemVersion"))
    for name, number in zip(("major", "minor", "patch"), ACES_VERSION, strict=True):
        ET.SubElement(version, _tag(f"{name}Version")).text = str(number)
    for name, file in zip(
        ("inputTransform", "lookTransform", "outputTransform"), _transforms(one), strict=True
    ):
        element = ET.SubElement(pipeline, _tag(name), applied="false")
        if file is None:
            _text(element, "description", "ACES 2")
            _text(element, "transformId", one.transform_id or "")
            continue
        said = f"the look {shown}" if file.part == "look" else f"{file.takes} to {file.gives}"
        _text(element, "description", said)
        _text(element, "hash", file_hash(folder / file.path)).set("algorithm", SHA256)
        _text(element, "file", file.path.as_posix())
    return root


def _transforms(one: AmfFile) -> Iterator[ClfFile | None]:
    yield from one.files
    if one.transform_id is not None:
        yield None


def _info(element: ET.Element, look: Look, description: str, id: str) -> None:
    _text(element, "description", description)
    dates = ET.SubElement(element, _tag("dateTime"))
    for name in ("creationDateTime", "modificationDateTime"):
        _text(dates, name, dated(look).strftime("%Y-%m-%dT%H:%M:%SZ"))
    _text(element, "uuid", id)


def _text(parent: ET.Element, name: str, text: str) -> ET.Element:
    element = ET.SubElement(parent, _tag(name))
    element.text = printable(text)
    return element


def _tag(name: str) -> str:
    return f"{{{NAMESPACE}}}{name}"
