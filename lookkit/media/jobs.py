"""Which files are graded, as whose, into what: the list of jobs, before any work."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from lookkit.errors import InputError, LookkitError, UnknownNameError, expected_one_of
from lookkit.files import safe_name
from lookkit.media.avlib import reason
from lookkit.media.clip import MOVIES, Clip, probe
from lookkit.media.codecs import CODECS, SUFFIXES, check_build, codec_for, fits_mxf
from lookkit.media.coding import MATRICES
from lookkit.media.numbered import Numbered, group, is_pattern, is_range, listed, numbered
from lookkit.media.stills import FORMATS, is_location, left_out, names_in, opened
from lookkit.media.tags import Tags, output_tags, still_tags
from lookkit.progress import Progress, silent
from lookkit.recipe.shots import RAW, Shot, shot_for
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look
    from lookkit.spaces.ranges import SignalRange

STILLS: Final = (
    *FORMATS, ".cin", ".bmp", ".tga", ".webp", ".hdr", ".jp2", ".j2c", ".heic", ".sgi", ".ppm",
)  # fmt: skip
"""The extensions that are taken for stills."""
_ALWAYS_NUMBERED: Final = (".exr", ".dpx", ".cin")
_DELIVERED_FROM: Final = 1001
"""The number of a movie's first frame when it becomes pictures (common practice, no source)."""

_WHERE: Final = "where it was taken is left out (--keep-location keeps it)"
Source = Clip | Numbered | Path


@dataclass(frozen=True)
class Options:
    """What the user asks for; None leaves it to the recipe and the files.

    `camera`, `scene` and `output` are names of the recipe. `extension` and `codec` choose the
    form of the results, `bits` their depth. `range` and `matrix` say how Y'CbCr files are
    coded where their tags do not, or say it wrong. `rate` is that of sequences that become
    movies. `location` keeps where a picture was taken. `shots` are lines of a shot list that
    come before the recipe's. Without `texture`, the recipe's is left out.
    """

    camera: str | None = None
    scene: str | None = None
    output: str | None = None
    into: Path | None = None
    extension: str | None = None
    codec: str | None = None
    bits: int | None = None
    range: Literal["full", "legal"] | None = None
    matrix: str | None = None
    rate: Fraction | None = None
    deinterlace: bool = False
    overwrite: bool = False
    location: bool = False
    shots: tuple[Shot, ...] = ()
    texture: bool = True


@dataclass(frozen=True)
class Job:
    """One file or sequence to grade; it can be sent to another machine.

    `target` is the result's file, or a sequence of them with the numbers of the source's
    frames. `range` and `signal` are as of `Taken`. `id` names everything that
    the result depends on; the result carries it.
    """

    source: Source
    target: Path | Numbered
    camera: str
    output: str
    scene: str | None = None
    codec: str | None = None
    bits: int | None = None
    range: SignalRange = "full"
    signal: SignalRange | None = None
    rate: Fraction | None = None
    deinterlace: bool = False
    overwrite: bool = False
    location: bool = False
    texture: bool = True
    warnings: tuple[str, ...] = ()
    id: str = ""

    @property
    def place(self) -> Path:
        """The source as a path, with # for the numbers of a sequence."""
        return place_of(self.source)

    @property
    def result(self) -> Path:
        """The target as a path, with # for the numbers of a sequence."""
        return self.target.pattern if isinstance(self.target, Numbered) else self.target

    @property
    def frames(self) -> int:
        """How many frames it grades."""
        if isinstance(self.source, Path):
            return 1
        return self.source.frames if isinstance(self.source, Clip) else len(self.source.frames)


@dataclass(frozen=True)
class Refused:
    """A file that cannot be graded, and why."""

    source: Path
    problem: str


@dataclass
class Plan:
    """The jobs, in order, and what was refused."""

    jobs: list[Job] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)


@dataclass(frozen=True)
class _Found:
    source: Path | Numbered
    root: Path | None = None


@dataclass(frozen=True)
class Left:
    """What of a source does not go into every result: alpha, where it was taken, and the rest."""

    alpha: bool = False
    location: bool = False
    others: tuple[str, ...] = ()


_NOTHING: Final = Left()


