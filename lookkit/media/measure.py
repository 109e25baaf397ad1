"""What the signal of a picture or clip amounts to: levels by column, colours, excursions.

Counted on nominal signal, where 0 is black and 1 is white of the output whatever the range
of the file; codes beyond are counted, never clipped.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from lookkit.errors import InputError
from lookkit.media.clip import MOVIES, Clip, Frame, frames_of, planes_of, probe
from lookkit.media.profiles import encoding_of
from lookkit.media.stills import Still, read_still
from lookkit.media.tags import SAME_TRANSFER, UNSPECIFIED, Tags, output_tags, still_tags
from lookkit.progress import Progress, silent
from lookkit.spaces import ranges
from lookkit.spaces.curves import Pq
from lookkit.spaces.icc import profile_of
from lookkit.spaces.outputs import Output
from lookkit.spaces.primaries import BT709, P3_D65, between
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.working import Array

Pixels = npt.NDArray[np.float32]

CAUTION: Final = (
    "Whether an excursion may stay, and how much of one, is for the delivery specification to "
    "say, and for whoever answers for the delivery to check on calibrated measuring equipment."
)
QUANTILES: Final = (0.0, 0.05, 0.25, 0.5, 0.75, 0.95, 1.0)
"""What is kept of each column's levels."""
TOLERANCE: Final = 0.05
"""EBU R 103: R'G'B' between -5 % and 105 % of nominal (value from memory)."""
CHROMA_SPAN: Final = 0.64
"""The span of u' and of v' that the density of chromaticities covers, from 0."""

_COLUMNS: Final = 128
_LEVELS: Final = 1201
_LOW, _HIGH = -0.1, 1.1
_CHROMA: Final = 128
_DIM: Final = 0.001
"""Share of paper white under which a chromaticity is noise and is not counted."""
_OUTSIDE: Final = 0.002
"""Light of a component, as a share of the brightest, that is beyond rounding when negative."""
_SMALL: Final = 0.5 / 1023
_ROWS: Final = 128
_ACROSS: Final = 480
"""Pixels across a picture that is kept to be shown, at the most."""


@dataclass(frozen=True, eq=False)
class Measures:
    """What was counted; shares are of all pixels, 0-1.

    Attributes
    ----------
    frames, pixels
        How many of each.
    below, above
        By component (R', G', B', Y'): pixels more than half a 10-bit code below black or
        above white.
    beyond
        Pixels with R', G' or B' beyond -5 % or 105 %.
    reserved
        Pixels with a code that interfaces reserve for timing; None where the file is no
        Y'CbCr (10 bits: 0-3 and 1020-1023, 8 bits: 0 and 255; ITU-R BT.656, BT.1120).
    outside
        By gamut smaller than the output's: pixels whose light is outside it.
    columns
        Y' in percent, shape (7, columns): the `QUANTILES` of each column, left to right.
    over_peak
        Pixels with R', G' or B' more than half a 10-bit code above the code of the output's
        named peak; None where its signal ends there, as all but PQ do.
    brightest
        The light of the brightest component in cd/m2; None where `over_peak` is.
    not_finite
        Pixels that hold a NaN or an infinity; they count nowhere else.
    warnings
        What the file says of itself that contradicts what it was measured as.
    picture
        The first picture made small, nominal R'G'B', shape (height, width, 3).
    chroma
        Pixels by CIE 1976 chromaticity, shape (v', u'), each axis from 0 to `CHROMA_SPAN`;
        those under a thousandth of paper white are left out.
    """

    frames: int
    pixels: int
    below: Mapping[str, float]
    above: Mapping[str, float]
    beyond: float
    reserved: float | None
    outside: Mapping[str, float]
    columns: Array
    chroma: npt.NDArray[np.int64]
    over_peak: float | None = None
    brightest: float | None = None
    not_finite: float = 0.0
    warnings: tuple[str, ...] = ()
    picture: Pixels | None = None

    @property
    def excursions(self) -> float:
        """The largest share of a component beyond black or white."""
        return max(*self.below.values(), *self.above.values())

    def to_dict(self) -> dict[str, Any]:
        """Return the figures as JSON holds them; columns rounded, chromaticities left out."""
        return {
            "frames": self.frames,
            "pixels": self.pixels,
            "below_black": {name: round(v, 8) for name, v in self.below.items()},
            "above_white": {name: round(v, 8) for name, v in self.above.items()},
            "beyond_tolerance": round(self.beyond, 8),
            "reserved_codes": None if self.reserved is None else round(self.reserved, 8),
            "outside": {name: round(v, 8) for name, v in self.outside.items()},
            "above_peak": None if self.over_peak is None else round(self.over_peak, 8),
            "brightest_cd_m2": None if self.brightest is None else round(self.brightest, 2),
            "not_finite": round(self.not_finite, 8),
            "warnings": list(self.warnings),
            "quantiles": list(QUANTILES),
            "columns_percent": np.round(self.columns, 2).tolist(),
        }

    def to_text(self) -> str:
        """Return the figures as lines of text."""

        def each(shares: Mapping[str, float]) -> str:
            return ", ".join(f"{name} {percent(share)}" for name, share in shares.items())

        lowest, highest = self.columns[0].min(), self.columns[-1].max()
        lines = [
            f"Y' from {lowest:.1f} % to {highest:.1f} %",
            f"below black: {each(self.below)}",
            f"above white: {each(self.above)}",
            f"R'G'B' beyond -5 % or 105 %: {percent(self.beyond)}",
        ]
        if self.reserved is not None:
            lines.append(f"codes reserved by interfaces: {percent(self.reserved)}")
        if self.over_peak is not None:
            lines.append(
                f"light above the output's peak: {percent(self.over_peak)}, the brightest "
                f"{self.brightest:.0f} cd/m2"
            )
        if self.not_finite:
            lines.append(f"not finite, and not counted otherwise: {percent(self.not_finite)}")
        lines += [f"light outside {name}: {percent(v)}" for name, v in self.outside.items()]
        return "\n".join(lines)


