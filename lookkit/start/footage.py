"""What lies on a card: each file with what it says of itself, and a look at its light."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
import numpy.typing as npt

from lookkit.errors import InputError, LookkitError, some_of
from lookkit.media.clip import MOVIES, probe
from lookkit.media.jobs import STILLS, may_be_frame
from lookkit.media.numbered import Numbered, group
from lookkit.media.tags import Tags, still_tags
from lookkit.ocio import cores
from lookkit.progress import Progress, silent
from lookkit.recipe.shots import RAW
from lookkit.spaces.encodings import encodings

MOST: Final = 10_000
"""Clips and stills that are looked at: a folder with more is more than one film's card."""
_LOOKED_AT: Final = 400
"""Pictures whose light is looked at: of more files, every second, third and so on."""
_GRID: Final = (32, 18)
_CLIPPED: Final = 0.98
_MUCH: Final = 0.25
_DARK: Final = 0.02
"""A frame whose brightest part lies under this code says nothing of its light."""
_DARK_LOG: Final = 0.14
_FLAT: Final = 0.05
"""A frame under this code, nearly the same all over, is the black of a log, which lies above 0."""
_MOVIE_TIMES: Final = (
    "com.apple.quicktime.creationdate", "creation_time", "modification_date", "date",
)  # fmt: skip
_STILL_TIMES: Final = ("Exif:DateTimeOriginal", "Exif:DateTimeDigitized", "DateTime")
_MAKERS: Final = ("com.apple.quicktime.make", "make", "manufacturer", "company_name", "Make")
_MODELS: Final = ("com.apple.quicktime.model", "model", "product_name", "Model")
_SERIALS: Final = (
    "com.apple.quicktime.camera.identifier", "serial_number", "Exif:BodySerialNumber", "device_uid",
)  # fmt: skip


@dataclass(frozen=True)
class Take:
    """One clip, sequence or still, and what it says of itself.

    `path` is the file, or the first frame of a sequence; `name` is what a shot list would call
    it. `encoding` is that which its tags or words name, or None; `said` is where it stands.
    `recorded` is the time in the file, as written there. `light` is the mean code of red, green
    and blue of its first picture, or None where that is dark or was not looked at; `fault` says
    what is wrong with that picture.
    """

    path: Path
    name: str
    kind: Literal["clip", "sequence", "still", "raw"]
    width: int
    height: int
    bits: int
    rate: Fraction | None
    frames: int
    coding: str
    tags: Tags
    encoding: str | None
    said: str
    device: str
    serial: str
    recorded: datetime | None
    light: tuple[float, float, float] | None
    fault: str = ""

    @property
    def seconds(self) -> float:
        """How long it runs; 0 for a still."""
        return self.frames / float(self.rate) if self.rate and self.frames > 1 else 0.0


@dataclass(frozen=True)
class Footage:
    """All takes of a folder in the order of names, and what is wrong with files, in words.

    `ignored` counts files that are neither movie nor picture.
    """

    folder: Path
    takes: tuple[Take, ...]
    faults: tuple[str, ...]
    ignored: int


