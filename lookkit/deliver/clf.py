"""The CLF files: the look, and each camera's way through it, as operations to take apart.

The look takes and gives ACES2065-1, as look modification transforms do, so the files of a
camera and of the look follow on each other: codes to scene, scene to scene after the look. What
the format can say stays an operation (`clf_steps.py`); a file's descriptions say what is a
lattice, and how far the file is from the exact look.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Protocol

from lookkit.deliver.acescct import of_display, viewing_output
from lookkit.deliver.agreement import (
    agreement,
    as_opencolorio_reads,
    camera_colours,
    scene_colours,
)
from lookkit.deliver.clf_steps import clf_pieces
from lookkit.deliver.cube import scenes_of
from lookkit.deliver.names import (
    camera_stem,
    chain_stem,
    codes_of,
    look_stem,
    shown_look,
    signal_of,
)
from lookkit.deliver.written import Job, Written
from lookkit.evaluate import evaluate
from lookkit.files import safe_name
from lookkit.lattice.of_graph import Baking
from lookkit.lattice.truth import Light
from lookkit.lower import Lattices
from lookkit.lutfile.clf_write import Clf, ClfHead
from lookkit.nodes.base import Op, matrix_transform
from lookkit.piece import Piece
from lookkit.spaces.working import AP0_TO_AP1, AP1_TO_AP0, Array, OcioTransform
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

SCENE: Final = "ACES2065-1, scene-linear, mid-grey 0.18"


@dataclass(frozen=True)
class ClfFile:
    """One file to be written.

    Attributes
    ----------
    part
        As in `Written`: "input", "look", "camera-to-look" or "chain".
    before, chain, after
        What the file does: the chain, between changes of primaries that the file adds.
    colours, light
        As in `Measured`.
    peak
        The most display light in the chain, 1.0 = 100 cd/m2.
    """

    path: Path
    part: str
    takes: str
    gives: str
    chain: tuple[Op, ...]
    colours: Callable[[], Mapping[str, Array]]
    light: Light
    before: Array | None = None
    after: Array | None = None
    peak: float = 1.0
    camera: str | None = None
    output: str | None = None
    scene: str | None = None

    def exact(self, colour: Array) -> Array:
        """Return what the file should give, float64 of shape (..., 3)."""
        if self.before is not None:
            colour = colour @ self.before.T
        out = evaluate(self.chain, colour)
        return out if self.after is None else out @ self.after.T

    def transforms(self, known: Lattices) -> list[OcioTransform]:
        """Return the operations that the file is to hold; `known` as for `clf_pieces`."""
        pieces = clf_pieces(self.chain, known, self.peak)
        return [*_primaries(self.before), *transforms_of(pieces), *_primaries(self.after)]


def jobs(look: Look) -> list[Job]:
    """Return the jobs for the look, each camera's input and way to the look, and each chain."""
    return [_job(look, file) for file in files(look)]


def files(look: Look) -> list[ClfFile]:
    """Return all files of the format, their paths relative to the folder."""
    scenes = (None, *look.recipe.deliver.scenes)
    found = [look_file(look, scene) for scene in scenes]
    for camera in look.cameras:
        for scene in scenes_of(look, camera):
            if scene is None or look.recipe.is_matched_apart(camera, scene):
                found.append(input_file(look, camera, scene))
            found.append(camera_file(look, camera, scene))
            found += [chain_file(look, camera, output, scene) for output in look.outputs]
    return found


def look_file(look: Look, scene: str | None = None) -> ClfFile:
    """Return the look alone, a scene's trims and overrides included."""
    name = f"{look_stem(look, scene)}_ACES2065-1_to_ACES2065-1.clf"
    return ClfFile(
        Path("clf") / name,
        "look",
        SCENE,
        f"{SCENE}, after the look",
        (*look.graph.trims(scene), *look.graph.look(scene)),
        lambda: {name: light @ AP1_TO_AP0.T for name, light in scene_colours().items()},
        seen_scene(look, scene),
        before=AP0_TO_AP1,
        after=AP1_TO_AP0,
        scene=scene,
    )


def input_file(look: Look, camera: str, scene: str | None = None) -> ClfFile:
    """Return a camera's codes to the scene, its match and its own trims included.

    A scene has a file of its own where its light has a match of its own.
    """
    own = scene if look.recipe.is_matched_apart(camera, scene) else None
    return _of_camera(look, camera, "input", look.graph.camera(camera, own), SCENE, own)


def camera_file(look: Look, camera: str, scene: str | None = None) -> ClfFile:
    """Return a camera's codes to the scene after the look."""
    graph = look.graph
    chain = (*graph.camera(camera, scene), *graph.trims(scene), *graph.look(scene))
    gives = f"{SCENE}, after the look"
    return _of_camera(look, camera, "camera-to-look", chain, gives, scene)


def chain_file(look: Look, camera: str, output: str, scene: str | None = None) -> ClfFile:
    """Return a camera's codes to an output's signal."""
    step, target = look.graph.decoding(camera, scene), look.graph.output(output)
    chain = look.graph.chain(camera, output, scene)
    return ClfFile(
        _folder(camera) / f"{chain_stem(look, camera, output, scene)}.clf",
        "chain",
        f"camera {camera}: {codes_of(look, camera, scene)}",
        signal_of(look, output),
        chain,
        lambda: camera_colours(step),
        Baking.of(chain, step, target).light,
        peak=max(1.0, target.peak / 100.0),
        camera=camera,
        output=output,
        scene=scene,
    )


