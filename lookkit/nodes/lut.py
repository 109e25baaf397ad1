r"""An imported LUT, with the encoding it expects and the encoding it gives.

    code = encode_expects(in)
    out  = decode_returns(LUT(code))

The file is a .cube or a .clf; `expects` and `returns` name encodings, for a LUT file does not
say what its numbers mean. A .cube is read strictly (every fault by its line) and evaluated
in float64: curves linearly, lattices by tetrahedral interpolation. A .clf is evaluated as
OpenColorIO does, in float32 and with the interpolation that the file declares: here that is
the truth itself. A lattice above 129 points cannot be lowered.

Out of its domain (0-1, or what the file states) a .cube is clamped channel by channel, as LUT
readers do: light beyond, negatives included, comes out as the light at the edge.
`count_outside` counts such pixels. A .clf clamps where its own operations do. No inverse is
offered.

`file` is looked for in the recipe's folder; an absolute path is accepted too. It is only read.

Sources: .cube 1.0; CLF, SMPTE ST 2136-1; tetrahedral interpolation, see
`accuracy/interpolate.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal, Protocol

import numpy as np
import numpy.typing as npt
from pydantic import AfterValidator, PrivateAttr, ValidationInfo, model_validator
from pydantic_core import PydanticCustomError

from lookkit.errors import InputError, LutFileError, UnknownNameError
from lookkit.nodes.base import Node, error_at, param, scale_offset
from lookkit.ocio import Processor, library
from lookkit.spaces.encodings import encoding
from lookkit.spaces.working import Array, OcioTransform

if TYPE_CHECKING:
    from lookkit.lutfile.model import Curve, Lattice, Stage

FORMATS = (".cube", ".clf")
LARGEST_LOWERED = 129
"""Points along an edge of the largest lattice that OpenColorIO takes."""


def _known(name: str) -> str:
    try:
        encoding(name)
    except UnknownNameError as error:
        raise PydanticCustomError(
            "unknown_name",
            "unknown encoding '{name}', expected {choices}",
            {"name": name, "choices": error.expected},
        ) from error
    return name


EncodingName = Annotated[str, AfterValidator(_known)]


class Lut(Node):
    """Run the light through a LUT file."""

    example: ClassVar[str] = """
        [[look]]
        kind = "lut"
        file = "luts/print.cube"
        expects = "LogC4"
        returns = "ACEScct"
    """

    kind: Literal["lut"] = "lut"
    file: str = param(..., "a .cube or .clf, in the recipe's folder or with its full path")
    expects: EncodingName = param(..., "the encoding of what goes into the LUT")
    returns: EncodingName = param(..., "the encoding of what comes out of the LUT")
    _folder: Path = PrivateAttr(default=Path())

    @model_validator(mode="after")
    def _readable(self, info: ValidationInfo) -> Lut:
        self._folder = (info.context or {}).get("folder", Path())
        try:
            self._content()
        except LutFileError as error:
            first, more = error.problems[0], len(error.problems) - 1
            rest = f" (and {more} more)" if more else ""
            raise error_at(("file",), f"{first}{rest}", self.file) from error
        except InputError as error:
            raise error_at(("file",), str(error), self.file) from error
        return self

    @property
    def path(self) -> Path:
        """Where the file is."""
        return self._folder / self.file

    def _content(self) -> Content:
        return content_of(self.path)

    def evaluate(self, rgb: Array) -> Array:
        """Return the light that the LUT makes of it."""
        code = encoding(self.expects).encode(rgb)
        return encoding(self.returns).decode(self._content().apply(code))

    def count_outside(self, rgb: Array) -> int:
        """Return how many pixels lie outside the LUT's domain and are held at its edge."""
        code = encoding(self.expects).encode(rgb)
        return int(self._content().outside(code).sum())

    def lower(self) -> list[OcioTransform] | None:
        """Return the encoding, the LUT's own operations, and the decoding."""
        inner = self._content().lower()
        if inner is None:
            return None
        return [
            *encoding(self.expects).lower_inverse(),
            *inner,
            *encoding(self.returns).lower(),
        ]


class Content(Protocol):
    """What a LUT file does to code values."""

    def apply(self, code: Array) -> Array:
        """Return code values for code values, shape (..., 3)."""
        ...

    def outside(self, code: Array) -> npt.NDArray[np.bool_]:
        """Return which pixels lie outside the domain, shape (..., 3) to (...)."""
        ...

    def lower(self) -> list[OcioTransform] | None:
        """Return the same as OpenColorIO transforms, or None if they cannot say it."""
        ...


