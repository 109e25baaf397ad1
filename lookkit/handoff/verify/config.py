"""The OCIO config of a hand-off: loaded by OpenColorIO, its files there, its pixels the graph's."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lookkit.deliver.config import CONFIG_NAME
from lookkit.deliver.config_files import files_named
from lookkit.deliver.config_measured import measured, ways, worst_of
from lookkit.handoff.verify.clfs import CODES, certified
from lookkit.handoff.verify.graph import Truths
from lookkit.handoff.verify.listing import leaves
from lookkit.handoff.verify.report import Row
from lookkit.inspect.reader_process import plain_reason
from lookkit.inspect.shaders import SECONDS, View, draw, views_of, write_shaders
from lookkit.lower import unsayable
from lookkit.ocio import library, quiet
from lookkit.piece import GOALS
from lookkit.piece_fit import TEN_BIT

if TYPE_CHECKING:
    from lookkit.look import Look

ANALYTIC: Final = 5e-5
"""Signal 0-1 by which a config without a lattice may differ from the graph: float32 of its
operations, a twentieth of a ten-bit code."""
GPU: Final = 0.3
"""Ten-bit codes by which a GPU's picture may differ from the processor's."""
_SAMPLED: Final = 4.0
"""How many times its goal a config without a certificate may be off: its lattices are sampled."""
_DRAWN: Final = ("image-like", "skin", "saturated-emitters")
_SPARSE: Final = 8
_PICTURES: Final = "codes of image-like 99.9 %"
_LARGEST: Final = 512 << 20
"""Bytes that an archive may unpack to."""


def config_rows(
    name: str,
    entry: Mapping[str, Any],
    folder: Path,
    truths: Truths | None,
    *,
    gpu: bool = True,
) -> Iterator[Row]:
    """Yield what OpenColorIO makes of one config or archive, on the processor and on a GPU.

    Parameters
    ----------
    entry
        That of the manifest.
    gpu
        Whether shaders are written and run, in processes of their own.
    """
    path = folder / name
    title = f"OpenColorIO {library().GetVersion()}"
    if path.suffix == ".ocioz":
        fault = _archive_fault(path)
        if fault:
            yield Row(name, "lookkit", "faulty", fault)
            return
    with quiet() as ocio:
        ocio.ClearAllCaches()
        try:
            config = ocio.Config.CreateFromFile(str(path))
            config.validate()
        except (ocio.Exception, UnicodeDecodeError) as error:
            yield Row(name, title, "refuses", plain_reason(error, path))
            return
        links = _files(name, path, config)
        yield links
        if links.bad:
            return
        if truths is None:
            yield Row(name, title, "reads", "loaded and validated")
            return
        yield from _pixels(name, entry, config, title, truths)
        if gpu:
            yield from _on_gpu(name, path, config, truths.look)


def _archive_fault(path: Path) -> str:
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
            if any(leaves(one.filename) for one in entries):
                return "a path in the archive leads out of it"
            if sum(one.file_size for one in entries) > _LARGEST:
                return f"unpacks to more than {_LARGEST >> 20} MiB"
            broken = archive.testzip()
            if broken is not None:
                return f"{broken} in it is damaged"
            if CONFIG_NAME not in archive.namelist():
                return f"no {CONFIG_NAME} in the archive"
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError) as error:
        return f"no archive that can be read ({error})"
    return ""


def _files(name: str, path: Path, config: Any) -> Row:
    """Say whether each LUT that the config names is there, inside the folder."""
    named = files_named(config)
    places = list(config.getSearchPaths()) or [""]
    out = [one for one in [*named, *filter(None, places)] if leaves(one)]
    if out:
        return Row(name, "links", "faulty", f"{out[0]!r} leads out of the folder")
    if path.suffix == ".ocioz":
        with zipfile.ZipFile(path) as archive:
            there = set(archive.namelist())
        missing = [
            one
            for one in named
            if not any(f"{place}/{one}".lstrip("/") in there for place in places)
        ]
    else:
        missing = [
            one for one in named if not any((path.parent / p / one).is_file() for p in places)
        ]
    if missing:
        return Row(name, "links", "faulty", f"names {', '.join(missing)}: not there")
    return Row(name, "links", "agrees", f"{len(named)} LUT files that it names are there")


def _pixels(
    name: str, entry: Mapping[str, Any], config: Any, title: str, truths: Truths
) -> Iterator[Row]:
    """Hold every way through a config against the graph."""
    ocio = library()
    look = truths.look
    try:
        found = measured(look, config)
    except (ocio.Exception, ocio.ExceptionMissingFile) as error:
        yield Row(name, title, "misreads", plain_reason(error, Path(name)))
        return
    stated = entry.get("figures")
    if stated:
        worst = worst_of(found)
        row = replace(certified(name, worst, stated, same=truths.same), reader=title)
        if row.verdict == "agrees":
            wanted = float(stated[_PICTURES])
            off, within = abs(worst[_PICTURES] - wanted), 0.05 * wanted + CODES
            row = replace(row, difference=off, within=within)
        yield row
        return
    for way, one in found.items():
        analytic = not unsayable(look.graph.chain(way.camera, way.output, way.scene))
        for kind, off in one.codes.items():
            within = TEN_BIT * ANALYTIC if analytic else _SAMPLED * GOALS[kind].codes
            if off > within:
                text = f"{way}: {kind} is off by {off:.3g} ten-bit codes, expected {within:.2g}"
                yield Row(name, title, "misreads", text, off, within)
                return
    pictures = max((one.codes["image-like"] for one in found.values()), default=0.0)
    text = (
        f"{len(found)} views, without a certificate: pictures within {pictures:.2g} ten-bit codes"
    )
    yield Row(name, title, "agrees", text)


def _on_gpu(name: str, path: Path, config: Any, look: Look) -> Iterator[Row]:
    """Write the shaders of every view, and run them where GL is to be had."""
    there = list(ways(look, config))
    spaces = dict.fromkeys(way.space for way in there)
    views = views_of(config, list(spaces))
    written = write_shaders(path, views)
    if written.fault:
        yield Row(name, "GPU", "refuses", written.fault)
        return
    text = (
        f"the shaders of {written.views} views, GLSL 4.0 and GLSL ES 3.0: {written.seconds:.2f} s, "
        f"{written.memory >> 20} MB and {written.textures / 1e6:.1f} MB of tables at most"
    )
    yield Row(name, "GPU", "agrees", text, written.seconds, SECONDS)
    for camera in dict.fromkeys(way.camera for way in there):
        own = [way for way in there if way.camera == camera]
        pixels = np.concatenate(
            [one[::_SPARSE] for key, one in own[0].colours().items() if key in _DRAWN]
        )
        drawn = draw(path, [View(way.space, way.display, way.view) for way in own], pixels)
        if not drawn.renderer:
            yield Row(name, "GL", "absent", f"not tried, {drawn.reason}")
            return
        if drawn.reason:
            yield Row(name, drawn.renderer, "refuses", drawn.reason)
            return
        for way, picture in zip(own, drawn.pictures, strict=True):
            off = TEN_BIT * float(np.abs(picture - way.read(config)(pixels)).max())
            if not off <= GPU:
                text = f"{way}: {off:.3g} ten-bit codes from the processor's picture"
                yield Row(name, drawn.renderer, "misreads", text, off, GPU)
                return
    text = f"draws {len(there)} views within {GPU:g} ten-bit codes of the processor's pictures"
    yield Row(name, drawn.renderer, "agrees", text)
