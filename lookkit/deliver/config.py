"""The OCIO config.

The look is a look (and one more for each scene that is delivered), the rendering a view
transform, each camera a colour space, each output a display. Scene reference is ACES2065-1,
display reference CIE XYZ D65 with 1.0 = 100 cd/m2. Steps that OpenColorIO keeps as numbers stay
in the config's text; tables become CLF files beside it, each named after what it belongs to.
"""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lookkit.deliver.written import Job, Written
from lookkit.errors import LookkitError
from lookkit.files import safe_name, write_beside
from lookkit.lower import lower
from lookkit.nodes.base import matrix_transform
from lookkit.nodes.rendering import Rendering
from lookkit.ocio import library
from lookkit.spaces.encodings import Encoding, encoding
from lookkit.spaces.working import AP0_TO_AP1, AP1_TO_AP0, OcioTransform

if TYPE_CHECKING:
    from lookkit.look import Look

CONFIG_NAME = "config.ocio"
LUTS = "luts"
NO_LOOK = "Without the look"


def write_config(look: Look, folder: Path) -> Path:
    """Write the config, its LUT files and one archive of both into `folder`.

    Returns
    -------
    Path
        The config's path, `folder/config.ocio`; the archive is `folder/config.ocioz`.

    Raises
    ------
    LookkitError
        If OpenColorIO does not accept what was made.
    """
    ocio = library()
    (folder / LUTS).mkdir(parents=True, exist_ok=True)
    config = _Builder(look, folder).build()
    _lowest_version(config)
    path = folder / CONFIG_NAME
    with write_beside(path) as beside:
        beside.write_text(config.serialize(), encoding="utf-8")
    try:
        written = ocio.Config.CreateFromFile(str(path))
        written.validate()
    except ocio.Exception as error:
        raise LookkitError(f"{path}: not accepted by OpenColorIO ({error})") from error
    _write_archive(folder)
    return path


def jobs(look: Look) -> list[Job]:
    """Return the job that writes the config into `ocio/`."""

    def write(folder: Path) -> list[Written]:
        path = write_config(look, folder / "ocio")
        note = "every camera a colour space, every output a display, the look as a view"
        files = (path, path.with_suffix(".ocioz"))
        return [Written(one, "config", "config", note=note) for one in files]

    return [Job("OCIO config", write)]


