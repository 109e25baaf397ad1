"""How far an OCIO config is from the exact graph: every camera, output and scene, as it is read."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from lookkit.accuracy.truth import Light, steady
from lookkit.deliver.agreement import Agreement, agreement, camera_colours
from lookkit.deliver.config_parts import camera_space, display_name, look_name, owner_of
from lookkit.evaluate import evaluator
from lookkit.lattice.of_graph import light_of
from lookkit.ocio import Processor, library
from lookkit.spaces.working import Array

if TYPE_CHECKING:
    from lookkit.look import Look


@dataclass(frozen=True, eq=False)
class Way:
    """A camera's way to an output, by the names that it has in a config; see `Measured`."""

    camera: str
    output: str
    scene: str | None
    space: str
    display: str
    view: str
    colours: Callable[[], Mapping[str, Array]]
    light: Light
    exact: Callable[[Array], Array]

    def signal(self, values: Array) -> Array:
        """Return the signal as it is."""
        return values

    def __str__(self) -> str:
        return f"camera {self.camera}, {self.output}, view {self.view}"

    def read(self, config: Any) -> Callable[[Array], Array]:
        """Return what OpenColorIO makes of codes through this way.

        Raises
        ------
        PyOpenColorIO.Exception
            If the config lacks a part of it.
        """
        forward = library().TRANSFORM_DIR_FORWARD
        processor = config.getProcessor(self.space, self.display, self.view, forward)
        return steady(Processor.of(processor).apply_exact)


def ways(look: Look, config: Any) -> Iterator[Way]:
    """Yield all the ways of a look through a config that holds it."""
    ocio = library()
    spaces = set(config.getColorSpaceNames(ocio.SEARCH_REFERENCE_SPACE_ALL, ocio.COLORSPACE_ALL))
    displays, looks = set(config.getDisplays()), set(config.getLookNames())

    def ours(name: str, names: set[str]) -> str:
        renamed = f"{name} ({owner_of(look)})"
        return renamed if renamed in names else name

    for camera in look.cameras:
        for scene in (None, *look.recipe.deliver.scenes):
            if scene is not None and camera not in look.recipe.cameras_of(scene):
                continue
            apart = scene if look.recipe.is_matched_apart(camera, scene) else None
            for output in look.outputs:
                yield Way(
                    camera,
                    output,
                    scene,
                    ours(camera_space(camera, apart), spaces),
                    ours(display_name(look, output), displays),
                    ours(look_name(look, scene), looks),
                    _colours(look, camera, scene),
                    light_of(look.graph.output(output)),
                    _exact(look, camera, output, scene),
                )


def _colours(look: Look, camera: str, scene: str | None) -> Callable[[], Mapping[str, Array]]:
    step = look.graph.decoding(camera, scene)
    return lambda: camera_colours(step)


def _exact(look: Look, camera: str, output: str, scene: str | None) -> Callable[[Array], Array]:
    chain = look.graph.chain(camera, output, scene)
    return steady(evaluator(chain))


def measured(look: Look, config: Any) -> dict[Way, Agreement]:
    """Return how far each way through a config is from the exact graph."""
    return {way: agreement(way.read(config), way) for way in ways(look, config)}


def worst_of(found: Mapping[Way, Agreement]) -> dict[str, float]:
    """Return the largest of each figure over all ways, for the manifest."""
    worst: dict[str, float] = {}
    for one in found.values():
        for key, value in one.figures().items():
            worst[key] = max(value, worst.get(key, 0.0))
    return worst


def told(found: Mapping[Way, Agreement]) -> str:
    """Return for people where a config is farthest from the exact graph, on pictures."""
    if not found:
        return ""
    way, one = max(found.items(), key=lambda item: item[1].codes["image-like"])
    return f"{len(found)} ways from a camera to an output, the farthest {way}: " + one.line(
        lattices=True
    )
