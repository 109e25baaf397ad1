"""What a photograph's file says of its exposure: a proposal where pictures share nothing."""

from __future__ import annotations

from math import log2

from lookkit.errors import LookkitError
from lookkit.media.jobs import Taken
from lookkit.media.numbered import Numbered
from lookkit.media.stills import opened
from lookkit.recipe.shots import RAW

_TIME = ("ExposureTime", "Exif:ExposureTime")
_STOP = ("FNumber", "Exif:FNumber")
_SPEED = ("Exif:PhotographicSensitivity", "Exif:ISOSpeedRatings")


def exposure_of(taken: Taken) -> float | None:
    """Return log2 of time x speed / aperture^2 (ISO 2720's exposure), or None where untold."""
    source = taken.source
    path = source.path(source.frames[0]) if isinstance(source, Numbered) else taken.place
    if path.suffix.lower() not in (".jpg", ".jpeg", ".tif", ".tiff", ".heic", *RAW):
        return None
    try:
        reader = opened(path)
    except LookkitError:
        return None
    spec = reader.spec()
    reader.close()
    found = []
    for names in (_TIME, _STOP, _SPEED):
        values = (spec.get_float_attribute(one) or spec.get_int_attribute(one) for one in names)
        found.append(next((float(one) for one in values if one > 0), 0.0))
    time, stop, speed = found
    return log2(time * speed / stop**2) if min(found) > 0 else None


def proposal(hero: Taken, shot: Taken) -> str:
    """Return what to do about a shot for which nothing was found."""
    first, second = exposure_of(hero), exposure_of(shot)
    ask = "pick the same thing in both (--pick), or a grey card (--grey)"
    if first is None or second is None:
        return ask
    return (
        f"by the exposure settings in the files it would be {first - second:+.2f} stop under the "
        f"same light; {ask}"
    )