def _write_archive(folder: Path) -> None:
    """Pack the config and its LUTs as OpenColorIO's own archive: a zip, the config at its root.

    Written here rather than by OpenColorIO so that it is the same bytes every time.
    """
    names = [CONFIG_NAME, *(f"{LUTS}/{path.name}" for path in sorted((folder / LUTS).iterdir()))]
    with (
        write_beside(folder / "config.ocioz") as beside,
        zipfile.ZipFile(beside, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        for name in names:
            entry = zipfile.ZipInfo(name)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, (folder / name).read_bytes())


def look_name(look: Look, scene: str | None) -> str:
    """Return the name that the look, or its variant for a scene, has in the config."""
    return look.recipe.name if scene is None else f"{look.recipe.name} in {scene}"


def display_name(look: Look, output: str) -> str:
    """Return the name that a recipe's output has in the config."""
    name = look.graph.output(output).name
    shared = [one for one in look.outputs if look.graph.output(one).name == name]
    return name if len(shared) == 1 else f"{name} for {output}"


class _Builder:
    """Collects the parts of one config."""

    def __init__(self, look: Look, folder: Path) -> None:
        self.look = look
        self.folder = folder
        self.ocio = library()
        self.config = self.ocio.Config()
        self.view_transforms: dict[tuple[Rendering, str, float], str] = {}

    def build(self) -> Any:
        recipe = self.look.recipe
        config = self.config
        config.setVersion(2, 4)
        config.setName(safe_name(f"{recipe.show}_{recipe.name}"))
        config.setDescription(
            f"{recipe.name}: one look for {', '.join(recipe.cameras) or 'any camera'}."
        )
        config.setSearchPath(LUTS)
        self._scene_spaces()
        self._displays()
        for scene in (None, *recipe.deliver.scenes):
            self._look(scene)
        self._views()
        self._roles()
        return config

    def _scene_spaces(self) -> None:
        recipe = self.look.recipe
        self._add_space("ACES2065-1", [], "Linear", encoding("ACES2065-1"))
        self._add_space("ACEScg", [matrix_transform(AP1_TO_AP0)], "Linear", encoding("ACEScg"))
        acescct = encoding("ACEScct")
        self._add_space("ACEScct", [*acescct.lower(), matrix_transform(AP1_TO_AP0)], "Log", acescct)
        for name in recipe.cameras:
            self._add_camera(f"Camera {name}", name, None, [name])
            for scene in recipe.scenes:
                if self._matched_apart(name, scene):
                    self._add_camera(f"Camera {name} in {scene}", name, scene)
        raw = self.ocio.ColorSpace(name="Raw", isData=True, family="Data")
        raw.setDescription("Numbers that are not colours.")
        self.config.addColorSpace(raw)

    def _matched_apart(self, camera: str, scene: str) -> bool:
        """Whether a camera has another match in a scene than without one."""
        recipe = self.look.recipe
        return camera in recipe.cameras_of(scene) and recipe.match_of(
            camera, scene
        ) != recipe.match_of(camera)

    def _add_camera(
        self, name: str, camera: str, scene: str | None, aliases: Sequence[str] = ()
    ) -> None:
        steps = lower(self.look.graph.camera(camera, scene), self.look.lattices)
        described = self.look.graph.input_transform(camera).encoding
        self._add_space(name, [*steps, matrix_transform(AP1_TO_AP0)], "Cameras", described, aliases)

    def _add_space(
        self,
        name: str,
        to_reference: Sequence[OcioTransform],
        family: str,
        described: Encoding,
        aliases: Sequence[str] = (),
    ) -> None:
        space = self.ocio.ColorSpace(name=name, family=family)
        space.setDescription(f"{described.name}. {described.source}")
        space.setEncoding(
            "scene-linear" if described.scene_linear else "log" if described.is_log else "sdr-video"
        )
        for alias in aliases:
            space.addAlias(alias)
        if to_reference:
            group = self._group(to_reference, name)
            space.setTransform(group, self.ocio.COLORSPACE_DIR_TO_REFERENCE)
        self.config.addColorSpace(space)

    def _displays(self) -> None:
        xyz = self.ocio.ColorSpace(
            referenceSpace=self.ocio.REFERENCE_SPACE_DISPLAY,
            name="CIE XYZ D65",
            family="Displays",
        )
        xyz.setDescription("Display light, Y = 1.0 is 100 cd/m2.")
        xyz.setEncoding("display-linear")
        self.config.addColorSpace(xyz)
        for name in self.look.outputs:
            display = self.look.graph.output(name)
            space = self.ocio.ColorSpace(
                referenceSpace=self.ocio.REFERENCE_SPACE_DISPLAY,
                name=display_name(self.look, name),
                family="Displays",
            )
            space.setDescription(f"{display.source}. {display.range} range.")
            space.setEncoding("hdr-video" if display.is_hdr else "sdr-video")
            from_xyz = np.asarray(np.linalg.inv(display.limiting.to_xyz()), dtype=np.float64)
            steps = [matrix_transform(from_xyz), *display.lower()]
            space.setTransform(
                self._group(steps, space.getName()), self.ocio.COLORSPACE_DIR_FROM_REFERENCE
            )
            self.config.addColorSpace(space)

    def _look(self, scene: str | None) -> None:
        graph = self.look.graph
        steps = [*graph.trims(scene), *graph.look(scene)]
        made = self.ocio.Look(name=look_name(self.look, scene), processSpace="ACEScg")
        made.setDescription(self.look.recipe.note or f"The look {self.look.recipe.name}.")
        made.setTransform(self._group(lower(steps, self.look.lattices), f"look {made.getName()}"))
        self.config.addLook(made)

    def _views(self) -> None:
        scenes = (None, *self.look.recipe.deliver.scenes)
        for name in self.look.outputs:
            display = display_name(self.look, name)
            for scene in scenes:
                view = look_name(self.look, scene)
                rendered = self._view_transform(name, scene)
                self.config.addDisplayView(display, view, rendered, display, looks=view)
            rendered = self._view_transform(name, None)
            self.config.addDisplayView(display, NO_LOOK, rendered, display, looks="")

    def _view_transform(self, output: str, scene: str | None) -> str:
        """Return the name of the view transform of an output, made when it is first needed."""
        graph = self.look.graph
        display = graph.output(output)
        recipe = self.look.recipe if scene is None else self.look.recipe.in_scene(scene)
        rendering = recipe.rendering_for(output)
        key = (rendering, display.limiting.name, display.peak)
        if key in self.view_transforms:
            return self.view_transforms[key]
        name = f"{rendering.kind} {display.limiting.name} {display.peak:g} cd/m2"
        if name in self.view_transforms.values():
            name += f" for {scene or output}"
        steps = [
            matrix_transform(AP0_TO_AP1),
            *lower(graph.rendering(output, scene), self.look.lattices),
            matrix_transform(display.limiting.to_xyz()),
        ]
        made = self.ocio.ViewTransform(referenceSpace=self.ocio.REFERENCE_SPACE_SCENE, name=name)
        made.setTransform(self._group(steps, name), self.ocio.VIEWTRANSFORM_DIR_FROM_REFERENCE)
        self.config.addViewTransform(made)
        self.view_transforms[key] = name
        return name

    def _roles(self) -> None:
        roles = {
            "aces_interchange": "ACES2065-1",
            "cie_xyz_d65_interchange": "CIE XYZ D65",
            "scene_linear": "ACEScg",
            "color_timing": "ACEScct",
            "compositing_log": "ACEScct",
            "color_picking": "ACEScct",
            "data": "Raw",
            "matte_paint": "ACEScct",
            "texture_paint": "ACEScct",
        }
        for role, name in roles.items():
            self.config.setRole(role, name)
        rules = self.ocio.FileRules()
        rules.setDefaultRuleColorSpace("Raw")
        self.config.setFileRules(rules)

    def _group(self, transforms: Sequence[OcioTransform], stem: str) -> OcioTransform:
        """Return one transform in which every table is a file beside the config."""
        ocio = self.ocio
        group = ocio.GroupTransform()
        count = 0
        for transform in transforms:
            if isinstance(transform, ocio.Lut1DTransform | ocio.Lut3DTransform):
                count += 1
                name = f"{safe_name(stem)}_{count}.clf"
                _write_clf(transform, self.folder / LUTS / name, self.config)
                transform = ocio.FileTransform(src=name, interpolation=ocio.INTERP_BEST)
            group.appendTransform(transform)
        return group


def _write_clf(transform: OcioTransform, path: Path, config: Any) -> None:
    ocio = library()
    group = ocio.GroupTransform()
    group.appendTransform(transform)
    with write_beside(path) as beside:
        group.write(formatName="Academy/ASC Common LUT Format", config=config, fileName=str(beside))


def _lowest_version(config: Any) -> None:
    """Set the lowest config version that validates and writes."""
    ocio = library()
    for minor in range(6):
        config.setVersion(2, minor)
        try:
            config.validate()
            config.serialize()
        except ocio.Exception:
            continue
        return
    config.validate()