@dataclass(frozen=True)
class Taken:
    """A source, and whose it is.

    `range` is how a clip's integers carry Y'CbCr, `signal` how the camera's signal lies in them
    where otherwise; `rate` is what a sequence says of its frame rate, `root` the folder that
    was searched for it.
    """

    source: Source
    camera: str
    scene: str | None = None
    range: SignalRange = "full"
    rate: Fraction | None = None
    warnings: tuple[str, ...] = ()
    signal: SignalRange | None = None
    root: Path | None = None
    left: Left = _NOTHING

    @property
    def place(self) -> Path:
        """The source as a path, with # for the numbers of a sequence."""
        return place_of(self.source)

    def setting(self, look: Look) -> str | None:
        """Return what a look grades it in: its scene, or that of a shot with trims of its own."""
        return look.recipe.setting(self.camera, self.scene, self.place)


def place_of(source: Source) -> Path:
    """Return a source as a path, with # for the numbers of a sequence."""
    if isinstance(source, Clip):
        return source.path
    return source.pattern if isinstance(source, Numbered) else source


def plan(
    look: Look, inputs: Sequence[str | Path], options: Options, progress: Progress = silent
) -> Plan:
    """Find the files, read what they say of themselves and decide what becomes of each.

    Parameters
    ----------
    inputs
        Files, folders (with all below them), and sequences: a name with # for each digit,
        which the next input may follow with its range, `name.####.exr`, `1001-1100`.

    Returns
    -------
    Plan
        A file that is refused does not stop the others.

    Raises
    ------
    InputError
        If an option cannot be: an unknown camera, output, codec or format, or a codec
        that this build of PyAV lacks.
    """
    options = _checked(look, options)
    made = Plan()
    found = list(_find(look, inputs, made))
    taken: dict[Path, Path] = {}
    for count, one in enumerate(found):
        place = place_of(one.source)
        progress(f"looking at {place.name}", count, len(found))
        try:
            job = _job(look, _taken(look, one, options), options)
            key = Path(str(job.result).casefold())
            if key in taken:
                raise InputError(
                    f"{place}: its result would have the name of that of {taken[key]}; "
                    "name another folder (--into) or format"
                )
            taken[key] = place
            made.jobs.append(job)
        except (LookkitError, OSError, UnicodeError) as error:
            made.refused.append(Refused(place, _why(place, error)))
    return made


def assign(
    look: Look, inputs: Sequence[str | Path], options: Options, progress: Progress = silent
) -> tuple[list[Taken], list[Refused]]:
    """Find the files and say whose each is, as `plan` does, with nothing to be written.

    Parameters
    ----------
    inputs, options
        As of `plan`; what options say of results is not looked at.

    Raises
    ------
    InputError
        If an option cannot be, such as an unknown camera.
    """
    options = _checked(look, options)
    made = Plan()
    found = list(_find(look, inputs, made))
    taken = []
    for count, one in enumerate(found):
        progress(f"looking at {place_of(one.source).name}", count, len(found))
        try:
            taken.append(_taken(look, one, options))
        except (LookkitError, OSError, UnicodeError) as error:
            place = place_of(one.source)
            made.refused.append(Refused(place, _why(place, error)))
    return taken, made.refused


def _why(place: Path, error: LookkitError | OSError | UnicodeError) -> str:
    if isinstance(error, LookkitError):
        return str(error)
    if isinstance(error, UnicodeError):
        return f"{place}: its name is no text in UTF-8; expected another name"
    return f"{place}: cannot be read ({reason(error)})"


def _checked(look: Look, options: Options) -> Options:
    if not look.outputs:
        raise InputError(f"{look.source}: no outputs, expected at least one")
    options = replace(options, output=options.output or look.outputs[0])
    scenes = _scenes(look)
    for what, name, known in (
        ("camera", options.camera, look.cameras),
        ("output", options.output, look.outputs),
        ("scene", options.scene, scenes),
        ("matrix", options.matrix, MATRICES[1:]),
        ("codec", options.codec, tuple(CODECS)),
        *(("camera", shot.camera, look.cameras) for shot in options.shots),
        *(("scene", shot.scene, scenes) for shot in options.shots),
    ):
        if name is not None and name not in known:
            raise UnknownNameError(what, name, known)
    if options.extension is not None:
        suffix = f".{options.extension.lstrip('.').lower()}"
        formats = [name[1:] for name in (*FORMATS, *SUFFIXES)]
        if suffix[1:] not in formats:
            raise UnknownNameError("format", options.extension, formats)
        options = replace(options, extension=suffix)
    if options.codec is not None:
        codec = CODECS[options.codec]
        if options.extension in SUFFIXES and options.extension not in codec.suffixes:
            codec_for(options.codec, options.extension, deep=True)
        codec.bits(options.bits)
        check_build(codec)
    if options.into is not None:
        _check_place(options.into)
    return options


