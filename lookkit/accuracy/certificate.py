"""The certificate of a baked file: how far it is from the exact graph, and where.

It judges a lattice as it was read back from the written file, interpolated as readers
do, on colours that no fit has seen.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from typing import Any, Final

import numpy as np
from pydantic import TypeAdapter

from lookkit.accuracy import facts
from lookkit.accuracy.audit import Audited, audit
from lookkit.accuracy.folds import orientation, turned
from lookkit.accuracy.interpolate import REPORTED, Reader, interpolate, lattice_size
from lookkit.accuracy.samples import CodeSpace, SetName
from lookkit.accuracy.sampling import corner_values
from lookkit.accuracy.search import Probe, probe, worst_places
from lookkit.accuracy.truth import Exact, Light, at_once, steady
from lookkit.kernel.formula import triple
from lookkit.progress import Progress, silent
from lookkit.spaces.level import stops_of
from lookkit.spaces.working import Array

_WORST: Final = 10
_CANDIDATES: Final = 8192
_APART: Final = 0.06
"""Colours closer than this, in code or in signal, are the same finding."""

_NEAR: Final = 0.03
_NEUTRAL_CHROMA: Final = 3.0
_BITS: Final = (8, 10)
_STOPS_APART: Final = 0.25
_DARKEST: Final = -10.0
_LIVES_IN: Final[dict[SetName, str]] = {
    "image-like": "pictures",
    "skin": "pictures",
    "saturated-emitters": "lights",
    "bright-skies": "pictures",
    "negative-lights": "lights",
    "over-range": "over range",
}
_HUES: Final = ("red", "orange", "yellow", "green", "cyan", "blue", "violet", "magenta")
_HUE_EDGES: Final = (45.0, 75.0, 110.0, 170.0, 230.0, 285.0, 315.0, 345.0)
"""L*a*b* hue angles, in degrees, where the next name begins; our own choice."""


@dataclass(frozen=True)
class Figures:
    """Mean, 99 %, 99.9 % and maximum of an error over a set."""

    mean: float
    p99: float
    p999: float
    max: float


@dataclass(frozen=True)
class SetFigures:
    """One set in three measures; `codes` is the largest channel's, in 10-bit codes."""

    delta_e_2000: Figures
    delta_e_itp: Figures
    codes: Figures


@dataclass(frozen=True)
class Worst:
    """One of the colours that a lattice gets most wrong.

    Attributes
    ----------
    code
        Camera code in 0-1.
    exact, read
        The signal as the graph and as the lattice give it.
    delta_e_2000
        Between them.
    stops
        Level of the scene colour from mid-grey (`spaces.level`).
    hue
        L*a*b* hue angle of the exact signal in degrees; None for a near-neutral.
    hue_name
        A plain word for it.
    lives_in
        "pictures", "lights", "over range", or "no scene" where no audited scene comes
        near this code.
    """

    code: tuple[float, float, float]
    exact: tuple[float, float, float]
    read: tuple[float, float, float]
    delta_e_2000: float
    stops: float
    hue: float | None
    hue_name: str
    lives_in: str
    exact_srgb: tuple[float, float, float]
    read_srgb: tuple[float, float, float]


@dataclass(frozen=True)
class Reading:
    """A lattice as one kind of reader sees it.

    Attributes
    ----------
    reader
        How it reads between points.
    sets
        The figures of each audited set.
    maximum
        The true maximum in Delta E 2000, by search: a tight lower bound.
    worst
        The worst colours, worst first, all different.
    ramp
        Order and tint of the grey ramp.
    banding
        At 8 and 10 bits.
    over_stops
        The grey ramp's largest Delta E 2000 in each quarter of a stop: stops from mid-grey,
        and the error. Codes below -10 stops are left out.
    """

    reader: Reader
    sets: dict[SetName, SetFigures]
    maximum: float
    worst: tuple[Worst, ...]
    ramp: facts.Ramp
    banding: tuple[facts.Banding, ...]
    over_stops: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Certificate:
    """What a baked file costs.

    Attributes
    ----------
    size
        Points along an edge.
    folds
        Cells with a tetrahedron inside out where the graph's is not.
    clipped_faces
        Share of each face of the cube with a channel at 0 or 1.
    readings
        One for each reader.
    """

    size: int
    folds: int
    clipped_faces: dict[str, float]
    readings: tuple[Reading, ...]

    def reading(self, reader: Reader) -> Reading:
        """Return the reading of one reader.

        Raises
        ------
        KeyError
            If the file was not certified for it.
        """
        for reading in self.readings:
            if reading.reader == reader:
                return reading
        raise KeyError(reader)

    def to_dict(self) -> dict[str, Any]:
        """Return plain data, numbers rounded to what they mean."""
        return dict(_rounded(asdict(self)))

    @classmethod
    def from_json(cls, text: str) -> Certificate:
        """Return the certificate that `to_json` gave.

        Raises
        ------
        ValueError
            If anything is missing, too much, or of another type.
        """
        made = _reader().validate_json(text, strict=True)
        if json.loads(json.dumps(asdict(made))) != json.loads(text):
            raise ValueError("holds what is none of a certificate's")
        return made

    def to_json(self) -> str:
        """Return the certificate as JSON text, ending in a newline."""
        return json.dumps(self.to_dict(), indent=1) + "\n"


@cache
def _reader() -> TypeAdapter[Certificate]:
    return TypeAdapter(Certificate)


