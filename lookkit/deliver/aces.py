"""The look for ACES pipelines: a look modification transform before the ACES 2 output.

    out = ACEScct(ACES 2^-1(print(look(ACEScct^-1(in)))))

Whatever is put after it is the ACES 2 output for Rec.709 of 100 cd/m2, which then shows what the
look's own rendering shows on Rec.709. Where the rendering is ACES 2 itself, the transform is the
look alone. As .cube and as CLF in ACEScct; the CLF once more from and to ACES2065-1, as metadata
files want it. All three carry one lattice; the look alone stays operations in the CLFs.

It holds for that output, and nearly for others in SDR. For a higher peak, ACES 2 opens highlights
in its own way, not as the print does on such a display. It cannot hold for light outside Rec.709
or above 100 cd/m2, which the output cannot show; a print gives none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.truth import Light
from lookkit.deliver import acescct
from lookkit.deliver.agreement import scene_colours
from lookkit.deliver.certified import certified
from lookkit.deliver.clf import SCENE, clf_head, in_words, transforms_of
from lookkit.deliver.clf_steps import clf_pieces
from lookkit.deliver.names import look_stem, shown_look
from lookkit.deliver.written import Job, Written
from lookkit.evaluate import evaluator
from lookkit.lattice.of_graph import Baking
from lookkit.lower import Lattices
from lookkit.lutfile.clf_write import Clf, ClfHead
from lookkit.nodes.aces_2 import Aces2, Aces2Output
from lookkit.nodes.base import Op, matrix_transform
from lookkit.nodes.rendering import Rendering
from lookkit.ocio import Processor, lattice_transform, library
from lookkit.piece import Piece
from lookkit.spaces.encodings import encoding
from lookkit.spaces.outputs import Output, output
from lookkit.spaces.working import AP0_TO_AP1, AP1_TO_AP0, Array, OcioTransform

if TYPE_CHECKING:
    from lookkit.look import Look

FOLDER: Final = "aces"
SIZE: Final = 65
SHOWN: Final = "Rec.709 BT.1886"
"""The output that the transform is made for: ACES 2 for Rec.709, 100 cd/m2."""
_WHAT: Final = f"a look modification transform, to be followed by ACES 2 for {SHOWN}, 100 cd/m2"
_ELSEWHERE: Final = ("P3-D65 2.6", "Rec.2100 PQ 1000 P3")
_HAIR: Final = 1e-4
_OFF: Final = 1.0
"""Delta E 2000 from which on a colour counts as not held."""


def jobs(look: Look) -> list[Job]:
    """Return one job for the look, and one for each delivered scene."""
    return [_job(look, scene) for scene in (None, *look.recipe.deliver.scenes)]


@dataclass(frozen=True)
class RoundTrip:
    """What ACES 2 makes of its own inverse: Delta E 2000 against the light that was wanted.

    Attributes
    ----------
    p999, largest
        Over all audited scenes.
    lost
        The share of them that is more than one Delta E off.
    brightest, beyond
        The most light that was wanted, 1.0 = 100 cd/m2, and the share that lies outside 0-1.
    elsewhere
        By other outputs, mean and 99 % of Delta E 2000 of pictures through ACES 2 for them, against
        the look's own rendering there.
    """

    p999: float
    largest: float
    lost: float
    brightest: float
    beyond: float
    elsewhere: Mapping[str, tuple[float, float]]

    def __str__(self) -> str:
        others = "; ".join(
            f"{name}: mean {mean:.2f}, 99 % {p99:.2f}"
            for name, (mean, p99) in self.elsewhere.items()
        )
        return (
            f"ACES 2 and its inverse, without a 3D LUT: Delta E 2000 99.9 % {self.p999:.3f}, "
            f"largest {self.largest:.2f}, {self.lost:.2%} of colours not held (more than 1); "
            f"{self.beyond:.2%} of the light is outside Rec.709 or above its peak, the brightest "
            f"at {100.0 * self.brightest:.1f} cd/m2; through ACES 2 for other outputs, pictures "
            f"differ from the look's own rendering there ({others})"
        )


class LookTransform:
    """The look modification transform of a look, or of its form in a scene."""

    def __init__(self, look: Look, scene: str | None = None) -> None:
        self.scene = scene
        self.steps: tuple[Op, ...] = (*look.graph.trims(scene), *look.graph.look(scene))
        self.rendering = rendering_of(look, scene)
        self.shown: Output = output(SHOWN)
        self._look = evaluator(self.steps)
        self._rendered: dict[Output, Callable[[Array], Array]] = {}

    @property
    def is_the_look_alone(self) -> bool:
        """Whether the rendering is ACES 2 itself, so that nothing has to be turned round."""
        return isinstance(self.rendering, Aces2)

    @cached_property
    def aces(self) -> Aces2Output:
        """The ACES 2 output, from scene light to light of Rec.709."""
        (made,) = Aces2().ops_for(self.shown)
        assert isinstance(made, Aces2Output)
        return made

    @cached_property
    def _undo(self) -> Processor:
        ocio = library()
        builtin = ocio.BuiltinTransform(style=self.aces.style)
        builtin.setDirection(ocio.TRANSFORM_DIR_INVERSE)
        to_xyz = matrix_transform(self.shown.limiting.to_xyz())
        return Processor([to_xyz, builtin, matrix_transform(AP0_TO_AP1)])

    def light(self, scene_light: Array, shown: Output | None = None) -> Array:
        """Return what the look's own rendering shows on Rec.709 or another output."""
        shown = shown or self.shown
        if shown not in self._rendered:
            self._rendered[shown] = evaluator((*self.steps, *self.rendering.ops_for(shown)))
        return self._rendered[shown](scene_light)

    def exact(self, code: Array) -> Array:
        """Return the transform, ACEScct to ACEScct, shape (..., 3)."""
        scene_light = acescct.decode(code)
        if self.is_the_look_alone:
            return acescct.encode(self._look(scene_light))
        light = np.clip(self.light(scene_light), 0.0, 1.0)
        return acescct.encode(self._undo.apply_exact(light))

    @property
    def viewed(self) -> Light:
        """What a viewer sees of ACEScct codes through ACES 2."""
        return acescct.viewed([self.aces], self.shown)

    def round_trip(self) -> RoundTrip:
        """Return how far ACES 2 shows what was wanted, over the audited scenes."""
        colours = scene_colours()
        every = np.concatenate(list(colours.values()))
        wanted = self.light(every)
        wrong = self._off(every, self.shown)
        elsewhere = {}
        for name in _ELSEWHERE:
            off = self._off(colours["image-like"], output(name))
            elsewhere[name] = (float(off.mean()), float(np.quantile(off, 0.99)))
        outside = ((wanted < -_HAIR) | (wanted > 1.0 + _HAIR)).any(axis=-1)
        return RoundTrip(
            float(np.quantile(wrong, 0.999)),
            float(wrong.max()),
            float((wrong > _OFF).mean()),
            float(wanted.max()),
            float(outside.mean()),
            elsewhere,
        )

    def _off(self, colours: Array, shown: Output) -> Array:
        """Return Delta E 2000 between ACES 2 behind the transform and the look's rendering."""
        light = acescct.of_display(shown)
        (aces,) = Aces2().ops_for(shown)
        got = aces.evaluate(acescct.decode(self.exact(acescct.encode(colours))))
        return delta_e_2000(light.lab(self.light(colours, shown)), light.lab(got))

    def baking(self) -> Baking:
        """Return what the lattice is baked from."""
        return acescct.baking(self.exact, self.viewed, lambda code: code, lambda code: code)


