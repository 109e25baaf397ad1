"""A certificate as text for people."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from lookkit.accuracy.certificate import Certificate, Figures, Reading, Worst
from lookkit.accuracy.interpolate import Reader

_READ: Final[dict[Reader, str]] = {
    "tetrahedral": "tetrahedrally",
    "trilinear": "trilinearly",
    "gpu": "by a graphics processor (trilinearly, weights of 8 bits)",
}


def certificate_text(certificate: Certificate) -> str:
    """Return a page of text, lines of at most 100 characters, ending in a newline."""
    return "\n".join(_lines(certificate)) + "\n"


def _lines(certificate: Certificate) -> Iterator[str]:
    size = certificate.size
    yield f"Lattice of {size} x {size} x {size} points."
    yield "Delta E 2000 and Delta E ITP: 1 is about what an eye can just tell apart."
    yield "Codes: the largest channel's error in 10-bit codes."
    yield ""
    yield f"Folds: {certificate.folds or 'none'}"
    faces = [f"{name} {share:.0%}" for name, share in certificate.clipped_faces.items() if share]
    yield f"Clipped share of the cube's faces: {', '.join(faces) or 'none'}"
    for reading in certificate.readings:
        yield ""
        yield from _reading(reading)


def _reading(reading: Reading) -> Iterator[str]:
    yield f"Read {_READ[reading.reader]}"
    columns = "mean     p99   p99.9     max"
    yield f"{'':20}{'Delta E 2000':^30} | {'Delta E ITP':^30} | {'10-bit codes':^30}".rstrip()
    yield f"{'':20}{columns:>30} | {columns:>30} | {columns:>30}"
    for name, figures in reading.sets.items():
        parts = (figures.delta_e_2000, figures.delta_e_itp, figures.codes)
        yield f"{name:20}" + " | ".join(_figures(part) for part in parts)
    yield f"True maximum (by search): Delta E 2000 {reading.maximum:.2f}"
    ramp = reading.ramp
    order = "rises throughout" if ramp.monotone else f"falls by {ramp.fall:.2f} codes"
    yield f"Grey ramp: {order}, tint up to {ramp.tint:.2f} codes"
    for band in reading.banding:
        yield (
            f"Gradients at {band.bits} bits: a step errs by up to {band.step:.2f} codes, "
            f"{band.false_steps:.1%} of grey steps differ by a code"
        )
    yield "Worst colours:"
    yield "  Delta E  camera code          exact signal         as read              where"
    yield from (_worst(one) for one in reading.worst)


def _figures(figures: Figures) -> str:
    return f"{figures.mean:6.2f}  {figures.p99:6.2f}  {figures.p999:6.2f}  {figures.max:6.2f}"


def _worst(one: Worst) -> str:
    where = f"{one.stops:+.1f} stops, {one.hue_name}, {one.lives_in}"
    triples = (
        " ".join(f"{value:.4f}" for value in part) for part in (one.code, one.exact, one.read)
    )
    return f"  {one.delta_e_2000:7.2f}  {'  '.join(triples)}  {where}"
