"""What the recipe says is delivered, against what the manifest lists."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookkit.deliver import amf, clf, cube, stills
from lookkit.deliver.cdl_residual import changes
from lookkit.handoff.manifest import NAME
from lookkit.handoff.verify.listing import Listing
from lookkit.handoff.verify.report import Row

if TYPE_CHECKING:
    from lookkit.look import Look

Promise = tuple[str | None, str | None, str | None, str | None, str | None]
"""Format, part, camera, output and scene, as the manifest has them."""


def promised_rows(listing: Listing, look: Look) -> Iterator[Row]:
    """Yield what the manifest says otherwise than the recipe, or leaves out.

    The first format of the manifest names nothing, and cannot be asked. A report may have been
    left out where its libraries were not installed.
    """
    recipe = look.recipe
    wanted = {"look": recipe.name, "show": recipe.show, "version": recipe.version}
    for key, value in wanted.items():
        found = listing.manifest.get(key, value)
        if found != value:
            yield Row(NAME, "recipe", "faulty", f"{key} {found!r:.200}, the recipe says {value!r}")
    if listing.format < 2:
        return
    yield from _uncertified(listing, look)
    lacking = Counter(promised(look)) - Counter(_listed(listing.manifest["files"]))
    if lacking:
        first, more = next(iter(lacking)), lacking.total() - 1
        rest = f" (and {more} more)" if more else ""
        text = f"the recipe delivers {_told(first):.300}: not in the manifest as such{rest}"
        yield Row(NAME, "recipe", "faulty", text)


def _uncertified(listing: Listing, look: Look) -> Iterator[Row]:
    """Yield the lattices without the certificate that the recipe promises for each."""
    if not look.recipe.deliver.certify:
        return
    for name, entry in listing.entries.items():
        lattice = name.endswith(".cube") and not name.endswith("_1d.cube")
        if not lattice or "part" not in entry:
            continue
        absent = [one for one in (f"{name}.json", f"{name}.txt") if one not in listing.entries]
        absent = [Path(one).name for one in absent]
        if "figures" not in entry:
            absent.append(f"figures in {NAME}")
        if absent:
            yield Row(name, "recipe", "faulty", f"its accuracy report lacks {', '.join(absent)}")


def promised(look: Look) -> Iterator[Promise]:
    """Yield what a hand-off of a look has at least, once for each file."""
    deliver = look.recipe.deliver
    scenes = (None, *deliver.scenes)
    formats = deliver.formats
    if "cube" in formats:
        sizes = len(set(deliver.sizes) - {"auto"}) or 1
        for camera, output, scene in cube.chains(look):
            yield from [("cube", "chain", camera, output, scene)] * sizes
    if "config" in formats:
        yield from [("config", "config", None, None, None)] * 2
    if "clf" in formats:
        for file in clf.files(look):
            yield "clf", file.part, file.camera, file.output, file.scene
    if "clf-chain" in formats:
        for file in clf.chain_files(look):
            yield "clf-chain", file.part, file.camera, file.output, file.scene
    if "cdl" in formats:
        for change in changes(look):
            yield "cdl", f"cdl-{change.part}", None, None, change.scene
    if "stills" in formats:
        shown, _ = stills.shown_on(look)
        for reader, scene in stills.pictures(look):
            yield "stills", "still", reader, shown, scene
    if "aces" in formats:
        for scene in scenes:
            yield "aces", "lmt", None, None, scene
    if "amf" in formats:
        for one in amf.files(look):
            yield "amf", "chain", one.camera, one.output, one.scene


def _listed(files: dict[str, Any]) -> Iterator[Promise]:
    for name, entry in files.items():
        if not isinstance(entry, dict) or name.endswith("_1d.cube"):
            continue
        found = [entry.get(key) for key in ("format", "part", "camera", "output", "scene")]
        if all(one is None or isinstance(one, str) for one in found):
            format, part, camera, output, scene = found
            yield format, part, camera, output, scene


def _told(one: Promise) -> str:
    format, part, *names = one
    words = [
        f"{what} {name}"
        for what, name in zip(("camera", "output", "scene"), names, strict=True)
        if name is not None
    ]
    return f"a file of format {format}, part {part}" + "".join(f", {word}" for word in words)