def rendering_of(look: Look, scene: str | None) -> Rendering:
    """Return the rendering to be reproduced: the first film print in SDR, else the recipe's."""
    recipe = look.recipe if scene is None else look.recipe.in_scene(scene)
    for name in look.outputs:
        found = recipe.rendering_for(name)
        if not look.graph.output(name).is_hdr and not isinstance(found, Aces2):
            return found
    return recipe.rendering


def _job(look: Look, scene: str | None) -> Job:
    def write(folder: Path) -> list[Written]:
        place = folder / FOLDER
        place.mkdir(parents=True, exist_ok=True)
        return write_transform(look, scene, place)

    return Job(f"aces {look_stem(look, scene)}", write)


def write_transform(look: Look, scene: str | None, folder: Path) -> list[Written]:
    """Write the transform as .cube and as two CLF files, all from one fit.

    Raises
    ------
    LookkitError
        If the disk fails.
    """
    deliver = look.recipe.deliver
    transform = LookTransform(look, scene)
    source = transform.baking()
    stem = look_stem(look, scene)
    told: tuple[str, ...] = ()
    figures: dict[str, object] = {}
    if not transform.is_the_look_alone:
        trip = transform.round_trip()
        told = (str(trip),)
        figures["round trip"] = {
            "99.9 %": round(trip.p999, 4), "largest": round(trip.largest, 3), "lost": trip.lost,
            **{f"{name} mean": round(mean, 3) for name, (mean, _) in trip.elsewhere.items()},
        }  # fmt: skip
    made = source.bake(SIZE, fit=deliver.fit)
    cube = folder / f"{stem}_lmt_ACEScct_{SIZE}.cube"
    values = acescct.write_lattice(look, made, cube, *cube_head(look, scene, told))
    found = certified(deliver, source, values, cube)
    figures |= found.figures
    told = (*told, *found.lines)
    note = f"ACEScct in and out, {_WHAT}"
    one = Written(cube, "aces", "lmt", None, None, scene, note, figures, told, found.over_budget)
    written = [one]
    for space, clf, head in clfs(look, transform, values, look.lattices):
        path = folder / f"{stem}_lmt_{space}.clf"
        clf.write(path, head.saying(*told), deliver.clf_namespace)
        written.append(replace(one, path=path, over_budget=(), note=f"{space} in and out, {_WHAT}"))
    return written