def _check_place(into: Path) -> None:
    """Check, and make nothing, that a folder for results is there or can be made."""
    try:
        there = next(one for one in (into, *into.absolute().parents) if one.exists())
        found = "" if there.is_dir() else f"{there} is a file"
        if not found and not os.access(there, os.W_OK | os.X_OK):
            found = f"{there} cannot be written"
    except OSError as error:
        found = reason(error)
    if found:
        raise InputError(f"{into}: no folder for results ({found}), expected another --into")


def _scenes(look: Look) -> tuple[str, ...]:
    return look.scenes


def _find(look: Look, inputs: Sequence[str | Path], made: Plan) -> Iterator[_Found]:
    """Yield the sources that the inputs mean; what is wrong with one goes into the plan."""
    waiting = [str(one) for one in inputs]
    while waiting:
        word = waiting.pop(0)
        path = Path(word)
        try:
            if path.is_dir():
                yield from _below(look, path, made)
            elif is_pattern(word) and not path.exists():
                follows = waiting and is_range(waiting[0]) and not Path(waiting[0]).exists()
                yield _Found(numbered(word, waiting.pop(0) if follows else None))
            elif is_range(word) and not path.exists():
                raise InputError(f"{word}: a frame range without a sequence before it")
            else:
                yield _Found(path)
        except (LookkitError, OSError, UnicodeError) as error:
            made.refused.append(Refused(path, _why(path, error)))


def _below(look: Look, folder: Path, made: Plan) -> Iterator[_Found]:
    """Yield what a folder and those below it hold, less the results of this look."""
    ours = tuple(_mark(look, output) for output in look.outputs)
    files: list[Path] = []

    def refuse(error: OSError) -> None:
        place = Path(error.filename or folder)
        made.refused.append(Refused(place, f"{place}: cannot be read ({error.strerror})"))

    for walked, folders, names in os.walk(folder, onerror=refuse):
        at = Path(walked)
        folders[:] = sorted(
            name for name in folders if not name.startswith(".") and not name.endswith(ours)
        )
        files += [
            at / name
            for name in sorted(names)
            if not name.startswith(".") and not Path(name).stem.endswith(ours)
        ]
    movies = [path for path in files if path.suffix.lower() in (*MOVIES, *RAW)]
    stills = [path for path in files if path.suffix.lower() in STILLS]
    runs = [path for path in stills if may_be_frame(path)]
    single = [path for path in stills if not may_be_frame(path)]
    if not movies and not stills:
        made.refused.append(Refused(folder, f"{folder}: holds no movie and no picture"))
    sources: list[Path | Numbered] = [*movies, *single, *group(runs)]
    for source in sorted(sources, key=lambda one: str(place_of(one))):
        yield _Found(source, folder)


def may_be_frame(path: Path) -> bool:
    """Say whether a still in a folder may be one of a numbered sequence."""
    return path.suffix.lower() in _ALWAYS_NUMBERED or path.stem.rpartition(".")[2].isdigit()


def _mark(look: Look, output: str) -> str:
    """Return how the names of results end."""
    return f"_{safe_name(look.recipe.name)}_{safe_name(output)}"


def _taken(look: Look, found: _Found, options: Options) -> Taken:
    source = found.source
    # Libraries that read pictures take names as UTF-8 alone.
    str(place_of(source)).encode()
    suffix = (source.tail if isinstance(source, Numbered) else source.suffix).lower()
    if isinstance(source, Path) and suffix in MOVIES:
        return _taken_clip(look, probe(source, matrix=options.matrix), found.root, options)
    first = source.path(source.frames[0]) if isinstance(source, Numbered) else source
    if suffix not in (*STILLS, *RAW):
        if not first.exists():
            raise InputError(f"{first}: does not exist")
        known = [name[1:] for name in (*MOVIES, *STILLS, *RAW)]
        hint = expected_one_of(suffix[1:], known) if suffix else "a movie or a picture"
        raise InputError(f"{first}: unknown kind of file {suffix!r}, expected {hint}")
    if suffix in RAW:
        if not first.is_file():
            raise InputError(f"{first}: does not exist")
        tags, rate, left = Tags(named="raw, scene-linear"), None, _NOTHING
    else:
        tags, rate, left = _still_says(first)
    camera, scene, warnings = _whose(look, place_of(source), tags, options)
    if isinstance(source, Numbered) and source.missing:
        warnings.append(f"{source.pattern}: frames {listed(source.missing)} are missing")
    warnings += [f"{place_of(source)}: {one}" for one in left.others]
    return Taken(source, camera, scene, "full", rate, tuple(warnings), root=found.root, left=left)


