"""What is wrong with a source before it is fitted, and what its greys say of the names given.

What a LUT takes cannot be seen in it; only gross errors show, where its greys would land at
lightnesses that no display picture has. These limits are our own, wide around the usual 35 to 45
for a grey of 18 % (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from lookkit.accuracy.truth import Light
from lookkit.adopt.colours import Asked
from lookkit.adopt.source import Source
from lookkit.errors import InputError, some_of
from lookkit.inspect.guess import guesses
from lookkit.spaces.encodings import Encoding, encodings
from lookkit.spaces.outputs import Output
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.working import MID_GREY, Array

_STOPS: Final[Array] = np.array([-6.0, 0.0, 2.32])
_LIKELY: Final = ((0.0, 14.0), (26.0, 50.0), (62.0, 100.0))
"""L* of a deep shadow, a grey of 18 % and a white of 90 % in pictures for a display."""
_SAME: Final = 0.004
_TECHNICAL: Final = 0.02
_SURE: Final = 0.9
_PLACES: Final = 400
_APART: Final = 0.03
_END: Final = 0.002
_MOVES: Final = 1e-3
_ONE_WAY: Final = 0.06
"""How far three in four directions of a curve of a mix lie apart, by what reading a lattice does to
them. Of looks they lie apart by 0.4 to 1.2."""
_GREY_CHROMA: Final = 1.5


class Shows(Protocol):
    """What a look makes of a camera's codes: a source, or a recipe made from frames."""

    @property
    def camera(self) -> Encoding:
        """The encoding of its codes."""

    @property
    def camera_range(self) -> SignalRange | None:
        """Their range where it is not the encoding's own."""

    @property
    def shown(self) -> Output:
        """The output that its signal is for."""

    @property
    def light(self) -> Light:
        """What a viewer sees of a signal."""

    def signal(self, code: Array) -> Array:
        """Return the signal for codes, shapes (n, 3)."""


@dataclass(frozen=True)
class Greys:
    """L* of a deep shadow, of 18 % grey and of a 90 % white through a look."""

    shadow: float
    grey: float
    white: float

    @property
    def likely(self) -> bool:
        """Whether pictures have such greys."""
        found = self.shadow, self.grey, self.white
        return all(low <= one <= high for one, (low, high) in zip(found, _LIKELY, strict=True))


def refuse_what_is_no_look(source: Source, asked: Asked) -> None:
    """Refuse a LUT that is no look from a camera's codes to a display.

    Raises
    ------
    InputError
        Saying what the LUT seems to be.
    """
    file, function = source.path, source.function
    curves = (
        f"{file}: holds curves alone, expected a 3D LUT: curves by channel are no whole look; "
        "a recipe says them with the kind `curve`"
    )
    if function.curves_only:
        raise InputError(curves)
    raw = function(asked.code)
    if not np.isfinite(raw).all():
        count = int((~np.isfinite(raw)).any(axis=1).sum())
        raise InputError(
            f"{file}: {count} of {len(raw)} colours come out as no number, expected a sound LUT; "
            f"lookkit inspect {file.name} says more"
        )
    if np.ptp(asked.signal) < 0.02:
        raise InputError(
            f"{file}: gives nearly the same for every colour ({raw.min():.3f} to {raw.max():.3f}),"
            " expected a look"
        )
    if np.abs(raw - asked.code).max() < _SAME:
        raise InputError(f"{file}: changes nothing, expected a look")
    if became := _technical(source, asked, raw):
        raise InputError(
            f"{file}: turns {source.camera.name} into {became}: a technical LUT, no look. A recipe "
            "needs none: name the camera's encoding, and it is read exactly"
        )
    ramp = _ramp(source)
    if np.diff(ramp.mean(axis=1)).min() < -0.05 or ramp[-1].mean() < ramp[0].mean() + 0.05:
        raise InputError(
            f"{file}: its greys do not rise from black to white, expected a look for a display"
        )
    mixes = mixes_of(source)
    if mixes is not None and np.abs(mixes - np.eye(3)).max() < 0.5 * _ONE_WAY:
        raise InputError(curves)
    for guess in guesses(function):
        likely, share = next(iter(guess.likelihood.items()))
        if guess.about == "output" and likely == "log" and share > 0.7:
            raise InputError(
                f"{file}: its greys ({guess.because}) look like log codes and not like a display's "
                "signal: a technical LUT from log to log, or the inverse of a look, cannot be "
                "adopted"
            )