def percent(share: float) -> str:
    """Return a share as people read it: none, under 0.001 %, 3.2 %."""
    if share == 0.0:
        return "none"
    if share < 1e-5:
        return "under 0.001 %"
    return f"{100 * share:.2g} %" if share < 0.1 else f"{100 * share:.0f} %"


class Meter:
    """Counts picture after picture of one output."""

    def __init__(self, target: Output) -> None:
        self._target = target
        self._luma = target.display.to_xyz()[1].astype(np.float32)
        self._levels = np.zeros((_COLUMNS, _LEVELS), dtype=np.int64)
        self._lowest = np.full(_COLUMNS, np.inf)
        self._highest = np.full(_COLUMNS, -np.inf)
        self._chroma = np.zeros((_CHROMA, _CHROMA), dtype=np.int64)
        self._below = np.zeros(4, dtype=np.int64)
        self._above = np.zeros(4, dtype=np.int64)
        self._beyond = self._reserved = self._pixels = self._frames = 0
        self._lost = self._over = 0
        self._peak: float | None = None
        if isinstance(target.curve, Pq):
            self._peak = float(target.curve.encode(np.array(target.peak / 100.0))) + _SMALL
        self._most = -np.inf
        self._picture: Pixels | None = None
        self._coded = False
        self._gamuts = [g for g in (BT709, P3_D65) if _wider(target, g.name)]
        self._outside = np.zeros(len(self._gamuts), dtype=np.int64)

    def add(self, nominal: Pixels, reserved: npt.NDArray[np.bool_] | None = None) -> None:
        """Count a picture.

        Parameters
        ----------
        nominal
            R'G'B', float, shape (height, width, 3), 0 for black and 1 for white.
        reserved
            Which pixels hold a reserved code, shape (height, width); None for no Y'CbCr.
        """
        if self._picture is None:
            step = -(-nominal.shape[1] // _ACROSS)
            self._picture = nominal[::step, ::step].copy()
        self._frames += 1
        self._pixels += nominal.shape[0] * nominal.shape[1]
        if reserved is not None:
            self._coded = True
            self._reserved += int(reserved.sum())
        column = np.arange(nominal.shape[1]) * _COLUMNS // nominal.shape[1]
        for start in range(0, len(nominal), _ROWS):
            self._strip(nominal[start : start + _ROWS], column)

    def _strip(self, rgb: Pixels, column: npt.NDArray[np.int64]) -> None:
        held = np.isfinite(rgb).all(axis=-1)
        if not held.all():
            # What is left is laid out anew, as one row of pixels with their columns.
            self._lost += int((~held).sum())
            column = np.broadcast_to(column, held.shape)[held]
            rgb = rgb[held][None]
            if not rgb.size:
                return
        if self._peak is not None:
            brightest = rgb.max(axis=-1)
            self._over += int((brightest > self._peak).sum())
            self._most = max(self._most, float(brightest.max()))
        luma = rgb @ self._luma
        for number, part in enumerate((rgb[..., 0], rgb[..., 1], rgb[..., 2], luma)):
            self._below[number] += int((part < -_SMALL).sum())
            self._above[number] += int((part > 1.0 + _SMALL).sum())
        far = (rgb < -TOLERANCE) | (rgb > 1.0 + TOLERANCE)
        self._beyond += int(far.any(axis=-1).sum())
        step = np.rint((luma - _LOW) / (_HIGH - _LOW) * (_LEVELS - 1))
        step = np.clip(step, 0, _LEVELS - 1).astype(np.int64)
        flat = np.broadcast_to(column, luma.shape) * _LEVELS + step
        self._levels += np.bincount(flat.ravel(), minlength=_COLUMNS * _LEVELS).reshape(
            _COLUMNS, _LEVELS
        )
        np.minimum.at(self._lowest, column, luma.min(axis=0))
        np.maximum.at(self._highest, column, luma.max(axis=0))
        self._colours(rgb.reshape(-1, 3))

    def _colours(self, rgb: Pixels) -> None:
        target = self._target
        light = target.curve.decode(rgb.astype(np.float64)) * (100.0 / target.reference_white)
        xyz = light @ target.display.to_xyz().T
        bright = xyz[:, 1] > _DIM
        total = xyz[bright] @ np.array([1.0, 15.0, 3.0])
        across = 4.0 * xyz[bright, 0] / total
        up = 9.0 * xyz[bright, 1] / total
        cells = [
            np.clip(place / CHROMA_SPAN * _CHROMA, 0, _CHROMA - 1).astype(np.int64)
            for place in (across, up)
        ]
        flat = cells[0] + cells[1] * _CHROMA
        self._chroma += np.bincount(flat, minlength=_CHROMA**2).reshape(_CHROMA, _CHROMA)
        for number, gamut in enumerate(self._gamuts):
            inside = light[bright] @ between(target.display, gamut, "none").T
            least = inside.min(axis=-1) < -_OUTSIDE * inside.max(axis=-1)
            self._outside[number] += int(least.sum())

    def measures(self) -> Measures:
        """Return what was counted.

        Raises
        ------
        InputError
            If nothing was.
        """
        if not self._pixels:
            raise InputError("no picture, expected at least one")
        if self._lost == self._pixels:
            raise InputError("not one pixel is finite, expected numbers")
        share = 1.0 / self._pixels
        used = self._levels.sum(axis=1) > 0
        counts = np.cumsum(self._levels[used], axis=1)
        rows = [self._lowest[used]]
        for quantile in QUANTILES[1:-1]:
            step = (counts < quantile * counts[:, -1:]).sum(axis=1)
            rows.append(_LOW + (_HIGH - _LOW) * step / (_LEVELS - 1))
        rows.append(self._highest[used])
        # A column with few levels has its quantiles within what it really holds.
        columns = np.clip(np.stack(rows), rows[0], rows[-1]) * 100.0
        names = ("R'", "G'", "B'", "Y'")
        return Measures(
            self._frames,
            self._pixels,
            {name: n * share for name, n in zip(names, self._below.tolist(), strict=True)},
            {name: n * share for name, n in zip(names, self._above.tolist(), strict=True)},
            self._beyond * share,
            self._reserved * share if self._coded else None,
            {g.name: n * share
             for g, n in zip(self._gamuts, self._outside.tolist(), strict=True)},
            columns,
            self._chroma,
            None if self._peak is None else self._over * share,
            None if self._peak is None
            else float(100.0 * self._target.curve.decode(np.array(self._most))),
            self._lost * share,
            picture=self._picture,
        )  # fmt: skip


def _wider(target: Output, gamut: str) -> bool:
    """Say whether an output can show colours outside BT.709, or outside P3 too."""
    name = target.display.name
    if gamut == P3_D65.name:
        return name not in (BT709.name, P3_D65.name, "P3-DCI")
    return name != BT709.name


def measure_signal(signal: npt.NDArray[np.floating[Any]], target: Output) -> Measures:
    """Measure the signal of one picture, codes of the output as `Look.apply` gives them."""
    meter = Meter(target)
    meter.add(_nominal(np.asarray(signal, dtype=np.float32), target.range, target.bits))
    return meter.measures()


def measure_file(
    path: Path,
    target: Output,
    *,
    signal_range: SignalRange | None = None,
    matrix: str | None = None,
    every: int = 1,
    progress: Progress = silent,
) -> Measures:
    """Measure a finished still or clip.

    Parameters
    ----------
    target
        What the file's signal is for.
    signal_range
        How the signal lies in the file's integers; default what a clip's tags say, and for
        a still what the output says.
    matrix
        Of clips whose tags lack or lie about it.
    every
        Measure each so many-th frame of a clip.

    Raises
    ------
    InputError
        If the file cannot be read.
    LookkitError
        If a clip is damaged.
    """
    meter = Meter(target)
    if path.suffix.lower() not in MOVIES:
        still = read_still(path)
        meter.add(_nominal(still.pixels, signal_range or target.range, still.depth))
        return replace(_measured(meter, path), warnings=_still_warnings(path, still, target))
    clip = probe(path, matrix=matrix)
    coding = replace(clip.coding, range=signal_range or clip.coding.range)
    rows, offset = (part.astype(np.float32) for part in coding.to_rgb())
    reserve = 1 << max(coding.bits - 8, 0)
    frames = frames_of(clip, deinterlace=clip.interlaced)
    for frame in frames:
        assert isinstance(frame, Frame)
        progress(path.name, frame.number, clip.frames)
        if frame.number % every:
            continue
        planes = [plane[:, : clip.width] for plane in planes_of(frame.picture)]
        reserved = None
        if coding.matrix != "rgb" and coding.range == "legal":
            code = [plane >> (16 - coding.bits) for plane in planes]
            reserved = np.zeros(code[0].shape, dtype=bool)
            for part in code:
                reserved |= (part < reserve) | (part > coding.top - reserve)
        coded = np.stack(planes, axis=-1).astype(np.float32) / np.float32(65535)
        meter.add(_nominal(coded @ rows.T + offset, coding.range, coding.bits), reserved)
    return replace(_measured(meter, path), warnings=_clip_warnings(clip, target))


def _measured(meter: Meter, path: Path) -> Measures:
    try:
        return meter.measures()
    except InputError as error:
        raise InputError(f"{path}: {error}") from error


def _clip_warnings(clip: Clip, target: Output) -> tuple[str, ...]:
    """Return what a clip's tags say other than the output that it is measured as."""
    try:
        wanted = output_tags(target)
    except InputError:
        return ()
    return _differing(clip.path, clip.tags, wanted, target)


def _differing(path: Path, tags: Tags, wanted: Tags, target: Output) -> tuple[str, ...]:
    unlike = any(
        UNSPECIFIED not in pair and 0 not in pair and pair[0] != pair[1]
        for pair in (
            (tags.primaries, wanted.primaries),
            (SAME_TRANSFER.get(tags.transfer, tags.transfer),
             SAME_TRANSFER.get(wanted.transfer, wanted.transfer)),
        )
    )  # fmt: skip
    if not unlike:
        return ()
    return (f"{path}: tagged {tags}, but measured as {target.name}; are the figures of that?",)


def _still_warnings(path: Path, still: Still, target: Output) -> tuple[str, ...]:
    """Return what a still says of itself other than the output that it is measured as."""
    named = still.spec.get_string_attribute("colorInteropID")
    if named and target.interop_id and named != target.interop_id:
        return (
            f"{path}: says that it is {named}, but is measured as {target.name} "
            f"({target.interop_id}); are the figures of that?",
        )
    if named:
        return ()
    tags, profile = still_tags(still.spec), profile_of(target)
    said = tags.named or tags.profile
    if said and said != (encoding_of(profile) if profile else None):
        how = f"says that it is {tags}" if tags.named else f"comes {tags}"
        return (f"{path}: {how}, but is measured as {target.name}; are the figures of that?",)
    try:
        return _differing(path, tags, output_tags(target), target)
    except InputError:
        return ()


def _nominal(code: npt.NDArray[np.floating[Any]], signal_range: SignalRange, bits: int) -> Pixels:
    scale, offset = ranges.scale_offset(signal_range, "full", bits)
    return code.astype(np.float32) * np.float32(scale) + np.float32(offset)