def _taken_clip(look: Look, clip: Clip, root: Path | None, options: Options) -> Taken:
    camera, scene, warnings = _whose(look, clip.path, clip.tags, options)
    span, signal = clip.coding.range, None
    step = look.graph.input_transform(camera)
    told, usual = step.range, step.encoding.movie_range
    if options.range is not None:
        span = options.range
    elif told not in (None, span):
        signal = told
        tagged = "tagged" if clip.range_tagged else "by default"
        warnings.append(
            f"{clip.path}: {tagged} {span} range, but the recipe reads camera {camera} as {told}; "
            "the recipe is followed"
        )
    elif told is None and usual not in (None, span) and clip.coding.matrix != "rgb":
        signal = usual
        tagged = "tagged" if clip.range_tagged else "by default"
        how = "as the formula gives them" if usual == "full" else "in legal range"
        warnings.append(
            f"{clip.path}: {tagged} {span} range, but movies of {step.encoding.name} carry their "
            f"codes {how}; read so (a range of the recipe's camera, or --range, says otherwise)"
        )
    elif (clip.coding.matrix, span, step.signal_range) == ("rgb", "legal", "full"):
        warnings.append(
            f"{clip.path}: R'G'B' tagged legal range: its codes are read so "
            "(--range full takes them as they stand)"
        )
    warnings += [f"{clip.path}: {note}" for note in clip.notes]
    return Taken(clip, camera, scene, span, None, tuple(warnings), signal, root)


def _job(look: Look, taken: Taken, options: Options) -> Job:
    source = taken.source
    if isinstance(source, Clip):
        return _movie_job(look, taken, source, options)
    taken = replace(taken, warnings=(*taken.warnings, *_without_effect(taken.place, options)))
    job = Job(
        source,
        _still_target(look, source, taken.root, options),
        taken.camera,
        str(options.output),
        taken.setting(look),
        bits=options.bits,
        overwrite=options.overwrite,
        location=options.location,
        texture=options.texture,
        warnings=taken.warnings,
    )
    if isinstance(source, Numbered) and (
        options.extension in SUFFIXES or (options.codec and options.extension is None)
    ):
        job = _numbered_movie(look, job, source, taken.root, options, taken.rate)
    without = job.codec is not None or job.result.suffix in (".jpg", ".jpeg")
    told = []
    if taken.left.alpha and without:
        told.append(f"{taken.place}: holds alpha, which {job.result.suffix} does not; left out")
    if taken.left.location and not options.location and job.codec is None:
        told.append(f"{taken.place}: {_WHERE}")
    job = replace(job, warnings=(*job.warnings, *told, *_no_texture(look, job)))
    return replace(job, id=_id_of(look, job))


def _no_texture(look: Look, job: Job) -> list[str]:
    """Tell of a texture that a result does not get because its rendering has no negative."""
    texture = look.recipe.texture
    if texture is None or not texture.is_on or not job.texture:
        return []
    if look.has_texture(job.output, job.scene):
        return []
    kind = look.recipe.rendering_for(job.output).kind
    return [f"{job.place}: without the recipe's texture, for {kind} has no negative"]


def _without_effect(place: Path, options: Options) -> list[str]:
    """Return what was asked for and has no effect on a picture, or on a sequence of them."""
    single = "#" not in place.name
    given = [
        (f"--format {str(options.extension)[1:]}", single and options.extension in SUFFIXES),
        (f"--codec {options.codec}", options.codec and (single or options.extension in FORMATS)),
        ("--rate", single and options.rate),
        (f"--range {options.range}", options.range),
        (f"--matrix {options.matrix}", options.matrix),
        ("--deinterlace", options.deinterlace),
    ]
    what = "one picture" if single else "a sequence of pictures"
    return [f"{place}: is {what}; {name} has no effect on it" for name, told in given if told]


