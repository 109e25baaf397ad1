"""The files that an OCIO config names."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from lookkit.ocio import library


def files_named(config: Any) -> list[str]:
    """Return the file names in all transforms of a config, each once, in order."""
    return sorted({name for one in _transforms(config) for name in _files_in(one)})


def _transforms(config: Any) -> Iterator[Any]:
    """Yield every transform, and None where a part has none in a direction."""
    ocio = library()
    spaces = config.getColorSpaces(ocio.SEARCH_REFERENCE_SPACE_ALL, ocio.COLORSPACE_ALL)
    for space in spaces:
        yield space.getTransform(ocio.COLORSPACE_DIR_TO_REFERENCE)
        yield space.getTransform(ocio.COLORSPACE_DIR_FROM_REFERENCE)
    for look in config.getLooks():
        yield look.getTransform()
        yield look.getInverseTransform()
    for view in config.getViewTransforms():
        yield view.getTransform(ocio.VIEWTRANSFORM_DIR_TO_REFERENCE)
        yield view.getTransform(ocio.VIEWTRANSFORM_DIR_FROM_REFERENCE)
    for named in config.getNamedTransforms(ocio.NAMEDTRANSFORM_ALL):
        yield named.getTransform(ocio.TRANSFORM_DIR_FORWARD)
        yield named.getTransform(ocio.TRANSFORM_DIR_INVERSE)


def _files_in(transform: Any) -> Iterator[str]:
    ocio = library()
    if isinstance(transform, ocio.FileTransform):
        yield transform.getSrc()
    elif isinstance(transform, ocio.GroupTransform):
        for one in transform:
            yield from _files_in(one)