def content_of(path: Path) -> Content:
    """Return what the file at `path` does; read again only when the file has changed.

    Raises
    ------
    InputError
        If it is missing, not a regular file, too large, or neither .cube nor .clf.
    LutFileError
        With all its faults, each with its line.
    """
    if path.suffix.lower() not in FORMATS:
        raise InputError(f"{path}: ends in {path.suffix!r}, expected a .cube or .clf file")
    try:
        status = path.stat()
    except (OSError, ValueError):
        raise InputError(f"{path}: no such file, expected a .cube or .clf file") from None
    return _content_of(path.resolve(), status.st_mtime_ns, status.st_size)


@lru_cache(maxsize=16)
def _content_of(path: Path, _changed: int, _size: int) -> Content:
    from lookkit.lutfile.read import read_lut

    read = read_lut(path)
    return OcioContent.of(path) if path.suffix.lower() == ".clf" else Stages(read.stages)


@dataclass(frozen=True, eq=False)
class Stages:
    """The curves and lattices of a .cube, in order."""

    stages: tuple[Stage, ...]

    def apply(self, code: Array) -> Array:
        """Return code values, clamped to each stage's domain."""
        from lookkit.accuracy.interpolate import tetrahedral
        from lookkit.lutfile.model import Lattice

        for stage in self.stages:
            if isinstance(stage, Lattice):
                code = tetrahedral(stage.values, stage.place(code))
            else:
                code = stage.apply(code)
        return code

    def outside(self, code: Array) -> npt.NDArray[np.bool_]:
        """Return which pixels lie outside the domain of the first stage."""
        low, high = self._domain()
        return np.asarray(((code < low) | (code > high)).any(axis=-1))

    def _domain(self) -> tuple[Array, Array]:
        first: Any = self.stages[0]
        return np.asarray(first.low), np.asarray(first.high)

    def lower(self) -> list[OcioTransform] | None:
        """Return each stage as a scaling to 0-1 and a table."""
        from lookkit.lutfile.model import Lattice

        lowered: list[OcioTransform] = []
        for stage in self.stages:
            if isinstance(stage, Lattice) and stage.size > LARGEST_LOWERED:
                return None
            tables: Any = stage
            span = tables.high - tables.low
            lowered.append(scale_offset(1.0 / span, -tables.low / span))
            lowered.append(_lattice(stage) if isinstance(stage, Lattice) else _curve(tables))
        return lowered


def _lattice(stage: Lattice) -> OcioTransform:
    ocio = library()
    table = ocio.Lut3DTransform(stage.size)
    table.setInterpolation(ocio.INTERP_TETRAHEDRAL)
    table.setData(np.ascontiguousarray(stage.values, dtype=np.float32).ravel())
    return table


def _curve(stage: Curve) -> OcioTransform:
    table = library().Lut1DTransform(len(stage.table), False)
    table.setData(np.ascontiguousarray(stage.table, dtype=np.float32).ravel())
    return table


@dataclass(frozen=True, eq=False)
class OcioContent:
    """The operations of a .clf, as OpenColorIO reads and runs them."""

    operations: tuple[OcioTransform, ...]
    processor: Processor

    @classmethod
    def of(cls, path: Path) -> OcioContent:
        """Read a file that the strict reader has accepted.

        Raises
        ------
        InputError
            If OpenColorIO refuses it nevertheless.
        """
        ocio = library()
        # OpenColorIO remembers files by name: what changed on disk would come out as it was.
        ocio.ClearAllCaches()
        try:
            read = ocio.Config.CreateRaw().getProcessor(ocio.FileTransform(str(path)))
        except ocio.Exception as error:
            raise InputError(f"{path}: OpenColorIO cannot read it ({error})") from error
        operations = tuple(read.createGroupTransform())
        return cls(operations, Processor(operations))

    def apply(self, code: Array) -> Array:
        """Return code values; what is not finite counts as 0."""
        return np.nan_to_num(self.processor.apply_exact(code), posinf=0.0, neginf=0.0)

    def outside(self, code: Array) -> npt.NDArray[np.bool_]:
        """Return which pixels beyond 0-1 come out as their nearest colour of 0-1."""
        held = np.clip(code, 0.0, 1.0)
        beyond = (held != code).any(axis=-1)
        same = (self.apply(held) == self.apply(code)).all(axis=-1)
        return np.asarray(beyond & same)

    def lower(self) -> list[OcioTransform]:
        """Return the file's operations."""
        return list(self.operations)
