"""LUT files of a hand-off: read by libraries that we did not write, and held against the graph."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.accuracy.certificate import Certificate
from lookkit.accuracy.facts import CODES
from lookkit.accuracy.interpolate import READERS, Reader
from lookkit.accuracy.text import certificate_text
from lookkit.deliver.cube import cube_name
from lookkit.errors import InputError
from lookkit.files import safe_name
from lookkit.handoff.verify.graph import SETS, Judged, Truths
from lookkit.handoff.verify.listing import figure
from lookkit.handoff.verify.report import Row
from lookkit.inspect.function import Function, function_of
from lookkit.inspect.readers import (
    EXTRAS,
    LIBRARIES,
    TOLERANCE,
    Answer,
    Job,
    ReaderName,
    read_with,
)
from lookkit.lutfile.cube_scan import scan_cube
from lookkit.lutfile.model import LutFile
from lookkit.recipe.model import Budget
from lookkit.spaces.working import Array

CUBE_READERS: Final[tuple[ReaderName, ...]] = ("ocio", "colour", "ffmpeg")
CERTIFIED: Final = 0.01
"""Delta E 2000 by which a figure measured again may differ from the certificate: another
machine's arithmetic, and rounding to four digits."""
ROUNDED: Final = 2e-4
"""The same where the same arithmetic certified it: a manifest's figures have four decimals."""
DIGITS: Final = 5.1e-4
"""As a share of a figure, besides: a certificate's have four digits."""
POINTS: Final = 2e-6
"""Code values 0-1 by which a sampled point may differ from the graph: eight written decimals and
the float32 of steps whose truth is OpenColorIO's own."""
OTHERS: Final = 0.05
"""Figures in codes and Delta E ITP may differ by this, and this share of them, in the same way."""
Key = tuple[str, str, str]
"""A figure of a certificate: set, measure and statistic."""
_STATED: Final[dict[str, Key]] = {
    "image-like mean": ("image-like", "delta_e_2000", "mean"),
    "image-like 99.9 %": ("image-like", "delta_e_2000", "p999"),
    "saturated-emitters 99 %": ("saturated-emitters", "delta_e_2000", "p99"),
}
"""The figures of a manifest."""
Figures = dict[Key, float]
PICTURES: Final = _STATED["image-like 99.9 %"]
_AT_ONCE: Final = 8
"""Files that one process of a library reads: it has two minutes for them."""


@dataclass(frozen=True, eq=False)
class Wanted:
    """A file and the pixels it is asked about; `ours` is what lookkit makes of them."""

    name: str
    path: Path
    pixels: Array
    ours: Array
    curves: bool = False


def ask(reader: ReaderName, wanted: Sequence[Wanted]) -> Iterator[tuple[Wanted, Answer]]:
    """Read files with one library, some of them in each process, and yield what it answers."""
    for start in range(0, len(wanted), _AT_ONCE):
        part = wanted[start : start + _AT_ONCE]
        jobs = [Job(one.path, one.pixels, one.curves) for one in part]
        yield from zip(part, read_with(reader, jobs), strict=True)


def compared(
    reader: ReaderName,
    one: Wanted,
    answer: Answer,
    within: float = TOLERANCE,
    whose: str = "lookkit",
    mostly: float | None = None,
) -> Row:
    """Return whether a library reads a file as lookkit does.

    Parameters
    ----------
    within
        Largest difference of a channel as a share of the pixel's largest, or of 1 where that is
        less.
    mostly
        The same for 99.9 % of the pixels; `within` where not given.
    whose
        Whose reading `one.ours` is.
    """
    library = answer.library or LIBRARIES[reader]
    if not answer.library:
        text = f"not tried, {LIBRARIES[reader]} is not installed{EXTRAS[reader]}"
        return Row(one.name, library, "absent", text)
    if answer.result is None:
        return Row(one.name, library, "refuses", answer.reason)
    if answer.result.shape != one.ours.shape:
        return Row(one.name, library, "misreads", "another number of pixels or channels")
    # Of a pixel's largest channel: where large channels cancel, float32 leaves its traces.
    scale = np.maximum(1.0, np.abs(one.ours).max(axis=1, keepdims=True))
    with np.errstate(invalid="ignore"):
        apart = (np.abs(answer.result - one.ours) / scale).max(axis=1)
    if not np.isfinite(apart).all():
        return Row(one.name, library, "misreads", "no number where the file has one")
    worst = int(np.argmax(apart))
    difference = float(apart[worst])
    usual = float(np.quantile(apart, 0.999))
    bound = within if mostly is None else mostly
    if difference <= within and usual <= bound:
        text = f"as {whose} within {bound:.0e} (found {usual:.1e})"
        if mostly is not None:
            text += f" for 99.9 %, all within {within:g} (found {difference:.1e})"
        return Row(one.name, library, "agrees", text, difference, within)
    text = (
        f"input {_numbers(one.pixels[worst])} gives {_numbers(answer.result[worst])}, "
        f"not {_numbers(one.ours[worst])} as for {whose}"
    )
    return Row(one.name, library, "misreads", text, difference, within)


