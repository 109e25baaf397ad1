"""Verification: a hand-off re-read by libraries that we did not write, against its own recipe.

Each file is held against three things.

*The manifest*: all that the recipe delivers is listed; each file is there, unchanged, and nothing
else is but timelines, which are made from a hand-off; no path leads out of the folder.

*Other readers*, against our own reading of the file: OpenColorIO, colour-science and FFmpeg for
a .cube, OpenColorIO and colour-clf-io for a CLF, FFmpeg's haldclut for a picture of a lattice,
lxml with the published schema for AMF and ASC CDL, OpenTimelineIO for timelines. The tolerance is
the reader's own arithmetic as a share of a pixel's largest channel, or of 1 where that is less:
1e-5 for one lattice in 32-bit floats; for a CLF's chain of operations 2e-4 for 99.9 % of pixels and
.002, its guide's bound, for all; the integer step for pictures of 16 bits; six written decimals for
the CDLs of a timeline.

*The graph* of the folder's own recipe.toml, against our reading of the file. The tolerance is the
file's own certificate: the figures that it states are measured again on the same colours and must
come out the same. A .cube without one equals the graph at its points if it was sampled, and
keeps to the recipe's budget if it was fitted. An analytic file equals the graph within the
float32 arithmetic of its reader.

*What this version writes* for that recipe: the words of each file and the numbers that no fit
chose; where nothing was fitted, all numbers; and the pages for people. Of a folder that another
version made, only readers and figures speak.

Other libraries run in processes of their own (`inspect/readers.py`), for the files may be
anybody's. A reader that is not installed is named; nothing is said to be checked by it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lookkit.deliver.written import SOURCE
from lookkit.errors import InputError, LookkitError
from lookkit.handoff.timeline.reading import ENDINGS
from lookkit.handoff.verify.amfs import amf_rows
from lookkit.handoff.verify.cdls import cdl_rows
from lookkit.handoff.verify.clfs import clf_rows
from lookkit.handoff.verify.config import config_rows
from lookkit.handoff.verify.graph import Truths
from lookkit.handoff.verify.listing import Listing, inside, read_listing
from lookkit.handoff.verify.luts import cube_rows, strictly
from lookkit.handoff.verify.pages import page_rows
from lookkit.handoff.verify.promised import promised_rows
from lookkit.handoff.verify.rebuilt import rebuilt_rows
from lookkit.handoff.verify.report import Report as Report
from lookkit.handoff.verify.report import Row as Row
from lookkit.handoff.verify.stills import still_rows
from lookkit.handoff.verify.timelines import timeline_rows
from lookkit.handoff.verify.written import READER as WRITTEN
from lookkit.handoff.verify.written import written_rows
from lookkit.inspect.readers import ReaderName
from lookkit.progress import Progress, silent

if TYPE_CHECKING:
    from lookkit.look import Look

RECIPE: Final = "recipe.toml"
Entries = Mapping[str, Mapping[str, Any]]


ALL_READERS: Final[tuple[ReaderName, ...]] = ("ocio", "colour", "ffmpeg", "clf-io", "haldclut")


def verify(
    folder: Path,
    schemas: Path | None = None,
    readers: Sequence[ReaderName] = ALL_READERS,
    progress: Progress = silent,
    *,
    timelines: Sequence[Path] = (),
    rebuild: bool = False,
) -> Report:
    """Verify a hand-off folder; nothing in it is changed.

    Parameters
    ----------
    folder
        As `build` made it, with any lookkit since layout 1.
    schemas
        A folder with the published XML schemas: acesMetadataFile.xsd and those it imports.
    readers
        The libraries that read LUT files in processes of their own; without them the files are
        still held against the manifest, our strict readers and the graph.
    progress
        Told of each kind of file.
    timelines
        Timelines (.edl, .otio) elsewhere that were made from the hand-off; those in the folder
        are read anyway.
    rebuild
        Build the folder again from its own recipe, and compare every file; takes as long as the
        build did.

    Raises
    ------
    InputError
        If the folder is none, its manifest cannot be read, or a timeline is not there.
    """
    _refuse_others(timelines)
    progress("manifest", 0, 1)
    listing = read_listing(folder)
    rows = list(listing.rows)
    rows += _changed(listing)
    truths, problem = _truths(listing)
    rows += problem
    if truths is not None:
        rows += promised_rows(listing, truths.look)
        rows += written_rows(listing, truths.look)
    kinds = _kinds(listing, schemas, tuple(readers), truths)
    steps = len(kinds) + 2
    for done, (what, endings, read) in enumerate(kinds, start=1):
        chosen = {
            name: entry
            for name, entry in listing.entries.items()
            if Path(name).suffix.lower() in endings and entry.get("part") != SOURCE
        }
        progress(what, done, steps)
        if chosen:
            rows += read(chosen)
    progress("timelines", steps - 1, steps)
    shots = () if truths is None else truths.look.recipe.shots
    there = _timelines(listing, timelines)
    rows += timeline_rows(there, listing.entries, folder, shots)
    if truths is not None:
        rows += page_rows(listing, truths.look, sound=not any(row.bad for row in rows))
    if rebuild and truths is not None:
        rows += rebuilt_rows(listing, truths.look, progress)
    # What pixels or links tell of a file is not told again by its words.
    told = {row.file for row in rows if row.bad and row.reader != WRITTEN}
    rows = [row for row in rows if row.reader != WRITTEN or row.file not in told]
    order = {name: place for place, name in enumerate(sorted({row.file for row in rows}))}
    rows.sort(key=lambda row: order[row.file])
    progress("done", steps, steps)
    return Report(folder, listing.format, tuple(rows))


Kind = tuple[str, tuple[str, ...], Callable[[Entries], Iterable[Row]]]


def _kinds(
    listing: Listing,
    schemas: Path | None,
    readers: Sequence[ReaderName],
    truths: Truths | None,
) -> list[Kind]:
    """Return what reads which files: words for people, endings, and the reading."""
    folder = listing.folder
    return [
        (".cube files", (".cube",), lambda files: cube_rows(files, folder, truths, readers)),
        (
            "stills",
            (".png",),
            lambda files: still_rows(files, folder, truths, readers),
        ),
        ("CLF files", (".clf",), lambda files: clf_rows(files, folder, truths, readers)),
        (
            "CDL files",
            (".cc", ".ccc", ".cdl"),
            lambda files: cdl_rows(files, folder, truths, schemas),
        ),
        (
            "AMF files",
            (".amf",),
            lambda files: amf_rows(files, listing.entries, folder, truths, schemas),
        ),
        (
            "OCIO config",
            (".ocio", ".ocioz"),
            lambda files: (
                row
                for name, entry in files.items()
                for row in config_rows(name, entry, folder, truths, gpu="ocio" in readers)
            ),
        ),
    ]


def _refuse_others(timelines: Sequence[Path]) -> None:
    for path in timelines:
        if path.suffix.lower() not in ENDINGS or not path.is_file():
            what = "does not exist" if not path.exists() else "is no timeline"
            raise InputError(f"{path}: {what}, expected an .edl or .otio file")


def _timelines(listing: Listing, others: Sequence[Path]) -> dict[str, Path]:
    """Return the timelines in the folder and elsewhere, by the names to tell them by."""
    listed = [name for name, entry in listing.entries.items() if entry.get("part") != SOURCE]
    own = [one for one in (*listed, *listing.added) if Path(one).suffix.lower() in ENDINGS]
    return {name: listing.folder / name for name in own} | {str(path): path for path in others}


def _changed(listing: Listing) -> list[Row]:
    """Say what a strict reader finds in the .cube files that are not as listed."""
    found = []
    for row in listing.rows:
        path = listing.folder / row.file
        if row.bad and path.suffix.lower() == ".cube" and inside(listing.folder, path):
            try:
                _, problem = strictly(path, row.file)
            except LookkitError:
                continue
            found += [problem] if problem is not None else []
    return found


def _as_built(look: Look, listing: Listing) -> Look:
    """Return the look with the scenes that were chosen when the folder was built.

    Only where the recipe does not name them itself: then the manifest alone knows.
    """
    chosen = listing.manifest.get("deliver", {})
    scenes = chosen.get("scenes") if isinstance(chosen, dict) else None
    if "scenes" in look.recipe.deliver.model_fields_set or not isinstance(scenes, list):
        return look
    return look.delivering([one for one in scenes if look.recipe.is_known(one)])


def _truths(listing: Listing) -> tuple[Truths | None, list[Row]]:
    """Return the graph of the folder's recipe, or the row that says why there is none."""
    from lookkit.look import Look, files_of
    from lookkit.recipe.extend import read_text
    from lookkit.recipe.load import parse_recipe

    path = listing.folder / RECIPE
    if RECIPE not in listing.entries and not (path.is_file() and inside(listing.folder, path)):
        return None, [Row(RECIPE, "graph", "faulty", "no recipe: no file can be held against it")]
    try:
        text = read_text(path)
        look = Look(parse_recipe(text, str(path)), text, str(path))
    except LookkitError as error:
        return None, [Row(RECIPE, "graph", "faulty", f"cannot be loaded: {error}")]
    outside = [name for name, file in files_of(look) if not inside(listing.folder, file)]
    if outside:
        return None, [Row(RECIPE, "graph", "faulty", f"{outside[0]!r} leads out of the folder")]
    look = _as_built(look, listing)
    if look.recipe_hash != listing.manifest.get("recipe_sha256"):
        text = "not the recipe that the manifest was made for: another sha256"
        return Truths(look, listing.folder, same=listing.same), [
            Row(RECIPE, "graph", "faulty", text)
        ]
    return Truths(look, listing.folder, same=listing.same), [
        Row(RECIPE, "graph", "agrees", "the recipe of the manifest")
    ]