def _still_says(path: Path) -> tuple[Tags, Fraction | None, Left]:
    reader = opened(path)
    spec = reader.spec()
    others = tuple(left_out(reader))
    reader.close()
    left = Left(spec.alpha_channel >= 0, any(is_location(one) for one in names_in(spec)), others)
    rate = spec.getattribute("FramesPerSecond")
    if isinstance(rate, tuple) and len(rate) == 2 and all(rate):
        return still_tags(spec), Fraction(int(rate[0]), int(rate[1])), left
    rate = spec.get_float_attribute("dpx:FrameRate") or spec.get_float_attribute("dpx:TVFrameRate")
    known = 0 < rate < 1000
    return still_tags(spec), Fraction(rate).limit_denominator(1001) if known else None, left


def _movie_job(look: Look, taken: Taken, clip: Clip, options: Options) -> Job:
    if clip.interlaced and not options.deinterlace:
        raise InputError(f"{clip.path}: interlaced; --deinterlace makes whole frames of its fields")
    warnings = list(taken.warnings)
    suffix = options.extension or _movie_suffix(clip, options.codec)
    if options.extension is None and suffix != clip.path.suffix.lower():
        warnings.append(f"{clip.path}: is written as {suffix} (--format chooses)")
    if clip.located and not options.location:
        warnings.append(f"{clip.path}: {_WHERE}")
    stem = f"{clip.path.stem}{_mark(look, str(options.output))}"
    folder = _folder(clip.path.parent, taken.root, options.into)
    job = Job(
        clip,
        folder / f"{stem}{suffix}",
        taken.camera,
        str(options.output),
        taken.setting(look),
        bits=options.bits,
        range=taken.range,
        signal=taken.signal,
        deinterlace=options.deinterlace and clip.interlaced,
        overwrite=options.overwrite,
        location=options.location,
        texture=options.texture,
    )
    if suffix in SUFFIXES:
        deep = clip.coding.bits > 8 or look.graph.output(job.output).is_hdr
        if suffix == ".mxf" and clip.variable:
            raise InputError(
                f"{clip.path}: variable frame rate, which .mxf does not keep; "
                "expected --format mov, mp4 or mkv"
            )
        if suffix == ".mxf" and abs(clip.lag * clip.rate) > Fraction(1, 2):
            late = "after" if clip.lag > 0 else "before"
            raise InputError(
                f"{clip.path}: its sound begins {abs(float(clip.lag)):.3f} s {late} its picture, "
                "which .mxf does not keep; expected --format mov, mp4 or mkv"
            )
        job = _as_movie(look, job, suffix, options, deep, (clip.width, clip.height))
    else:
        count = max(clip.frames, 1)
        numbers = tuple(range(_DELIVERED_FROM, _DELIVERED_FROM + count))
        digits = max(4, len(str(numbers[-1])))
        job = replace(job, target=Numbered(folder / stem, f"{stem}.", digits, suffix, numbers))
        if clip.variable:
            warnings.append(f"{clip.path}: the pictures' numbers do not keep the frames' times")
        if clip.audio:
            warnings.append(f"{clip.path}: pictures carry no sound; it is left out")
        if options.codec:
            warnings.append(f"{clip.path}: becomes pictures; --codec {options.codec} has no effect")
    job = replace(job, warnings=(*warnings, *_no_texture(look, job)))
    return replace(job, id=_id_of(look, job))


def _movie_suffix(clip: Clip, codec: str | None) -> str:
    """Return the format of a movie's result: the source's own where it can be written."""
    own = clip.path.suffix.lower()
    usual = {".webm": ".mkv"}.get(own, own if own in SUFFIXES else ".mp4")
    if usual == ".mxf" and not fits_mxf(clip.width, clip.height, clip.rate, clip.variable):
        usual = ".mov"
    if codec is not None and usual not in CODECS[codec].suffixes:
        return CODECS[codec].suffixes[0]
    return usual


def _as_movie(
    look: Look, job: Job, suffix: str, options: Options, deep: bool, size: tuple[int, int] | None
) -> Job:
    codec = codec_for(options.codec, suffix, deep=deep)
    if options.codec is None and options.bits is not None and options.bits not in codec.formats:
        able = next((c for c in CODECS.values()
                     if options.bits in c.formats and suffix in c.suffixes), codec)  # fmt: skip
        codec = able
    bits = codec.bits(options.bits)
    if options.bits is None and codec.name == "h264" and deep:
        bits = 10
    check_build(codec)
    output_tags(look.graph.output(job.output))
    if size is not None and (why := codec.misfit(*size)):
        raise InputError(f"{job.place}: {why}")
    return replace(job, codec=codec.name, bits=bits)