def read_footage(folder: Path, progress: Progress = silent) -> Footage:
    """Look at every movie and picture of a folder and those below it.

    Raises
    ------
    InputError
        If it is no folder, or holds none that can be read.
    """
    if not folder.is_dir():
        what = "is not a folder" if folder.exists() else "does not exist"
        raise InputError(f"{folder}: {what}, expected a folder of footage")
    faults: list[str] = []
    sources, ignored = _sources(folder, faults)
    if len(sources) > MOST:
        faults.append(
            f"{folder}: holds {len(sources)} clips and stills; the first {MOST} by name are taken, "
            "name the folder of one film for the others"
        )
        sources = sources[:MOST]
    every = -(-len(sources) // _LOOKED_AT)
    if every > 1:
        faults.append(f"{len(sources)} files: the light of one in {every} is looked at")
    takes: list[Take] = []

    def look(numbered: tuple[int, Path | Numbered]) -> Take | str:
        number, source = numbered
        try:
            return _take(source, lit=number % every == 0)
        except (LookkitError, OSError, UnicodeError) as error:
            place = _name_of(source)
            return str(error) if isinstance(error, LookkitError) else f"{place}: cannot be read"

    with ThreadPoolExecutor(min(8, 2 * cores()), "lookkit-new") as pool:
        for count, found in enumerate(pool.map(look, enumerate(sources))):
            progress(f"looking at {Path(_name_of(sources[count])).name}", count + 1, len(sources))
            if isinstance(found, Take):
                takes.append(found)
                if found.fault:
                    faults.append(f"{found.name}: {found.fault}")
            else:
                faults.append(found)
    if not takes:
        told = "".join(f"\n{one}" for one in some_of(faults))
        raise InputError(f"{folder}: holds no movie and no picture that can be read{told}")
    return Footage(folder, tuple(takes), tuple(faults), ignored)


def _sources(folder: Path, faults: list[str]) -> tuple[list[Path | Numbered], int]:
    """Return the clips, sequences and stills below a folder, and how many files are neither."""

    def refuse(error: OSError) -> None:
        faults.append(f"{error.filename or folder}: cannot be read ({error.strerror})")

    single: list[Path | Numbered] = []
    runs: list[Path] = []
    ignored = 0
    for walked, folders, names in os.walk(folder, onerror=refuse):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            path = Path(walked) / name
            suffix = path.suffix.lower()
            if name.startswith(".") or suffix not in (*MOVIES, *STILLS, *RAW):
                ignored += 1
            elif suffix in STILLS and may_be_frame(path):
                runs.append(path)
            else:
                single.append(path)
    return sorted([*single, *group(runs)], key=_name_of), ignored


def _name_of(source: Path | Numbered) -> str:
    return str(source.pattern if isinstance(source, Numbered) else source)


def _take(source: Path | Numbered, *, lit: bool) -> Take:
    first = source.path(source.frames[0]) if isinstance(source, Numbered) else source
    if first.suffix.lower() in MOVIES:
        return _clip(first, lit=lit)
    return _still(source, first, lit=lit)


def _clip(path: Path, *, lit: bool) -> Take:
    first: list[npt.NDArray[Any]] = []
    clip = probe(path, see=(lambda frame: first.append(_first_picture(frame))) if lit else None)
    light, fault = _light(lambda: first[0]) if lit else (None, "")
    words = {**dict(clip.metadata), **dict(clip.video_metadata)}
    named, said = _encoding_of(clip.tags, words)
    return Take(
        path=path,
        name=path.name,
        kind="clip",
        width=clip.width,
        height=clip.height,
        bits=clip.coding.bits,
        rate=clip.rate,
        frames=clip.frames,
        coding=f"{path.suffix.lower()[1:]}, {clip.coding.matrix} {clip.coding.range} range",
        tags=clip.tags,
        encoding=named,
        said=said,
        device=_device(words),
        serial=_first(words, _SERIALS),
        recorded=_time(words, _MOVIE_TIMES),
        light=light,
        fault=fault,
    )


def _still(source: Path | Numbered, path: Path, *, lit: bool) -> Take:
    import OpenImageIO as oiio

    raw = path.suffix.lower() in RAW
    reader = oiio.ImageInput.open(str(path))
    if reader is None:
        raise InputError(f"{path}: cannot be read as a picture ({oiio.geterror().strip()})")
    spec = reader.spec()
    reader.close()
    if spec.width < 2 or spec.height < 2:
        raise InputError(f"{path}: {spec.width}x{spec.height} pixels, expected a picture")
    words = {one.name: str(one.value) for one in spec.extra_attribs}
    tags = Tags() if raw else still_tags(spec)
    named, said = ("ACEScg", "camera raw is developed to it") if raw else _encoding_of(tags, words)
    if named is None and path.suffix.lower() == ".exr":
        named, said = "Linear BT.709", "an EXR file that names no primaries has these (OpenEXR)"
    turned = spec.get_int_attribute("Orientation", 1) >= 5
    size = (spec.height, spec.width) if turned else (spec.width, spec.height)
    sequence = isinstance(source, Numbered)
    linear = raw or path.suffix.lower() in (".exr", ".hdr")
    light, fault = (None, "") if linear or not lit else _light(lambda: _small_still(path))
    return Take(
        path=path,
        name=source.name if isinstance(source, Numbered) else path.name,
        kind="raw" if raw else "sequence" if sequence else "still",
        width=size[0],
        height=size[1],
        bits=spec.get_int_attribute("oiio:BitsPerSample", 8 * spec.format.size()),
        rate=None,
        frames=len(source.frames) if isinstance(source, Numbered) else 1,
        coding=f"{path.suffix.lower()[1:]}, {spec.format}",
        tags=tags,
        encoding=named,
        said=said,
        device=_device(words),
        serial=_first(words, _SERIALS),
        recorded=_time(words, _STILL_TIMES),
        light=light,
        fault=fault,
    )


def _encoding_of(tags: Tags, words: Mapping[str, str]) -> tuple[str | None, str]:
    """Return the encoding that a file names, and where it does.

    The name of a log encoding in a file's own words comes before its tags: cameras that record
    a log often tag it as BT.709.
    """
    for key, text in words.items():
        for name, pattern in _logs():
            if pattern.search(text):
                return name, f"{key} says {text.strip()[:60]!r}"
    if tags.encoding is not None:
        return tags.encoding, f"tagged {tags}"
    return None, f"tagged {tags}, which is not enough" if str(tags) else "no colour tags"


@cache
def _logs() -> list[tuple[str, re.Pattern[str]]]:
    """Return each log encoding with the pattern of its name; longer names come first.

    A name that several encodings begin with (S-Log3 of two gamuts) names none of them.
    """
    names = {
        alias: one.name
        for one in encodings().values()
        if one.is_log
        for alias in (one.name, *one.aliases)
    }
    order = sorted(names, key=len, reverse=True)
    return [
        (names[name], re.compile(rf"(?<![\w.]){re.escape(name)}(?![\w.])", re.IGNORECASE))
        for name in order
        if len(name) > 4
    ]


def _device(words: Mapping[str, str]) -> str:
    parts = [_first(words, _MAKERS), _first(words, _MODELS)]
    if parts[1].casefold().startswith(parts[0].casefold()):
        parts = parts[1:]
    return " ".join(part for part in parts if part)


def _first(words: Mapping[str, str], keys: tuple[str, ...]) -> str:
    return next((words[key].strip() for key in keys if words.get(key, "").strip()), "")


def _time(words: Mapping[str, str], keys: tuple[str, ...]) -> datetime | None:
    """Return the time of recording as the file writes it, without its zone."""
    for key in keys:
        found = re.match(
            r"(\d{4})[:-](\d{2})[:-](\d{2})[T ](\d{2}):(\d{2}):(\d{2})", words.get(key, "")
        )
        if found:
            try:
                when = datetime(*map(int, found.groups()))  # type: ignore[arg-type]
            except ValueError:
                continue
            if when.year > 1980:  # Clocks that were never set begin before.
                return when
    return None


def _light(
    picture: Callable[[], npt.NDArray[Any]],
) -> tuple[tuple[float, float, float] | None, str]:
    """Return the mean code of a picture, and what is wrong with it."""
    try:
        small = picture()
    except Exception:  # A picture that cannot be looked at only lacks this hint.
        return None, "its first picture could not be looked at"
    mean = small.reshape(-1, 3).mean(axis=0)
    if not np.isfinite(mean).all():
        return None, ""
    if small.max() < _DARK or (small.max() < _DARK_LOG and np.ptp(small) < _FLAT):
        return None, "its first picture is black: a slate, or a cap on the lens?"
    clipped = float((small.max(axis=-1) > _CLIPPED).mean())
    fault = f"{clipped:.0%} of its first picture is clipped" if clipped > _MUCH else ""
    return (float(mean[0]), float(mean[1]), float(mean[2])), fault


def _first_picture(frame: Any) -> npt.NDArray[Any]:
    small = frame.reformat(width=_GRID[0], height=_GRID[1], format="rgb24")
    return np.asarray(small.to_ndarray(), dtype=np.float64) / 255.0


def _small_still(path: Path) -> npt.NDArray[Any]:
    import OpenImageIO as oiio

    picture = oiio.ImageBuf(str(path))
    grid = oiio.ROI(0, _GRID[0], 0, _GRID[1])
    small = oiio.ImageBufAlgo.resize(picture, filtername="box", roi=grid)
    return np.asarray(small.get_pixels(oiio.FLOAT), dtype=np.float64)[..., :3]
