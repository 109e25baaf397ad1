"""The OCIO config of a hand-off: loaded by OpenColorIO, its files there, its pixels the graph's."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.accuracy.truth import steady
from lookkit.deliver.config import CONFIG_NAME
from lookkit.deliver.config_files import files_named
from lookkit.deliver.config_parts import camera_space, display_name, look_name, owner_of
from lookkit.handoff.verify.graph import Truths
from lookkit.handoff.verify.listing import leaves
from lookkit.handoff.verify.report import Row
from lookkit.inspect.reader_process import plain_reason
from lookkit.lower import lower
from lookkit.ocio import Processor, library
from lookkit.spaces.working import Array

ANALYTIC: Final = 5e-5
"""Signal 0-1 by which a config without a lattice may differ from the graph: float32 of its
operations, a twentieth of a ten-bit code."""
TABLES: Final = 0.05 / 1023
"""Signal by which a config with a lattice may differ from lookkit's own processor, which has the
same tables behind other matrices; how far those are from the graph is told beside."""
_PIXELS: Final = 2000
_LARGEST: Final = 512 << 20
"""Bytes that an archive may unpack to."""


def config_rows(name: str, folder: Path, truths: Truths | None) -> Iterator[Row]:
    """Yield what OpenColorIO makes of one config or archive."""
    ocio = library()
    path = folder / name
    title = f"OpenColorIO {ocio.GetVersion()}"
    if path.suffix == ".ocioz":
        fault = _archive_fault(path)
        if fault:
            yield Row(name, "lookkit", "faulty", fault)
            return
    before = ocio.GetLoggingLevel()
    ocio.SetLoggingLevel(ocio.LOGGING_LEVEL_NONE)
    try:
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
        yield from _pixels(name, config, title, truths)
    finally:
        ocio.SetLoggingLevel(before)


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


def _pixels(name: str, config: Any, title: str, truths: Truths) -> Iterator[Row]:
    ocio = library()
    look = truths.look
    worst, where, count, shift = 0.0, "", 0, 0.0
    within = ANALYTIC
    spaces = set(config.getColorSpaceNames(ocio.SEARCH_REFERENCE_SPACE_ALL, ocio.COLORSPACE_ALL))
    displays, looks = set(config.getDisplays()), set(config.getLookNames())

    def ours(name: str, names: set[str]) -> str:
        renamed = f"{name} ({owner_of(look)})"
        return renamed if renamed in names else name

    for camera in look.cameras:
        codes = _codes(truths, camera)
        for scene in (None, *look.recipe.deliver.scenes):
            if scene is not None and camera not in look.recipe.cameras_of(scene):
                continue
            for output in look.outputs:
                view = look_name(look, scene)
                apart_in = scene if look.recipe.is_matched_apart(camera, scene) else None
                what = f"camera {camera}, {output}, view {view}"
                try:
                    read = Processor.of(
                        config.getProcessor(
                            ours(camera_space(camera, apart_in), spaces),
                            ours(display_name(look, output), displays),
                            ours(view, looks),
                            ocio.TRANSFORM_DIR_FORWARD,
                        )
                    )
                except (ocio.Exception, ocio.ExceptionMissingFile) as error:
                    yield Row(name, title, "misreads", f"{what}: {error}")
                    return
                found = steady(read.apply_exact)(codes)
                off = np.abs(found - truths.chain(camera, output, scene).exact(codes)).max(axis=1)
                chain = look.graph.chain(camera, output, scene)
                if all(op.lower() is not None for op in chain):
                    apart = float(off.max())
                else:
                    within = TABLES
                    own = Processor(lower(chain, look.lattices)).apply_exact
                    apart = float(np.abs(found - steady(own)(codes)).max())
                    shift = max(shift, float(np.quantile(off[:_PIXELS], 0.99)))
                count += 1
                if apart >= worst:
                    worst, where = apart, what
    if worst > within:
        text = f"{where}: differs by {worst * 1023:.3g} ten-bit codes"
        yield Row(name, title, "misreads", text, worst, within)
        return
    text = f"{count} views equal lookkit's within {within * 1023:.2g} ten-bit codes"
    if shift:
        text += f"; its lattice is within {shift * 1023:.2g} of the graph for 99 % of pictures"
    yield Row(name, title, "agrees", text, worst, within)


def _codes(truths: Truths, camera: str) -> Array:
    """Return colours of pictures, and behind them as many of any kind."""
    from lookkit.accuracy.samples import CodeSpace, audit_sets

    step = truths.look.graph.decoding(camera)
    sets = audit_sets(CodeSpace(step.inverse, step.evaluate), sizes={"image-like": _PIXELS})
    return np.concatenate([sets["image-like"], np.random.default_rng(5).random((_PIXELS, 3))])