def _numbers(values: Array) -> str:
    return " ".join(f"{value:.4g}" for value in values)


def cube_rows(
    files: Mapping[str, Mapping[str, Any]],
    folder: Path,
    truths: Truths | None,
    readers: Sequence[ReaderName] = CUBE_READERS,
) -> Iterator[Row]:
    """Yield what lookkit, the graph and each library make of the .cube files.

    Parameters
    ----------
    files
        Entries of the manifest, by name.
    truths
        The graph of the folder's recipe, or None if that cannot be loaded.
    """
    wanted = []
    for name, entry in files.items():
        file, problem = strictly(folder / name, name)
        if problem is not None:
            yield problem
            continue
        function = function_of(file)
        assert function is not None
        pixels = _probe(function)
        wanted.append(Wanted(name, folder / name, pixels, function(pixels), function.curves_only))
        if truths is not None:
            yield _against_graph(name, entry, folder, file, truths)
    for reader in CUBE_READERS:
        for one, answer in ask(reader, wanted if reader in readers else ()):
            yield compared(reader, one, answer)


def strictly(path: Path, name: str) -> tuple[LutFile, Row | None]:
    """Return a .cube as lookkit's strict reader sees it, and its faults in a row."""
    file = scan_cube(path)
    if not file.errors:
        return file, None
    first, more = file.errors[0].problem(name), len(file.errors) - 1
    rest = f" (and {more} more)" if more else ""
    return file, Row(name, "lookkit", "faulty", f"{first}{rest}")


