"""How large the errors of a delivered file may be.

A recipe's budget fails a build; the default one only warns.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from pydantic import BaseModel, ConfigDict, Field

from lookkit.errors import LookkitError
from lookkit.lattice.certificate import Certificate, Figures, Reading
from lookkit.lattice.samples import SetName

Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]

_FIGURES: Final = {"mean": "mean", "p99": "99 %", "p999": "99.9 %", "max": "maximum"}


class Limits(BaseModel):
    """Limits of one set in one measure; what is not given is not limited."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    mean: Positive | None = None
    p99: Positive | None = None
    p999: Positive | None = None
    max: Positive | None = None


class SetLimits(Limits):
    """Limits of one set: Delta E 2000 directly, other measures in tables of their own."""

    itp: Limits = Limits()
    codes: Limits = Limits()


class Budget(BaseModel):
    """Limits of a file's certificate, for every reader.

    Sets by their names with a hyphen; figures are Delta E 2000 unless inside `itp`
    (Delta E ITP) or `codes` (10-bit codes of the worst channel):

        [deliver.budget]
        maximum = 12.0
        tint = 1.0
        [deliver.budget.image-like]
        mean = 0.5
        p999 = 2.0
        codes = { p99 = 8.0 }
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    neutral_ramp: SetLimits = Field(SetLimits(), alias="neutral-ramp")
    image_like: SetLimits = Field(SetLimits(), alias="image-like")
    skin: SetLimits = SetLimits()
    saturated_emitters: SetLimits = Field(SetLimits(), alias="saturated-emitters")
    over_range: SetLimits = Field(SetLimits(), alias="over-range")
    whole_cube: SetLimits = Field(SetLimits(), alias="whole-cube")
    maximum: Positive | None = Field(None, description="true maximum, Delta E 2000")
    tint: Positive | None = Field(None, description="on the grey ramp, 10-bit codes")
    folds: int | None = Field(None, ge=0, description="cells turned inside out")
    monotone: bool | None = Field(None, description="whether the grey ramp must rise")

    def of(self, name: SetName) -> SetLimits:
        """Return the limits of a set."""
        limits: SetLimits = getattr(self, name.replace("-", "_"))
        return limits


def budget(tables: Mapping[str, object]) -> Budget:
    """Return a budget from plain tables, as a recipe holds them.

    Raises
    ------
    pydantic.ValidationError
        If a set, a figure or a value is not known.
    """
    return Budget.model_validate(tables)


DEFAULT_BUDGET: Final = budget(
    {
        "neutral-ramp": {"max": 1.0},
        "image-like": {"mean": 0.7, "p99": 2.0},
        "skin": {"p99": 1.5},
        "saturated-emitters": {"p99": 5.0},
        "tint": 3.0,
        "folds": 0,
        "monotone": True,
    }
)
"""What a good 33-point file keeps to; common practice has no figures, these are ours."""


@dataclass(frozen=True)
class Breach:
    """One figure of a file that is over its budget."""

    file: str
    reader: str
    set: str
    figure: str
    found: float
    allowed: float

    def __str__(self) -> str:
        where = f"{self.set}, read as {self.reader}" if self.reader else self.set
        return f"{self.file}: {where}: {self.figure} {self.found:.3g}, allowed {self.allowed:g}"


class BudgetError(LookkitError):
    """Files that exceed the recipe's error budget."""

    def __init__(self, breaches: tuple[Breach, ...]) -> None:
        self.breaches = breaches
        super().__init__("\n".join(str(breach) for breach in breaches))


def breaches(certificate: Certificate, allowed: Budget, file: str) -> tuple[Breach, ...]:
    """Return every figure of `certificate` that is over `allowed`, for the file's name."""
    found = list(_of_file(certificate, allowed, file))
    for reading in certificate.readings:
        found += _of_reading(reading, allowed, file)
    return tuple(found)


def _of_file(certificate: Certificate, allowed: Budget, file: str) -> Iterator[Breach]:
    if allowed.folds is not None and certificate.folds > allowed.folds:
        yield Breach(file, "", "lattice", "folds", certificate.folds, allowed.folds)


def _of_reading(reading: Reading, allowed: Budget, file: str) -> Iterator[Breach]:
    for name, figures in reading.sets.items():
        limits = allowed.of(name)
        for measure, found, wanted in (
            ("Delta E 2000", figures.delta_e_2000, limits),
            ("Delta E ITP", figures.delta_e_itp, limits.itp),
            ("10-bit codes", figures.codes, limits.codes),
        ):
            for figure, value, limit in _over(found, wanted):
                yield Breach(file, reading.reader, name, f"{figure} {measure}", value, limit)
    if allowed.maximum is not None and reading.maximum > allowed.maximum:
        yield Breach(
            file,
            reading.reader,
            "all colours",
            "true maximum Delta E 2000",
            reading.maximum,
            allowed.maximum,
        )
    ramp = reading.ramp
    if allowed.tint is not None and ramp.tint > allowed.tint:
        yield Breach(
            file, reading.reader, "neutral-ramp", "tint in 10-bit codes", ramp.tint, allowed.tint
        )
    if allowed.monotone and not ramp.monotone:
        yield Breach(file, reading.reader, "neutral-ramp", "fall in 10-bit codes", ramp.fall, 0.0)


def _over(found: Figures, wanted: Limits) -> Iterator[tuple[str, float, float]]:
    for key, words in _FIGURES.items():
        limit: float | None = getattr(wanted, key)
        value: float = getattr(found, key)
        if limit is not None and value > limit:
            yield words, value, limit