def _of_camera(
    look: Look, camera: str, part: str, chain: tuple[Op, ...], gives: str, scene: str | None
) -> ClfFile:
    end = "input" if part == "input" else "look"
    step = look.graph.decoding(camera, scene)
    return ClfFile(
        _folder(camera) / f"{camera_stem(look, camera, scene)}_to_ACES2065-1_{end}.clf",
        part,
        f"camera {camera}: {codes_of(look, camera, scene)}",
        gives,
        chain,
        lambda: camera_colours(step),
        seen_scene(look, scene),
        after=AP1_TO_AP0,
        camera=camera,
        scene=scene,
    )


def _folder(camera: str) -> Path:
    return Path("clf") / safe_name(camera)


def write_clf_file(look: Look, file: ClfFile, folder: Path) -> Written:
    """Write one file below `folder`, and measure it as OpenColorIO reads it back.

    Raises
    ------
    LookkitError
        If a step cannot be said by the format, or the disk fails.
    """
    pieces = clf_pieces(file.chain, look.lattices, file.peak)
    clf = Clf([*_primaries(file.before), *transforms_of(pieces), *_primaries(file.after)])
    head = clf_head(look, file.scene, file.takes, file.gives, in_words(pieces, steps=True))
    path = folder / file.path
    path.parent.mkdir(parents=True, exist_ok=True)
    measured = write_measured(look, clf, path, head, file, lattices=has_lattice(pieces))
    return Written(
        path,
        "clf",
        file.part,
        file.camera,
        file.output,
        file.scene,
        f"{file.takes}, in; {file.gives}, out; {in_words(pieces)}",
        *measured,
    )


class Measured(Protocol):
    """What a CLF file should give, and what it is measured on."""

    @property
    def colours(self) -> Callable[[], Mapping[str, Array]]:
        """Gives sets of colours by name, as the file takes them."""
        ...

    @property
    def light(self) -> Light:
        """What a viewer sees of what comes out."""
        ...

    def exact(self, colour: Array) -> Array:
        """Return what the file should give, float64 of shape (..., 3)."""
        ...


def write_measured(
    look: Look, clf: Clf, path: Path, head: ClfHead, aim: Measured, *, lattices: bool
) -> tuple[Mapping[str, float], tuple[str, ...]]:
    """Write a file, measure it as OpenColorIO reads it, and write what was found into it.

    Returns
    -------
    figures, lines
        For the manifest and for people; empty where the recipe wants no certificates.
    """
    deliver = look.recipe.deliver
    clf.write(path, head, deliver.clf_namespace)
    if not deliver.certify:
        return {}, ()
    measured = agreement(as_opencolorio_reads(path), aim.exact, aim.colours(), aim.light)
    told = measured.line(lattices=lattices)
    clf.write(path, head.saying(told), deliver.clf_namespace)
    return measured.figures(), (told,)


def seen_scene(look: Look, scene: str | None) -> Light:
    """Return what a viewer sees of ACES2065-1 on the first output of SDR."""
    name = viewing_output(look)
    rendering, shown = look.graph.rendering(name, scene), of_display(look.graph.output(name))
    return Light(lambda light: shown.xyz(evaluate(rendering, light @ AP0_TO_AP1.T)), shown.white)


def clf_head(look: Look, scene: str | None, takes: str, gives: str, words: str) -> ClfHead:
    """Return what a file of this look says of itself; `words` say what it consists of."""
    recipe = look.recipe
    shown = shown_look(look, scene)
    return ClfHead(
        f"{shown}: {takes} to {gives}",
        takes,
        gives,
        (
            f"look: {shown}, version {recipe.version}, show {recipe.show}",
            words,
            "for viewing and finishing; not an exposure meter",
        ),
        {
            "AppRelease": f"lookkit {__version__}",
            "Revision": str(recipe.version),
            "RecipeSHA256": look.recipe_hash,
        },
    )


def has_lattice(pieces: Sequence[Piece]) -> bool:
    """Say whether any of the pieces is a lattice."""
    return any(piece.size for piece in pieces)


def in_words(pieces: Sequence[Piece], *, steps: bool = False) -> str:
    """Return what a file consists of, for people; with `steps`, also what its lattices hold."""
    lattices = [
        f"a lattice of {one.size} points" + (f" for {one.label}" if steps else "")
        for one in pieces
        if one.size
    ]
    if not lattices:
        return "operations alone, no lattice"
    return f"operations, and {' and '.join(lattices)}"


def transforms_of(pieces: Sequence[Piece]) -> list[OcioTransform]:
    """Return the transforms of all pieces, in order."""
    return [transform for piece in pieces for transform in piece.transforms]


def _primaries(matrix: Array | None) -> list[OcioTransform]:
    return [] if matrix is None else [matrix_transform(matrix)]


def _job(look: Look, file: ClfFile) -> Job:
    return Job(f"clf {file.path.name}", lambda folder: [write_clf_file(look, file, folder)])
