"""What every curve family offers, and the helpers that several share."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import ClassVar, Final

import numpy as np

from lookkit.errors import InputError
from lookkit.spaces.working import Array, OcioTransform

_LARGEST_LOG: Final = 80.0
"""Exponents of e stop here (5e34), so that finite codes stay finite, in float32 too."""

LARGEST: Final = 1e30
"""Codes and light are held within this, far beyond any picture, to keep them finite."""


class Curve(ABC):
    """A curve between code values and linear light.

    `decode` and `encode` work on float64 of any shape (families that mix channels say so),
    never clamp, carry negatives, rise monotonically and are finite up to `LARGEST`.
    The curve's own codes are those of its formula: range conversions are not its business.
    """

    family: ClassVar[str]
    is_log: ClassVar[bool] = False
    """Whether codes above black are a logarithm of light."""

    @abstractmethod
    def decode(self, code: Array) -> Array:
        """Return linear light for codes."""

    @abstractmethod
    def encode(self, linear: Array) -> Array:
        """Return codes for linear light."""

    @abstractmethod
    def lower_decode(self) -> list[OcioTransform]:
        """Return `decode` as OpenColorIO transforms."""

    @abstractmethod
    def lower_encode(self) -> list[OcioTransform]:
        """Return `encode` as OpenColorIO transforms."""


def safe_exp(exponent: Array) -> Array:
    """Return e^x, held at e^80 so that it stays finite."""
    return np.exp(np.minimum(exponent, _LARGEST_LOG))


def signed_power(value: Array, exponent: float) -> Array:
    """Return `sign(x) |x|^exponent`, |x| held at e^(80 / exponent) so that it stays finite."""
    largest = np.exp(_LARGEST_LOG / max(exponent, 1.0))
    return np.sign(value) * np.minimum(np.abs(value), largest) ** exponent


def require(condition: bool, message: str) -> None:
    """Raise InputError with `message` unless the condition holds."""
    if not condition:
        raise InputError(message)
