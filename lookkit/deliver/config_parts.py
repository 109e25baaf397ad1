"""The parts that a look adds to an OCIO config.

The look is a look (and one more for each scene that is delivered), the rendering a view
transform, each camera a colour space, each output a display. Steps that OpenColorIO keeps as
numbers stay in the config's text; tables become CLF files beside it, each named after what it
belongs to.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lookkit.deliver.config_ground import Ground
from lookkit.deliver.config_rules import NUMBERS, PICTURES, file_rules, viewing_rules
from lookkit.files import safe_name
from lookkit.lower import lower
from lookkit.lutfile.clf_write import Clf, ClfHead
from lookkit.nodes.base import matrix_transform
from lookkit.nodes.rendering import Rendering
from lookkit.ocio import foldable, library
from lookkit.spaces.encodings import Encoding, encoding
from lookkit.spaces.outputs import Output
from lookkit.spaces.working import AP0_TO_AP1, AP1_TO_AP0, OcioTransform

if TYPE_CHECKING:
    from lookkit.look import Look

XYZ_ID = "ocio:lin_ciexyzd65_display"
"""The interop id of CIE XYZ D65; OpenColorIO 2.6 asks for it to show a config on HDR displays."""
NO_LOOK = "Without the look"
RAW = "Raw"


def look_name(look: Look, scene: str | None) -> str:
    """Return the name that the look, or its variant for a scene, has in the config.

    A look that is called as one of the other views has "look" before it.
    """
    name = look.recipe.name
    if name.casefold() in (RAW.casefold(), NO_LOOK.casefold()):
        name = f"look {name}"
    return name if scene is None else f"{name} in {_plain(scene)}"


def _plain(scene: str) -> str:
    """Return a scene's name, or a shot's setting, in letters that a config's names may have."""
    return re.sub(r"[^A-Za-z0-9 ._/-]+", "-", scene.lstrip("/"))


def display_name(look: Look, output: str) -> str:
    """Return the name that a recipe's output has in the config."""
    name = look.graph.output(output).name
    shared = [one for one in look.outputs if look.graph.output(one).name == name]
    return name if len(shared) == 1 else f"{name} for {output}"


def camera_space(camera: str, scene: str | None) -> str:
    """Return the name of a camera's space; `scene` is one in which it is matched apart."""
    return f"Camera {camera}" if scene is None else f"Camera {camera} in {scene}"


def owner_of(look: Look) -> str:
    """Return what a name of ours gets behind it where a merged config had that name already."""
    return f"{look.recipe.show} {look.recipe.name}"