def _numbered_movie(
    look: Look,
    job: Job,
    source: Numbered,
    root: Path | None,
    options: Options,
    told: Fraction | None,
) -> Job:
    if source.missing:
        raise InputError(
            f"{source.pattern}: frames {listed(source.missing)} are missing; "
            "a movie of the others would be out of time"
        )
    rate = options.rate or told
    if rate is None:
        raise InputError(f"{source.pattern}: nothing says its frame rate, expected --rate")
    suffix = options.extension or CODECS[str(options.codec)].suffixes[0]
    stem = f"{source.stem}{_mark(look, job.output)}"
    folder = _folder(source.folder, root, options.into)
    job = replace(job, target=folder / f"{stem}{suffix}", rate=rate)
    return _as_movie(look, job, suffix, options, True, None)


def _still_target(
    look: Look, source: Path | Numbered, root: Path | None, options: Options
) -> Path | Numbered:
    suffix = source.tail if isinstance(source, Numbered) else source.suffix
    wanted = options.extension if options.extension in FORMATS else suffix.lower()
    if wanted not in FORMATS:
        wanted = ".tif"
    mark = _mark(look, str(options.output))
    if isinstance(source, Path):
        return _folder(source.parent, root, options.into) / f"{source.stem}{mark}{wanted}"
    folder = _folder(source.folder, root, options.into)
    stem = f"{source.stem}{mark}"
    return Numbered(folder / stem, f"{stem}.", source.digits, wanted, source.frames)


def _folder(beside: Path, root: Path | None, into: Path | None) -> Path:
    """Return where a result goes: into a folder, as deep as the source lies in its own."""
    if into is None:
        return beside
    return into / beside.relative_to(root) if root is not None else into


def _whose(
    look: Look, path: Path, tags: Tags, options: Options
) -> tuple[str, str | None, list[str]]:
    """Return camera, scene and warnings; refuse where nothing says which camera it was."""
    recipe = look.recipe
    shot = shot_for((*options.shots, *recipe.shots), path)
    scene = options.scene or (shot.scene if shot else None)
    camera = options.camera or (shot.camera if shot else None)
    encodings = {name: look.graph.input_transform(name).encoding for name in look.cameras}
    if camera is None:
        alike = [
            name
            for name, encoding in encodings.items()
            if encoding.name == tags.encoding
            or (tags.encoding == "raw, scene-linear" and encoding.scene_linear)
        ]
        if len(alike) != 1:
            told = f"tagged {tags}" if str(tags) else "it has no colour tags"
            choices = ", ".join(f"{name} ({one.name})" for name, one in encodings.items())
            raise InputError(
                f"{path}: nothing says which camera took it ({told}); expected --camera, --shot or "
                f"a line of the recipe's [[shots]]; the cameras: {choices or 'none'}"
            )
        camera = alike[0]
    if camera not in look.cameras:
        raise UnknownNameError("camera", camera, look.cameras)
    if scene is not None and scene not in _scenes(look):
        raise UnknownNameError("scene", scene, _scenes(look))
    if tags.encoding == "raw, scene-linear" and not encodings[camera].scene_linear:
        raise InputError(
            f"{path}: camera raw is developed to scene-linear light, but the recipe reads camera "
            f"{camera} as {encodings[camera].name}; expected a camera of its own with "
            'encoding = "ACEScg"'
        )
    warnings = []
    if tags.encoding != "raw, scene-linear" and tags.contradicts(encodings[camera]):
        warnings.append(
            f"{path}: tagged {tags}, but the recipe reads camera {camera} as "
            f"{encodings[camera].name}; the recipe is followed"
        )
    warnings += [f"{path}: {one}" for one in recipe.match_warnings(camera, scene)]
    return camera, scene, warnings


def _id_of(look: Look, job: Job) -> str:
    """Return a name for everything that the result depends on."""
    source = job.source
    if isinstance(source, Numbered):
        files: Iterable[Path] = [source.path(source.frames[0]), source.path(source.frames[-1])]
    else:
        files = [job.place]
    facts: dict[str, Any] = {
        "lookkit": __version__,
        "recipe": look.recipe_hash,
        "files": [(file.name, file.stat().st_size, file.stat().st_mtime_ns) for file in files],
        "job": [job.result.name, job.camera, job.scene, job.output, job.codec, job.bits],
        "read": [job.range, job.signal, str(job.rate), job.deinterlace, job.location],
        "coding": asdict(source.coding) if isinstance(source, Clip) else None,
    }
    if not job.texture:
        facts["texture"] = False
    return hashlib.sha256(json.dumps(facts).encode()).hexdigest()[:16]