def mixes_of(source: Source) -> Array | None:
    """Return the mix of the three channels that each of a LUT's channels is a curve of, (3, 3).

    None where no fixed mix is; each row sums to one. A curve of a mix rises in one direction only,
    whatever the colour.
    """
    low, high = source.function.low, source.function.high
    place = np.random.default_rng(6).uniform(0.15, 0.85, (_PLACES, 3))
    steps = _APART * np.concatenate([np.eye(3), -np.eye(3)])
    out = source.function(low + (place + steps[:, None]) * (high - low))
    slopes = (out[:3] - out[3:]).transpose(1, 2, 0)
    ends = (out <= out.min() + _END) | (out >= out.max() - _END)
    mixes = np.empty((3, 3))
    for row in range(3):
        free = ~ends[:, :, row].any(axis=0) & (np.linalg.norm(slopes[:, row], axis=1) > _MOVES)
        if free.sum() < 0.1 * _PLACES:
            return None
        ways = slopes[free, row] / np.linalg.norm(slopes[free, row], axis=1)[:, None]
        middle = np.median(ways, axis=0)
        far = np.linalg.norm(ways - middle, axis=1)
        if abs(middle.sum()) < 0.1 or np.quantile(far, 0.75) > _ONE_WAY:
            return None
        mixes[row] = middle / middle.sum()
    return mixes


def range_warnings(source: Source) -> list[str]:
    """Say where a LUT's signal ends as that of the other range does."""
    for guess in guesses(source.function):
        likely, share = next(iter(guess.likelihood.items()))
        if guess.about == "output range" and share > _SURE and likely != source.shown.range:
            return [
                f"the LUT's signal ({guess.because}) looks like {likely} range, and is taken for "
                f"{source.shown.range}: if it is {likely}, say --to-range {likely}"
            ]
    return []


def mix_warnings(source: Source) -> list[str]:
    """Say where a LUT does what a matrix and curves do, which looks hardly are."""
    if mixes_of(source) is None:
        return []
    return [
        "each channel of the LUT is a curve of one fixed mix of the three, as in a technical LUT "
        "from some primaries to others: is it a look?"
    ]


def _ramp(source: Source) -> Array:
    low, high = source.function.low, source.function.high
    return source.function(low + np.linspace(0.0, 1.0, 65)[:, None] * (high - low))


def _technical(source: Source, asked: Asked, raw: Array) -> str | None:
    """Return the encoding that a LUT turns its codes into, or None."""
    inside = ((raw > 0.002) & (raw < 0.998)).all(axis=1)
    if inside.sum() < 100:
        return None
    off = {}
    for name, one in encodings().items():
        if (one.is_log or one.scene_linear) and name != source.camera.name:
            there = np.nan_to_num(one.encode(asked.scene[inside]), posinf=9.0, neginf=-9.0)
            off[name] = float(np.quantile(np.abs(there - raw[inside]), 0.9))
    nearest = min(off, key=off.__getitem__)
    return nearest if off[nearest] < _TECHNICAL else None


def is_grey_only(asked: Asked) -> bool:
    """Say whether a source shows no colour at all."""
    return bool(np.hypot(asked.lab[:, 1], asked.lab[:, 2]).max() < _GREY_CHROMA)


def greys_of(look: Shows, camera: Encoding, range: SignalRange | None = None) -> Greys:
    """Return where greys land when the codes are read as another camera's."""
    light = MID_GREY * np.exp2(_STOPS)[:, None].repeat(3, axis=1)
    code = np.clip(np.nan_to_num(camera.encode(light, range=range), posinf=1.0), 0.0, 1.0)
    return Greys(*look.light.lab(look.signal(code))[:, 0].tolist())


def fitting_names(look: Shows) -> list[str]:
    """Return the camera encodings whose greys land where pictures have them, with this look."""
    names = []
    for name, one in encodings().items():
        if one.scene_linear or "(display)" in name:
            continue
        ways: tuple[SignalRange, ...] = ("full", "legal")
        for way in ways:
            if greys_of(look, one, way).likely:
                names.append(name if way == one.native_range else f"{name} in {way} range")
    return names


def grey_warnings(look: Shows) -> list[str]:
    """Return what the greys say against the encoding, range or output that were given."""
    found = greys_of(look, look.camera, look.camera_range)
    if found.likely:
        return []
    ways = look.camera_range or look.camera.native_range
    fitting = some_of(_families(fitting_names(look)), 12)
    tail = (
        f"With these it would be: {', '.join(fitting)}" if fitting else
        "No encoding of lookkit's table would make it so: is the output right (--to, --to-range)?"
    )  # fmt: skip
    return [
        f"read as {look.camera.name} in {ways} range, for {look.shown.name}, the look shows a "
        f"deep shadow at L* {found.shadow:.0f}, 18 % grey at {found.grey:.0f} and 90 % white at "
        f"{found.white:.0f}, which pictures hardly have (0-14, 26-50, 62-100): the encoding or a "
        f"range is likely another. {tail}"
    ]


def _families(names: list[str]) -> list[str]:
    """Return names with one exposure index for all of a family."""
    kept: dict[str, str] = {}
    for name in names:
        head, index, tail = name.partition(" EI")
        ending = tail.partition(" ")[2]
        kept.setdefault(f"{head}{ending}" if index else name, name)
    return list(kept.values())