class Parts:
    """Adds the parts of a look to a config, and their tables to a folder of LUT files."""

    def __init__(self, look: Look, ground: Ground, luts: Path) -> None:
        self.look = look
        self.ground = ground
        self.luts = luts
        self.ocio = library()
        self.owner = owner_of(look)
        self.prefix = f"{safe_name(self.owner)}_" if ground.is_base else ""
        self.cameras: dict[tuple[str, str | None], str] = {}
        self.looks: dict[str | None, str] = {}
        self.displays: dict[str, str] = {}
        self.view_transforms: dict[tuple[Rendering, str, float], str] = {}

    def add(self) -> None:
        """Add everything."""
        self.luts.mkdir(parents=True, exist_ok=True)
        self.ground.config.addSearchPath(self.luts.name)
        if not self.ground.is_base:
            self._working_spaces()
        self._camera_spaces()
        for output in self.look.outputs:
            self._display(output)
        for scene in (None, *self.look.recipe.deliver.scenes):
            self._look(scene)
        self._views()
        if not self.ground.is_base:
            self._roles_and_rules()

    def _working_spaces(self) -> None:
        acescct = encoding("ACEScct")
        to_ap0 = matrix_transform(AP1_TO_AP0)
        self._add_space("ACES2065-1", [], "Linear", encoding("ACES2065-1"))
        self._add_space("ACEScg", [to_ap0], "Linear", encoding("ACEScg"))
        self._add_space("ACEScct", [*acescct.lower(), to_ap0], "Log", acescct)
        raw = self.ocio.ColorSpace(name=RAW, isData=True, family="Data")
        raw.setDescription("Numbers that are not colours.")
        raw.setEncoding("data")
        self.ground.config.addColorSpace(raw)

    def _camera_spaces(self) -> None:
        recipe = self.look.recipe
        for camera in self.look.cameras:
            self._camera_space(camera, None)
            for scene in self.look.scenes:
                if recipe.is_matched_apart(camera, scene):
                    self._camera_space(camera, scene)

    def _camera_space(self, camera: str, scene: str | None) -> None:
        """Add the space of a camera; one of a scene where the scene has a match of its own."""
        step = self.look.graph.input_transform(camera)
        chain = self.look.graph.camera(camera, scene)
        plain = chain == (step,) and step.signal_range == step.encoding.native_range
        steps = [*lower(chain, self.look.lattices), matrix_transform(AP1_TO_AP0)]
        name = self.ground.free(["space"], camera_space(camera, scene), self.owner)
        self.cameras[camera, scene] = name
        aliases = [camera] if scene is None else []
        self._add_space(name, steps, "Cameras", step.encoding, aliases, plain=plain)

    def _add_space(
        self,
        name: str,
        to_aces: Sequence[OcioTransform],
        family: str,
        described: Encoding,
        aliases: Sequence[str] = (),
        *,
        plain: bool = True,
    ) -> None:
        """Add a scene space; `plain` ones are nothing but their encoding, and bear its id."""
        space = self.ocio.ColorSpace(name=name, family=family)
        space.setDescription(f"{described.name}. {described.source}")
        space.setEncoding(
            "scene-linear" if described.scene_linear else "log" if described.is_log else "sdr-video"
        )
        self._alias(space, aliases, described.interop_id if plain else None)
        steps = [self._group(to_aces, name), *self.ground.scene]
        if to_aces or self.ground.scene:
            space.setTransform(self._plain_group(steps), self.ocio.COLORSPACE_DIR_TO_REFERENCE)
        self.ground.config.addColorSpace(space)

    def _alias(self, space: object, aliases: Sequence[str], interop_id: str | None) -> None:
        for alias in (*aliases, interop_id):
            if alias is not None and self.ground.is_free("space", alias):
                space.addAlias(self.ground.free(["space"], alias, self.owner))  # type: ignore[attr-defined]
                if alias == interop_id and not self.ground.is_base:
                    space.setInteropID(alias)  # type: ignore[attr-defined]

    def _display(self, output: str) -> None:
        ocio = self.ocio
        config = self.ground.config
        role = "cie_xyz_d65_interchange"
        if not config.hasRole(role):
            name = self.ground.free(["space"], "CIE XYZ D65", self.owner)
            xyz = ocio.ColorSpace(
                referenceSpace=ocio.REFERENCE_SPACE_DISPLAY, name=name, family="Displays"
            )
            xyz.setDescription("Display light, Y = 1.0 is 100 cd/m2.")
            xyz.setEncoding("display-linear")
            self._alias(xyz, [], XYZ_ID)
            config.addColorSpace(xyz)
            config.setRole(role, name)
        described = self.look.graph.output(output)
        name = self.ground.free(["space", "display"], display_name(self.look, output), self.owner)
        self.displays[output] = name
        space = ocio.ColorSpace(
            referenceSpace=ocio.REFERENCE_SPACE_DISPLAY, name=name, family="Displays"
        )
        space.setDescription(f"{described.source}. {described.range} range.")
        space.setEncoding("hdr-video" if described.is_hdr else "sdr-video")
        self._alias(space, [], described.interop_id if _is_published(described) else None)
        from_xyz = np.asarray(np.linalg.inv(described.limiting.to_xyz()), dtype=np.float64)
        steps = self._group([matrix_transform(from_xyz), *described.lower()], name)
        space.setTransform(
            self._plain_group([*self.ground.from_display, steps]),
            ocio.COLORSPACE_DIR_FROM_REFERENCE,
        )
        config.addColorSpace(space)

    def _look(self, scene: str | None) -> None:
        graph = self.look.graph
        steps = [*graph.trims(scene), *graph.look(scene)]
        name = self.ground.free(["look"], look_name(self.look, scene), self.owner)
        self.looks[scene] = name
        made = self.ocio.Look(name=name, processSpace=self.ground.process)
        lowered = lower(steps, self.look.lattices)
        exact = not any(isinstance(one, self.ocio.Lut3DTransform) for one in lowered)
        inverse = (
            "Its inverse is exact."
            if exact
            else "It holds a 3D LUT, so its inverse is only a search for the nearest colour."
        )
        note = self.look.recipe.note or f"The look {self.look.recipe.name}."
        made.setDescription(f"{note} {inverse}")
        group = self._group(lowered, f"look {name}")
        made.setTransform(
            self._plain_group([*self.ground.to_acescg, group, *self.ground.from_acescg])
        )
        self.ground.config.addLook(made)

    def _views(self) -> None:
        """Add the views; one that is the same on every display is shared."""
        scenes = (None, *self.look.recipe.deliver.scenes)
        views: list[tuple[str, str, dict[str, str]]] = []
        for scene in scenes:
            name = self.looks[scene]
            rendered = {one: self._view_transform(one, scene) for one in self.look.outputs}
            views.append((name, name, rendered))
        rendered = {one: self._view_transform(one, None) for one in self.look.outputs}
        views.append((NO_LOOK, "", rendered))
        for name, look, rendered in views:
            if len(set(rendered.values())) == 1 and not self.ground.is_base:
                self._shared_view(name, next(iter(rendered.values())), look)
            else:
                for output, transform in rendered.items():
                    display = self.displays[output]
                    self.ground.config.addDisplayView(
                        display, name, transform, display, look, self._rule(PICTURES), ""
                    )
        if not self.ground.is_base:
            self.ground.config.addSharedView(RAW, "", RAW, "", NUMBERS, "")
            for display in self.displays.values():
                self.ground.config.addDisplaySharedView(display, RAW)
        self._activate([name for name, _, _ in views])

    def _shared_view(self, name: str, transform: str, look: str) -> None:
        config = self.ground.config
        config.addSharedView(name, transform, "<USE_DISPLAY_NAME>", look, self._rule(PICTURES), "")
        for display in self.displays.values():
            config.addDisplaySharedView(display, name)

    def _rule(self, rule: str) -> str:
        return "" if self.ground.is_base else rule

    def _activate(self, views: Sequence[str]) -> None:
        """Show our displays and views where a config lists what it shows."""
        config = self.ground.config
        if displays := list(config.getActiveDisplays()):
            config.setActiveDisplays(", ".join([*displays, *self.displays.values()]))
        if shown := list(config.getActiveViews()):
            config.setActiveViews(", ".join([*shown, *views]))

    def _view_transform(self, output: str, scene: str | None) -> str:
        """Return the name of the view transform of an output, made when it is first needed."""
        graph = self.look.graph
        display = graph.output(output)
        recipe = self.look.recipe if scene is None else self.look.recipe.in_scene(scene)
        rendering = recipe.rendering_for(output)
        key = (rendering, display.limiting.name, display.peak)
        if key in self.view_transforms:
            return self.view_transforms[key]
        wanted = f"{rendering.kind} {display.limiting.name} {display.peak:g} cd/m2"
        if not self.ground.is_free("view transform", wanted):
            wanted += f" for {scene or output}"
        name = self.ground.free(["view transform"], wanted, self.owner)
        steps = [
            matrix_transform(AP0_TO_AP1),
            *lower(graph.rendering(output, scene), self.look.lattices),
            matrix_transform(display.limiting.to_xyz()),
        ]
        made = self.ocio.ViewTransform(referenceSpace=self.ocio.REFERENCE_SPACE_SCENE, name=name)
        group = self._group(steps, name)
        made.setTransform(
            self._plain_group([*self.ground.from_scene, group, *self.ground.display]),
            self.ocio.VIEWTRANSFORM_DIR_FROM_REFERENCE,
        )
        self.ground.config.addViewTransform(made)
        self.view_transforms[key] = name
        return name

    def _roles_and_rules(self) -> None:
        config = self.ground.config
        roles = {
            "aces_interchange": "ACES2065-1",
            "scene_linear": "ACEScg",
            "color_timing": "ACEScct",
            "compositing_log": "ACEScct",
            "color_picking": "ACEScct",
            "data": RAW,
            "matte_paint": "ACEScct",
            "texture_paint": "ACEScct",
        }
        for role, name in roles.items():
            config.setRole(role, name)
        config.setFileRules(file_rules(self.look.recipe.shots, self.cameras))
        config.setViewingRules(viewing_rules())

    def _group(self, transforms: Sequence[OcioTransform], stem: str) -> OcioTransform:
        """Return one transform in which every table is a file beside the config."""
        ocio = self.ocio
        group = ocio.GroupTransform()
        count = 0
        for transform in transforms:
            if isinstance(transform, ocio.Lut1DTransform | ocio.Lut3DTransform):
                count += 1
                name = f"{self.prefix}{safe_name(stem)}_{count}.clf"
                _write_clf(transform, self.luts / name)
                transform = ocio.FileTransform(src=name, interpolation=ocio.INTERP_BEST)
            group.appendTransform(transform)
        return group

    def _plain_group(self, transforms: Sequence[OcioTransform]) -> OcioTransform:
        """Return transforms as one group, without groups of ours inside."""
        group = self.ocio.GroupTransform()
        for transform in transforms:
            inner = isinstance(transform, self.ocio.GroupTransform)
            forward = self.ocio.TRANSFORM_DIR_FORWARD
            if inner and transform.getDirection() == forward:
                for one in transform:
                    group.appendTransform(one)
            else:
                group.appendTransform(transform)
        return group


def _is_published(output: Output) -> bool:
    """Say whether an output is its standard's signal in full range, as interop ids have it."""
    return output.range == "full" and not output.excursions


def _write_clf(transform: OcioTransform, path: Path) -> None:
    name = path.stem
    head = ClfHead(name, f"what comes before {name}", f"what comes after {name}")
    Clf([foldable(transform)]).write(path, head)