def cube_head(
    look: Look, scene: str | None, told: Sequence[str] = ()
) -> tuple[str, tuple[str, ...]]:
    """Return the title and the comments of the .cube; `told` is what was measured."""
    return f"{shown_look(look, scene)}: before ACES 2", (_WHAT, *told)


def clfs(
    look: Look, transform: LookTransform, values: Array, known: Lattices
) -> Iterator[tuple[str, Clf, ClfHead]]:
    """Yield the space, the operations and the head before it is measured of both CLF files.

    Parameters
    ----------
    values
        The fitted lattice, used where the whole look is one.
    known
        Where the lattices of the look's own steps are made and kept.
    """
    if transform.is_the_look_alone:
        pieces = clf_pieces(transform.steps, known)
    else:
        pieces = [Piece("the whole look", (lattice_transform(values),), values.shape[0])]
    words = in_words(pieces, steps=True)
    for space, takes, steps in _forms(pieces, inside=not transform.is_the_look_alone):
        head = clf_head(look, transform.scene, takes, f"{takes}, for ACES 2", words)
        yield space, Clf(steps), head.saying(_WHAT)


def _forms(pieces: list[Piece], *, inside: bool) -> list[tuple[str, str, list[OcioTransform]]]:
    """Return name, description and operations of the two CLFs.

    Parameters
    ----------
    inside
        Whether the pieces take ACEScct; else scene light, AP1.
    """
    space = encoding(acescct.SPACE)
    to_light, to_code = space.lower(), space.lower_inverse()
    steps = transforms_of(pieces)
    as_code = steps if inside else [*to_light, *steps, *to_code]
    as_light = [*to_code, *steps, *to_light] if inside else steps
    wide = [matrix_transform(AP0_TO_AP1), *as_light, matrix_transform(AP1_TO_AP0)]
    return [("ACEScct", "ACEScct", as_code), ("ACES2065-1", SCENE, wide)]
