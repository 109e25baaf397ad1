"""The certificate of a delivered lattice: measured, held to the budget, written beside the file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lookkit.accuracy.certificate import Certificate
from lookkit.accuracy.interpolate import READERS
from lookkit.accuracy.text import certificate_text
from lookkit.errors import LookkitError
from lookkit.files import write_beside
from lookkit.lattice.of_graph import Baking, exceeded
from lookkit.recipe.model import Deliver
from lookkit.spaces.working import Array


@dataclass(frozen=True)
class Certified:
    """What a certificate says, ready for `Written`; empty where none is wanted."""

    figures: Mapping[str, Any]
    lines: tuple[str, ...]
    over_budget: tuple[str, ...]


def certified(deliver: Deliver, source: Baking, lattice: Array, path: Path) -> Certified:
    """Certify a lattice as read back from its file, and write the certificate beside it.

    Raises
    ------
    LookkitError
        If the recipe has a budget and the file exceeds it, naming file, set and figure; or the
        disk fails.
    """
    if not deliver.certify:
        return Certified({}, (), ())
    certificate = source.certify(lattice)
    over = held_to_budget(deliver, certificate, path)
    return Certified(accuracy_figures(certificate), accuracy_lines(certificate), over)


def held_to_budget(deliver: Deliver, certificate: Certificate, path: Path) -> tuple[str, ...]:
    """Write a certificate beside its file, as JSON and as text; return where it is over budget.

    Raises
    ------
    LookkitError
        If the recipe has a budget and the file exceeds it, naming file, set and figure; or the
        disk fails.
    """
    over = exceeded(certificate, deliver.limits)
    if over and deliver.budget is not None:
        raise LookkitError("\n".join(f"{path.name}: {one}" for one in over))
    words = certificate_text(as_written(certificate))
    for suffix, text in ((".json", certificate.to_json()), (".txt", words)):
        with write_beside(path.with_name(path.name + suffix)) as beside:
            beside.write_text(text, encoding="utf-8")
    return tuple(over)


def as_written(certificate: Certificate) -> Certificate:
    """Return a certificate with the digits that its file has, so that all words follow from it."""
    return Certificate.from_json(certificate.to_json())


def accuracy_lines(certificate: Certificate) -> tuple[str, ...]:
    """Return how exact a file is, in a line for each kind of reader."""
    lines = []
    for reading in map(as_written(certificate).reading, READERS):
        pictures = reading.sets["image-like"].delta_e_2000
        lights = reading.sets["saturated-emitters"].delta_e_2000
        lines.append(
            f"read {reading.reader}: pictures Delta E 2000 mean {pictures.mean:.2f}, 99.9 % "
            f"{pictures.p999:.2f}; coloured lights 99 % {lights.p99:.2f}"
        )
    return tuple(lines)


def accuracy_figures(certificate: Certificate) -> dict[str, dict[str, float]]:
    """Return the same figures by reader, for the manifest."""
    return {
        reading.reader: {
            "image-like mean": round(reading.sets["image-like"].delta_e_2000.mean, 4),
            "image-like 99.9 %": round(reading.sets["image-like"].delta_e_2000.p999, 4),
            "saturated-emitters 99 %": round(
                reading.sets["saturated-emitters"].delta_e_2000.p99, 4
            ),
        }
        for reading in map(certificate.reading, READERS)
    }