def certify(
    lattice: Array,
    exact: Exact,
    codespace: CodeSpace,
    light: Light,
    readers: Sequence[Reader] = REPORTED,
    *,
    audited: Mapping[SetName, Audited] | None = None,
    quick: Exact | None = None,
    progress: Progress = silent,
) -> Certificate:
    """Measure a lattice against its graph.

    Parameters
    ----------
    lattice
        As read back from the written file, shape (n, n, n, 3), indexed [r, g, b].
    exact
        The graph, from camera code in 0-1 to signal.
    codespace
        The camera's encoding.
    light
        The display.
    readers
        How the file will be read.
    audited
        The graph's audited sets (`audit`), if they are at hand already.
    quick
        The graph within a tenth of a ten-bit code, for the search of the maximum; what is found
        is measured against `exact`.
    progress
        Told at the start and at the end.

    Raises
    ------
    ValueError
        If the lattice is not of shape (n, n, n, 3).
    """
    size = lattice_size(lattice)
    graph = steady(exact)
    what = f"certify {size} points"
    progress(what, 0, len(readers))
    sets = audit(graph, codespace, light) if audited is None else audited
    asked = graph if quick is None else steady(quick)
    probed = probe(asked, light, size)
    # All readers ask for these at the same time.
    _ = probed.metric, [(one.lab, one.itp) for one in sets.values()]
    readings = at_once(
        lambda reader: _reading(lattice, reader, graph, asked, codespace, light, sets, probed),
        readers,
    )
    progress(what, len(readers), len(readers))
    upright = orientation(corner_values(probed.at_points), probed.metric)
    folds = turned(orientation(corner_values(lattice), probed.metric), upright)
    return Certificate(
        size,
        int(folds.sum()),
        facts.clipped_faces(lattice),
        tuple(readings),
    )


def _reading(
    lattice: Array,
    reader: Reader,
    exact: Exact,
    asked: Exact,
    space: CodeSpace,
    light: Light,
    sets: Mapping[SetName, Audited],
    probed: Probe,
) -> Reading:
    def read(code: Array) -> Array:
        return interpolate(lattice, code, reader)

    places, errors = worst_places(lattice, reader, asked, light, probed)
    figures = {}
    for name, audited in sets.items():
        found = audited.read(lattice, reader)
        differences = audited.delta_e_2000(found)
        figures[name] = SetFigures(
            _figures(differences),
            _figures(audited.delta_e_itp(found)),
            _figures(np.abs(found - audited.signal).max(axis=1) * facts.CODES),
        )
        top = np.argsort(-differences)[:_WORST]
        places = np.concatenate([places, audited.code[top]])
        errors = np.concatenate([errors, differences[top]])
    order = np.argsort(-errors, kind="stable")[:_CANDIDATES]
    code = places[order]
    worst = _described(_apart(code, exact(code)), exact, read, space, light, sets)
    pictures = sets["image-like"].code
    return Reading(
        reader,
        figures,
        worst[0].delta_e_2000,
        worst,
        facts.ramp(read, exact),
        tuple(facts.banding(read, exact, pictures, bits) for bits in _BITS),
        _over_stops(sets["neutral-ramp"], read, space),
    )


def _over_stops(
    ramp: Audited, read: facts.Read, space: CodeSpace
) -> tuple[tuple[float, float], ...]:
    part = np.rint(stops_of(space.decode(ramp.code)) / _STOPS_APART).astype(int)
    error = ramp.delta_e_2000(read(ramp.code))
    darkest = round(_DARKEST / _STOPS_APART)
    return tuple(
        (_STOPS_APART * int(one), float(error[part == one].max()))
        for one in np.unique(part[part >= darkest])
    )


def _figures(error: Array) -> Figures:
    mean, top = float(error.mean(dtype=np.float64)), float(error.max())
    p99, p999 = np.quantile(error, (0.99, 0.999))
    return Figures(mean, float(p99), float(p999), top)


def _apart(code: Array, signal: Array) -> Array:
    """Keep the first codes that differ from each other, in code and in what is shown."""
    kept: list[int] = []
    for index in range(len(code)):
        if all(
            np.abs(code[index] - code[other]).max() > _APART
            and np.abs(signal[index] - signal[other]).max() > _APART
            for other in kept
        ):
            kept.append(index)
            if len(kept) == _WORST:
                break
    return code[kept]


def _described(
    code: Array,
    exact: Exact,
    read: facts.Read,
    space: CodeSpace,
    light: Light,
    sets: Mapping[SetName, Audited],
) -> tuple[Worst, ...]:
    wanted = exact(code)
    one = Audited(code, wanted, light)
    found = read(code)
    differences = one.delta_e_2000(found)
    stops = stops_of(space.decode(code))
    lab = light.lab(wanted)
    shown = light.srgb(wanted), light.srgb(found)
    rows = []
    for index in np.argsort(-differences, kind="stable"):
        hue = _hue(lab[index])
        rows.append(
            Worst(
                triple(code[index]),
                triple(wanted[index]),
                triple(found[index]),
                float(differences[index]),
                float(stops[index]),
                hue,
                _hue_name(hue),
                _lives_in(code[index], sets),
                triple(shown[0][index]),
                triple(shown[1][index]),
            )
        )
    return tuple(rows)


def _hue(lab: Array) -> float | None:
    if math.hypot(lab[1], lab[2]) < _NEUTRAL_CHROMA:
        return None
    return math.degrees(math.atan2(lab[2], lab[1])) % 360.0


def _hue_name(hue: float | None) -> str:
    if hue is None:
        return "neutral"
    for name, edge in zip(_HUES, _HUE_EDGES, strict=True):
        if hue < edge:
            return name
    return _HUES[0]


def _lives_in(code: Array, sets: Mapping[SetName, Audited]) -> str:
    for name, where in _LIVES_IN.items():
        if name in sets and np.abs(sets[name].code - code).max(axis=1).min() < _NEAR:
            return where
    return "no scene"


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(item) for item in value]
    if isinstance(value, float):
        return float(f"{value:.4g}") if abs(value) >= 1e-4 else round(value, 6)
    return value
