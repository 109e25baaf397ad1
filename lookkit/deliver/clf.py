"""The CLF files: cameras, look and outputs as operations to take apart.

Each step has its file, and the files follow on each other: a camera's codes to the scene, the
scene to the scene after the look, that to an output's signal. The scene is ACES2065-1, as in look
modification transforms. On request (`clf-chain`) a camera's whole way to an output is one file.
What the format can say stays an operation (`clf_steps.py`); a file's descriptions say what is a
lattice, and how far the file is from the exact look.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lookkit.accuracy.truth import Light
from lookkit.deliver.acescct import of_display, viewing_output
from lookkit.deliver.agreement import (
    Measured,
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
from lookkit.evaluate import evaluator
from lookkit.files import safe_name
from lookkit.lattice.of_graph import light_of
from lookkit.lower import Lattices
from lookkit.lutfile.clf_write import Clf, ClfHead
from lookkit.nodes.base import Op, matrix_transform
from lookkit.piece import Piece
from lookkit.spaces.working import AP0_TO_AP1, AP1_TO_AP0, Array, OcioTransform
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

SCENE: Final = "ACES2065-1, scene-linear, mid-grey 0.18"


def _as_it_is(values: Array) -> Array:
    return values


@dataclass(frozen=True)
class ClfFile:
    """One file to be written.

    Attributes
    ----------
    part
        As in `Written`: "input", "look", "output" or "chain".
    before, chain, after
        What the file does: the chain, between changes of primaries that the file adds.
    colours, light, signal
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
    signal: Callable[[Array], Array] = _as_it_is
    before: Array | None = None
    after: Array | None = None
    peak: float = 1.0
    camera: str | None = None
    output: str | None = None
    scene: str | None = None

    @cached_property
    def _run(self) -> Callable[[Array], Array]:
        return evaluator(self.chain)

    def exact(self, colour: Array) -> Array:
        """Return what the file should give, float64 of shape (..., 3)."""
        if self.before is not None:
            colour = colour @ self.before.T
        out = self._run(colour)
        return out if self.after is None else out @ self.after.T

    def transforms(self, known: Lattices) -> list[OcioTransform]:
        """Return the operations that the file is to hold; `known` as for `clf_pieces`."""
        pieces = clf_pieces(self.chain, known, self.peak)
        return [*_primaries(self.before), *transforms_of(pieces), *_primaries(self.after)]


def jobs(look: Look) -> list[Job]:
    """Return the jobs for the look, each camera's input, and each output."""
    return [_job(look, file) for file in files(look)]


def chain_jobs(look: Look) -> list[Job]:
    """Return the jobs for each camera's whole way to each output in one file."""
    return [_job(look, file) for file in chain_files(look)]


def files(look: Look) -> list[ClfFile]:
    """Return the files of the look, of inputs and of outputs; paths relative to the folder.

    A scene has an output file of its own where it changes the rendering.
    """
    scenes = (None, *look.recipe.deliver.scenes)
    found = [look_file(look, scene) for scene in scenes]
    for camera in look.cameras:
        for scene in scenes_of(look, camera):
            if scene is None or look.recipe.is_matched_apart(camera, scene):
                found.append(input_file(look, camera, scene))
    for output in look.outputs:
        plain = look.graph.rendering(output)
        for scene in scenes:
            if scene is None or look.graph.rendering(output, scene) != plain:
                found.append(output_file(look, output, scene))
    return found


def chain_files(look: Look) -> list[ClfFile]:
    """Return a file for each camera, output and scene; paths relative to the folder."""
    return [
        chain_file(look, camera, output, scene)
        for camera in look.cameras
        for scene in scenes_of(look, camera)
        for output in look.outputs
    ]


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
        signal=scene_signal(look, scene),
        before=AP0_TO_AP1,
        after=AP1_TO_AP0,
        scene=scene,
    )


def input_file(look: Look, camera: str, scene: str | None = None) -> ClfFile:
    """Return a camera's codes to the scene, its match and its own trims included.

    A scene has a file of its own where its light has a match of its own.
    """
    own = scene if look.recipe.is_matched_apart(camera, scene) else None
    step = look.graph.decoding(camera, own)
    return ClfFile(
        _folder(camera) / f"{camera_stem(look, camera, own)}_to_ACES2065-1_input.clf",
        "input",
        f"camera {camera}: {codes_of(look, camera, own)}",
        SCENE,
        look.graph.camera(camera, own),
        lambda: camera_colours(step),
        seen_scene(look, own),
        signal=scene_signal(look, own),
        after=AP1_TO_AP0,
        camera=camera,
        scene=own,
    )


