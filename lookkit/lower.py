"""The fast and portable form of a chain: OpenColorIO transforms."""

from __future__ import annotations

from collections.abc import Sequence

from lookkit.errors import LookkitError
from lookkit.nodes.base import Op
from lookkit.spaces.working import OcioTransform


def lower(chain: Sequence[Op]) -> list[OcioTransform]:
    """Return `chain` as OpenColorIO transforms.

    Raises
    ------
    LookkitError
        Naming the step that OpenColorIO cannot express.
    """
    transforms: list[OcioTransform] = []
    for op in chain:
        lowered = op.lower()
        if lowered is None:
            raise LookkitError(f"{op.label!r} cannot be expressed as OpenColorIO operations")
        transforms += lowered
    return transforms