def _probe(function: Function) -> Array:
    """Return inputs all over a LUT's domain: corners, greys, points between and on the lattice."""
    rng = np.random.default_rng(3)
    corners = np.stack(np.meshgrid(*[[0.0, 1.0]] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    greys = np.repeat(np.linspace(0.0, 1.0, 257)[:, None], 3, axis=1)
    points = rng.integers(0, function.size, (1000, 3)) / (function.size - 1)
    return function.over(np.concatenate([corners, greys, points, rng.random((2000, 3))]))


def _against_graph(
    name: str, entry: Mapping[str, Any], folder: Path, file: LutFile, truths: Truths
) -> Row:
    try:
        if file.lattice is None and "part" in entry:
            return _curves(name, entry, file, truths)
        chain = truths.judged(entry) if "part" in entry else _by_name(name, file, truths)
    except InputError as error:
        return Row(name, "graph", "faulty", str(error))
    if chain is None:
        return Row(name, "graph", "reads", f"what a {entry['part']!r} must be is not known here")
    lattice = file.lattice
    if lattice is None or lattice.low.any() or (lattice.high != 1.0).any():
        return Row(name, "graph", "faulty", "expected one 3D LUT over 0-1")
    stated = stated_figures(entry, folder / f"{name}.json", same=truths.same)
    return judged_lattice(name, lattice.values, chain, stated, truths)


def judged_lattice(
    name: str,
    lattice: Array,
    chain: Judged,
    stated: dict[str, Figures] | str,
    truths: Truths,
    points: float = POINTS,
) -> Row:
    """Hold a lattice against the graph: its certificate, else its points, else the budget.

    Parameters
    ----------
    stated
        The certified figures, {} without any, or what is wrong with them.
    points
        How far a sampled point may be from the graph.
    """
    if isinstance(stated, str):
        return Row(name, "graph", "faulty", stated)
    sampled = not truths.look.recipe.deliver.fit
    if sampled:
        row = _sampled(name, chain, lattice, points)
        if row.bad or not stated:
            return row
    elif digits := _fewer_digits(chain, lattice):
        text = f"its values have {digits} digits, and the graph's have more: saved again with fewer"
        return Row(name, "graph", "misreads", text)
    figures = {reader: lattice_figures(chain, lattice, reader) for reader in READERS}
    if stated:
        return certified_lattice(name, figures, stated, same=truths.same)
    return _budgeted(name, figures, truths.look.recipe.deliver.limits)


def _curves(name: str, entry: Mapping[str, Any], file: LutFile, truths: Truths) -> Row:
    """Compare a 1D file with the graph at its rows."""
    exact, curve = truths.curves(entry), file.curve
    if exact is None or curve is None or curve.low.any() or (curve.high != 1.0).any():
        return Row(name, "graph", "faulty", f"no curves over 0-1 of a part {entry['part']!r}")
    rows = np.repeat(np.linspace(0.0, 1.0, len(curve.table))[:, None], 3, axis=1)
    apart = float(np.abs(curve.table - exact(rows)).max())
    if apart > POINTS:
        text = f"rows differ from the graph by up to {apart * 1023:.3g} ten-bit codes"
        return Row(name, "graph", "misreads", text, apart, POINTS)
    text = f"rows equal the graph within {POINTS:g} (found {apart:.1e})"
    return Row(name, "graph", "agrees", text, apart, POINTS)


def _by_name(name: str, file: LutFile, truths: Truths) -> Judged:
    # Format 1 named nothing: the file's own name says what it is.
    look = truths.look
    size = file.lattice.size if file.lattice is not None else 0
    for camera in look.cameras:
        for output in look.outputs:
            for scene in (None, *look.scenes):
                with suppress(InputError):
                    own = cube_name(look, camera, output, size, scene)
                    if name == f"cube/{safe_name(camera)}/{own}":
                        return truths.chain(camera, output, scene)
    raise InputError("its name fits no camera, output and scene of the recipe")


def lattice_figures(chain: Judged, lattice: Array, reader: Reader) -> Figures:
    """Return how far a lattice is from the graph on each audited set."""
    found: Figures = {}
    for name in SETS:
        audited = chain.audited[name]
        read = audited.read(lattice, reader)
        errors = {
            "delta_e_2000": audited.delta_e_2000(read),
            "delta_e_itp": audited.delta_e_itp(read),
            "codes": np.abs(read - audited.signal).max(axis=1) * CODES,
        }
        for measure, error in errors.items():
            p99, p999 = np.quantile(error, (0.99, 0.999))
            found[name, measure, "mean"] = float(error.mean(dtype=np.float64))
            found[name, measure, "p99"] = float(p99)
            found[name, measure, "p999"] = float(p999)
            found[name, measure, "max"] = float(error.max())
    return found


def stated_figures(
    entry: Mapping[str, Any], beside: Path, *, same: bool
) -> dict[str, Figures] | str:
    """Return the certified figures by reader, {} without a certificate, or what is wrong.

    Parameters
    ----------
    same
        Whether this version wrote it: then nothing is missing or too much, and its words say what
        its figures do.
    """
    own = entry.get("figures")
    certificate = None
    if beside.is_file():
        try:
            text = beside.read_text(encoding="utf-8")
            certificate = _figures_in(json.loads(text))
            if same and (fault := _other_words(text, beside)):
                return fault
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            return f"its accuracy report {beside.name} cannot be read"
    if own is None:
        return certificate or {}
    try:
        stated = {
            str(reader): {key: figure(own[reader][name]) for name, key in _STATED.items()}
            for reader in READERS
            if reader in own
        }
    except (ValueError, KeyError, TypeError, AttributeError):
        return "its figures in the manifest cannot be read"
    if certificate is None:
        return stated
    for reader, values in stated.items():
        for name, key in _STATED.items():
            other = certificate.get(reader, {}).get(key)
            if other is None or abs(other - values[key]) > CERTIFIED:
                return f"the manifest says {name} {values[key]:g} ({reader}), {beside.name} {other}"
    return certificate


def _figures_in(certificate: Any) -> dict[str, Figures]:
    return {
        reading["reader"]: {
            (name, measure, statistic): figure(value)
            for name, measures in reading["sets"].items()
            for measure, values in measures.items()
            for statistic, value in values.items()
        }
        for reading in certificate["readings"]
        if reading["reader"] in READERS
    }


def _other_words(figures: str, beside: Path) -> str:
    """Return how the text of a certificate differs from its figures; nothing where it does not."""
    words = beside.with_suffix(".txt")
    wanted = certificate_text(Certificate.from_json(figures))
    if words.is_file() and words.read_text(encoding="utf-8", errors="replace") != wanted:
        return f"its accuracy report {words.name} says otherwise than {beside.name}"
    return ""


def certified_lattice(
    name: str,
    figures: Mapping[Reader, Figures],
    stated: Mapping[str, Figures],
    *,
    same: bool = False,
) -> Row:
    """Compare figures that were measured again with the certified ones.

    Parameters
    ----------
    same
        Whether they were certified by the same arithmetic.
    """
    worst, lie = 0.0, ""
    if not set(stated) <= set(figures):
        return Row(name, "graph", "faulty", f"an accuracy report for readers {', '.join(stated)}")
    for reader, found_by in figures.items():
        values = stated.get(reader, {})
        if same and len(values) > len(_STATED) and (absent := found_by.keys() - values.keys()):
            text = f"its accuracy report lacks {', '.join(sorted({key[0] for key in absent}))}"
            return Row(name, "graph", "faulty", text)
        for key in values.keys() & found_by.keys():
            value, found = values[key], found_by[key]
            if same:
                within = ROUNDED + DIGITS * value
            else:
                within = CERTIFIED if key[1] == "delta_e_2000" else OTHERS + OTHERS * value
            if not abs(found - value) / within <= worst:
                worst = abs(found - value) / within
                lie = f"{_in_words(key)} {found:.5g} ({reader}), certified {value:.5g}"
    pictures = max(one[PICTURES] for one in figures.values())
    if worst <= 1.0:
        text = f"Delta E 2000 of pictures 99.9 % {pictures:.2f}, as certified"
        return Row(name, "graph", "agrees", text, worst, 1.0)
    return Row(name, "graph", "misreads", lie, worst, 1.0)


def _in_words(key: Key) -> str:
    kind, measure, statistic = key
    what = {"delta_e_2000": "Delta E 2000", "delta_e_itp": "Delta E ITP"}.get(measure, "in codes")
    part = {"p99": "99 %", "p999": "99.9 %", "max": "largest"}.get(statistic, statistic)
    return f"{kind} {part} is {what}"


def _sampled(name: str, chain: Judged, lattice: Array, points: float) -> Row:
    size = len(lattice)
    index = np.random.default_rng(size).integers(0, size, (5000, 3))
    exact = chain.exact(index / (size - 1))
    apart = float(np.abs(lattice[tuple(index.T)] - exact).max())
    text = f"points equal the graph within {points:g} (found {apart:.1e})"
    if apart > points:
        text = f"points differ from the graph by up to {apart * 1023:.3g} ten-bit codes"
        return Row(name, "graph", "misreads", text, apart, points)
    return Row(name, "graph", "agrees", text, apart, points)


def _fewer_digits(chain: Judged, lattice: Array) -> int:
    """Return to how many digits a lattice was rounded that the graph's values are not; 0 if none.

    Four of its values in five are multiples of that digit, black and white aside, and of the
    graph's values at the same points less than half are.
    """
    size = len(lattice)
    index = np.random.default_rng(size).integers(0, size, (_FEW, 3))
    held = lattice[tuple(index.T)]
    exact: Array | None = None
    for digits in range(1, _DIGITS):
        if _share_of_multiples(held, digits) > 0.8:
            exact = chain.exact(index / (size - 1)) if exact is None else exact
            if _share_of_multiples(exact, digits) < 0.5:
                return digits
    return 0


def _share_of_multiples(values: Array, digits: int) -> float:
    inner = values[(values > 0.0) & (values < 1.0)] * 10.0**digits
    return float(np.mean(np.abs(inner - np.rint(inner)) < 1e-4)) if inner.size > _FEW // 10 else 0.0


_FEW: Final = 1000
_DIGITS: Final = 6
"""Digits of which a file needs more."""


def _budgeted(name: str, figures: Mapping[Reader, Figures], budget: Budget) -> Row:
    limits = {
        ("neutral-ramp", "max"): budget.neutral_ramp,
        ("image-like", "p999"): budget.image_like,
        ("skin", "p999"): budget.skin,
        ("saturated-emitters", "p99"): budget.saturated_emitters,
    }
    for reader, found in figures.items():
        for (kind, statistic), limit in limits.items():
            value = found[kind, "delta_e_2000", statistic]
            if value > limit:
                text = (
                    f"no accuracy report, and over the budget: {kind} Delta E 2000 "
                    f"{value:.2f} ({reader}), at most {limit:g}"
                )
                return Row(name, "graph", "misreads", text, value, limit)
    pictures = max(one[PICTURES] for one in figures.values())
    text = f"no accuracy report; Delta E 2000 of pictures 99.9 % {pictures:.2f}, within the budget"
    return Row(name, "graph", "agrees", text, pictures, budget.image_like)