def output_file(look: Look, output: str, scene: str | None = None) -> ClfFile:
    """Return the scene after the look to an output's signal.

    A scene has a file of its own where its overrides change the rendering.
    """
    graph = look.graph
    target = graph.output(output)
    rendering = graph.rendering(output, scene)
    own = scene if rendering != graph.rendering(output) else None
    who = () if own is None else (own,)
    name = "_".join(
        safe_name(part) for part in (*who, "ACES2065-1_to", output, target.name, target.range)
    )
    steps = graph.look(own)
    return ClfFile(
        Path("clf") / f"{name}.clf",
        "output",
        f"{SCENE}, after the look",
        signal_of(look, output),
        (*rendering, *graph.output_steps(output)),
        lambda: {
            name: evaluator(steps)(light) @ AP1_TO_AP0.T for name, light in scene_colours().items()
        },
        light_of(target),
        before=AP0_TO_AP1,
        peak=max(1.0, target.peak / 100.0),
        output=output,
        scene=own,
    )


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
        light_of(target),
        peak=max(1.0, target.peak / 100.0),
        camera=camera,
        output=output,
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
    clf, head, pieces = made_of(look, file, look.lattices)
    path = folder / file.path
    path.parent.mkdir(parents=True, exist_ok=True)
    measured = write_measured(look, clf, path, head, file, lattices=has_lattice(pieces))
    return Written(
        path,
        "clf-chain" if file.part == "chain" else "clf",
        file.part,
        file.camera,
        file.output,
        file.scene,
        f"{file.takes}, in; {file.gives}, out; {in_words(pieces)}",
        *measured,
    )


def made_of(look: Look, file: ClfFile, known: Lattices) -> tuple[Clf, ClfHead, list[Piece]]:
    """Return a file's operations, its head before it is measured, and the pieces of its chain.

    Parameters
    ----------
    known
        Where its lattices are made and kept.

    Raises
    ------
    LookkitError
        If a step cannot be said by the format.
    """
    pieces = clf_pieces(file.chain, known, file.peak)
    clf = Clf([*_primaries(file.before), *transforms_of(pieces), *_primaries(file.after)])
    head = clf_head(look, file.scene, file.takes, file.gives, in_words(pieces, steps=True))
    return clf, head, pieces


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
    measured = agreement(as_opencolorio_reads(path), aim)
    told = measured.line(lattices=lattices)
    clf.write(path, head.saying(told), deliver.clf_namespace)
    return measured.figures(), (told,)


def seen_scene(look: Look, scene: str | None) -> Light:
    """Return what a viewer sees of ACES2065-1 on the first output of SDR."""
    name = viewing_output(look)
    shown, rendered = (
        of_display(look.graph.output(name)),
        evaluator(look.graph.rendering(name, scene)),
    )
    return Light(lambda light: shown.xyz(rendered(light @ AP0_TO_AP1.T)), shown.white)


def scene_signal(look: Look, scene: str | None) -> Callable[[Array], Array]:
    """Return what makes of ACES2065-1 the signal of the first output in SDR."""
    name = viewing_output(look)
    signal = evaluator((*look.graph.rendering(name, scene), *look.graph.output_steps(name)))
    return lambda light: signal(light @ AP0_TO_AP1.T)


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
        f"a 3D LUT of {one.size} points" + (f" for {one.label}" if steps else "")
        for one in pieces
        if one.size
    ]
    if not lattices:
        return "operations alone, no 3D LUT"
    return f"operations, and {' and '.join(lattices)}"


def transforms_of(pieces: Sequence[Piece]) -> list[OcioTransform]:
    """Return the transforms of all pieces, in order."""
    return [transform for piece in pieces for transform in piece.transforms]


def _primaries(matrix: Array | None) -> list[OcioTransform]:
    return [] if matrix is None else [matrix_transform(matrix)]


def _job(look: Look, file: ClfFile) -> Job:
    return Job(f"clf {file.path.name}", lambda folder: [write_clf_file(look, file, folder)])
