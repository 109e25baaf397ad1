"""What every curve family offers, and the helpers that several share."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any, ClassVar, Final

import numpy as np

from lookkit.errors import InputError
from lookkit.kernel.formula import Formula
from lookkit.spaces.working import Array, OcioTransform

LARGEST: Final = 1e30
"""Codes and light are held within this, far beyond any picture, to keep them finite."""


Way = tuple[Formula, Any]
"""A formula that does the same to each channel, and its parameters."""


def _through(way: Way | None, values: Array) -> Array:
    if way is None or way[0].single is None:
        raise NotImplementedError
    with np.errstate(all="ignore"):
        return np.asarray(way[0].single(np.asarray(values, dtype=np.float64), way[1]))


class Curve(ABC):
    """A curve between code values and linear light.

    `decode` and `encode` work on float64 of any shape (families that mix channels say so),
    never clamp, carry negatives, rise monotonically and are finite up to `LARGEST`.
    The curve's own codes are those of its formula: range conversions are not its business.
    """

    family: ClassVar[str]
    is_log: ClassVar[bool] = False
    """Whether codes above black are a logarithm of light."""

    @property
    def decoding(self) -> Way | None:
        """The formula from codes to light with its parameters, or None where it has none."""
        return None

    @property
    def encoding(self) -> Way | None:
        """The formula from light to codes with its parameters, or None where it has none."""
        return None

    def decode(self, code: Array) -> Array:
        """Return linear light for codes, any shape."""
        return _through(self.decoding, code)

    def encode(self, linear: Array) -> Array:
        """Return codes for linear light, any shape."""
        return _through(self.encoding, linear)

    @abstractmethod
    def lower_decode(self) -> list[OcioTransform]:
        """Return `decode` as OpenColorIO transforms."""

    @abstractmethod
    def lower_encode(self) -> list[OcioTransform]:
        """Return `encode` as OpenColorIO transforms."""


def require(condition: bool, message: str) -> None:
    """Raise InputError with `message` unless the condition holds."""
    if not condition:
        raise InputError(message)
