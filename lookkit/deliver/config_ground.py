"""What the parts of a look are added to: an empty OCIO config, or a config that exists.

Ours are made for the references ACES2065-1 (scene) and CIE XYZ D65 (display). A config that
exists may have others; its interchange roles say how to get to them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from lookkit.errors import InputError
from lookkit.nodes.base import matrix_transform
from lookkit.ocio import library
from lookkit.spaces.working import AP0_TO_AP1, AP1_TO_AP0, OcioTransform

ROLES: Final = (
    "aces_interchange", "cie_xyz_d65_interchange", "color_picking", "color_timing",
    "compositing_log", "data", "default", "matte_paint", "reference", "rendering", "scene_linear",
    "texture_paint",
)  # fmt: skip
"""The roles of a config (OpenColorIO's documentation): no space or alias may be called so."""
OWN_SPACES: Final = ("ACES2065-1", "ACEScg", "ACEScct", "Raw", "raw", "CIE XYZ D65")
RESERVED: Final = (*ROLES, *OWN_SPACES)
"""Names that a camera's space keeps as its own name only with the word `Camera` before it."""


@dataclass(frozen=True)
class Ground:
    """A config, the ways from our references to its own, and the names that it uses.

    Attributes
    ----------
    config
        The OpenColorIO config that parts are added to.
    is_base
        Whether it is somebody's, whose names and rules stay as they are.
    scene, from_scene
        ACES2065-1 to its scene reference, and back.
    display, from_display
        CIE XYZ D65, 1.0 = 100 cd/m2, to its display reference, and back.
    process
        The space in which a look is applied, and what leads from there to ACEScg and back.
    """

    config: Any
    is_base: bool
    scene: tuple[OcioTransform, ...] = ()
    from_scene: tuple[OcioTransform, ...] = ()
    display: tuple[OcioTransform, ...] = ()
    from_display: tuple[OcioTransform, ...] = ()
    process: str = "ACEScg"
    to_acescg: tuple[OcioTransform, ...] = ()
    from_acescg: tuple[OcioTransform, ...] = ()
    taken: dict[str, set[str]] = field(default_factory=dict)

    @classmethod
    def empty(cls) -> Ground:
        """Return a new config."""
        config = library().Config()
        config.setVersion(2, 4)
        return cls(config, is_base=False, taken={"space": {name.casefold() for name in RESERVED}})

    @classmethod
    def over(cls, base: Any, source: str) -> Ground:
        """Return a copy of an OpenColorIO config to add to; `source` is named in errors.

        Raises
        ------
        InputError
            If it is of version 1, or does not say how its references relate to ours.
        """
        ocio = library()
        config = ocio.Config.CreateFromStream(base.serialize())
        config.setWorkingDir(base.getWorkingDir())
        if config.getMajorVersion() < 2:
            raise InputError(
                f"{source}: config version {config.getMajorVersion()}, expected 2 or later, which "
                "knows view transforms"
            )
        scene = _interchange(config, "aces_interchange")
        if scene is None:
            raise InputError(
                f"{source}: no role aces_interchange, expected one, to know what its scene "
                "reference is"
            )
        display = _interchange(config, "cie_xyz_d65_interchange")
        if display is None and _has_display_spaces(config):
            raise InputError(
                f"{source}: no role cie_xyz_d65_interchange, expected one, to know what its "
                "display reference is"
            )
        display = display or ((), ())
        process = config.getCanonicalName(config.getRoleColorSpace("aces_interchange"))
        return cls(
            config,
            is_base=True,
            scene=scene[0],
            from_scene=scene[1],
            display=display[0],
            from_display=display[1],
            process=process,
            to_acescg=(matrix_transform(AP0_TO_AP1),),
            from_acescg=(matrix_transform(AP1_TO_AP0),),
            taken=_names(config),
        )

    def free(self, kinds: Sequence[str], name: str, owner: str) -> str:
        """Return `name`, or a longer one where the config has it, and keep it as taken."""
        tried = name
        count = 1
        while any(tried.casefold() in self.taken.get(kind, ()) for kind in kinds):
            tried = f"{name} ({owner})" if count == 1 else f"{name} ({owner} {count})"
            count += 1
        for kind in kinds:
            self.taken.setdefault(kind, set()).add(tried.casefold())
        return tried

    def is_free(self, kind: str, name: str) -> bool:
        """Say whether the config has nothing of this name, letter case aside."""
        return name.casefold() not in self.taken.get(kind, ())


def _interchange(
    config: Any, role: str
) -> tuple[tuple[OcioTransform, ...], tuple[OcioTransform, ...]] | None:
    """Return the transforms from a role's space to the reference and back; None without it."""
    ocio = library()
    if not config.hasRole(role):
        return None
    space = config.getColorSpace(config.getRoleColorSpace(role))
    forward = space.getTransform(ocio.COLORSPACE_DIR_TO_REFERENCE)
    back = space.getTransform(ocio.COLORSPACE_DIR_FROM_REFERENCE)
    if forward is None and back is None:
        return (), ()
    return (
        (forward if forward is not None else _inverse(back),),
        (back if back is not None else _inverse(forward),),
    )


def _inverse(transform: OcioTransform) -> OcioTransform:
    ocio = library()
    group = ocio.GroupTransform()
    group.appendTransform(transform)
    group.setDirection(ocio.TRANSFORM_DIR_INVERSE)
    return group


def _spaces(config: Any, reference: Any) -> list[str]:
    return list(config.getColorSpaceNames(reference, library().COLORSPACE_ALL))


def _has_display_spaces(config: Any) -> bool:
    return bool(_spaces(config, library().SEARCH_REFERENCE_SPACE_DISPLAY))


def _names(config: Any) -> dict[str, set[str]]:
    """Return the names that a config uses, by kind, without letter case."""
    ocio = library()
    names = _spaces(config, ocio.SEARCH_REFERENCE_SPACE_ALL)
    aliases = [alias for name in names for alias in config.getColorSpace(name).getAliases()]
    named = list(config.getNamedTransformNames(ocio.NAMEDTRANSFORM_ALL))
    used = {
        "space": [*names, *aliases, *named, *config.getRoleNames()],
        "look": list(config.getLookNames()),
        "view transform": list(config.getViewTransformNames()),
        "display": list(config.getDisplays()),
    }
    return {kind: {name.casefold() for name in found} for kind, found in used.items()}
