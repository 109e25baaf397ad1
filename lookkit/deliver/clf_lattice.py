"""Each camera's way to an output as CLF of one shaper and one lattice: small, and quick to read.

The CLF files of `clf.py` keep operations as operations and are closer; those of a look with
lattices of its own are many times as large. Here the whole chain is one lattice, as in a .cube,
but behind a curve that puts its points where pictures need them. Without fitting it is the plain
lattice of a .cube.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from lookkit.accuracy.shaper import Shaper
from lookkit.deliver.certified import certified
from lookkit.deliver.clf import ClfFile, chain_file, clf_head, write_measured
from lookkit.deliver.cube import baking, chains
from lookkit.deliver.names import chain_stem
from lookkit.deliver.written import Job, Written
from lookkit.files import safe_name
from lookkit.lutfile.clf_lattice import clf_of_lattice, read_clf_lattice

if TYPE_CHECKING:
    from lookkit.look import Look

SIZE: Final = 33


def jobs(look: Look) -> list[Job]:
    """Return one job per chain that a .cube can carry."""
    return [_job(look, *one) for one in chains(look)]


def _job(look: Look, camera: str, output: str, scene: str | None) -> Job:
    path = Path("clf") / safe_name(camera) / f"{chain_stem(look, camera, output, scene)}_{SIZE}.clf"

    def write(folder: Path) -> list[Written]:
        file = chain_file(look, camera, output, scene)
        return [write_clf_lattice(look, file, folder / path)]

    return Job(f"clf-lattice {path.name}", write)


def write_clf_lattice(look: Look, file: ClfFile, path: Path) -> Written:
    """Bake a chain into a shaper and a lattice, write them and measure the file.

    Raises
    ------
    LookkitError
        If the recipe has a budget and the file exceeds it, or the disk fails.
    """
    assert file.camera is not None
    assert file.output is not None
    deliver = look.recipe.deliver
    source = baking(look, file.camera, file.output, file.scene)
    shaper = None
    if deliver.fit:
        shaper, lattice = source.bake_with_shaper(SIZE)
    else:
        lattice = source.bake(SIZE, fit=False)
    words = f"one lattice of {SIZE} points" + (" behind a curve" if shaper is not None else "")
    head = clf_head(look, file.scene, file.takes, file.gives, words)
    path.parent.mkdir(parents=True, exist_ok=True)
    clf = clf_of_lattice(lattice, None if shaper is None else shaper.table)
    figures, _ = write_measured(look, clf, path, head, file, lattices=True)
    read = read_clf_lattice(path)
    written = None if read.shaper is None else Shaper(read.shaper)
    told = certified(deliver, source, read.lattice, path, written)
    note = f"{file.takes}, in; {file.gives}, out; {words}"
    return Written(
        path, "clf-lattice", "chain", file.camera, file.output, file.scene, note,
        figures, told.lines, told.over_budget,
    )  # fmt: skip
